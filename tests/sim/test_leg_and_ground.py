"""What the leg meets: stops and ground that push and never pull, friction, the stand."""

from math import radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim.figures import leg_figures
from legsim.leg import one_sided, smooth_sign
from legsim.plant import plant_tick, start_state
from legsim.records import rig_record
from legsim.run import Walk
from legsim.wearer import metronome_raises, script
from rigs import DEMO, FEET, PERIOD_S, changed, gait_of, struck, walk

anything = st.floats(-100, 100)
STEPPING = walk(seconds=10.0)


@given(anything, anything, st.floats(0, 1e5), st.floats(0, 1e3))
def test_a_stop_pushes_where_it_is_entered_and_never_pulls(depth, speed, stiffness, damping):
    push = one_sided(depth, speed, stiffness, damping)
    assert push >= 0
    if depth <= 0:
        assert push == 0


@given(st.floats(-100, 100), st.floats(1e-3, 1))
def test_friction_is_against_motion_and_never_more_than_its_torque(speed, scale):
    assert abs(smooth_sign(speed, scale)) <= 1
    assert smooth_sign(speed, scale) * speed >= 0


@pytest.mark.parametrize("foot", FEET)
def test_the_ground_bears_a_foot_only_while_it_is_down_and_never_holds_it_back(foot):
    load_N = STEPPING[foot]["load_N"]
    up = STEPPING[foot]["clearance_m"] > 0
    assert load_N.min() >= 0
    assert up.sum() > 100
    # The load is noted before the step that moves the foot: one millimetre of difference.
    assert not load_N[STEPPING[foot]["clearance_m"] > 1e-3].any()


def test_standing_feet_bear_the_frame_and_both_legs():
    standing = STEPPING[60:200]
    m = DEMO.mechanism
    leg_kg = (
        m.thigh_links_mass_kg + m.knee_block_mass_kg + m.shank_links_mass_kg + m.foot_plate_mass_kg
    )
    weight_N = 9.80665 * (m.carried_mass_kg + 2 * leg_kg)
    borne_N = standing["left"]["load_N"] + standing["right"]["load_N"]
    assert borne_N.mean() == pytest.approx(weight_N, rel=1e-3)


def test_the_other_foot_bears_nearly_all_while_one_is_raised():
    m = DEMO.mechanism
    up = (STEPPING["left"]["clearance_m"] > 0.05).nonzero()[0]
    assert STEPPING["right"]["load_N"][up].mean() > 9.80665 * m.carried_mass_kg


def test_all_weight_falls_on_the_leg_that_a_wearer_stumbles_onto():
    def stumble(walk: Walk) -> None:
        walk.state["left"]["stumble"] = 1.0

    standing = Walk(DEMO, script(DEMO, [], 4.0), 1)
    fallen = struck(standing, (2.0, stumble))[-100:]
    m = DEMO.mechanism
    assert fallen["left"]["load_N"].mean() == pytest.approx(
        9.80665 * (m.carried_mass_kg + m.leg_mass_kg), rel=0.02
    )
    assert fallen["right"]["load_N"].mean() == pytest.approx(9.80665 * m.leg_mass_kg, rel=0.02)


@pytest.mark.parametrize(("force", "more"), [("foot_N", -1), ("hip_N", 1)])
def test_a_push_from_below_takes_load_off_a_foot_and_one_from_above_adds_to_it(force, more):
    def push(walk: Walk) -> None:
        walk.state["left"][force] = 50.0

    trace = struck(Walk(DEMO, script(DEMO, [], 4.0), 1), (2.0, push))
    load_N = trace["left"]["load_N"]
    assert load_N[-100:].mean() - load_N[400:500].mean() == pytest.approx(50 * more, rel=0.02)


def test_a_foot_comes_down_on_its_own_bump_and_stands_on_it():
    rig = changed(ground={"bump_m": 0.015})
    raises = metronome_raises(rig, 20.0)
    lines = script(rig, raises, 20.0, 5)
    trace = Walk(rig, lines, 5).run()
    m = rig.mechanism
    for leg, foot in enumerate(FEET):
        one = trace[foot]
        sole_m = one["hip_m"] - (
            m.thigh_length_m * np.cos(one["thigh_rad"])
            + m.shank_length_m * np.cos(one["shank_rad"])
        )
        for step in (one for one in raises if one.leg == leg):
            standing = round((step.down_s + 0.3) / PERIOD_S)
            assert one["load_N"][standing] > 100
            # On its bump, but for what the ground gives under the load.
            given_m = one["load_N"][standing] / rig.ground.stiffness_N_per_m
            bump_m = lines[foot]["ground_m"][standing]
            assert sole_m[standing] == pytest.approx(bump_m - given_m, abs=0.001)


@pytest.mark.parametrize("make", [metronome_raises, gait_of], ids=["metronome", "gait"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_on_bumps_of_15_mm_every_step_is_made_without_a_fault(make, seed):
    rig = changed(ground={"bump_m": 0.015})
    trace = walk(rig, 60.0, seed, make(rig, 60.0))
    for foot in FEET:
        leg = leg_figures(trace, foot, rig)
        assert leg.steps_made == leg.steps_asked > 12
        assert not leg.faults


@pytest.mark.parametrize("substep_s", [DEMO.control.substep_s, 0.002, 0.0005])
def test_a_tick_lasts_one_period_however_many_substeps_it_has(substep_s):
    # A rig let go in mid-air is its own clock: it falls by g t^2 / 2.
    rig = changed(control={"substep_s": substep_s}, wearer={"harness_Ns_per_m": 0.0})
    state, record = start_state(rig, 1), rig_record(rig)
    state["left"]["hip_m"] = 50.0
    for _ in range(100):
        plant_tick(state[0], record[0], 1500e-6, 1500e-6)
    fallen_m = 50.0 - state["left"]["hip_m"][0]
    assert fallen_m == pytest.approx(9.80665 * (100 * PERIOD_S) ** 2 / 2, rel=1e-3)


def on_the_stand(pulse_us: float, ticks: int) -> tuple[np.ndarray, np.ndarray]:
    """Fold (rad) and hip height of the left leg, held by a stand and driven by one pulse."""
    state = start_state(DEMO, 1)
    state["stand"], state["contactor"] = 1, 1
    left = state["left"][0]
    left["hip_m"] += 1.0
    rows = []
    for _ in range(ticks):
        plant_tick(state[0], rig_record(DEMO)[0], pulse_us * 1e-6, 1500e-6)
        rows.append((left["thigh_rad"] + left["shank_rad"], left["hip_m"]))
    fold_rad, hip_m = np.array(rows).T
    return fold_rad, hip_m


def test_a_stand_holds_the_hip_while_the_leg_moves():
    fold_rad, hip_m = on_the_stand(1700, 200)
    assert np.ptp(hip_m) == 0
    assert np.ptp(fold_rad) > radians(5)


def test_hard_stops_hold_even_what_full_drive_pulls_into_them():
    fold_rad, _ = on_the_stand(2000, 600)
    past_rad = fold_rad - DEMO.mechanism.fold_hard_stop_rad
    assert 0 < past_rad.max() < radians(25)
    assert np.ptp(past_rad[-50:]) < radians(2)


def test_rough_ground_carries_a_standing_foot_along_and_smooth_ground_does_not():
    # The hip stays where it is in these axes, so the ground runs backward under a walk.
    m, wearer = DEMO.mechanism, DEMO.wearer
    walking_mps = wearer.cadence_per_s * wearer.step_length_m

    def foot_mps(friction: float) -> float:
        leg = walk(changed(ground={"friction": friction}), 12.0)["left"][1400:]
        x_m = m.shank_length_m * np.sin(leg["shank_rad"]) - m.thigh_length_m * np.sin(
            leg["thigh_rad"]
        )
        loaded = (leg["load_N"] > 200) & (leg["raised"] == 0)
        return float(np.median(np.gradient(x_m, PERIOD_S)[loaded]))

    assert foot_mps(0.7) == pytest.approx(-walking_mps, rel=0.1)
    assert abs(foot_mps(0.0)) < 0.3 * walking_mps
