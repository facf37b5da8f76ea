"""From counts and contacts to pose and rate: calibration, spikes, filters, the debounced switch."""

from array import array
from itertools import product
from types import SimpleNamespace

import pytest
from legcore.estimate import chatter, estimate, joint_angle_cdeg, track
from legcore.model import ANGLE_MAX_CDEG, CHATTER_MAX, RATE_MAX_CDPS, VISIT_TICKS, make
from walk import fill_settings

# Points of a bowed track, rising or falling; no two stretches have the same slope.
COUNTS = (1000, 1400, 2000, 2500, 3000)
RISING = (0, 1000, 4000, 5000, 8000)
FALLING = (9000, 8900, 3000, 1000, 0)
JUMP, BAD_MOST = 60, 8


def calibration(angles=RISING, counts=COUNTS):
    cal = make("Calibration")
    cal.count[:] = array("i", counts)
    cal.angle_cdeg[:] = array("i", angles)
    cal.low_count, cal.high_count = 900, 3100
    return cal


def at_rest(count, bad_ticks=0):
    joint = make("Joint")
    joint.count = joint.good_count = count
    joint.bad_ticks = bad_ticks
    return joint


def angle_cdeg(count, cal):
    return joint_angle_cdeg(at_rest(count), cal, JUMP, BAD_MOST)


@pytest.mark.parametrize("angles", [RISING, FALLING])
def test_a_count_between_two_points_is_on_the_straight_line_between_them(angles):
    """Rounded down, as all halves of a hundredth are; the outer lines go on outwards."""
    cal = calibration(angles)
    for count in range(cal.low_count, cal.high_count + 1):
        i = next((i for i in (1, 2, 3) if count <= COUNTS[i]), 4)
        past = (count - COUNTS[i - 1]) * (angles[i] - angles[i - 1])
        assert angle_cdeg(count, cal) == angles[i - 1] + past // (COUNTS[i] - COUNTS[i - 1])


def test_at_its_points_a_calibration_says_what_the_person_measured():
    for angles in (RISING, FALLING):
        assert [angle_cdeg(count, calibration(angles)) for count in COUNTS] == list(angles)


def test_a_track_that_begins_near_nothing_is_read_as_any_other():
    cal = calibration(counts=(300, 700, 2000, 2500, 3000))
    cal.low_count = 200
    assert [angle_cdeg(count, cal) for count in (300, 500, 700, 1350)] == [0, 500, 1000, 2500]


def test_two_points_at_one_count_divide_by_nothing():
    """Settings that were never calibrated are refused; a memory error must not end the program."""
    for counts in ((1000,) * 5, (1000, 1001, 1002, 1002, 1002), (1000, 999, 998, 997, 996)):
        cal = calibration(counts=counts)
        for count in (999, 1000, 1001, 1002, 1003):
            angle_cdeg(count, cal)
    # One count apart is a steep line, and no division by nothing.
    cal = calibration(counts=(1000, 1001, 2000, 2500, 3000))
    assert (angle_cdeg(1000, cal), angle_cdeg(1001, cal)) == (0, 1000)
    cal = calibration(angles=(0, 1000, 1000, 1000, 1000), counts=(1000, 1000, 2000, 2500, 3000))
    assert angle_cdeg(1000, cal) == 0
    assert angle_cdeg(999, cal) == -1000


def test_no_angle_is_beyond_a_full_turn_either_way():
    cal = calibration(angles=(-18000, 0, 0, 0, 18000))
    assert angle_cdeg(3000, cal) == ANGLE_MAX_CDEG
    assert angle_cdeg(1000, cal) == -ANGLE_MAX_CDEG
    assert angle_cdeg(3001, cal) == ANGLE_MAX_CDEG
    assert angle_cdeg(999, cal) == -ANGLE_MAX_CDEG
    assert angle_cdeg(2999, cal) == 17964
    assert angle_cdeg(1001, cal) == -17955
    # Also where it would be by no more than one.
    cal = calibration(angles=(-18000, -17600, 0, 17500, 18000))
    assert [angle_cdeg(count, cal) for count in (1000, 999)] == [-ANGLE_MAX_CDEG] * 2
    assert [angle_cdeg(count, cal) for count in (3000, 3001)] == [ANGLE_MAX_CDEG] * 2


def seen(count, good, bad_ticks=0, bad_most=BAD_MOST):
    """Of a joint that last read `good`: what stands for its count now, and its bad time."""
    cal = calibration()
    joint = at_rest(good, bad_ticks)
    joint.count = count
    angle = joint_angle_cdeg(joint, cal, JUMP, bad_most)
    assert angle == angle_cdeg(joint.good_count, cal)
    assert joint.count == count
    return joint.good_count, joint.bad_ticks


@pytest.mark.parametrize("sign", [1, -1])
def test_a_reading_farther_off_than_a_joint_turns_is_left_out_whole(sign):
    assert seen(2000 + sign * JUMP, 2000) == (2000 + sign * JUMP, 0)
    assert seen(2000 + sign * (JUMP + 1), 2000) == (2000, VISIT_TICKS)


def test_a_reading_outside_the_pots_window_is_left_out_too():
    assert seen(900, 910) == (900, 0)
    assert seen(899, 910) == (910, VISIT_TICKS)
    assert seen(3100, 3090) == (3100, 0)
    assert seen(3101, 3090) == (3090, VISIT_TICKS)


def test_bad_time_adds_a_visit_up_to_its_most_and_a_good_reading_takes_one_off():
    """So a pot that is bad every second time still comes to be a fault."""
    for before, worse, better in ((0, 2, 0), (1, 3, 0), (2, 4, 1), (6, 8, 5), (7, 9, 6), (8, 8, 7)):
        assert seen(899, 2000, before) == (2000, worse)
        assert seen(2000, 2000, before) == (2000, better)
    assert seen(899, 2000, 9) == (2000, 9)
    assert seen(899, 2000, 0, 0) == (2000, 0)


# A whole leg. Angles follow their pots by a share of the difference a visit.

PLAIN = {"angle_alpha_q8": 128, "rate_alpha_q8": 64, "visit_hz": 100, "jump_count": JUMP}
PLAIN |= {"pot_ticks": BAD_MOST, "debounce_ticks": 5}


def leg_at(thigh=2000, shank=2000, primed=True, **changes):
    rig = make("Rig")
    fill_settings(rig.settings, **(PLAIN | changes))
    s = SimpleNamespace(leg=rig.left, settings=rig.settings)
    s.thigh_cal, s.shank_cal = calibration(RISING), calibration(FALLING)
    read(s, thigh, shank)
    if primed:
        visit(s)
    return s


def read(s, thigh, shank):
    s.leg.thigh.count, s.leg.shank.count = thigh, shank


def visit(s):
    estimate(s.leg, s.thigh_cal, s.shank_cal, s.settings)


def test_the_first_visit_starts_every_filter_at_what_is_read():
    """The first tick has no past: a leg found folded has not moved."""
    s = leg_at(1400, 2500)
    leg = s.leg
    assert leg.primed == 1
    assert (leg.thigh.angle_cdeg_q4, leg.shank.angle_cdeg_q4) == (1000 * 16, 1000 * 16)
    assert (leg.fold_cdeg_q4, leg.fold_cdeg, leg.mark_cdeg) == (2000 * 16, 2000, 2000)
    assert leg.rate_cdps == 0
    for joint, count in ((leg.thigh, 1400), (leg.shank, 2500)):
        assert (joint.good_count, joint.mark_count, joint.moved) == (count, count, 0)


@pytest.mark.parametrize("joint", ["thigh", "shank"])
def test_a_wiper_off_its_track_is_no_start(joint):
    """Each visit starts anew until both pots read inside their windows, ends included."""
    for count, starts in ((899, 0), (900, 1), (3100, 1), (3101, 0)):
        s = leg_at(primed=False)
        getattr(s.leg, joint).count = count
        getattr(s.leg, joint).moved = 1
        visit(s)
        assert s.leg.primed == starts
        assert getattr(s.leg, joint).moved == 0
        assert getattr(s.leg, joint).good_count == count
    s = leg_at(primed=False)
    read(s, 899, 2000)
    visit(s)
    read(s, 2000, 2000)
    visit(s)
    assert (s.leg.primed, s.leg.fold_cdeg, s.leg.rate_cdps) == (1, 7000, 0)


def test_a_start_outside_the_window_counts_as_bad_time_up_to_the_most():
    for counts, bad, good in (((899, 2000), "thigh", "shank"), ((2000, 899), "shank", "thigh")):
        s = leg_at(*counts, primed=False)
        for visits in range(1, 7):
            visit(s)
            assert getattr(s.leg, bad).bad_ticks == min(visits * VISIT_TICKS, BAD_MOST)
            assert getattr(s.leg, good).bad_ticks == 0


def test_each_angle_comes_nearer_by_its_share_and_the_fold_is_their_sum():
    s = leg_at(2000, 2000)
    read(s, 2050, 2040)
    thigh_q4, shank_q4 = 4000 * 16, 3000 * 16
    for _ in range(5):
        visit(s)
        # 50 counts are 100 cdeg on the thigh, 40 are 160 the other way on the shank.
        thigh_q4 += (4100 * 16 - thigh_q4) >> 1
        shank_q4 += (2840 * 16 - shank_q4) >> 1
        assert (s.leg.thigh.angle_cdeg_q4, s.leg.shank.angle_cdeg_q4) == (thigh_q4, shank_q4)
        assert s.leg.fold_cdeg_q4 == thigh_q4 + shank_q4
        assert s.leg.fold_cdeg == (thigh_q4 + shank_q4) // 16


def test_a_share_is_a_256th():
    for alpha_q8, moved_q4 in ((256, 1600), (64, 400), (1, 6), (190, 1187)):
        s = leg_at(2000, 2000, angle_alpha_q8=alpha_q8)
        read(s, 2050, 2000)
        visit(s)
        assert s.leg.thigh.angle_cdeg_q4 == 4000 * 16 + moved_q4
        s = leg_at(2050, 2000, angle_alpha_q8=alpha_q8)
        read(s, 2000, 2000)
        visit(s)
        assert s.leg.thigh.angle_cdeg_q4 == 4100 * 16 + -1600 * alpha_q8 // 256


# The rate, of a leg, and of a wing that `track` follows in the same way.


def leg_moved(by_cdeg_q4, rate_cdps=0, **changes):
    s = leg_at(2000, 2000, **({"angle_alpha_q8": 256} | changes))
    s.leg.fold_cdeg_q4 -= by_cdeg_q4
    s.leg.rate_cdps = rate_cdps
    visit(s)
    return s.leg


def wing_moved(by_cdeg_q4, rate_cdps=0, **changes):
    wing = make("Leg")
    settings = make("Settings")
    fill_settings(settings, **(PLAIN | changes))
    wing.fold_cdeg_q4 = 7000 * 16 - by_cdeg_q4
    wing.rate_cdps = rate_cdps
    track(wing, 7000 * 16, settings)
    return wing


each_joint = pytest.mark.parametrize("moved", [leg_moved, wing_moved], ids=["leg", "wing"])


@each_joint
def test_a_quarter_of_the_difference_to_what_was_just_seen_is_added_to_the_rate(moved):
    # 160 sixteenths in a visit, a hundred visits a second: 1000 cdeg/s.
    for rate, after in ((0, 250), (1000, 1000), (2000, 1750), (-400, -50)):
        assert moved(160, rate).rate_cdps == after
        assert moved(-160, -rate).rate_cdps == -after
    assert moved(160, 0, rate_alpha_q8=256).rate_cdps == 1000
    assert moved(1, 0, rate_alpha_q8=256).rate_cdps == 6
    assert moved(-1, 0, rate_alpha_q8=256).rate_cdps == -7
    assert moved(160, 0, rate_alpha_q8=256, visit_hz=50).rate_cdps == 500


@each_joint
def test_no_leap_is_taken_for_a_rate_faster_than_falling(moved):
    """A pot that leaps would else be believed for many visits."""
    most_q4 = RATE_MAX_CDPS * 16 // 100
    for past_q4 in (-1, 0, 1, 50_000):
        for sign in (1, -1):
            found = moved(sign * (most_q4 + past_q4), 0, rate_alpha_q8=256)
            expected = sign * min(most_q4, most_q4 + past_q4) * 100 // 16
            assert found.rate_cdps == expected
    # Whatever the visits: the fastest believed is the same to a step of theirs.
    for hz in (25, 100, 333, 500):
        found = moved(90_000, 0, rate_alpha_q8=256, visit_hz=hz)
        assert RATE_MAX_CDPS - hz // 16 - 1 <= found.rate_cdps <= RATE_MAX_CDPS


@each_joint
def test_the_fold_is_what_is_read_in_whole_hundredths(moved):
    for by in (-3000, 0, 7):
        assert moved(by).fold_cdeg == 7000
        assert moved(by).fold_cdeg_q4 == 7000 * 16


def test_a_pose_between_two_hundredths_is_the_lower_one():
    for fold_q4, cdeg in ((15, 0), (16, 1), (31, 1), (-1, -1), (-16, -1), (-17, -2)):
        wing = make("Leg")
        settings = make("Settings")
        fill_settings(settings, **PLAIN)
        track(wing, fold_q4, settings)
        assert (wing.fold_cdeg_q4, wing.fold_cdeg) == (fold_q4, cdeg)


# The foot switch.


def switched(readings, **changes):
    """For each visit, whether the switch counts as pressed."""
    s = leg_at(**changes)
    pressed = []
    for reading in readings:
        s.leg.switch = reading
        visit(s)
        pressed.append(s.leg.pressed)
    return s.leg, pressed


@pytest.mark.parametrize("debounce_ticks", [1, 2, 5, 6])
def test_a_switch_counts_once_it_has_stayed_for_its_time_either_way(debounce_ticks):
    visits = -(-debounce_ticks // VISIT_TICKS)
    readings = [1] * (visits + 2) + [0] * (visits + 2)
    leg, pressed = switched(readings, debounce_ticks=debounce_ticks)
    wait = visits - 1
    assert pressed == [0] * wait + [1] * (visits + 2) + [0] * (visits + 2 - wait)
    assert leg.switch_ticks == 0
    # Closing and opening, eight each.
    assert leg.chatter == 16


def test_a_switch_that_comes_back_at_once_has_not_changed_but_that_it_flickered_is_noted():
    leg, pressed = switched([1, 0, 1, 1, 0, 0])
    assert pressed == [0] * 6
    assert (leg.switch_ticks, leg.chatter) == (0, 8)
    leg, pressed = switched([0, 0, 0])
    assert (leg.switch_ticks, leg.chatter) == (0, 0)


def test_a_raised_foot_may_ask_again_once_its_switch_has_been_seen_open():
    for pressed, rearmed in product((0, 1), repeat=2):
        s = leg_at()
        s.leg.switch = s.leg.pressed = pressed
        s.leg.rearmed = rearmed
        visit(s)
        assert s.leg.rearmed == (1 if not pressed else rearmed)


def test_the_score_of_changes_is_bounded():
    for before, score, after in (
        (0, 4, 4),
        (CHATTER_MAX - 8, 8, CHATTER_MAX),
        (CHATTER_MAX - 4, 8, CHATTER_MAX),
        (CHATTER_MAX - 9, 8, CHATTER_MAX - 1),
    ):
        leg = make("Leg")
        leg.chatter = before
        chatter(leg, score)
        assert leg.chatter == after
