"""The closed loop, compiled: control core and plant in turn, one tick after another."""

from typing import Any

import numpy as np

from legsim.board import board_tick, sense
from legsim.compiled import native
from legsim.plant import plant_tick
from legsim.strike import strike_tick

LEG_TRACE = np.dtype(
    [
        # As the core sees it.
        *[(name, np.int32) for name in ("thigh_count", "shank_count", "switch", "sole")],
        ("pressed", np.int32),
        *[(name, np.int32) for name in ("phase", "fault_bits", "fold_cdeg", "rate_cdps")],
        *[(name, np.int32) for name in ("setpoint_cdeg_q6", "drive_permille", "pulse_us")],
        # As it is.
        *[(name, np.float64) for name in ("thigh_rad", "shank_rad", "hip_m", "clearance_m")],
        *[(name, np.float64) for name in ("slack_m", "load_N", "tension_peak_N")],
        *[(name, np.float64) for name in ("current_A", "current_peak_A", "motor_radps")],
        *[(name, np.float64) for name in ("energy_J", "winding_K", "push", "raised")],
    ]
)
TRACE = np.dtype(
    [
        *[(name, np.int32) for name in ("arm", "contactor", "fault_bits", "stick_count")],
        ("bus_V", np.float64),
        ("stick", np.float64),
        ("left", LEG_TRACE),
        ("right", LEG_TRACE),
    ]
)


@native
def obey(state: Any, line: Any) -> None:
    """Let the wearer act on both legs as the script's line says, and stumble where they do."""
    state.walk_mps = line.walk_mps
    state.load_kg = line.load_kg
    state.stick = line.stick
    # A foot that is raised leaves its weight to the other one, unless that is up already.
    left_free = state.left.lifts * (1 - line.right.raised)
    right_free = state.right.lifts * (1 - line.left.raised) * (1 - left_free)
    # A stumble comes from the script, or strikes.
    left = max(state.left.stumble, line.left.stumble, right_free)
    right = max(state.right.stumble, line.right.stumble, left_free)
    obey_leg(state.left, line.left, left, right, left_free)
    obey_leg(state.right, line.right, right, left, right_free)


@native
def obey_leg(leg: Any, line: Any, stumble: float, other_stumble: float, free: float) -> None:
    """Let the wearer act on one leg; `free`: it is raised, whatever the script says."""
    steady = 1 - stumble
    leg.share = line.share * steady * (1 - other_stumble) + stumble
    leg.push = max(line.push, leg.lifts)
    leg.raised = max(line.raised * steady, free)
    leg.foot_x_m = line.foot_x_m
    leg.foot_x_mps = line.foot_x_mps
    leg.ground_m = line.ground_m


@native
def note(row: Any, leg: Any, core_leg: Any) -> None:
    """Write one leg's tick into the trace."""
    row.thigh_count = core_leg.thigh.count
    row.shank_count = core_leg.shank.count
    row.switch = core_leg.switch
    row.sole = core_leg.sole
    row.pressed = core_leg.pressed
    row.phase = core_leg.phase
    row.fault_bits = core_leg.fault_bits
    row.fold_cdeg = core_leg.fold_cdeg
    row.rate_cdps = core_leg.rate_cdps
    row.setpoint_cdeg_q6 = core_leg.setpoint_cdeg_q6
    row.drive_permille = core_leg.drive_permille
    row.pulse_us = core_leg.pulse_us
    row.thigh_rad = leg.thigh_rad
    row.shank_rad = leg.shank_rad
    row.hip_m = leg.hip_m
    row.clearance_m = leg.clearance_m
    row.slack_m = leg.slack_m
    row.load_N = leg.load_N
    row.tension_peak_N = leg.tension_peak_N
    row.current_A = leg.current_A
    row.current_peak_A = leg.current_peak_A
    row.motor_radps = leg.motor_radps
    row.energy_J = leg.energy_J
    row.winding_K = leg.winding_K
    row.push = leg.push
    row.raised = leg.raised


@native
def move(state: Any, rig: Any, core_rig: Any, line: Any) -> None:
    """Move wearer and plant on by one tick under the core's last outputs, and read them."""
    obey(state, line)
    state.contactor = core_rig.contactor
    left_us, right_us = core_rig.left.pulse_us, core_rig.right.pulse_us
    # No pulse at all is taken for neutral, at least until a controller notices.
    left_s = left_us * 1e-6 if left_us else rig.controller.neutral_s
    right_s = right_us * 1e-6 if right_us else rig.controller.neutral_s
    plant_tick(state, rig, left_s, right_s)
    sense(state, rig, core_rig)


@native
def run_ticks(
    core_rig: Any,
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
    """Run one tick for each line of the script, and fill as many rows of the trace.

    A tick is: troubles strike, the plant moves on under the last pulses, the sensors are
    read, the board steps the core. `core_rig` is a record of the core's "Rig" and `words`
    its memory, `fresh` and `sealed` as `board_tick` takes them; `state` is of STATE and
    `floats` its memory; `arm` is an array of 0 and 1, `troubles` one of TROUBLE.
    """
    for i in range(len(lines)):
        state.board.tick += 1
        for k in range(len(troubles)):
            strike_tick(troubles[k], core_rig, words, floats)
        move(state, rig, core_rig, lines[i])
        core_rig.arm = arm[i]
        board_tick(state, rig, core_rig, words, fresh, sealed)
        row = trace[i]
        row.arm = arm[i]
        row.contactor = core_rig.contactor
        row.fault_bits = core_rig.fault_bits
        row.stick_count = core_rig.stick_count
        row.bus_V = state.bus_V
        row.stick = state.stick
        note(row.left, state.left, core_rig.left)
        note(row.right, state.right, core_rig.right)
