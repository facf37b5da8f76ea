"""Energy, reckoned by hand from the motion: what nothing takes must still be there."""

from dataclasses import replace
from math import radians

import by_hand
import numpy as np
import pytest
from legsim.rig import Rig
from swing import DEMO, GASSED, SHIPPED_STEP_S, SOFT_SPRING, Motion, bare, swing

# Leg on the stand, swinging under its spring; and folded by a steady pull, as raised.
SWINGS = {
    "the soft spring alone": (bare(replace(DEMO, spring=SOFT_SPRING)), 52, 43, 0),
    "the demo rig's spring against a steady rope": (bare(), 40, 42, 600),
    "a gas spring beside it": (bare(GASSED), 40, 42, 700),
}


def energy_J(rig: Rig, motion: Motion, pull_N: float) -> np.ndarray:
    """Kinetic energy, weight, spring, and a steady pull's share, of a leg on the stand."""
    a, b = motion.thigh_rad, motion.shank_rad
    return (
        by_hand.kinetic_energy_J(rig, motion)
        + by_hand.weight_energy_J(rig, a, b, motion.hip_m)
        + by_hand.springs_energy_J(rig, a, b)
        + pull_N * by_hand.rope_m(rig, a, b)
    )


def drift(rig: Rig, motion: Motion, energy: np.ndarray) -> float:
    """Largest change of energy over the largest kinetic energy of the swing."""
    return float(abs(energy - energy[0]).max() / by_hand.kinetic_energy_J(rig, motion).max())


@pytest.mark.parametrize("name", SWINGS)
def test_an_undamped_leg_on_the_stand_keeps_its_energy_for_ten_seconds(name, record_property):
    # Theory: no force here takes energy away.
    rig, thigh_deg, shank_deg, pull_N = SWINGS[name]
    motion = swing(rig, radians(thigh_deg), radians(shank_deg), 10.0, pull_N=pull_N)
    lost = drift(rig, motion, energy_J(rig, motion, pull_N))
    record_property(f"energy drift, {name}", f"{lost:.1e} of the swing's")
    assert np.ptp(motion.shank_rad) > radians(20)
    assert lost < 1e-3


def test_a_leg_that_bears_the_whole_frame_bounces_without_loss(record_property):
    # Theory, as above; hip free, and the ground a spring. All within the stops, so that
    # these may stay where they are, and with the stirrup to keep the leg upright.
    quiet = bare()
    rig = replace(
        quiet,
        mechanism=replace(DEMO.mechanism, hinge_friction_Nm=0, hinge_damping_Nms=0),
        wearer=replace(quiet.wearer, stirrup_N_per_m=1500),
    )
    m, fold_rad = rig.mechanism, radians(74)
    reach_m = abs(m.thigh_length_m + m.shank_length_m * np.exp(1j * fold_rad))
    cosine = (m.thigh_length_m**2 + reach_m**2 - m.shank_length_m**2) / (
        2 * m.thigh_length_m * reach_m
    )
    thigh_rad = float(np.arccos(cosine))
    motion = swing(rig, thigh_rad, fold_rad - thigh_rad, 10.0, hip_m=reach_m - 0.006, share=1.0)
    foot = by_hand.foot(rig, motion.thigh_rad, motion.shank_rad, motion.hip_m)
    energy = (
        energy_J(rig, motion, 0)
        + m.carried_mass_kg * by_hand.G_MPS2 * motion.hip_m
        + rig.ground.stiffness_N_per_m / 2 * np.maximum(0, -foot.imag) ** 2
        + rig.wearer.stirrup_N_per_m / 2 * foot.real**2
    )
    lost = drift(rig, motion, energy)
    record_property("energy drift, bouncing on the ground", f"{lost:.1e} of the swing's")
    assert np.ptp(motion.hip_m) > 0.05
    assert (motion.thigh_rad + motion.shank_rad).min() > m.fold_extended_rad
    assert lost < 1e-3


@pytest.mark.parametrize("name", SWINGS)
def test_half_the_step_leaves_a_quarter_of_the_error(name):
    # Theory: half drift, kick, half drift is of second order.
    rig, thigh_deg, shank_deg, pull_N = SWINGS[name]
    lost = []
    for step_s in (SHIPPED_STEP_S, SHIPPED_STEP_S / 2):
        motion = swing(
            rig, radians(thigh_deg), radians(shank_deg), 3.0, pull_N=pull_N, step_s=step_s
        )
        lost.append(drift(rig, motion, energy_J(rig, motion, pull_N)))
    assert lost[0] / lost[1] == pytest.approx(4, rel=0.1)


def test_hinges_take_what_their_friction_says(record_property):
    # Theory: viscous friction takes c w^2, Coulomb friction its torque times |w|.
    coulomb_Nm, viscous_Nms, pull_N = 0.6, 0.3, 600
    rig = bare(hinge_friction_Nm=coulomb_Nm, hinge_damping_Nms=viscous_Nms)
    motion = swing(rig, radians(40), radians(42), 2.0, pull_N=pull_N)
    energy = energy_J(rig, motion, pull_N)
    taken_W = sum(
        coulomb_Nm * abs(speed) + viscous_Nms * speed**2
        for speed in (motion.thigh_radps, motion.shank_radps)
    )
    taken_J = np.trapezoid(taken_W, motion.time_s)
    record_property(
        "taken by hinges, over friction's work", f"{(energy[0] - energy[-1]) / taken_J:.4f}"
    )
    assert energy[0] - energy[-1] == pytest.approx(taken_J, rel=0.01)
