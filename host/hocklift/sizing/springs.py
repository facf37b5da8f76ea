"""Coil and gas springs: rate, stress, height, energy."""

from math import pi

from legsim.linkage import GRAVITY_MPS2


def spring_index(wire_diameter_m: float, mean_diameter_m: float) -> float:
    """Index C = D / d of a coil spring: definition.

    d wire diameter, D mean coil diameter, which is the outside diameter less d. Coils are made
    from 4 to 12: below, the wire cracks; above, the spring tangles.
    """
    if not 0 < wire_diameter_m < mean_diameter_m:
        raise ValueError("the mean diameter of a coil must be larger than that of its wire")
    return mean_diameter_m / wire_diameter_m


def coil_rate_N_per_m(
    shear_modulus_Pa: float, wire_diameter_m: float, mean_diameter_m: float, active_coils: float
) -> float:
    """Rate of a coil spring of round wire, G d^4 / (8 D^3 n) [shigley].

    G shear modulus, d wire diameter, D mean coil diameter, n active coils. For an index of
    4 to 12 and three active coils or more; made springs lie within 5 to 10 %.
    """
    return shear_modulus_Pa * wire_diameter_m**4 / (8 * mean_diameter_m**3 * active_coils)


def wahl_factor(index: float) -> float:
    """Wahl's factor for curvature and direct shear, (4C - 1)/(4C - 4) + 0.615/C [wahl].

    C spring index, above 1, in use 4 to 12.
    """
    if index <= 1:
        raise ValueError("a spring's index must be above 1")
    return (4 * index - 1) / (4 * index - 4) + 0.615 / index


def coil_shear_stress_Pa(force_N: float, wire_diameter_m: float, mean_diameter_m: float) -> float:
    """Greatest shear stress in a coil spring's wire, K 8 F D / (pi d^3) [wahl].

    F force, D mean coil diameter, d wire diameter, K Wahl's factor; below yield.
    """
    factor = wahl_factor(spring_index(wire_diameter_m, mean_diameter_m))
    return factor * 8 * force_N * mean_diameter_m / (pi * wire_diameter_m**3)


def solid_height_m(wire_diameter_m: float, total_coils: float, *, ground: bool) -> float:
    """Height of a compression spring pressed coil on coil [shigley].

    d N with ground ends, d (N + 1) otherwise; d wire diameter, N coils in all, of which
    closed ends take two.
    """
    return wire_diameter_m * (total_coils if ground else total_coils + 1)


def spring_energy_J(rate_N_per_m: float, force_N: float, travel_m: float) -> float:
    """Work to squeeze a spring of constant rate by `travel_m`, F x + k x^2 / 2: definition.

    F force where the travel begins, k rate, x travel, all of it inside the spring's straight
    part. A negative travel gives, as a negative number, what the spring returns.
    """
    return force_N * travel_m + rate_N_per_m * travel_m**2 / 2


def fall_of_10kg_m(energy_J: float) -> float:
    """Height from which a 10 kg weight falls with this energy, E / (m g): definition.

    To picture what a squeezed spring does when it comes loose.
    """
    return energy_J / (10 * GRAVITY_MPS2)


def parallel_rate_N_per_m(first_N_per_m: float, second_N_per_m: float) -> float:
    """Rate of two springs side by side or one in the other, k1 + k2: definition."""
    return first_N_per_m + second_N_per_m


def series_rate_N_per_m(first_N_per_m: float, second_N_per_m: float) -> float:
    """Rate of two springs end to end, k1 k2 / (k1 + k2): definition. Both above zero."""
    return first_N_per_m * second_N_per_m / (first_N_per_m + second_N_per_m)


def hook_stress_Pa(
    force_N: float, wire_diameter_m: float, mean_diameter_m: float, hook_radius_m: float
) -> float:
    """Greatest tension in an extension spring's hook, F (K 16 D/(pi d^3) + 4/(pi d^2)) [shigley].

    K = (4C^2 - C - 1) / (4C (C - 1)) with C = 2 r / d; F force, d wire diameter, D mean coil
    diameter, r hook radius to the middle of the wire, larger than d/2.
    """
    c = 2 * hook_radius_m / wire_diameter_m
    if c <= 1:
        raise ValueError("a hook's radius must be more than half the wire's diameter")
    factor = (4 * c**2 - c - 1) / (4 * c * (c - 1))
    bending_Pa = factor * 16 * force_N * mean_diameter_m / (pi * wire_diameter_m**3)
    return bending_Pa + 4 * force_N / (pi * wire_diameter_m**2)


def gas_spring_force_N(
    force_extended_N: float, progression: float, stroke_m: float, squeezed_m: float
) -> float:
    """Force of a gas spring squeezed by x, F / (1 - (1 - 1/p) x / s) [gas-springs].

    F force extended, p progression: force at full stroke over F, above 1, mostly 1.2 to 1.4;
    s stroke, x from 0 to s. Boyle's law: slow, at one temperature, seal friction left out,
    which adds or takes 10 to 30 N in small ones (common practice, no source).
    """
    if not 0 <= squeezed_m <= stroke_m:
        raise ValueError("a gas spring can only be squeezed between nothing and its stroke")
    return force_extended_N / (1 - (1 - 1 / progression) * squeezed_m / stroke_m)
