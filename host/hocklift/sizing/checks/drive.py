"""Checks of motor, speed controller and battery."""

from typing import Any

from hocklift.sizing import battery, controllers, heat
from hocklift.sizing.checks.check import Check
from hocklift.sizing.loads import Loads

# A foot should not move by more than this for one step of the pulse.
RESOLUTION_M = 1e-3


def loaded_V(loads: Any) -> float:
    """The battery's voltage down at its reserve, under the highest current."""
    return battery.loaded_voltage_V(
        loads.reserve_V, loads.lift_peak_A, loads.rig.battery.resistance_ohm
    )


def winding_rise_K(loads: Any) -> float:
    """How warm a winding is over the air when all the work is done."""
    drive = loads.rig.drive
    return heat.rise_after_K(
        loads.mean_square_A2 * drive.resistance_ohm,
        loads.iron_W,
        loads.work_s,
        drive.winding_J_per_K,
        drive.case_J_per_K,
        drive.winding_to_case_K_per_W,
        drive.case_to_air_K_per_W,
    ).winding_K


def _lower_s(loads: Loads) -> float:
    return loads.latency_s + loads.planned_s(loads.rig.control.lower_speed_radps)


def _stoop_speed_radps(loads: Loads) -> float:
    rig = loads.rig
    mean = (rig.wants.stoop_fold_rad - rig.mechanism.fold_extended_rad) / rig.wants.stoop_s
    # Half as fast again in its middle: a third of the time speeding up, a third slowing down.
    return 1.5 * mean * loads.motor_per_fold(rig.wants.stoop_fold_rad)


def _stoop_load_Nm(loads: Loads) -> float:
    return loads.motor_load_Nm(loads.stooping_line_N)


def _resolution_m(loads: Loads) -> float:
    rig = loads.rig
    c, m = rig.controller, rig.mechanism
    fold_rad = m.fold_extended_rad
    duty = controllers.duty_per_pulse_step(c.resolution_s, c.span_s, c.deadband_s)
    full_radps = loads.lift_point(fold_rad, 1.0).speed_radps / loads.motor_per_fold(fold_rad)
    step_mps = controllers.foot_speed_per_pulse_step_mps(
        duty, full_radps * loads.foot_lever_m(fold_rad)
    )
    return controllers.foot_travel_per_pulse_step_m(step_mps, c.frame_s)


CHECKS: tuple[Check, ...] = (
    Check(
        "motor",
        "lifting",
        "time to lift at most drive",
        "s",
        lambda loads: loads.fastest_lift_s,
        lambda loads: loads.rig.wants.lift_s,
        "motor-sheet",
        ("drive.gear_ratio", "control.lift_speed", "drive.speed_constant", "wants.lift"),
    ),
    Check(
        "motor",
        "lifting",
        "fastest moment of an even lift, against its speed there at most drive",
        "rpm",
        lambda loads: loads.lift_peak_radps,
        lambda loads: (
            loads.lift_point(loads.lift_fold_rad, loads.rig.control.drive_max).speed_radps
        ),
        "move-profiles",
        ("drive.gear_ratio", "drive.speed_constant", "wants.lift"),
    ),
    Check(
        "motor",
        "lowering",
        "time to lower as the controller does it",
        "s",
        _lower_s,
        lambda loads: loads.rig.wants.lower_s,
        "move-profiles",
        ("control.lower_speed", "wants.lower"),
    ),
    Check(
        "motor",
        "stooping",
        "speed into the stoop, against what it turns there at most drive",
        "rpm",
        _stoop_speed_radps,
        lambda loads: (
            loads.motor_point(_stoop_load_Nm(loads), loads.rig.control.drive_max).speed_radps
        ),
        "motor-sheet",
        ("wants.stoop", "drive.gear_ratio"),
    ),
    Check(
        "motor",
        "walking",
        "warmth of its winding over the air after one walk",
        "K",
        winding_rise_K,
        lambda loads: loads.rig.drive.winding_limit_K,
        "copper",
        ("drive.gear_ratio", "drive.resistance", "drive.case_to_air"),
    ),
    Check(
        "speed controller",
        "lifting",
        "highest current",
        "A",
        lambda loads: loads.lift_peak_A,
        lambda loads: loads.rig.controller.current_limit_A,
        "motor-sheet",
        ("controller.current_limit", "drive.gear_ratio"),
    ),
    Check(
        "speed controller",
        "lifting",
        "current to start under load, against what it gives while it guesses",
        "A",
        lambda loads: (
            loads.motor_load_Nm(loads.line_N(loads.tackle_N(loads.rig.mechanism.fold_extended_rad)))
            / loads.torque_Nm_per_A
        ),
        lambda loads: loads.rig.controller.start_current_A,
        "motor-sheet",
        ("drive.gear_ratio", "controller.start_current"),
    ),
    Check(
        "speed controller",
        "holding",
        "creep of a raised foot in one second while it brakes",
        "mm",
        lambda loads: loads.creep_mps * 1.0,
        lambda loads: loads.rig.wants.clearance_m * loads.rig.wants.clearance_tolerance,
        "motor-sheet",
        ("drive.gear_ratio", "controller.at_neutral"),
    ),
    Check(
        "speed controller",
        "lifting",
        "foot travel for one step of the pulse in one frame",
        "mm",
        _resolution_m,
        lambda loads: RESOLUTION_M,
        "definition",
        ("controller.resolution", "controller.frame"),
    ),
    Check(
        "battery",
        "lifting",
        "highest current",
        "A",
        lambda loads: loads.lift_peak_A,
        lambda loads: loads.rig.battery.current_limit_A,
        "definition",
        ("battery.current_limit",),
    ),
    Check(
        "battery",
        "lifting",
        "controller's low-voltage cut, against its voltage under load at the reserve",
        "V",
        lambda loads: loads.rig.controller.low_voltage_cut_V,
        loaded_V,
        "definition",
        ("battery.resistance", "controller.low_voltage_cut"),
    ),
    Check(
        "battery",
        "walking",
        "one walk against the walks of one charge",
        "",
        lambda loads: 1.0,
        lambda loads: loads.walks_per_charge,
        "definition",
        ("battery.capacity", "wants.walk"),
    ),
)
