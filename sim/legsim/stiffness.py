"""How long a step of the plant may be: its stiffest springs and dampers tell."""

from math import cos, sin

import numpy as np

from legsim.leg import BRISTLE_N_PER_M, BRISTLE_NS_PER_M, FRICTION_RADPS
from legsim.linkage import leans_under_hip_rad, span_m, span_per_fold_m
from legsim.records import derived
from legsim.rig import Rig

# A spring or damper must move its mass by less than this share of itself in one step. Past
# one the leg chatters, and friction, whose sign follows the motion, averages out; past two
# it flies apart.
SHARE = 0.5


def coarsest_substep_s(rig: Rig) -> float:
    """Longest step at which everything stiff in the plant is still followed."""
    m = rig.mechanism
    return min(
        _coarsest_s(rig, fold_rad) for fold_rad in (m.fold_extended_rad, m.fold_hard_stop_rad)
    )


def _coarsest_s(rig: Rig, fold_rad: float) -> float:
    """Longest step for one leg in one pose, its hip held."""
    m, rope, ground, wearer = rig.mechanism, rig.rope, rig.ground, rig.wearer
    d = derived(rig)
    thigh_rad, shank_rad = leans_under_hip_rad(m, fold_rad)
    along = -d["coupling_kgm2"] * cos(fold_rad)
    masses = np.array([[d["inertia_thigh_kgm2"], along], [along, d["inertia_shank_kgm2"]]])
    fold, thigh, shank = np.array([1.0, 1.0]), np.array([1.0, 0.0]), np.array([0.0, 1.0])
    foot_up = np.array([m.thigh_length_m * sin(thigh_rad), m.shank_length_m * sin(shank_rad)])
    foot_on = np.array([-m.thigh_length_m * cos(thigh_rad), m.shank_length_m * cos(shank_rad)])
    lever_m = span_per_fold_m(rope.thigh_anchor_m, rope.shank_anchor_m, fold_rad)
    span = span_m(rope.thigh_anchor_m, rope.shank_anchor_m, fold_rad)
    line_N_per_m = rope.line_EA_N / (rope.lead_length_m + rope.parts * span)
    # The tackle moves the line `parts` times as far, and pulls that much and more as strongly.
    rope_Nm = line_N_per_m * rope.parts * d["advantage_down"] * lever_m**2
    friction_Nms = m.hinge_friction_Nm / FRICTION_RADPS + m.hinge_damping_Nms
    stop = m.stop_stiffness_Nm, m.stop_damping_Nms
    # Stiffness, damping, and the direction of motion in thigh and shank lean that they act on.
    springs = (
        (rope_Nm, rope_Nm * rope.line_damping_s, fold),
        (*stop, fold),
        (*stop, thigh),
        (*stop, shank),
        (0.0, friction_Nms, thigh),
        (0.0, friction_Nms, shank),
        (ground.stiffness_N_per_m, ground.damping_Ns_per_m, foot_up),
        (BRISTLE_N_PER_M, BRISTLE_NS_PER_M, foot_on),
        (wearer.stirrup_N_per_m, wearer.stirrup_Ns_per_m, foot_on),
    )
    inverse = np.linalg.inv(masses)
    rates = []
    for stiffness, damping, direction in springs:
        per_mass = direction @ inverse @ direction
        rates += [np.sqrt(stiffness * per_mass), damping * per_mass]
    return float(SHARE / max(rates))
