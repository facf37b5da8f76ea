"""The stick, and the one setpoint of two legs that stoop: who waits for whom, what holds them."""

from types import SimpleNamespace

import pytest
from legcore.model import make
from legcore.phases import HELD, LIFTING, OFF, STANDING, STOOPING
from legcore.stages import GANTRY, STAND
from legcore.step import step
from legcore.stick import heed
from legcore.stoop import keep, move_on, stoop
from walk import DEMO, Walk, fill_settings

REST_CDEG, DEEP_CDEG = DEMO["rest_fold_cdeg"], DEMO["stoop_fold_cdeg"]
FAST_Q6, ACCEL_Q6, APART_CDEG = DEMO["stoop_step_q6"], DEMO["stoop_accel_q6"], DEMO["apart_cdeg"]
CENTRE, ZONE, SPAN = (DEMO[f"stick_{name}_count"] for name in ("centre", "zone", "span"))


def scene(at_cdeg=8000, asked_q6=0, step_q6=0, **changes):
    """Both legs stooping, where their setpoint is."""
    rig = make("Rig")
    fill_settings(rig.settings, **changes)
    for leg in (rig.left, rig.right):
        leg.phase, leg.phase_not = STOOPING, -1 - STOOPING
        leg.sole = leg.law_on = 1
        put(leg, at_cdeg)
    rig.stick_ready = 1
    rig.stick_count = CENTRE
    rig.stick_step_q6, rig.stoop_step_q6 = asked_q6, step_q6
    rig.stoop_cdeg_q6 = at_cdeg * 64
    return SimpleNamespace(rig=rig, left=rig.left, right=rig.right, settings=rig.settings)


def put(leg, cdeg):
    leg.fold_cdeg, leg.fold_cdeg_q4 = cdeg, cdeg * 16


# The stick.


def asked(count, **changes):
    s = scene(**changes)
    s.rig.stick_count = count
    heed(s.rig, s.settings)
    return s.rig.stick_step_q6


def test_a_stick_asks_nothing_in_its_middle_and_all_at_its_end_both_ways_alike():
    for past in (0, 1, ZONE - 1, ZONE):
        assert asked(CENTRE + past) == asked(CENTRE - past) == 0
    for past in (ZONE + SPAN, ZONE + SPAN + 1, CENTRE):
        assert asked(CENTRE + past) == -asked(CENTRE - past) == FAST_Q6
    speeds = [asked(CENTRE + ZONE + past) for past in range(0, SPAN, 50)]
    assert speeds == sorted(speeds)


def test_a_curved_stick_asks_less_near_its_middle_and_as_much_at_its_end():
    half = CENTRE + ZONE + SPAN // 2
    straight, bent, cubic = (asked(half, stick_curve_q8=curve) for curve in (0, 128, 256))
    # Half way a straight one asks for half, a cubic one for an eighth.
    assert (straight, cubic) == (FAST_Q6 // 2, FAST_Q6 // 8)
    assert cubic < bent < straight
    assert asked(CENTRE + ZONE + SPAN, stick_curve_q8=256) == FAST_Q6


def ready(phase=STANDING, other=STANDING, before=0, count=CENTRE, **leg):
    s = scene()
    s.left.phase, s.right.phase = phase, other
    for name, value in leg.items():
        setattr(s.left, name, value)
    s.rig.stick_ready, s.rig.stick_count = before, count
    heed(s.rig, s.settings)
    return s.rig.stick_ready


def test_a_stick_is_heeded_once_it_was_in_its_middle_with_both_legs_standing():
    assert ready() == 1
    assert ready(count=CENTRE + ZONE) == 1
    assert ready(count=CENTRE + ZONE + 1) == 0
    # Once heeded it may be pushed.
    assert ready(count=CENTRE + ZONE + 1, before=1) == 1


@pytest.mark.parametrize(("phase", "other"), [(LIFTING, STANDING), (STANDING, HELD), (OFF, OFF)])
def test_it_is_not_heeded_once_a_leg_does_anything_else(phase, other):
    assert ready(phase, other, before=1) == 0


def test_legs_too_warm_or_stooped_for_too_long_heed_no_stick():
    for over, heeded in ((-1, 1), (0, 0)):
        ticks = DEMO["stoop_ticks"] + over
        assert ready(STOOPING, STOOPING, before=1, phase_ticks=ticks) == heeded
        warmth = DEMO["tired_mK"] * 256 + over
        assert ready(STOOPING, STOOPING, before=1, winding_mK_q8=warmth) == heeded
    # Stooping, the middle makes nothing ready again.
    assert ready(STOOPING, STOOPING, before=0) == 0


# The setpoint.


def moved(s, visits=1):
    for _ in range(visits):
        move_on(s.rig, s.settings)
    return s.rig.stoop_cdeg_q6, s.rig.stoop_step_q6


@pytest.mark.parametrize("sign", [1, -1], ids=["down", "up"])
def test_a_setpoint_gathers_and_loses_speed_no_faster_than_it_may(sign):
    s = scene(asked_q6=sign * FAST_Q6)
    for visit in range(1, 5):
        _, speed = moved(s)
        assert speed == sign * visit * ACCEL_Q6
        follow(s)
    s.rig.stick_step_q6 = 0
    for visit in range(3, 0, -1):
        _, speed = moved(s)
        assert speed == sign * visit * ACCEL_Q6
        follow(s)
    assert moved(s)[1] == 0
    assert s.rig.stoop_still == 1


def follow(s):
    for leg in (s.left, s.right):
        put(leg, s.rig.stoop_cdeg_q6 >> 6)


@pytest.mark.parametrize(("sign", "end"), [(1, DEEP_CDEG), (-1, REST_CDEG)], ids=["down", "up"])
def test_a_stoop_ends_softly_at_both_its_ends_and_never_past_them(sign, end):
    s = scene(at_cdeg=end - sign * 300, asked_q6=sign * FAST_Q6)
    speeds = [0]
    for _ in range(200):
        at, speed = moved(s)
        assert (end * 64 - at) * sign >= 0
        # Twice as much as usual on the last visit, which ends on the end.
        assert abs(speed - speeds[-1]) <= 2 * ACCEL_Q6
        speeds.append(speed)
        follow(s)
    assert at == end * 64
    assert speed == 0


@pytest.mark.parametrize("late", ["left", "right"])
def test_the_setpoint_waits_for_the_leg_that_stays_behind_whichever_it_is(late):
    for sign in (1, -1):
        for behind, waits in ((APART_CDEG, False), (APART_CDEG + 1, True)):
            s = scene(asked_q6=sign * FAST_Q6, step_q6=sign * 400)
            put(getattr(s, late), 8000 - sign * behind)
            assert moved(s)[1] == sign * (400 - ACCEL_Q6 if waits else 400 + ACCEL_Q6)
    s = scene(asked_q6=FAST_Q6, step_q6=0)
    put(getattr(s, late), 8000 - APART_CDEG - 1)
    assert moved(s) == (8000 * 64, 0)
    # It stands still for a leg that it waits for: that leg is driven, not kept.
    assert s.rig.stoop_still == 0


def test_rising_it_waits_for_no_leg_that_weight_alone_may_fold_so_far():
    sunk = REST_CDEG + DEMO["sunk_cdeg"]
    for fold_cdeg, waits in ((sunk, False), (sunk + 1, True)):
        s = scene(at_cdeg=REST_CDEG + 500, asked_q6=-FAST_Q6, step_q6=-40)
        put(s.left, REST_CDEG + 500)
        put(s.right, fold_cdeg)
        assert moved(s)[1] == (0 if waits else -40 - ACCEL_Q6)


def test_a_stick_that_is_not_heeded_lets_the_legs_rise():
    s = scene(asked_q6=FAST_Q6)
    s.rig.stick_ready = 0
    assert moved(s)[1] == -ACCEL_Q6


@pytest.mark.parametrize("sole", ["left", "right"])
def test_worn_no_deeper_stoop_is_asked_of_a_foot_in_the_air(sole):
    for stage, sinks in ((STAND, True), (GANTRY, False)):
        s = scene(asked_q6=FAST_Q6)
        s.settings.stage = stage
        getattr(s, sole).sole = 0
        assert (moved(s)[1] > 0) == sinks
        # Rising is always allowed.
        s = scene(asked_q6=-FAST_Q6)
        s.settings.stage = stage
        getattr(s, sole).sole = 0
        assert moved(s)[1] < 0


def test_let_go_legs_that_have_come_a_little_farther_stay_there():
    s = scene(asked_q6=0, step_q6=ACCEL_Q6)
    put(s.left, 8050)
    put(s.right, 8080)
    assert moved(s) == (8050 * 64, 0)


# What each leg does about it.


def test_only_the_left_legs_visit_moves_the_setpoint_on():
    for turn, moves in ((0, True), (1, False)):
        s = scene(asked_q6=FAST_Q6)
        s.rig.turn = turn
        stoop(s.rig, s.left if turn == 0 else s.right, s.settings)
        assert (s.rig.stoop_cdeg_q6 != 8000 * 64) == moves


def test_a_leg_that_weight_folds_farther_than_the_setpoint_is_not_pulled_after_it():
    """Its rope is loose: the drum turns at the setpoint's speed, and no more rope comes to lie."""
    sunk = REST_CDEG + DEMO["sunk_cdeg"]
    for fold_cdeg, over_cdeg, loose in (
        (sunk, APART_CDEG + 1, True),
        (sunk, APART_CDEG, False),
        (sunk + 1, APART_CDEG + 1, False),
    ):
        s = scene()
        s.rig.turn = 1
        put(s.right, fold_cdeg)
        s.rig.stoop_cdeg_q6 = (fold_cdeg - over_cdeg) * 64
        stoop(s.rig, s.right, s.settings)
        expected = fold_cdeg if loose else fold_cdeg - over_cdeg
        assert s.right.setpoint_cdeg_q6 == expected * 64


def test_a_leg_is_kept_where_the_setpoint_stands_still_and_the_leg_is_near_it():
    for still, off_cdeg, kept in ((1, APART_CDEG, True), (1, APART_CDEG + 1, False), (0, 0, False)):
        s = scene()
        s.rig.turn = 1
        s.rig.stoop_still = still
        put(s.right, 8000 - off_cdeg)
        s.right.integral_q16 = 65536
        stoop(s.rig, s.right, s.settings)
        # Keeping forgets what the law had found out of a leg that moved.
        assert (s.right.integral_q16 == 0) == kept


def kept(error_cdeg, wanted=0, rate_cdps=0):
    s = scene()
    s.left.setpoint_cdeg_q6 = (8000 + error_cdeg) * 64
    s.left.wanted_permille, s.left.rate_cdps = wanted, rate_cdps
    keep(s.left, s.settings)
    return s.left.wanted_permille


def test_a_kept_leg_is_left_alone_until_it_has_risen_a_little_and_then_pulled_back():
    assert kept(DEMO["keep_cdeg"]) == 0
    assert kept(DEMO["keep_cdeg"] + 1) == DEMO["keep_permille"]
    # Harder from visit to visit until it folds; then as hard, until it is back.
    assert kept(20, wanted=320) == 331
    assert kept(20, wanted=320, rate_cdps=1) == 320
    assert kept(0, wanted=320) == 0
    assert kept(20, wanted=-5) == 0
    assert kept(20, wanted=999) == 1000


def test_a_whole_stoop_by_the_stick_and_back():
    walk = Walk(seed=5)
    walk.arm()
    walk.board["stick_count"] = CENTRE + ZONE + SPAN
    walk.run(700)
    assert [leg.phase for leg in (walk.rig.left, walk.rig.right)] == [STOOPING] * 2
    assert abs(walk.rig.left.fold_cdeg - DEEP_CDEG) < APART_CDEG
    walk.board["stick_count"] = CENTRE - ZONE - SPAN
    walk.until(0, STANDING, 2000)
    assert [leg.phase for leg in (walk.rig.left, walk.rig.right)] == [STANDING] * 2


def test_a_leg_cut_beside_one_that_is_visited_is_at_rest_in_the_same_tick():
    s = scene()
    s.rig.arm = s.rig.stop = 1
    for leg in (s.left, s.right):
        leg.drive_permille = 300
    step(s.rig)
    assert (s.left.drive_permille, s.right.drive_permille) == (0, 0)
