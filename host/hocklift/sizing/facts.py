"""Figures that are good to know though nothing is wrong with any value of them."""

from collections.abc import Callable
from math import degrees
from typing import NamedTuple

from legsim.linkage import height_m, spring_force_N

from hocklift.sizing import ropes, tackle
from hocklift.sizing.loads import Loads


class Fact(NamedTuple):
    """One figure: what it is, and how it reads for a rig."""

    what: str
    words: Callable[[Loads], str]


def _span(values: list[float]) -> str:
    low, high = min(values), max(values)
    return f"{low:.3f}" if f"{low:.3f}" == f"{high:.3f}" else f"{low:.3f} to {high:.3f}"


def _travel_mm(loads: Loads) -> float:
    m = loads.rig.mechanism
    return 1000 * (height_m(m, m.fold_extended_rad) - height_m(m, m.fold_soft_stop_rad))


def _tackle_efficiency(loads: Loads) -> float:
    rope = loads.rig.rope
    return tackle.hauling_efficiency(round(rope.parts), rope.sheave_efficiency)


def _stretch_mm(loads: Loads) -> float:
    rope = loads.rig.rope
    length_m = rope.lead_length_m + rope.parts * loads.rope_span_m(loads.lift_fold_rad)
    return 1000 * ropes.rope_stretch_m(loads.lifting_line_N, length_m, rope.line_EA_N)


FACTS = (
    Fact(
        "travel from the extended to the soft stop",
        lambda loads: f"{_travel_mm(loads):.0f} mm",
    ),
    Fact(
        "fold of a raised foot, and standing on one leg",
        lambda loads: (
            f"{degrees(loads.lift_fold_rad):.1f}° and"
            f" {degrees(loads.rest_fold_rad(loads.one_leg_kg)):.1f}°"
        ),
    ),
    Fact(
        "lever ratio, spring to foot",
        lambda loads: _span([loads.spring_lever(fold) for fold in loads.folds_rad]),
    ),
    Fact(
        "lever ratio, spring to rope",
        lambda loads: _span(
            [
                loads.spring_lever(fold) * loads.foot_lever_m(fold) / loads.rope_lever_m(fold)
                for fold in loads.folds_rad
            ]
        ),
    ),
    Fact(
        "spring force, foot raised",
        lambda loads: f"{spring_force_N(loads.rig, loads.lift_fold_rad):.0f} N",
    ),
    Fact(
        "pull of the tackle, foot raised",
        lambda loads: f"{loads.tackle_N(loads.lift_fold_rad):.0f} N",
    ),
    Fact(
        "lead line, hauling and let out",
        lambda loads: (
            f"{loads.line_N(loads.tackle_N(loads.lift_fold_rad)):.0f} N and"
            f" {loads.line_N(loads.tackle_N(loads.lift_fold_rad, -1), -1):.0f} N"
        ),
    ),
    Fact(
        "velocity ratio of the tackle, and its efficiency hauling",
        lambda loads: f"{loads.rig.rope.parts:.0f} to 1, {100 * _tackle_efficiency(loads):.0f} %",
    ),
    Fact("stretch of the line while hauling", lambda loads: f"{_stretch_mm(loads):.0f} mm"),
    Fact("turns of the drum, the most", lambda loads: f"{loads.lift_drum_turns:.1f}"),
    Fact(
        "motor at the top of a lift",
        lambda loads: (
            f"{loads.lift_point(loads.lift_fold_rad, 1.0).torque_Nm:.2f} N*m,"
            f" {loads.lift_point(loads.lift_fold_rad, 1.0).current_A:.1f} A"
        ),
    ),
    Fact(
        "current that speeds up the rotor, on top",
        lambda loads: f"{loads.speeding_up_A:.1f} A",
    ),
    Fact(
        "what a controller without position sensors cannot do",
        lambda loads: (
            "hold at rest: a raised foot creeps down by"
            f" {1000 * loads.creep_mps:.1f} mm/s while it brakes; start smoothly under load"
            if loads.rig.controller.start_speed_radps > 0
            else "nothing of the kind: it has sensors"
        ),
    ),
)
