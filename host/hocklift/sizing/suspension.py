"""What springs do at the foot and at the hips: rate, sink, frequency, keeping a leg upright."""

from math import pi, sin, sqrt

from legsim.linkage import GRAVITY_MPS2


def foot_force_N(spring_force_N: float, lever_ratio: float) -> float:
    """Force at the foot that a spring holds up, F i: definition, by virtual work.

    F spring force, i lever ratio: travel of the spring over travel of the foot.
    """
    return spring_force_N * lever_ratio


def foot_rate_N_per_m(spring_rate_N_per_m: float, lever_ratio: float) -> float:
    """Rate at the foot of a spring that works through a lever, k i^2 [wheel-rate].

    k spring rate, i lever ratio: travel of the spring over travel of the foot. The ratio must
    be constant over the travel, as it is where the leg hangs straight below the hip and spring
    and links make similar triangles.
    """
    return spring_rate_N_per_m * lever_ratio**2


def sink_m(load_N: float, preload_N: float, rate_N_per_m: float) -> float:
    """How far a preloaded spring gives way under a load, (W - F) / k: definition.

    W load, F preload, k rate, all three at the foot; zero while the load is below the preload.
    """
    return max(0.0, load_N - preload_N) / rate_N_per_m


def natural_frequency_Hz(rate_N_per_m: float, mass_kg: float) -> float:
    """Frequency at which a mass bounces on a spring, sqrt(k / m) / (2 pi) [wheel-rate].

    k rate under the mass, m mass; no damping. Only past the preload: before it nothing moves.
    """
    return sqrt(rate_N_per_m / mass_kg) / (2 * pi)


def hip_stiffness_Nm_per_rad(
    mass_kg: float, height_m: float, angle_rad: float, lean_rad: float
) -> float:
    """Stiffness that a sprung hip axis needs so that it gives way by no more than an angle.

    m g h sin(angle + lean) / angle: definition, balance of moments. Model: a mass m at height
    h above a passive axis. By the wearer's lean alone it would stand `lean` off the vertical,
    the spring relaxed; it tips further by `angle` until spring and weight balance. Side-lean
    and turn-out are each such an axis. Angle above 0; angle and lean together up to a right
    angle. Below m g h an axis would not even stand upright by itself.
    """
    if angle_rad <= 0:
        raise ValueError("a sprung axis must be allowed to give way by some angle above zero")
    return mass_kg * GRAVITY_MPS2 * height_m * sin(angle_rad + lean_rad) / angle_rad


def bush_stiffness_Nm_per_rad(spring_rate_N_per_m: float, radius_m: float) -> float:
    """Stiffness of an axis held by two springs, one either side at a radius, 2 k r^2.

    Definition, for small angles. k rate of each, r radius at which it works; both must stay
    loaded: with one of them slack only k r^2 is left.
    """
    return 2 * spring_rate_N_per_m * radius_m**2


def bush_angle_rad(torque_Nm: float, stiffness_Nm_per_rad: float) -> float:
    """Angle by which a torque turns a sprung axis, T / K: definition."""
    return torque_Nm / stiffness_Nm_per_rad


def bush_spring_rate_N_per_m(stiffness_Nm_per_rad: float, radius_m: float) -> float:
    """Rate of each of two springs that give an axis its stiffness, K / (2 r^2).

    Definition, the inverse of `bush_stiffness_Nm_per_rad`.
    """
    return stiffness_Nm_per_rad / (2 * radius_m**2)


def bush_preload_N(spring_rate_N_per_m: float, radius_m: float, angle_rad: float) -> float:
    """Force that each of two opposed springs needs so that neither goes slack, k r angle.

    Definition, for small angles. k rate of each, r radius at which it works, angle to the end
    of the motion, either way.
    """
    return spring_rate_N_per_m * radius_m * angle_rad
