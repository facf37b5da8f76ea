"""The closed loop with the core as plain Python, beside `legsim.run` where all is compiled.

The plant stays compiled. What passes between the two in a tick is what a cable would
carry: pulses and contactor one way, pot counts and switches the other.
"""

from operator import attrgetter
from typing import Any

import numpy as np
from legcore.model import make
from legcore.step import step
from legsim import core
from legsim.compiled import native
from legsim.loop import LEG_TRACE, note, obey
from legsim.plant import plant_tick
from legsim.rig import Rig
from legsim.run import Walk
from legsim.sensors import sense_leg
from numpy.typing import NDArray

# What the trace takes from the core; the rest is the plant's.
_FROM_CORE = [name for name in LEG_TRACE.names or () if LEG_TRACE[name] == np.int32]
_core_part = attrgetter(*(name.replace("_count", ".count") for name in _FROM_CORE))
_FEET = ("left", "right")


@native
def obey_both(state: Any, lines: Any, wires: Any, i: int) -> None:
    """Let the wearer and the core's last outputs act on the plant."""
    state.walk_mps = lines[i].walk_mps
    obey(state.left, lines[i].left)
    obey(state.right, lines[i].right)
    state.contactor = wires[2]


@native
def read_both(state: Any, rig: Any, core_rig: Any, trace: Any, wires: Any, i: int) -> None:
    """Put the sensors' readings on the wires, and the plant's part into the trace."""
    sense_leg(state.left, rig, state, core_rig.left)
    sense_leg(state.right, rig, state, core_rig.right)
    wires[3], wires[4] = core_rig.left.thigh.count, core_rig.left.shank.count
    wires[5] = core_rig.left.switch
    wires[6], wires[7] = core_rig.right.thigh.count, core_rig.right.shank.count
    wires[8] = core_rig.right.switch
    trace[i].bus_V = state.bus_V
    note(trace[i].left, state.left, core_rig.left)
    note(trace[i].right, state.right, core_rig.right)


@native
def move_compiled(
    state: Any, rig: Any, core_rig: Any, lines: Any, trace: Any, wires: Any, i: int
) -> None:
    """All that a tick does before the core steps, in one call."""
    obey_both(state[0], lines, wires, i)
    plant_tick(state[0], rig[0], wires[0] * 1e-6, wires[1] * 1e-6)
    read_both(state[0], rig[0], core_rig[0], trace, wires, i)


class PlainLoop:
    """Like `legsim.run.Walk`: the same start, the same trace, but the core in plain Python."""

    def __init__(self, rig: Rig, lines: NDArray[np.void], seed: int) -> None:
        self.walk = Walk(rig, lines, seed)
        self.core: Any = make("Rig")
        core.from_record(self.walk.core, self.core)
        self.wires = np.zeros(9, np.int32)

    def move(self, i: int) -> None:
        """Move the plant on by one tick, between wires and wires."""
        walk = self.walk
        move_compiled(walk.state, walk.rig, walk.core, walk.lines, walk.trace, self.wires, i)

    def run(self) -> NDArray[np.void]:
        """Run to the end; returns the trace."""
        rig, wires, trace = self.core, self.wires, self.walk.trace
        left, right = rig.left, rig.right
        noted = []
        for i, arm in enumerate(self.walk.arm.tolist()):
            wires[:3] = left.pulse_us, right.pulse_us, rig.contactor
            self.move(i)
            (
                *_,
                left.thigh.count,
                left.shank.count,
                left.switch,
                right.thigh.count,
                right.shank.count,
                right.switch,
            ) = wires.tolist()
            rig.arm = arm
            step(rig)
            noted.append((_core_part(left), _core_part(right)))
        trace["arm"] = self.walk.arm
        columns = np.array(noted, np.int32).reshape(-1, len(_FEET), len(_FROM_CORE))
        for k, name in enumerate(_FROM_CORE):
            for side, foot in enumerate(_FEET):
                trace[foot][name] = columns[:, side, k]
        return trace
