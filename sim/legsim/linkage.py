"""Geometry and statics of one leg: where knee and foot are, how long spring and rope.

Axes: x forward, z up, hip at the origin. Thigh lean `a` and shank lean `b` are measured
from vertical; the knee lies behind the hip, the foot ahead of the knee. The angle at
the knee between the links is pi - (a + b), so spring and rope see only the fold a + b.
All lengths in m, angles in rad, forces in N.
"""

from math import cos, sin, sqrt

import numpy as np

from legsim.compiled import native
from legsim.rig import Mechanism, Rig

GRAVITY_MPS2 = 9.80665  # standard gravity, CGPM 1901


@native
def span_of_cosine_m(anchor_a_m: float, anchor_b_m: float, cos_fold: float) -> float:
    """Distance between two anchors on either side of the knee: the law of cosines."""
    return sqrt(
        anchor_a_m * anchor_a_m + anchor_b_m * anchor_b_m + 2 * anchor_a_m * anchor_b_m * cos_fold
    )


def span_m(anchor_a_m: float, anchor_b_m: float, fold_rad: float) -> float:
    """Distance between two anchors on either side of the knee, by fold."""
    return float(span_of_cosine_m(anchor_a_m, anchor_b_m, cos(fold_rad)))


def span_per_fold_m(anchor_a_m: float, anchor_b_m: float, fold_rad: float) -> float:
    """Derivative of `span_m` by fold, m/rad; negative, since folding draws anchors together."""
    return -anchor_a_m * anchor_b_m * sin(fold_rad) / span_m(anchor_a_m, anchor_b_m, fold_rad)


def leans_under_hip_rad(mechanism: Mechanism, fold_rad: float) -> tuple[float, float]:
    """Thigh and shank lean at which the foot stands straight below the hip."""
    thigh_m, shank_m = mechanism.thigh_length_m, mechanism.shank_length_m
    thigh_rad = np.arctan2(shank_m * sin(fold_rad), thigh_m + shank_m * cos(fold_rad))
    return float(thigh_rad), float(fold_rad - thigh_rad)


def height_m(mechanism: Mechanism, fold_rad: float) -> float:
    """Height of the hip over the foot pivot, the foot straight below the hip.

    Hip and foot are then two anchors at the links' ends, so this is a span.
    """
    return span_m(mechanism.thigh_length_m, mechanism.shank_length_m, fold_rad)


def fold_for_lift_rad(mechanism: Mechanism, lift_m: float) -> float:
    """Fold that shortens the extended leg by `lift_m`, the foot straight below the hip."""
    thigh_m, shank_m = mechanism.thigh_length_m, mechanism.shank_length_m
    height = height_m(mechanism, mechanism.fold_extended_rad) - lift_m
    cosine = (height**2 - thigh_m**2 - shank_m**2) / (2 * thigh_m * shank_m)
    if height <= 0 or not -1 <= cosine <= 1:
        raise ValueError("the links cannot make a leg that short")
    return float(np.arccos(cosine))


def spring_force_N(rig: Rig, fold_rad: float) -> float:
    """Force of the coil spring along its axis, pushing the anchors apart."""
    spring = rig.spring
    squeezed_m = span_m(
        spring.thigh_anchor_m, spring.shank_anchor_m, rig.mechanism.fold_extended_rad
    ) - span_m(spring.thigh_anchor_m, spring.shank_anchor_m, fold_rad)
    return max(0.0, spring.force_extended_N + spring.rate_N_per_m * squeezed_m)


def gas_spring_force_N(rig: Rig, fold_rad: float) -> float:
    """Force of the gas spring along its axis, friction left out; zero where there is none.

    Boyle's law at one temperature: F / (1 - (1 - 1/progression) x / stroke).
    """
    gas = rig.gas_spring
    squeezed_m = span_m(
        gas.thigh_anchor_m, gas.shank_anchor_m, rig.mechanism.fold_extended_rad
    ) - span_m(gas.thigh_anchor_m, gas.shank_anchor_m, fold_rad)
    pushed_in = min(max(squeezed_m / gas.stroke_m, 0.0), 1.0)
    return gas.force_extended_N / (1 - (1 - 1 / gas.progression) * pushed_in)


def springs_Nm(rig: Rig, fold_rad: float) -> float:
    """Torque of both springs on the fold; positive, it extends the leg. Virtual work."""
    spring, gas = rig.spring, rig.gas_spring
    return -(
        spring_force_N(rig, fold_rad)
        * span_per_fold_m(spring.thigh_anchor_m, spring.shank_anchor_m, fold_rad)
        + gas_spring_force_N(rig, fold_rad)
        * span_per_fold_m(gas.thigh_anchor_m, gas.shank_anchor_m, fold_rad)
    )


def rope_force_N(rig: Rig, fold_rad: float, moving: int = 0) -> float:
    """Force of the whole tackle that carries a raised leg at `fold_rad`.

    Virtual work over the fold, the foot kept straight below the hip: the tackle's pull,
    the springs' push, the weight of knee, shank and foot hanging from the hip, and dry
    friction against slow motion: `moving` 1 folds the leg, -1 extends it, 0 leaves
    friction out.
    """
    rope, gas = rig.rope, rig.gas_spring
    rope_m = -span_per_fold_m(rope.thigh_anchor_m, rope.shank_anchor_m, fold_rad)
    weight_Nm = (
        lifted_energy_J(rig, fold_rad + 1e-6) - lifted_energy_J(rig, fold_rad - 1e-6)
    ) / 2e-6
    # Both joints' friction acts on its own lean, and the leans add up to the fold.
    friction_Nm = rig.mechanism.hinge_friction_Nm
    if gas.force_extended_N > 0:
        friction_Nm -= gas.friction_N * span_per_fold_m(
            gas.thigh_anchor_m, gas.shank_anchor_m, fold_rad
        )
    return (springs_Nm(rig, fold_rad) + weight_Nm + moving * friction_Nm) / rope_m


def lifted_energy_J(rig: Rig, fold_rad: float) -> float:
    """Potential energy of one leg's moving parts below the hip, the foot straight below it."""
    m = rig.mechanism
    thigh_rad, shank_rad = leans_under_hip_rad(m, fold_rad)
    knee_m = m.thigh_length_m * cos(thigh_rad)
    foot_m = knee_m + m.shank_length_m * cos(shank_rad)
    moment_kgm = (
        m.thigh_links_mass_kg * knee_m / 2
        + m.knee_block_mass_kg * knee_m
        + m.shank_links_mass_kg * (knee_m + foot_m) / 2
        + m.foot_plate_mass_kg * foot_m
    )
    return -GRAVITY_MPS2 * moment_kgm


def tackle_advantage(parts: int, sheave_efficiency: float) -> float:
    """Force of the tackle over tension in its lead line when hauling.

    E + E^2 + ... + E^n with the lead line leaving the upper block. Source: Pipeline Rules
    of Thumb Handbook, the section on block and tackle. Letting out, put 1/E for E.
    """
    return sum(sheave_efficiency**i for i in range(1, parts + 1))
