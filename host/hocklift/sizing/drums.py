"""Rope on drums and sheaves: turns, layers, bending, friction."""

from math import exp, floor, pi

# Least diameter of a sheave or drum over that of a fibre rope, and the better one [toss].
LEAST_BEND_RATIO = 4
GOOD_BEND_RATIO = 8


def bend_ratio(sheave_diameter_m: float, rope_diameter_m: float) -> float:
    """Diameter of a sheave or drum over that of its rope, D / d: definition.

    D at the bottom of the groove. Fibre rope wants at least 4 to 6, better 6 to 8 [toss]; wire
    rope wants 20 and more.
    """
    return sheave_diameter_m / rope_diameter_m


def drum_turns(line_m: float, radius_m: float) -> float:
    """Turns of a drum that wind a length of line in one layer, L / (2 pi r): definition.

    r to the middle of the line.
    """
    return line_m / (2 * pi * radius_m)


def turns_per_layer(drum_width_m: float, rope_diameter_m: float) -> int:
    """How many turns lie side by side between a drum's flanges [drum-winder].

    Whole turns of width over rope diameter, laid evenly; braided rope under load flattens and
    needs more room.
    """
    turns = floor(drum_width_m / rope_diameter_m + 1e-9)
    if turns < 1:
        raise ValueError("the drum is narrower than its rope")
    return turns


def layer_radius_m(core_radius_m: float, rope_diameter_m: float, layer: int) -> float:
    """Radius to the middle of the line in a layer, R + (i - 1/2) d [drum-winder].

    R radius of the bare drum, d rope diameter, i layer, the first being 1. Layers lie on each
    other without sinking in, so this is the largest that can come about.
    """
    return core_radius_m + (layer - 0.5) * rope_diameter_m


def line_on_drum_m(
    core_radius_m: float, rope_diameter_m: float, drum_width_m: float, layers: int
) -> float:
    """Line that a drum holds in so many full layers [drum-winder].

    Sum over the layers of turns times 2 pi radius.
    """
    turns = turns_per_layer(drum_width_m, rope_diameter_m)
    radii_m = (layer_radius_m(core_radius_m, rope_diameter_m, i) for i in range(1, layers + 1))
    return sum(turns * 2 * pi * radius for radius in radii_m)


def layers_for_line(
    line_m: float, core_radius_m: float, rope_diameter_m: float, drum_width_m: float
) -> int:
    """How many layers a length of line makes, the last perhaps not full [drum-winder].

    Count the turns that stay on the drum as line too: two at least, better four, so that
    friction and not the knot holds (common practice, no source).
    """
    layers = 1
    while line_on_drum_m(core_radius_m, rope_diameter_m, drum_width_m, layers) < line_m:
        layers += 1
    return layers


def capstan_ratio(friction: float, wrap_rad: float) -> float:
    """Tension that a wrapped rope holds over that of its slack end, e^(mu beta) [eytelwein].

    mu friction between rope and drum, beta wrap; about to slip, rope without stiffness. The
    drum's radius does not matter.
    """
    return exp(friction * wrap_rad)
