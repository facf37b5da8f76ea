"""The closed loop of wings, compiled: control core and plant in turn, one tick after another."""

from typing import Any

import numpy as np

from legsim import core
from legsim.board import feed, ready
from legsim.compiled import native
from legsim.strike import strike_tick
from legsim.wing.plant import sense_wings, wings_tick

step_wings = core.compiled()["wing_step"].step_wings

# What the wearer does with one wing, one value per tick.
WING_LINE = np.dtype([("command", np.float64), ("load_kg", np.float64)])
WING_LINES = np.dtype([("left", WING_LINE), ("right", WING_LINE)])

_WING_TRACE = np.dtype(
    [
        # As the core sees it.
        *[(name, np.int32) for name in ("pot_count", "command_count", "asked", "phase")],
        *[(name, np.int32) for name in ("fault_bits", "fold_cdeg", "rate_cdps")],
        *[(name, np.int32) for name in ("setpoint_cdeg_q6", "drive_permille", "pulse_us")],
        # As it is.
        *[(name, np.float64) for name in ("lift_rad", "lift_radps", "load_kg", "command")],
        *[(name, np.float64) for name in ("up_N", "down_N", "up_peak_N", "down_peak_N")],
        *[(name, np.float64) for name in ("up_slack_m", "down_slack_m")],
        *[(name, np.float64) for name in ("current_A", "current_peak_A", "motor_radps")],
        *[(name, np.float64) for name in ("energy_J", "winding_K")],
    ]
)
WINGS_TRACE = np.dtype(
    [
        *[(name, np.int32) for name in ("arm", "contactor", "fault_bits")],
        ("bus_V", np.float64),
        ("left", _WING_TRACE),
        ("right", _WING_TRACE),
    ]
)


@native
def obey_wing(wing: Any, line: Any) -> None:
    """Let the wearer move one command, and take up or put down what hangs at the tip."""
    wing.command = line.command
    wing.load_kg = line.load_kg


@native
def note_wing(row: Any, wing: Any, core_wing: Any) -> None:
    """Write one wing's tick into the trace."""
    row.pot_count = core_wing.pot.count
    row.command_count = core_wing.command.count
    row.asked = core_wing.asked
    row.phase = core_wing.phase
    row.fault_bits = core_wing.fault_bits
    row.fold_cdeg = core_wing.fold_cdeg
    row.rate_cdps = core_wing.rate_cdps
    row.setpoint_cdeg_q6 = core_wing.setpoint_cdeg_q6
    row.drive_permille = core_wing.drive_permille
    row.pulse_us = core_wing.pulse_us
    row.lift_rad = wing.lift_rad
    row.lift_radps = wing.lift_radps
    row.load_kg = wing.load_kg
    row.command = wing.command
    row.up_N = wing.up_N
    row.down_N = wing.down_N
    row.up_peak_N = wing.up_peak_N
    row.down_peak_N = wing.down_peak_N
    row.up_slack_m = wing.up_slack_m
    row.down_slack_m = wing.down_slack_m
    row.current_A = wing.current_A
    row.current_peak_A = wing.current_peak_A
    row.motor_radps = wing.motor_radps
    row.energy_J = wing.energy_J
    row.winding_K = wing.winding_K


@native
def move_wings(state: Any, rig: Any, wings: Any, line: Any) -> None:
    """Move wearer and plant on by one tick under the core's last outputs, and read them."""
    obey_wing(state.left, line.left)
    obey_wing(state.right, line.right)
    state.contactor = wings.contactor
    left_us, right_us = wings.left.pulse_us, wings.right.pulse_us
    # No pulse at all is taken for neutral, at least until a controller notices.
    left_s = left_us * 1e-6 if left_us else rig.controller.neutral_s
    right_s = right_us * 1e-6 if right_us else rig.controller.neutral_s
    wings_tick(state, rig, left_s, right_s)
    sense_wings(state, rig, wings)


@native
def run_wings(
    wings: Any,
    words: Any,
    fresh: Any,
    sealed: Any,
    state: Any,
    floats: Any,
    rig: Any,
    lines: Any,
    arm: Any,
    troubles: Any,
    trace: Any,
) -> None:
    """Run one tick for each line of the script, as `legsim.loop.run_ticks` does for legs."""
    for i in range(len(lines)):
        state.board.tick += 1
        for k in range(len(troubles)):
            strike_tick(troubles[k], wings, words, floats)
        move_wings(state, rig, wings, lines[i])
        wings.arm = arm[i]
        if ready(state, rig, wings, words, fresh, sealed):
            step_wings(wings)
            feed(state.board, wings)
        row = trace[i]
        row.arm = arm[i]
        row.contactor = wings.contactor
        row.fault_bits = wings.fault_bits
        row.bus_V = state.bus_V
        note_wing(row.left, state.left, wings.left)
        note_wing(row.right, state.right, wings.right)
