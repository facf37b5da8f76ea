"""Motion of one leg: its forces, its mass matrix, and one integration step.

Coordinates are thigh lean a, shank lean b and hip height z; the hip's forward motion is
taken out by letting the ground run backward. Knee block and foot plate stay level, so
they only translate. With A, B, C, S1, S2, M the inertias and moments of the rig record:

    kinetic = A a'^2/2 + B b'^2/2 - C cos(a+b) a' b' + S1 sin(a) a' z' + S2 sin(b) b' z' + M z'^2/2
    potential = g (M_leg z - S1 cos(a) - S2 cos(b)) + springs

and Lagrange's equations follow. SI units throughout.
"""

from math import cos, sin, sqrt
from typing import Any

from legsim.compiled import native
from legsim.linkage import GRAVITY_MPS2, span_of_cosine_m

# Coulomb friction changes sign over this speed: slow against any step, fast against creep.
FRICTION_RADPS = 0.03
_SEAL_MPS = 0.01
BRISTLE_N_PER_M = 20e3
BRISTLE_NS_PER_M = 100.0


@native
def smooth_sign(speed: float, scale: float) -> float:
    """Sign of `speed`, smooth below `scale`: Coulomb friction that an integrator can take."""
    return speed / sqrt(speed * speed + scale * scale)


@native
def one_sided(depth: float, speed: float, stiffness: float, damping: float) -> float:
    """Push of a stop entered by `depth` at `speed`; zero outside, and it never pulls."""
    if depth <= 0:
        return 0.0
    return max(0.0, stiffness * depth + damping * speed)


@native
def stops_Nm(m: Any, lean: float, lean_radps: float, low: float, high: float) -> float:
    """Torque of the two hard stops of one angle."""
    k, c = m.stop_stiffness_Nm, m.stop_damping_Nms
    return one_sided(low - lean, -lean_radps, k, c) - one_sided(lean - high, lean_radps, k, c)


@native
def drift(leg: Any, dt: float) -> None:
    """Move positions by their speeds."""
    leg.thigh_rad += leg.thigh_radps * dt
    leg.shank_rad += leg.shank_radps * dt
    leg.hip_m += leg.hip_mps * dt


@native
def pose(leg: Any, rig: Any) -> None:
    """Work out once what the forces need of the pose."""
    rope = rig.rope
    leg.sin_thigh, leg.cos_thigh = sin(leg.thigh_rad), cos(leg.thigh_rad)
    leg.sin_shank, leg.cos_shank = sin(leg.shank_rad), cos(leg.shank_rad)
    leg.sin_fold = leg.sin_thigh * leg.cos_shank + leg.cos_thigh * leg.sin_shank
    leg.cos_fold = leg.cos_thigh * leg.cos_shank - leg.sin_thigh * leg.sin_shank
    leg.rope_m = span_of_cosine_m(rope.thigh_anchor_m, rope.shank_anchor_m, leg.cos_fold)
    leg.rope_per_fold_m = -rope.thigh_anchor_m * rope.shank_anchor_m * leg.sin_fold / leg.rope_m


@native
def gas_spring_Nm(rig: Any, sin_fold: float, cos_fold: float, fold_v: float) -> float:
    """Torque of the gas spring on the fold, its seal's friction included; zero without one.

    Boyle's law at one temperature: force grows as the gas gets less room.
    """
    gas = rig.gas_spring
    if gas.force_extended_N == 0:
        return 0.0
    span_m = span_of_cosine_m(gas.thigh_anchor_m, gas.shank_anchor_m, cos_fold)
    per_fold_m = -gas.thigh_anchor_m * gas.shank_anchor_m * sin_fold / span_m
    pushed_in = min(max((rig.derived.gas_extended_m - span_m) / gas.stroke_m, 0.0), 1.0)
    force_N = gas.force_extended_N / (1 - (1 - 1 / gas.progression) * pushed_in)
    friction_N = gas.friction_N * smooth_sign(-per_fold_m * fold_v, _SEAL_MPS)
    return (force_N + friction_N) * per_fold_m


@native
def kick(leg: Any, rig: Any, state: Any, tackle_N: float, hip_N: float, dt: float) -> None:
    """Change the speeds of one leg by all its forces over `dt`.

    `tackle_N` is the pull between the rope anchors, `hip_N` a vertical force on the hip
    from outside. Forces that depend on speed use the speed foreseen for the middle of the
    step, which keeps the whole scheme (half drift, kick, half drift) of second order.
    `pose` must have been called since the last drift.
    """
    m, d = rig.mechanism, rig.derived
    a, b = leg.thigh_rad, leg.shank_rad
    a_v = leg.thigh_radps + leg.thigh_radps2 * dt / 2
    b_v = leg.shank_radps + leg.shank_radps2 * dt / 2
    z_v = leg.hip_mps + leg.hip_mps2 * dt / 2
    sin_a, cos_a, sin_b, cos_b = leg.sin_thigh, leg.cos_thigh, leg.sin_shank, leg.cos_shank
    sin_fold, cos_fold = leg.sin_fold, leg.cos_fold
    fold, fold_v = a + b, a_v + b_v
    thigh_m, shank_m = m.thigh_length_m, m.shank_length_m

    # Across the knee: spring, rope and the fold's own hard stops.
    s = rig.spring
    spring_m = span_of_cosine_m(s.thigh_anchor_m, s.shank_anchor_m, cos_fold)
    spring_N = max(0.0, s.force_extended_N + s.rate_N_per_m * (d.spring_extended_m - spring_m))
    fold_Nm = (
        -spring_N * s.thigh_anchor_m * s.shank_anchor_m * sin_fold / spring_m
        + gas_spring_Nm(rig, sin_fold, cos_fold, fold_v)
        - tackle_N * leg.rope_per_fold_m
        + stops_Nm(m, fold, fold_v, m.fold_extended_rad, m.fold_hard_stop_rad)
    )

    # Ground and stirrup, at the foot.
    height_m = leg.hip_m - thigh_m * cos_a - shank_m * cos_b - leg.ground_m
    height_v = z_v + thigh_m * sin_a * a_v + shank_m * sin_b * b_v
    x_m = shank_m * sin_b - thigh_m * sin_a
    x_v = shank_m * cos_b * b_v - thigh_m * cos_a * a_v
    g = rig.ground
    load_N = one_sided(-height_m, -height_v, g.stiffness_N_per_m, g.damping_Ns_per_m)
    slip_v = x_v + state.walk_mps
    grip_N = g.friction * load_N
    bristle_m = leg.bristle_m + slip_v * dt
    most_m = grip_N / BRISTLE_N_PER_M
    leg.bristle_m = min(max(bristle_m, -most_m), most_m)
    drag_N = -BRISTLE_N_PER_M * leg.bristle_m - BRISTLE_NS_PER_M * slip_v
    x_N = min(max(drag_N, -grip_N), grip_N)
    w = rig.wearer
    x_N -= w.stirrup_N_per_m * (x_m - leg.foot_x_m) + w.stirrup_Ns_per_m * (x_v - leg.foot_x_mps)
    z_N = load_N + leg.push * w.push_N + leg.foot_N

    # Generalised forces; the right-hand sides carry the centrifugal terms.
    coulomb, viscous = m.hinge_friction_Nm, m.hinge_damping_Nms
    q_a = (
        fold_Nm
        - GRAVITY_MPS2 * d.moment_thigh_kgm * sin_a
        - coulomb * smooth_sign(a_v, FRICTION_RADPS)
        - viscous * a_v
        + stops_Nm(m, a, a_v, m.thigh_min_rad, m.thigh_max_rad)
        + z_N * thigh_m * sin_a
        - x_N * thigh_m * cos_a
        - d.coupling_kgm2 * sin_fold * b_v * b_v
    )
    q_b = (
        fold_Nm
        - GRAVITY_MPS2 * d.moment_shank_kgm * sin_b
        - coulomb * smooth_sign(b_v, FRICTION_RADPS)
        - viscous * b_v
        + stops_Nm(m, b, b_v, m.shank_min_rad, m.shank_max_rad)
        + z_N * shank_m * sin_b
        + x_N * shank_m * cos_b
        - d.coupling_kgm2 * sin_fold * a_v * a_v
    )
    q_z = (
        z_N
        + hip_N
        - leg.hip_N
        - GRAVITY_MPS2 * (leg.share * (m.carried_mass_kg + state.load_kg) + d.leg_kg)
        - w.harness_Ns_per_m * z_v
        - d.moment_thigh_kgm * cos_a * a_v * a_v
        - d.moment_shank_kgm * cos_b * b_v * b_v
    )

    # Mass matrix, the hip eliminated first: on a stand it has no row of its own.
    m_aa, m_bb, m_ab = d.inertia_thigh_kgm2, d.inertia_shank_kgm2, -d.coupling_kgm2 * cos_fold
    m_az, m_bz = d.moment_thigh_kgm * sin_a, d.moment_shank_kgm * sin_b
    m_zz = d.hip_kg + d.leg_kg
    if state.stand == 0:
        m_aa -= m_az * m_az / m_zz
        m_bb -= m_bz * m_bz / m_zz
        m_ab -= m_az * m_bz / m_zz
        q_a -= m_az * q_z / m_zz
        q_b -= m_bz * q_z / m_zz
    determinant = m_aa * m_bb - m_ab * m_ab
    leg.thigh_radps2 = (m_bb * q_a - m_ab * q_b) / determinant
    leg.shank_radps2 = (m_aa * q_b - m_ab * q_a) / determinant
    leg.hip_mps2 = 0.0
    if state.stand == 0:
        leg.hip_mps2 = (q_z - m_az * leg.thigh_radps2 - m_bz * leg.shank_radps2) / m_zz
    leg.thigh_radps += leg.thigh_radps2 * dt
    leg.shank_radps += leg.shank_radps2 * dt
    leg.hip_mps += leg.hip_mps2 * dt
    leg.clearance_m = height_m
    leg.load_N = load_N
