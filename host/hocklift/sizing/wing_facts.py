"""Figures of a rig with wings that are good to know, as `facts.FACTS` of one with legs."""

from math import degrees, pi

from legsim.wing.statics import weight_Nm

from hocklift.sizing import drums, tackle
from hocklift.sizing.checks.line import DEAD_TURNS
from hocklift.sizing.facts import Fact
from hocklift.sizing.wing_loads import WingLoads


def _weight_Nm(loads: WingLoads) -> str:
    heaviest = max(weight_Nm(loads.rig, lift, loads.rig.wants.load_kg) for lift in loads.lifts_rad)
    return f"{heaviest:.1f} N·m"


def _tackle_efficiency(loads: WingLoads) -> str:
    parts, sheave = round(loads.rig.rope.parts), loads.rig.rope.sheave_efficiency
    hauling = tackle.hauling_efficiency(parts, sheave)
    letting_out = tackle.letting_out_efficiency(parts, sheave)
    return f"{parts} to 1, {100 * hauling:.0f} % and {100 * letting_out:.0f} %"


def _line_m(loads: WingLoads) -> str:
    rope = loads.rig.rope
    dead_m = DEAD_TURNS * 2 * pi * loads.rig.drive.drum_radius_m
    each_m = rope.lead_length_m + rope.parts * rope.tackle_m + loads.line_travel_m / 2 + dead_m
    return f"two of {each_m:.1f} m"


WING_FACTS = (
    Fact(
        "travel from lowered to raised", lambda loads: f"{degrees(loads.rig.wing.travel_rad):.0f}°"
    ),
    Fact("weight of wing and load about the hinge, the most", _weight_Nm),
    Fact(
        "upper line: raising, held, and the most while lowering",
        lambda loads: (
            f"{max(loads.lines_N(q, 1)[0] for q in loads.lifts_rad):.0f},"
            f" {loads.holding_line_N:.0f}"
            f" and {max(loads.lines_N(q, -1)[0] for q in loads.lifts_rad):.0f} N"
        ),
    ),
    Fact(
        "velocity ratio of each tackle, and its efficiency hauling and letting out",
        _tackle_efficiency,
    ),
    Fact("line to buy, knots not counted", _line_m),
    Fact(
        "turns of the drum from lowered to raised",
        lambda loads: f"{drums.drum_turns(loads.line_travel_m, loads.rig.drive.drum_radius_m):.1f}",
    ),
    Fact("turns of the motor for one of a wing", lambda loads: f"{loads.motor_per_lift:.0f}"),
    Fact(
        "current to hold, and to speed up the rotor on top of raising",
        lambda loads: f"{loads.hold_A:.1f} A and {loads.speeding_up_A:.1f} A",
    ),
    Fact(
        "what a controller without position sensors cannot do",
        lambda loads: (
            "hold at rest: a raised wing creeps down by"
            f" {degrees(loads.creep_radps):.1f}° a second while it brakes, until it is driven again"
            if loads.rig.controller.start_speed_radps > 0
            else "nothing of the kind: it has sensors"
        ),
    ),
)
