"""Where a leg comes to rest, and what its rope must pull: virtual work, by hand.

At rest the energy does not change with the pose. The energies are those of `by_hand`,
their derivatives differences of numbers; the simulated leg is left to swing itself out.
"""

from dataclasses import replace
from math import radians

import by_hand
import numpy as np
import pytest
from legsim.linkage import fold_for_lift_rad, rope_force_N, tackle_advantage
from legsim.rig import Rig
from scipy.optimize import brentq, root
from swing import DEMO, GASSED, NEXT_TO_NOTHING_KG, NO_SPRING, bare, swing

M = DEMO.mechanism
EXTENDED_RAD = M.fold_extended_rad
SOFT_STOP_RAD = M.fold_soft_stop_rad


def leans_rad(fold_rad: float) -> tuple[float, float]:
    """Leans with the foot straight below the hip: the foot of an upright thigh, turned."""
    upright = by_hand.foot(DEMO, 0.0, fold_rad)
    thigh_rad = float(np.angle(upright * 1j))
    return thigh_rad, fold_rad - thigh_rad


def height_m(fold_rad: float) -> float:
    """Hip over foot, the foot straight below."""
    return -float(by_hand.foot(DEMO, *leans_rad(fold_rad)).imag)


def spring_m(fold_rad: float) -> float:
    """Length of the spring."""
    return by_hand.span_m(DEMO.spring.thigh_anchor_m, DEMO.spring.shank_anchor_m, fold_rad, 0.0)


def rope_m(fold_rad: float) -> float:
    """Span of the tackle."""
    return by_hand.rope_m(DEMO, fold_rad, 0.0)


def slope(of, at: float) -> float:
    """Derivative by a central difference."""
    step = 1e-5
    return (of(at + step) - of(at - step)) / (2 * step)


def hand_rope_N(fold_rad: float, rig: Rig = DEMO) -> float:
    """Pull of the tackle that holds a raised leg: springs and weight, over its span."""

    def carried_J(fold_rad: float) -> float:
        leans = leans_rad(fold_rad)
        return by_hand.springs_energy_J(rig, *leans) + by_hand.weight_energy_J(rig, *leans)

    return -slope(carried_J, fold_rad) / slope(rope_m, fold_rad)


def damped(rig: Rig) -> Rig:
    """The rig without Coulomb friction, which would let it rest anywhere near, and damped."""
    mechanism = replace(rig.mechanism, hinge_friction_Nm=0, hinge_damping_Nms=5)
    return replace(rig, mechanism=mechanism)


def standing_J(fold_rad: float, own_weight: bool = True) -> float:
    """Energy of one leg that bears the whole frame."""
    hip_m = height_m(fold_rad)
    return (
        M.carried_mass_kg * by_hand.G_MPS2 * hip_m
        + own_weight * by_hand.weight_energy_J(DEMO, *leans_rad(fold_rad), hip_m)
        + by_hand.springs_energy_J(DEMO, fold_rad, 0.0)
    )


def hand_sink_m(own_weight: bool) -> float:
    """How far the hip sinks from the extended stop to where the energy is least."""
    rest_rad = brentq(
        lambda fold_rad: slope(lambda f: standing_J(f, own_weight), fold_rad),
        EXTENDED_RAD,
        SOFT_STOP_RAD,
    )
    return height_m(EXTENDED_RAD) - height_m(rest_rad)


def test_on_one_leg_the_frame_sinks_to_where_spring_and_weight_agree(record_property):
    start = leans_rad(radians(73))
    settled = swing(damped(DEMO), *start, 10.0, hip_m=height_m(radians(73)), share=1.0)
    below_m = -by_hand.foot(DEMO, settled.thigh_rad[-1], settled.shank_rad[-1]).imag
    sunk_m = height_m(EXTENDED_RAD) - below_m
    by_hand_m = hand_sink_m(own_weight=True)
    record_property("sink on one leg", f"{1000 * sunk_m:.2f} mm, by hand {1000 * by_hand_m:.2f} mm")
    assert abs(settled.hip_mps[-1]) < 1e-6
    assert sunk_m == pytest.approx(by_hand_m, abs=1e-4)


def test_on_two_legs_the_frame_rests_on_the_extended_stops():
    # Half the frame on each spring is less than the spring holds at its stop.
    settled = swing(damped(DEMO), *leans_rad(radians(65)), 10.0, hip_m=height_m(radians(65)))
    assert settled.thigh_rad[-1] + settled.shank_rad[-1] < EXTENDED_RAD


@pytest.mark.parametrize("pull_N", [350, 500, 700, 900])
def test_a_steady_pull_holds_a_free_leg_where_no_small_move_gains_energy(pull_N):
    def torques_Nm(leans):
        def energy_J(thigh_rad, shank_rad):
            return (
                by_hand.weight_energy_J(DEMO, thigh_rad, shank_rad)
                + by_hand.springs_energy_J(DEMO, thigh_rad, shank_rad)
                + pull_N * by_hand.rope_m(DEMO, thigh_rad, shank_rad)
            )

        thigh_rad, shank_rad = leans
        return (
            slope(lambda a: energy_J(a, shank_rad), thigh_rad),
            slope(lambda b: energy_J(thigh_rad, b), shank_rad),
        )

    rest = root(torques_Nm, (radians(20), radians(50))).x
    settled = swing(bare(hinge_damping_Nms=5), radians(40), radians(40), 15.0, pull_N=pull_N)
    assert (settled.thigh_rad[-1], settled.shank_rad[-1]) == pytest.approx(rest, abs=1e-5)


@pytest.mark.parametrize("rig", [DEMO, GASSED], ids=["coil spring", "with a gas spring"])
@pytest.mark.parametrize("fold_deg", [62, 70, 77, 85, 95])
def test_the_pull_found_by_virtual_work_holds_a_raised_leg_at_its_fold(rig, fold_deg):
    fold_rad = radians(fold_deg)
    pull_N = hand_rope_N(fold_rad, rig)
    quiet = bare(rig, hinge_damping_Nms=5)
    # The wearer's foot, held firmly, keeps the plate straight below the hip.
    firm = replace(quiet, wearer=replace(quiet.wearer, stirrup_N_per_m=2e4, stirrup_Ns_per_m=200))
    settled = swing(firm, *leans_rad(radians(75)), 15.0, pull_N=pull_N)
    assert settled.thigh_rad[-1] + settled.shank_rad[-1] == pytest.approx(fold_rad, abs=1e-4)
    assert rope_force_N(rig, fold_rad) == pytest.approx(pull_N, rel=1e-6)


def test_a_load_on_a_level_plate_turns_its_link_by_its_weight_alone():
    # W L sin(lean): 100 N, 0.30 m, 60 degrees make 25.981 N m, wherever on the plate the load
    # lies (Roberval's balance, in textbooks of mechanics since the 19th century).
    load_kg, thigh_m = 100 / by_hand.G_MPS2, 0.30
    masses = dict.fromkeys(
        ("thigh_links_mass_kg", "shank_links_mass_kg", "foot_plate_mass_kg"), NEXT_TO_NOTHING_KG
    )
    rig = bare(
        replace(DEMO, spring=NO_SPRING),
        **masses,
        knee_block_mass_kg=load_kg,
        thigh_length_m=thigh_m,
    )
    released = swing(rig, radians(60), 0.0, 0.001, step_s=0.001)
    angular_radps2 = released.thigh_radps[1] / 0.001
    assert load_kg * thigh_m**2 * angular_radps2 == pytest.approx(-25.981, abs=1e-3)


def test_the_demo_rig_has_the_leverage_that_was_reckoned_for_it():
    # Hand-checked figures of the demo rig: spring to foot 0.25, rope to spring 0.31, both
    # constant over the travel because each pair of anchors is about as long as the other.
    for fold_rad in np.linspace(EXTENDED_RAD, SOFT_STOP_RAD, 7):
        assert slope(spring_m, fold_rad) / slope(height_m, fold_rad) == pytest.approx(
            0.25, abs=2e-3
        )
        assert slope(spring_m, fold_rad) / slope(rope_m, fold_rad) == pytest.approx(0.31, abs=2e-3)


def test_the_demo_rig_needs_the_forces_that_were_reckoned_for_it():
    # Hand-checked figures of the demo rig at 80 mm of lift, quasi-static: spring 2.1 kN,
    # tackle 0.66 kN and 0.04 kN more for the weight that hangs on it, lead line 0.2 kN;
    # and 27 mm of sink on one leg under the carried mass alone.
    fold_rad = fold_for_lift_rad(M, 0.080)
    assert height_m(EXTENDED_RAD) - height_m(fold_rad) == pytest.approx(0.080, abs=1e-9)
    spring_N = -slope(lambda f: by_hand.springs_energy_J(DEMO, f, 0.0), fold_rad) / slope(
        spring_m, fold_rad
    )
    assert spring_N == pytest.approx(2100, rel=0.03)
    per_rope = slope(spring_m, fold_rad) / slope(rope_m, fold_rad)
    assert spring_N * per_rope == pytest.approx(660, rel=0.02)
    assert hand_rope_N(fold_rad) == pytest.approx(700, rel=0.02)
    lead_N = hand_rope_N(fold_rad) / tackle_advantage(4, DEMO.rope.sheave_efficiency)
    assert lead_N == pytest.approx(200, rel=0.05)
    assert hand_sink_m(own_weight=False) == pytest.approx(0.027, abs=1e-3)
