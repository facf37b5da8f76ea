"""Checks of rope, sheaves and drum."""

from math import pi

from hocklift.sizing import drums, ropes
from hocklift.sizing.checks.check import Check
from hocklift.sizing.loads import Loads
from hocklift.sizing.power import Power

# Turns that stay on a drum, so that friction and not the knot holds (common practice, no
# source).
DEAD_TURNS = 2


def working_load_N(loads: Power) -> float:
    """Tension that a rope may bear, by its strength at the knots and the factor wanted."""
    rope = loads.rig.rope
    strength_N = ropes.weakened_strength_N(rope.breaking_N, [rope.knot_share])
    return ropes.working_load_N(strength_N, loads.rig.wants.rope_factor)


def _line_on_drum_m(loads: Loads) -> float:
    """The most that is ever wound in, and what stays on the drum."""
    dead_m = DEAD_TURNS * 2 * pi * loads.rig.drive.drum_radius_m
    return dead_m + loads.wound_m(max(loads.lift_fold_rad, loads.rig.wants.stoop_fold_rad))


def one_layer_m(loads: Power) -> float:
    """Line that one layer of the drum takes."""
    drive, rope = loads.rig.drive, loads.rig.rope
    core_m = drive.drum_radius_m - rope.diameter_m / 2
    return drums.line_on_drum_m(core_m, rope.diameter_m, drive.drum_width_m, 1)


def _bend_ratio(diameter_m: float, loads: Power) -> float:
    return drums.bend_ratio(diameter_m - loads.rig.rope.diameter_m, loads.rig.rope.diameter_m)


# Of any rig.
BENDS: tuple[Check, ...] = (
    Check(
        "sheaves",
        "always",
        "least bend for fibre rope, against sheave over rope",
        "",
        lambda loads: drums.LEAST_BEND_RATIO,
        lambda loads: _bend_ratio(loads.rig.rope.sheave_m, loads),
        "toss",
        ("rope.sheave", "rope.diameter"),
    ),
    Check(
        "drum",
        "always",
        "least bend for fibre rope, against drum over rope",
        "",
        lambda loads: drums.LEAST_BEND_RATIO,
        lambda loads: _bend_ratio(2 * loads.rig.drive.drum_radius_m, loads),
        "toss",
        ("drive.drum_radius", "rope.diameter"),
    ),
)

CHECKS: tuple[Check, ...] = (
    Check(
        "rope",
        "lifting or stooping",
        "tension, against its strength at the knots over the factor wanted",
        "N",
        lambda loads: loads.line_peak_N,
        working_load_N,
        "cordage-institute",
        ("rope.breaking", "rope.parts"),
    ),
    *BENDS,
    Check(
        "drum",
        "lifting or stooping",
        "line on the drum, two turns left on it, against what one layer takes",
        "mm",
        _line_on_drum_m,
        one_layer_m,
        "drum-winder",
        ("drive.drum_width", "drive.drum_radius", "rope.parts"),
    ),
)
