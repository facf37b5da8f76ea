"""Fibre rope: what it may carry, and how far it stretches."""

from collections.abc import Iterable
from math import prod

# Breaking load over working load: the range recommended, and the strength that knots may
# leave [cordage-institute].
LEAST_DESIGN_FACTOR = 5
MOST_DESIGN_FACTOR = 12
KNOT_SHARE_LEFT = 0.5


def weakened_strength_N(breaking_N: float, shares_left: Iterable[float]) -> float:
    """Breaking load of a rope that knots and wear have weakened [cordage-institute].

    The new rope's breaking load times what each leaves, 0 to 1; a knot may leave only half.
    What weakens one and the same place multiplies; of two places only the weaker one counts.
    """
    shares = tuple(shares_left)
    if not all(0 <= share <= 1 for share in shares):
        raise ValueError("what is left of a rope's strength must be a share from 0 to 1")
    return breaking_N * prod(shares)


def working_load_N(strength_N: float, factor: float) -> float:
    """Tension that a rope may be used at, strength over design factor [cordage-institute].

    Factor 5 to 12; 5 only for someone who knows loads and risks well, 12 and more where people
    can be hurt, loads jerk, or knots are used.
    """
    return strength_N / factor


def design_factor(strength_N: float, tension_N: float) -> float:
    """Strength of a rope over the highest tension in it: definition [cordage-institute]."""
    return strength_N / tension_N


def rope_stretch_m(tension_N: float, length_m: float, EA_N: float) -> float:
    """How far a tension stretches a rope, F L / EA: definition.

    F tension, L length, EA the force that would double the length, from the maker's curve near
    working load. Straight and worked in; new braid gives more at first.
    """
    return tension_N * length_m / EA_N
