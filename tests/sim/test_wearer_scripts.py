"""When a foot is raised, and what the legs then feel: from a recorded gait, or a metronome."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim.wearer import Gait, GaitError, gait_raises, metronome_raises, pressed_share, script
from rigs import DEMO, FEET, built_in_gait, changed, gait_of

SECONDS = 60.0
STRIDE_S = 2 / DEMO.wearer.cadence_per_s
MAKERS = {
    "gait": gait_of,
    "metronome": metronome_raises,
}
by_both = pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS)


@by_both
def test_feet_are_raised_in_turn(make):
    legs = [one.leg for one in make(DEMO, SECONDS)]
    assert all(one != other for one, other in pairwise(legs))


@by_both
def test_steps_come_at_the_rigs_cadence(make):
    starts_s = [one.start_s for one in make(DEMO, SECONDS)]
    # Strides, not steps: two legs of one person need not be half a stride apart.
    strides_s = np.array(starts_s[2:]) - np.array(starts_s[:-2])
    assert strides_s.mean() == pytest.approx(STRIDE_S, rel=0.01)
    assert strides_s == pytest.approx(STRIDE_S, rel=0.06)


@by_both
def test_a_foot_is_pushed_for_what_stance_and_lowering_leave_of_a_stride(make):
    pushed_s = [one.end_s - one.start_s for one in make(DEMO, SECONDS)]
    swing_s = (1 - DEMO.wearer.stance_share) * STRIDE_S
    assert pressed_share(DEMO) * STRIDE_S == pytest.approx(swing_s - DEMO.wants.lower_s)
    assert np.mean(pushed_s) == pytest.approx(swing_s - DEMO.wants.lower_s, rel=0.02)


def test_a_recorded_gait_keeps_its_persons_unevenness_and_a_metronome_has_none():
    spread_s = {}
    for name, make in MAKERS.items():
        starts_s = np.array([one.start_s for one in make(DEMO, SECONDS)])
        spread_s[name] = np.ptp(np.diff(starts_s))
    assert spread_s["metronome"] == pytest.approx(0, abs=1e-9)
    assert spread_s["gait"] > 0.005


@by_both
def test_no_step_is_cut_short_by_the_end_of_the_walk(make):
    for seconds in (0.5, 3.0, 5.0, 12.3):
        assert all(one.down_s < seconds for one in make(DEMO, seconds))


@by_both
def test_the_other_foot_is_down_whenever_one_is_raised(make):
    # In walking, as against running: what the rule of one leg off the ground rests on.
    for one, other in pairwise(make(DEMO, SECONDS)):
        assert one.down_s < other.start_s


@given(st.floats(0.1, 0.75), st.floats(0.5, 0.65))
def test_at_any_cadence_a_foot_is_raised_once_a_stride_or_the_gait_refused(cadence, stance):
    # The longer the push, the lower the bend that must count as one; a knee that gives in
    # stance must not be taken for a second swing.
    rig = changed(wearer={"cadence_per_s": cadence, "stance_share": stance})
    stride_s = 2 / cadence
    try:
        raises = gait_raises(rig, built_in_gait(), 6 * stride_s + 3)
    except GaitError:
        return
    for leg in (0, 1):
        starts_s = [one.start_s for one in raises if one.leg == leg]
        assert len(starts_s) >= 4
        assert np.diff(starts_s) == pytest.approx(stride_s, rel=0.06)


def test_the_built_in_gait_serves_from_a_stroll_to_the_fastest_that_can_lift():
    for steps_per_min in (24, 30, 36, 42, 48):
        rig = changed(wearer={"cadence_per_s": steps_per_min / 60})
        assert len(gait_raises(rig, built_in_gait(), SECONDS)) > 0.9 * steps_per_min - 4


def bent(knee_deg) -> Gait:
    time_s = np.arange(len(knee_deg)) * 0.01
    return Gait(time_s, np.array(knee_deg), np.roll(knee_deg, len(knee_deg) // 6))


def strides(count: int) -> np.ndarray:
    return 30 - 30 * np.cos(np.arange(round(100 * count)) * 2 * np.pi / 100)


BAD_GAITS = {
    "a knee that is never bent": bent(np.zeros(300)),
    "a knee that is always bent": bent(np.full(300, 40.0)),
    "less than two strides": bent(strides(1)),
    "a knee bent in spikes, far shorter than any swing": bent(
        np.where(np.arange(300) % 100 < 2, 60.0, 0.0)
    ),
}


@pytest.mark.parametrize("gait", BAD_GAITS.values(), ids=BAD_GAITS)
def test_a_gait_that_cannot_drive_a_walk_is_refused(gait):
    with pytest.raises(GaitError):
        gait_raises(DEMO, gait, SECONDS)


def test_a_plain_gait_of_three_strides_drives_one():
    assert len(gait_raises(DEMO, bent(strides(3)), SECONDS)) > 10


def test_a_walk_too_fast_for_lowering_asks_for_no_lift_at_all():
    # At 90 steps a minute less than nothing is left for pushing the switch.
    rig = changed(wearer={"cadence_per_s": 1.5})
    assert pressed_share(rig) < 0
    with pytest.raises(GaitError):
        gait_raises(rig, built_in_gait(), SECONDS)


@by_both
def test_weight_is_off_a_foot_while_it_is_pushed_and_all_of_it_is_always_borne(make):
    lines = script(DEMO, make(DEMO, SECONDS), SECONDS)
    for foot in FEET:
        pushed = lines[foot]["push"] > 0
        assert pushed.any()
        assert lines[foot]["raised"][pushed] == pytest.approx(1)
        assert 0 <= lines[foot]["push"].min() <= lines[foot]["push"].max() <= 1
        # Weight does not jump: it moves across while both feet are down.
        assert abs(np.diff(lines[foot]["share"])).max() < 0.06
    assert lines["left"]["share"] + lines["right"]["share"] == pytest.approx(1)


@by_both
def test_a_foot_goes_back_with_the_ground_and_forward_in_the_air(make):
    lines = script(DEMO, make(DEMO, 20.0), 20.0)
    step_m = DEMO.wearer.step_length_m
    for foot in FEET:
        there_m = lines[foot]["foot_x_m"]
        standing = (lines[foot]["raised"] == 0) & (np.arange(len(lines)) > 1500)
        # On the ground a foot goes with it; it is there a little longer than its stance.
        assert np.median(lines[foot]["foot_x_mps"][standing]) == pytest.approx(
            -lines["walk_mps"].max(), rel=0.15
        )
        assert abs(there_m).max() <= step_m
        assert np.gradient(there_m, DEMO.control.period_s) == pytest.approx(
            lines[foot]["foot_x_mps"], abs=1e-9
        )


@by_both
def test_the_ground_under_a_foot_changes_in_mid_swing_only_and_never_above_its_bumps(make):
    rig = changed(ground={"bump_m": 0.02})
    raises = make(rig, SECONDS)
    lines = script(rig, raises, SECONDS, 3)
    heights_m = np.concatenate([np.unique(lines[foot]["ground_m"]) for foot in FEET])
    assert 0 <= heights_m.min() < 0.002 and 0.018 < heights_m.max() <= 0.02
    for leg, foot in enumerate(FEET):
        mine = [one for one in raises if one.leg == leg]
        changes_s = (np.flatnonzero(np.diff(lines[foot]["ground_m"])) + 1) * DEMO.control.period_s
        middles_s = [(one.start_s + one.down_s) / 2 for one in mine]
        assert changes_s == pytest.approx(middles_s, abs=DEMO.control.period_s)


def test_bumps_follow_from_the_seed_alone_and_level_ground_has_none():
    rig = changed(ground={"bump_m": 0.02})
    raises = metronome_raises(rig, SECONDS)

    def ground_m(rig, seed):
        return script(rig, raises, SECONDS, seed)["left"]["ground_m"]

    assert (ground_m(rig, 4) == ground_m(rig, 4)).all()
    assert (ground_m(rig, 4) != ground_m(rig, 5)).any()
    assert not ground_m(DEMO, 4).any()


def test_a_wearer_who_raises_no_foot_stands_on_both():
    lines = script(DEMO, [], 5.0)
    assert len(lines) == round(5.0 / DEMO.control.period_s)
    assert not lines["walk_mps"].any()
    for foot in FEET:
        assert not lines[foot]["push"].any()
        assert (lines[foot]["share"] == 0.5).all()
