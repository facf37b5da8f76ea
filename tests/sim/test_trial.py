"""Trials judge a build by what gains can do about it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim.perturb import perturbed
from legsim.trial import trial, unhurried
from legsim.wearer import metronome_raises
from rigs import DEMO, built_in_gait, changed

SECONDS = 8.0


@given(st.integers(0, 2**32))
def test_every_raised_foot_has_the_time_that_a_lift_may_take(seed):
    rig = unhurried(perturbed(DEMO, seed))
    for one in metronome_raises(rig, 20.0):
        assert one.end_s - one.start_s >= rig.wants.lift_s - 1e-9
        assert one.down_s - one.end_s >= rig.wants.lower_s - 1e-9


def test_whoever_leaves_the_legs_enough_time_is_not_slowed_down():
    slow = changed(wearer={"cadence_per_s": 0.4})
    assert unhurried(slow) == slow


def test_a_trial_follows_from_its_seed_alone():
    assert trial(DEMO, 5, SECONDS, built_in_gait()) == trial(DEMO, 5, SECONDS, built_in_gait())
    assert trial(DEMO, 5, SECONDS, built_in_gait()) != trial(DEMO, 7, SECONDS, built_in_gait())


def test_a_trial_misses_the_want_that_no_motor_could_meet():
    soon = changed(wants={"lift_s": 0.1})
    assert not trial(soon, 1, SECONDS, built_in_gait()).met


def test_a_foot_that_hangs_by_no_more_than_its_calibration_is_down():
    # A rest margin of 1 deg keeps the foot about 5 mm (0.296 m times 1 deg in rad) over the ground.
    hanging = changed(control={"rest_margin_rad": 0.0175})
    for leg in trial(hanging, 1, SECONDS, built_in_gait()).legs.values():
        assert leg.lower_worst_s == pytest.approx(0.65, abs=0.15)
