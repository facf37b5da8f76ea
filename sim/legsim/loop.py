"""The closed loop, compiled: control core and plant in turn, one tick after another."""

from typing import Any

import numpy as np

from legsim import core
from legsim.compiled import native
from legsim.plant import plant_tick
from legsim.sensors import sense_leg

_step = core.compiled()["step"].step

LEG_TRACE = np.dtype(
    [
        # As the core sees it.
        *[(name, np.int32) for name in ("thigh_count", "shank_count", "switch", "pressed")],
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
    [("arm", np.int32), ("bus_V", np.float64), ("left", LEG_TRACE), ("right", LEG_TRACE)]
)


@native
def obey(leg: Any, line: Any) -> None:
    """Let the wearer act on one leg as the script's line says."""
    leg.share = line.share
    leg.push = line.push
    leg.raised = line.raised
    leg.foot_x_m = line.foot_x_m
    leg.foot_x_mps = line.foot_x_mps


@native
def note(row: Any, leg: Any, core_leg: Any) -> None:
    """Write one leg's tick into the trace."""
    row.thigh_count = core_leg.thigh.count
    row.shank_count = core_leg.shank.count
    row.switch = core_leg.switch
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
def run_ticks(core_rig: Any, state: Any, rig: Any, lines: Any, arm: Any, trace: Any) -> None:
    """Run one tick for each line of the script, and fill as many rows of the trace.

    A tick is: the plant moves on under the last pulses, the sensors are read, the core
    steps. `core_rig` is a record of the core's "Rig", `arm` an array of 0 and 1.
    """
    for i in range(len(lines)):
        line = lines[i]
        state.walk_mps = line.walk_mps
        obey(state.left, line.left)
        obey(state.right, line.right)
        state.contactor = core_rig.contactor
        plant_tick(state, rig, core_rig.left.pulse_us * 1e-6, core_rig.right.pulse_us * 1e-6)
        sense_leg(state.left, rig, state, core_rig.left)
        sense_leg(state.right, rig, state, core_rig.right)
        core_rig.arm = arm[i]
        _step(core_rig)
        row = trace[i]
        row.arm = arm[i]
        row.bus_V = state.bus_V
        note(row.left, state.left, core_rig.left)
        note(row.right, state.right, core_rig.right)
