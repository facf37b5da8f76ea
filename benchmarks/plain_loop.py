"""The closed loop with the core as plain Python, beside `legsim.run` where all is compiled.

The plant stays compiled. What passes between the two in a tick is what a cable would carry:
the board's readings one way, its outputs the other. The board itself is always well here.
"""

from operator import attrgetter
from typing import Any

import numpy as np
from legcore.model import make
from legcore.step import step
from legsim import core
from legsim.compiled import native
from legsim.loop import move, note
from legsim.rig import Rig
from legsim.run import Walk
from numpy.typing import NDArray


def _of_both_legs(*names: str) -> tuple[str, ...]:
    return tuple(f"{leg}.{name}" for leg in ("left", "right") for name in names)


# What `legsim.board` writes into the core before each tick, and what anybody reads after it.
READINGS = (
    *("stop", "battery_mV", "supply_mV", "stick_count", "host"),
    *_of_both_legs("thigh.count", "shank.count", "switch", "sole"),
)
OUTPUTS = (
    *("contactor", "fault_bits"),
    *_of_both_legs("pressed", "phase", "fault_bits", "fold_cdeg", "rate_cdps"),
    *_of_both_legs("setpoint_cdeg_q6", "drive_permille", "pulse_us"),
)


def _word(path: str) -> int:
    """Place of one integer in the core's memory."""
    place, record = 0, core.dtype("Rig")
    for name in path.split("."):
        record, offset = (record.fields or {})[name][:2]
        place += offset
    return place // 4


@native
def move_compiled(state: Any, rig: Any, core_rig: Any, lines: Any, i: int) -> None:
    """All that a tick does before the core steps, in one call."""
    move(state[0], rig[0], core_rig[0], lines[i])


@native
def note_compiled(state: Any, core_rig: Any, trace: Any, i: int) -> None:
    """Write the tick into the trace, as `legsim.loop` does it."""
    row = trace[i]
    row.arm = core_rig[0].arm
    row.contactor = core_rig[0].contactor
    row.fault_bits = core_rig[0].fault_bits
    row.stick_count = core_rig[0].stick_count
    row.bus_V = state[0].bus_V
    row.stick = state[0].stick
    note(row.left, state[0].left, core_rig[0].left)
    note(row.right, state[0].right, core_rig[0].right)


class PlainLoop:
    """Like `legsim.run.Walk`: the same start, the same trace, but the core in plain Python."""

    def __init__(self, rig: Rig, lines: NDArray[np.void], seed: int) -> None:
        # The walk's own record of the core only passes readings and outputs on.
        self.walk = Walk(rig, lines, seed)
        self.core: Any = make("Rig")
        core.from_record(self.walk.core, self.core)

    def move(self, i: int) -> None:
        """Move the plant on by one tick, between outputs and readings."""
        walk = self.walk
        move_compiled(walk.state, walk.rig, walk.core, walk.lines, i)

    def run(self) -> NDArray[np.void]:
        """Run to the end; returns the trace."""
        walk, rig = self.walk, self.core
        read, written = ([_word(path) for path in paths] for paths in (READINGS, OUTPUTS))
        outputs = attrgetter(*OUTPUTS)
        # Each reading's owner and name: "left.thigh.count" is `count` of the left thigh.
        inputs = [
            (attrgetter(owner)(rig) if owner else rig, name)
            for owner, _, name in (path.rpartition(".") for path in READINGS)
        ]
        for i, arm in enumerate(walk.arm.tolist()):
            self.move(i)
            for (owner, name), value in zip(inputs, walk.words[read].tolist(), strict=True):
                setattr(owner, name, value)
            rig.arm = walk.core["arm"][0] = arm
            step(rig)
            walk.words[written] = outputs(rig)
            note_compiled(walk.state, walk.core, walk.trace, i)
        return walk.trace
