"""From SI to the core's integers: every setting of a pair of wings, made from a rig.

What a wing has in common with a leg is made by `legsim.settings`, by the setting's name.
"""

from collections.abc import Callable
from math import copysign
from typing import Any

import numpy as np
from legcore.model import CALIBRATION, CALIBRATION_POINTS, FEEDFORWARD_POINTS, make
from legcore.validity import problem
from legcore.wing_model import POT_COMMAND, STICK_COMMAND, WING_SETTINGS

from legsim.sensors import FULL_SCALE
from legsim.settings import (
    PERMILLE_PER_CDEG,
    VALUES,
    SettingsError,
    calibrate,
    cdeg,
    staged_step_q6,
    usual_V,
    whole,
)
from legsim.wing.plant import COMMAND_HIGH, COMMAND_LOW
from legsim.wing.rig import WingRig
from legsim.wing.statics import carrying_Nm, lines_N


def table_lifts_rad(rig: WingRig) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Angles at which the feed-forward tables have their points."""
    return np.linspace(rig.wing.hard_lowered_rad, rig.wing.hard_raised_rad, FEEDFORWARD_POINTS)


def wing_hold_drive(rig: WingRig, lift_rad: float) -> float:
    """Drive, -1 to 1, that carries a wing and the share of its load reckoned with, at rest."""
    drive = rig.drive
    load_kg = rig.control.feed_load * rig.wants.load_kg
    up_N, down_N = lines_N(rig, lift_rad, carrying_Nm(rig, lift_rad, load_kg))
    gears = drive.gear_ratio * float(drive.mesh_efficiency**drive.gear_stages)
    torque_Nm = (up_N - down_N) * drive.drum_radius_m / gears
    current_A = torque_Nm * drive.speed_constant_radps_per_V
    current_A += copysign(drive.no_load_current_A / 2, torque_Nm)
    return current_A * drive.resistance_ohm / usual_V(rig)


def motor_per_lift(rig: WingRig) -> float:
    """Turns of the motor for each turn of the wing."""
    rope, drive = rig.rope, rig.drive
    return rope.parts * rope.quadrant_m / drive.drum_radius_m * drive.gear_ratio


def wing_drive_per_rate_s(rig: WingRig) -> float:
    """Drive, 0 to 1, for each rad/s of a wing: the motor's speed against the battery's voltage."""
    return motor_per_lift(rig) / rig.drive.speed_constant_radps_per_V / usual_V(rig)


_WING_VALUES: dict[str, Callable[[WingRig], float]] = {
    "command_kind": lambda r: STICK_COMMAND if r.control.command == "stick" else POT_COMMAND,
    "call_cdeg": lambda r: cdeg(r.control.call_rad),
    # Weight brings it there, without power.
    "rest_fold_cdeg": lambda r: 0.0,
    "follow_step_q6": lambda r: staged_step_q6(r, r.control.follow_speed_radps),
    "table_start_cdeg": lambda r: cdeg(table_lifts_rad(r)[0]),
    "table_step_cdeg": lambda r: cdeg(table_lifts_rad(r)[1] - table_lifts_rad(r)[0]),
    "lowered_cdeg": lambda r: cdeg(r.wing.lowered_rad),
    "raised_cdeg": lambda r: cdeg(r.wing.raised_rad),
    # Half way on to the hard stops, or the end stop's brake would be part of every hold.
    "fold_min_cdeg": lambda r: cdeg(r.wing.lowered_rad - r.wing.beyond_rad / 2),
    "fold_max_cdeg": lambda r: cdeg(r.wing.raised_rad + r.wing.beyond_rad / 2),
}


def core_wings(rig: WingRig) -> Any:
    """Build the control core's plain state object for a rig with wings, its settings filled in.

    Raises SettingsError when a value falls outside what the core can hold.
    """
    core: Any = make("Wings")  # type: ignore[no-untyped-call]  # the firmware has no annotations
    settings = core.settings
    rows = {row[0]: row for row in WING_SETTINGS}
    for name, row in rows.items():
        value = _WING_VALUES.get(name) or VALUES.get(name)
        if value is not None:
            setattr(settings, name, whole(row, value(rig)))
    for i, lift_rad in enumerate(table_lifts_rad(rig)):
        hold = 1000 * wing_hold_drive(rig, lift_rad)
        settings.hold_permille[i] = whole(rows["hold_permille"], hold)
        speed_q16 = wing_drive_per_rate_s(rig) * PERMILLE_PER_CDEG * 65536
        settings.speed_q16[i] = whole(rows["speed_q16"], speed_q16)
    w = rig.wing
    for side in ("left", "right"):
        calibrate(rig, getattr(settings, f"{side}_pot"), w.hard_lowered_rad, w.hard_raised_rad)
        _calibrate_command(rig, getattr(settings, f"{side}_command"))
    if wrong := problem(settings, "WingSettings"):  # type: ignore[no-untyped-call]  # as above
        raise SettingsError(f"the board would refuse these settings: {wrong}")
    return core


def _calibrate_command(rig: WingRig, cal: Any) -> None:
    """Fill the table of one command: a stick's speeds, still in its middle, or a pot's angles."""
    edge = rig.safety.stick_edge
    if rig.control.command == "stick":
        rest, zone = rig.sensors.stick_rest, rig.safety.stick_zone
        shares = [COMMAND_LOW, rest - zone, rest, rest + zone, COMMAND_HIGH]
        asked = [rig.control.follow_speed_radps * way for way in (-1, 0, 0, 0, 1)]
    else:
        shares = np.linspace(COMMAND_LOW, COMMAND_HIGH, CALIBRATION_POINTS).tolist()
        asked = np.linspace(rig.wing.lowered_rad, rig.wing.raised_rad, CALIBRATION_POINTS).tolist()
    rows = {row[0]: row for row in CALIBRATION}
    for i, (share, one) in enumerate(zip(shares, asked, strict=True)):
        cal.count[i] = whole(rows["count"], FULL_SCALE * share)
        cal.angle_cdeg[i] = whole(rows["angle_cdeg"], cdeg(one))
    cal.low_count = whole(rows["low_count"], FULL_SCALE * edge)
    cal.high_count = whole(rows["high_count"], FULL_SCALE * (1 - edge))
