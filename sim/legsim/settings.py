"""From SI to the core's integers: every setting of the control core, made from a rig.

This is the one border where units change on their way to the board.
"""

from collections.abc import Callable
from math import exp, floor, pi
from typing import Any

import numpy as np
from legcore.model import (
    CALIBRATION,
    CALIBRATION_POINTS,
    FEEDFORWARD_POINTS,
    LONG_ROUND_TICKS,
    SETTINGS,
    VISIT_TICKS,
    make,
)
from legcore.validity import problem

from legsim.heat import COPPER_PER_K
from legsim.linkage import (
    fold_for_lift_rad,
    leans_under_hip_rad,
    rope_force_N,
    span_per_fold_m,
    tackle_advantage,
)
from legsim.rig import Rig
from legsim.sensors import FULL_SCALE
from legsim.tables import STAGES

_CDEG_PER_RAD = 18000 / pi
PERMILLE_PER_CDEG = 1000 / _CDEG_PER_RAD
# What a cell gives in the middle of its charge: the voltage the feed-forward reckons with.
_CELL_V = 3.8


class SettingsError(ValueError):
    """A rig value that the control core cannot hold: which setting, what it needs."""


def cdeg(rad: float) -> float:
    """An angle in the core's unit."""
    return rad * _CDEG_PER_RAD


def _ticks(rig: Rig, seconds: float) -> float:
    return seconds / rig.control.period_s


def _visit_s(rig: Rig) -> float:
    """From one visit of a leg to the next."""
    return rig.control.period_s * VISIT_TICKS


def _step_q6(rig: Rig, radps: float) -> float:
    return cdeg(radps) * _visit_s(rig) * 64


def _alpha_q8(rig: Rig, time_constant_s: float) -> float:
    """Share of a step that a first-order low-pass takes in one visit."""
    if time_constant_s == 0:
        return 256
    return max(1, 256 * (1 - exp(-_visit_s(rig) / time_constant_s)))


def table_folds_rad(rig: Rig) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Folds at which the feed-forward tables have their points."""
    m = rig.mechanism
    return np.linspace(m.fold_extended_rad, m.fold_hard_stop_rad, FEEDFORWARD_POINTS)


def hold_drive(rig: Rig, fold_rad: float) -> float:
    """Drive, 0 to 1, that carries a raised leg's spring and weight at rest."""
    drive, rope = rig.drive, rig.rope
    advantage = tackle_advantage(round(rope.parts), rope.sheave_efficiency)
    line_N = rope_force_N(rig, fold_rad) / advantage
    gears = drive.gear_ratio * float(drive.mesh_efficiency**drive.gear_stages)
    torque_Nm = max(0.0, line_N) * drive.drum_radius_m / gears
    current_A = torque_Nm * drive.speed_constant_radps_per_V + drive.no_load_current_A / 2
    return current_A * drive.resistance_ohm / usual_V(rig)


def drive_per_rate_s(rig: Rig, fold_rad: float) -> float:
    """Drive, 0 to 1, for each rad/s of fold: the motor's speed against the battery's voltage."""
    rope, drive = rig.rope, rig.drive
    span_m = -span_per_fold_m(rope.thigh_anchor_m, rope.shank_anchor_m, fold_rad)
    motor_per_fold = rope.parts * span_m / drive.drum_radius_m * drive.gear_ratio
    return motor_per_fold / drive.speed_constant_radps_per_V / usual_V(rig)


def pot_count_of(rig: Rig, lean_rad: float) -> float:
    """Reading of a perfect pot at a lean."""
    s = rig.sensors
    return (0.5 + (lean_rad - s.pot_centre_rad) / s.pot_travel_rad) * FULL_SCALE


def _pot_counts(rig: Rig, turn_rad: float) -> float:
    """Counts for a turn of a pot; at least one, or its own noise would count."""
    return max(1, turn_rad / rig.sensors.pot_travel_rad * FULL_SCALE)


def _middle_skew_rad(rig: Rig) -> float:
    """Thigh lean less shank lean, the foot below the hip, half way between the fold's stops."""
    m = rig.mechanism
    thigh_rad, shank_rad = leans_under_hip_rad(m, (m.fold_extended_rad + m.fold_hard_stop_rad) / 2)
    return thigh_rad - shank_rad


def _stage(rig: Rig) -> int:
    return [stage.name for stage in STAGES].index(rig.control.stage)


def staged_step_q6(rig: Any, radps: float) -> float:
    """A speed's step each visit, or what the rig's stage of commissioning allows, rounded down."""
    return min(
        _step_q6(rig, radps),
        floor(_step_q6(rig, STAGES[_stage(rig)].speed_cdps / _CDEG_PER_RAD)),
    )


def usual_V(rig: Any) -> float:
    """The battery's voltage that the core reckons with, of a rig of either kind."""
    voltage_V: float = rig.battery.cells * _CELL_V
    return voltage_V


def _full_drive_A(rig: Rig) -> float:
    """Current of the motor at rest under full drive, if nothing limited it."""
    return usual_V(rig) / rig.drive.resistance_ohm


def _no_load_back_V(rig: Rig) -> float:
    """Back-EMF of the motor running free."""
    return rig.drive.no_load_V - rig.drive.no_load_current_A * rig.drive.resistance_ohm


def _round_s(rig: Rig) -> float:
    """Time in which the core has looked at everything once, heat included."""
    return rig.control.period_s * LONG_ROUND_TICKS


# Setting -> its value from a rig, before rounding. Arrays and calibrations follow below. Those
# that a wing has by the same name are made from the same keys of its own rig.
VALUES: dict[str, Callable[[Any], float]] = {
    "visit_hz": lambda r: 1 / _visit_s(r),
    "angle_alpha_q8": lambda r: _alpha_q8(r, r.control.angle_filter_s),
    "rate_alpha_q8": lambda r: _alpha_q8(r, r.control.rate_filter_s),
    "debounce_ticks": lambda r: _ticks(r, r.control.debounce_s),
    "lift_fold_cdeg": lambda r: cdeg(fold_for_lift_rad(r.mechanism, r.wants.clearance_m)),
    "rest_fold_cdeg": lambda r: cdeg(r.mechanism.fold_extended_rad + r.control.rest_margin_rad),
    "arrive_cdeg": lambda r: cdeg(r.control.arrive_rad),
    "lift_step_q6": lambda r: staged_step_q6(r, r.control.lift_speed_radps),
    "lower_step_q6": lambda r: staged_step_q6(r, r.control.lower_speed_radps),
    "release_step_q6": lambda r: staged_step_q6(r, r.control.release_speed_radps),
    "accel_step_q6": lambda r: _step_q6(r, r.control.accel_radps2 * _visit_s(r)),
    "lag_cdeg": lambda r: cdeg(r.control.lag_rad),
    "hold_ticks": lambda r: _ticks(r, r.control.hold_time_s),
    "down_ticks": lambda r: _ticks(r, r.control.down_time_s),
    "stoop_fold_cdeg": lambda r: cdeg(r.wants.stoop_fold_rad),
    "step_fold_cdeg": lambda r: cdeg(
        r.mechanism.fold_extended_rad + r.control.rest_margin_rad + r.control.stoop_margin_rad
    ),
    "stoop_step_q6": lambda r: staged_step_q6(r, r.control.stoop_speed_radps),
    "stoop_accel_q6": lambda r: max(1, _step_q6(r, r.control.stoop_accel_radps2 * _visit_s(r))),
    "stoop_ticks": lambda r: _ticks(r, r.control.stoop_time_s),
    "tired_mK": lambda r: r.drive.winding_limit_K * r.safety.tired * 1000,
    "apart_cdeg": lambda r: cdeg(r.safety.apart_rad),
    "apart_ticks": lambda r: _ticks(r, r.safety.apart_time_s),
    "keep_cdeg": lambda r: cdeg(r.control.keep_rad),
    # What starts the motor, and what the stooped leg asks of it besides.
    "keep_permille": lambda r: (
        1000 * (r.controller.start_duty + hold_drive(r, r.wants.stoop_fold_rad))
    ),
    "stick_span_count": lambda r: FULL_SCALE * (r.sensors.stick_throw - r.safety.stick_zone),
    "stick_curve_q8": lambda r: 256 * r.control.stick_curve,
    "kp_q16": lambda r: r.control.kp_per_rad * PERMILLE_PER_CDEG * 65536,
    "ki_q16": lambda r: r.control.ki_per_rad_s * PERMILLE_PER_CDEG * 65536 * _visit_s(r),
    "kd_q16": lambda r: r.control.kd_s_per_rad * PERMILLE_PER_CDEG * 65536,
    "integral_permille": lambda r: r.control.integral * 1000,
    "table_start_cdeg": lambda r: cdeg(r.mechanism.fold_extended_rad),
    "table_step_cdeg": lambda r: cdeg(table_folds_rad(r)[1] - table_folds_rad(r)[0]),
    "fold_min_cdeg": lambda r: cdeg(r.mechanism.fold_extended_rad),
    "fold_max_cdeg": lambda r: cdeg(r.mechanism.fold_soft_stop_rad),
    "thigh_min_cdeg": lambda r: cdeg(r.mechanism.thigh_min_rad + r.control.joint_margin_rad),
    "thigh_max_cdeg": lambda r: cdeg(r.mechanism.thigh_max_rad - r.control.joint_margin_rad),
    "shank_min_cdeg": lambda r: cdeg(r.mechanism.shank_min_rad + r.control.joint_margin_rad),
    "shank_max_cdeg": lambda r: cdeg(r.mechanism.shank_max_rad - r.control.joint_margin_rad),
    "stop_gain_q8": lambda r: 256 * 1000 / cdeg(r.control.stop_zone_rad),
    "stop_ahead_q10": lambda r: r.control.stop_ahead_s * 1024,
    "drive_max_permille": lambda r: min(
        r.control.drive_max * 1000, STAGES[_stage(r)].drive_permille
    ),
    "drive_min_permille": lambda r: r.control.drive_min * 1000,
    "slew_permille": lambda r: r.control.slew_per_s * _visit_s(r) * 1000,
    "pulse_neutral_us": lambda r: r.controller.neutral_s * 1e6,
    "pulse_deadband_us": lambda r: r.controller.deadband_s * 1e6,
    "pulse_span_us": lambda r: r.controller.span_s * 1e6,
    "slack_ticks": lambda r: _ticks(r, r.control.slack_time_s),
    "arm_ticks": lambda r: _ticks(r, r.control.arm_time_s),
    "stage": _stage,
    "pot_ticks": lambda r: _ticks(r, r.safety.pot_time_s),
    "jump_count": lambda r: _pot_counts(r, r.safety.pot_jump_rad),
    "frozen_cdeg": lambda r: cdeg(r.safety.frozen_rad),
    "frozen_count": lambda r: _pot_counts(r, r.safety.frozen_pot_rad),
    "skew_cdeg": lambda r: cdeg(_middle_skew_rad(r)),
    "skew_most_cdeg": lambda r: cdeg(r.safety.skew_rad),
    "skew_ticks": lambda r: _ticks(r, r.safety.skew_time_s),
    "stuck_ticks": lambda r: _ticks(r, r.safety.stuck_time_s),
    "chatter_most": lambda r: r.safety.chatter,
    "unseen_lifts": lambda r: r.safety.unseen_lifts,
    "weight_ticks": lambda r: _ticks(r, r.safety.weight_time_s),
    "asked_ticks": lambda r: _ticks(r, r.safety.asked_time_s),
    "unborne_ticks": lambda r: _ticks(r, r.safety.unborne_time_s),
    "hanging_cdeg": lambda r: cdeg(r.safety.hanging_rad),
    "hanging_ticks": lambda r: _ticks(r, r.safety.hanging_time_s),
    "sunk_cdeg": lambda r: cdeg(r.safety.sunk_rad),
    "sunk_ticks": lambda r: _ticks(r, r.safety.sunk_time_s),
    "stall_drive_permille": lambda r: r.safety.stall_drive * 1000,
    "stall_move_cdeg": lambda r: cdeg(r.safety.stall_move_rad),
    "stall_ticks": lambda r: min(
        # Rounded down, since what rounds up would be over the stage.
        _ticks(r, r.safety.stall_time_s),
        floor(_ticks(r, STAGES[_stage(r)].stall_ms / 1000)),
    ),
    "against_cdps": lambda r: cdeg(r.safety.against_radps),
    "against_ticks": lambda r: _ticks(r, r.safety.against_time_s),
    "rate_most_cdps": lambda r: cdeg(r.safety.rate_radps),
    "rate_ticks": lambda r: _ticks(r, r.safety.rate_time_s),
    "adrift_cdeg": lambda r: cdeg(r.safety.adrift_rad),
    "adrift_ticks": lambda r: _ticks(r, r.safety.adrift_time_s),
    "push_cdeg": lambda r: cdeg(r.safety.push_rad),
    "push_ticks": lambda r: _ticks(r, r.safety.push_time_s),
    "stop_margin_cdeg": lambda r: cdeg(r.safety.stop_margin_rad),
    "stop_ticks": lambda r: _ticks(r, r.safety.stop_time_s),
    "battery_least_mV": lambda r: r.battery.cells * r.safety.battery_V_per_cell * 1000,
    "battery_ticks": lambda r: _ticks(r, r.safety.battery_time_s),
    "supply_least_mV": lambda r: r.safety.supply_V * 1000,
    "supply_ticks": lambda r: _ticks(r, r.safety.supply_time_s),
    "stick_low_count": lambda r: FULL_SCALE * r.safety.stick_edge,
    "stick_high_count": lambda r: FULL_SCALE * (1 - r.safety.stick_edge),
    "stick_centre_count": lambda r: FULL_SCALE * r.sensors.stick_rest,
    "stick_zone_count": lambda r: FULL_SCALE * r.safety.stick_zone,
    "stick_ticks": lambda r: _ticks(r, r.safety.stick_time_s),
    "host_ticks": lambda r: _ticks(r, r.safety.host_time_s),
    "late_most": lambda r: r.safety.late,
    "hot_mK": lambda r: r.drive.winding_limit_K * 1000,
    "usual_mV": lambda r: usual_V(r) * 1000,
    "heat_doubt_permille": lambda r: r.safety.heat_doubt * 1000,
    # Of a motor alone on full drive, the current that turns its rotor dies away in this time.
    "heat_accel_q8": lambda r: min(
        4096,
        256
        * r.drive.rotor_inertia_kgm2
        * r.drive.resistance_ohm
        * r.drive.speed_constant_radps_per_V**2
        / (_round_s(r) / 2),
    ),
    "heat_most_permille": lambda r: 1000 * min(1, r.controller.current_limit_A / _full_drive_A(r)),
    # A hot winding resists and heats more: reckoned with as if it were at its limit already.
    "heat_copper_q6": lambda r: (
        _full_drive_A(r) ** 2
        * (r.drive.resistance_ohm * (1 + COPPER_PER_K * r.drive.winding_limit_K))
        * 64e-3
    ),
    "heat_turn_q8": lambda r: r.drive.no_load_current_A * usual_V(r) / 2 * 256,
    "heat_turn2_q16": lambda r: (
        r.drive.no_load_current_A * usual_V(r) ** 2 / (2 * _no_load_back_V(r)) * 65536e-3
    ),
    "heat_warm_q8": lambda r: 256 * 256 * _round_s(r) / r.drive.winding_J_per_K,
    "heat_case_q8": lambda r: 256 * 256 * _round_s(r) / r.drive.case_J_per_K,
    "heat_cross_q12": lambda r: (
        256 * 4096 * _round_s(r) / (r.drive.winding_J_per_K * r.drive.winding_to_case_K_per_W)
    ),
    "heat_share_q8": lambda r: 256 * min(1, r.drive.winding_J_per_K / r.drive.case_J_per_K),
    "heat_cool_q12": lambda r: (
        256 * 4096 * _round_s(r) / (r.drive.case_J_per_K * r.drive.case_to_air_K_per_W)
    ),
}


def core_rig(rig: Rig) -> Any:
    """Build the control core's plain state object for a rig, its settings filled in.

    Raises SettingsError when a value falls outside what the core can hold.
    """
    core: Any = make("Rig")  # type: ignore[no-untyped-call]  # the firmware has no annotations
    settings = core.settings
    for row in SETTINGS:
        if row[0] in VALUES:
            setattr(settings, row[0], whole(row, VALUES[row[0]](rig)))
    rows = {row[0]: row for row in SETTINGS}
    for i, fold_rad in enumerate(table_folds_rad(rig)):
        settings.hold_permille[i] = whole(rows["hold_permille"], 1000 * hold_drive(rig, fold_rad))
        settings.speed_q16[i] = whole(
            rows["speed_q16"], drive_per_rate_s(rig, fold_rad) * PERMILLE_PER_CDEG * 65536
        )
    m = rig.mechanism
    for side in ("left", "right"):
        calibrate(rig, getattr(settings, f"{side}_thigh"), m.thigh_min_rad, m.thigh_max_rad)
        calibrate(rig, getattr(settings, f"{side}_shank"), m.shank_min_rad, m.shank_max_rad)
    if wrong := problem(settings):  # type: ignore[no-untyped-call]  # as above
        raise SettingsError(f"the board would refuse these settings: {wrong}")
    return core


def calibrate(rig: Any, cal: Any, low_rad: float, high_rad: float) -> None:
    """Fill one calibration with what perfect pots would give."""
    rows = {row[0]: row for row in CALIBRATION}
    for i, lean_rad in enumerate(np.linspace(low_rad, high_rad, CALIBRATION_POINTS)):
        cal.count[i] = whole(rows["count"], pot_count_of(rig, lean_rad))
        cal.angle_cdeg[i] = whole(rows["angle_cdeg"], cdeg(lean_rad))
    margin_rad = rig.safety.pot_margin_rad
    cal.low_count = whole(rows["low_count"], pot_count_of(rig, low_rad - margin_rad))
    cal.high_count = whole(rows["high_count"], pot_count_of(rig, high_rad + margin_rad))


def whole(row: tuple[Any, ...], value: float) -> int:
    """Round to the nearest integer, within the range that the core declares."""
    name, unit, low, high = row[:4]
    whole = round(value)
    if not low <= whole <= high:
        raise SettingsError(
            f"the control core's {name} would be {whole} {unit}; it can hold {low} to {high}"
        )
    return whole
