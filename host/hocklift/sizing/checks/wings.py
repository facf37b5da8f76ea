"""Every check of a rig with wings: raising, holding and lowering its load."""

from math import pi
from typing import Any

from hocklift.sizing.checks import gears
from hocklift.sizing.checks.check import Check
from hocklift.sizing.checks.drive import loaded_V, winding_rise_K
from hocklift.sizing.checks.line import BENDS, DEAD_TURNS, one_layer_m, working_load_N
from hocklift.sizing.checks.pins import pin_checks
from hocklift.sizing.wing_loads import WingLoads

_TIMES = gears.Times("raising or lowering", "raising", "wants.raise")


def checks_of(rig: Any) -> list[Check]:
    """All checks that concern a rig with wings: the table, and two for each gear mesh."""
    return [*CHECKS, *gears.checks_of(rig, _TIMES)]


def _line_on_drum_m(loads: WingLoads) -> float:
    """Both lines' most, and the turns of each that stay: they share the drum's width."""
    dead_m = DEAD_TURNS * 2 * pi * loads.rig.drive.drum_radius_m
    # As one comes in the other goes out, so that together they are always one travel.
    return 2 * dead_m + loads.line_travel_m


CHECKS: tuple[Check, ...] = (
    Check(
        "upper rope",
        "raising",
        "tension, against its strength at the knots over the factor wanted",
        "N",
        lambda loads: loads.raising_line_N,
        working_load_N,
        "cordage-institute",
        ("rope.breaking", "rope.parts", "rope.quadrant"),
    ),
    Check(
        "lower rope",
        "lowering",
        "tension, against its strength at the knots over the factor wanted",
        "N",
        lambda loads: loads.lowering_line_N,
        working_load_N,
        "cordage-institute",
        ("rope.breaking", "rope.parts", "rope.quadrant"),
    ),
    Check(
        "both ropes",
        "raising",
        "what one hangs loose while the other one carries, at the tackle",
        "mm",
        lambda loads: loads.slack_m,
        lambda loads: loads.rig.wants.slack_m,
        "definition",
        ("rope.pretension", "rope.line_EA", "wants.slack"),
    ),
    *BENDS,
    Check(
        "drum",
        "always",
        "line of both ropes on the drum, two turns of each left on it, against one layer",
        "mm",
        _line_on_drum_m,
        one_layer_m,
        "drum-winder",
        ("drive.drum_width", "drive.drum_radius", "rope.parts"),
    ),
    Check(
        "motor",
        "raising",
        "time to raise, as the controller does it or at most drive",
        "s",
        lambda loads: loads.fastest_raise_s,
        lambda loads: loads.rig.wants.raise_s,
        "motor-sheet",
        ("control.follow_speed", "drive.gear_ratio", "wants.raise"),
    ),
    Check(
        "motor",
        "lowering",
        "time to lower, as the controller does it",
        "s",
        lambda loads: loads.planned_s(),
        lambda loads: loads.rig.wants.lower_s,
        "move-profiles",
        ("control.follow_speed", "wants.lower"),
    ),
    Check(
        "motor",
        "raising",
        "fastest moment of an even raise, against its speed there at most drive",
        "rpm",
        lambda loads: loads.lift_peak_radps,
        lambda loads: min(
            loads.raise_point(lift, loads.rig.control.drive_max).speed_radps
            for lift in loads.lifts_rad
        ),
        "move-profiles",
        ("drive.gear_ratio", "drive.speed_constant", "wants.raise"),
    ),
    Check(
        "motor",
        "working",
        "warmth of its winding over the air at the end",
        "K",
        winding_rise_K,
        lambda loads: loads.rig.drive.winding_limit_K,
        "copper",
        ("drive.gear_ratio", "drive.resistance", "drive.case_to_air", "wants.cycles"),
    ),
    Check(
        "speed controller",
        "raising",
        "highest current",
        "A",
        lambda loads: loads.lift_peak_A,
        lambda loads: loads.rig.controller.current_limit_A,
        "motor-sheet",
        ("controller.current_limit", "drive.gear_ratio"),
    ),
    Check(
        "speed controller",
        "holding",
        "current to start under load, against what it gives while it guesses",
        "A",
        lambda loads: (
            max(loads.shaft_Nm(lift, 1) for lift in loads.lifts_rad) / loads.torque_Nm_per_A
        ),
        lambda loads: loads.rig.controller.start_current_A,
        "motor-sheet",
        ("drive.gear_ratio", "controller.start_current"),
    ),
    Check(
        "speed controller",
        "holding",
        "creep of a raised wing in one second while it brakes",
        "deg",
        lambda loads: loads.creep_radps * 1.0,
        lambda loads: loads.rig.wants.drift_rad,
        "motor-sheet",
        ("drive.gear_ratio", "controller.at_neutral"),
    ),
    Check(
        "battery",
        "raising",
        "highest current, both wings at once",
        "A",
        lambda loads: 2 * loads.lift_peak_A,
        lambda loads: loads.rig.battery.current_limit_A,
        "definition",
        ("battery.current_limit",),
    ),
    Check(
        "battery",
        "raising",
        "controller's low-voltage cut, against its voltage under load at the reserve",
        "V",
        lambda loads: loads.rig.controller.low_voltage_cut_V,
        loaded_V,
        "definition",
        ("battery.resistance", "controller.low_voltage_cut"),
    ),
    Check(
        "battery",
        "working",
        "all the work wanted, against what one charge lasts for",
        "",
        lambda loads: 1.0,
        lambda loads: loads.walks_per_charge,
        "definition",
        ("battery.capacity", "wants.work", "wants.cycles"),
    ),
    *pin_checks("hinge pin", "hinge_pin", lambda loads: loads.hinge_N, "raising"),
)
