"""End stops brake in proportion to the room that is left; drive changes only so fast; pulses."""

import math
from fractions import Fraction
from itertools import product
from types import SimpleNamespace

import pytest
from legcore.limits import give_pulse, limit, pass_on
from legcore.model import PULSE_MAX_US, PULSE_MIN_US, make
from walk import fill_settings

# Two permille for each hundredth of a degree of room, so that figures can be seen by eye.
PLAIN = {
    "stop_gain_q8": 512,
    "stop_ahead_q10": 128,
    "fold_min_cdeg": 6000,
    "fold_max_cdeg": 9600,
    "thigh_min_cdeg": 1300,
    "thigh_max_cdeg": 7100,
    "shank_min_cdeg": 900,
    "shank_max_cdeg": 6700,
    "drive_max_permille": 900,
    "slew_permille": 1000,
}
# Of fold and of both joints: the reading, its upper and its lower end.
ENDS = {
    "fold": ("fold_max_cdeg", "fold_min_cdeg"),
    "thigh": ("thigh_max_cdeg", "thigh_min_cdeg"),
    "shank": ("shank_max_cdeg", "shank_min_cdeg"),
}
each_end = pytest.mark.parametrize("end", ENDS)


def scene(**changes):
    """A leg in the middle of everything, at rest."""
    rig = make("Rig")
    fill_settings(rig.settings, **(PLAIN | changes))
    leg = rig.left
    for name, (high, low) in ENDS.items():
        put(leg, name, (getattr(rig.settings, high) + getattr(rig.settings, low)) // 2)
    return SimpleNamespace(leg=leg, settings=rig.settings)


def put(leg, end, cdeg):
    if end == "fold":
        leg.fold_cdeg = cdeg
    else:
        # The fraction of a hundredth does not count.
        getattr(leg, end).angle_cdeg_q4 = cdeg * 16 + 15


def given(s, wanted_permille, drive_permille=0):
    s.leg.wanted_permille = wanted_permille
    s.leg.drive_permille = drive_permille
    limit(s.leg, s.settings)
    return s.leg.drive_permille


def test_amid_its_ends_a_leg_is_driven_as_is_wanted_up_to_the_most_either_way():
    for wanted, expected in ((0, 0), (1, 1), (-1, -1), (899, 899), (900, 900), (901, 900)):
        assert given(scene(), wanted) == expected
        assert given(scene(), -wanted) == -expected


@each_end
def test_near_its_upper_end_a_leg_is_driven_in_proportion_to_the_room_and_back_past_it(end):
    for room_cdeg in (500, 451, 450, 449, 100, 1, 0, -1, -100, -449, -450, -451, -2000):
        s = scene()
        put(s.leg, end, PLAIN[ENDS[end][0]] - room_cdeg)
        most = max(-900, min(900, 2 * room_cdeg))
        assert given(s, 1000) == most
        # Past it, even full drive the other way is allowed; and nothing weaker than the push back.
        assert given(s, -1000) == -900
        assert given(s, most - 1) == max(-900, most - 1)


@each_end
def test_near_its_lower_end_a_leg_is_lowered_in_proportion_and_never_pulled_up_by_it(end):
    """Past it the spring has nothing left to give: pulling against it would only heat the motor."""
    for room_cdeg in (500, 451, 450, 449, 100, 1, 0, -1, -100, -2000):
        s = scene()
        put(s.leg, end, PLAIN[ENDS[end][1]] + room_cdeg)
        assert given(s, -1000) == -max(0, min(900, 2 * room_cdeg))
        assert given(s, 1000) == 900


def test_a_hair_past_its_lower_end_a_leg_is_given_nothing_either_way():
    s = scene(stop_gain_q8=256)
    put(s.leg, "fold", PLAIN["fold_min_cdeg"] - 1)
    assert given(s, -1000) == 0


def test_of_several_ends_the_nearest_counts_in_either_direction():
    for near, other in product(ENDS, repeat=2):
        if near != other:
            for end, sign in ((0, 1), (1, -1)):
                s = scene()
                put(s.leg, near, PLAIN[ENDS[near][end]] - sign * 40)
                put(s.leg, other, PLAIN[ENDS[other][end]] - sign * 41)
                assert given(s, sign * 1000) == sign * 80


def test_a_part_of_a_permille_is_not_given():
    for gain_q8, up, down in (
        (300, 117, -117),
        (301, 117, -117),
        (302, 117, -117),
        (303, 118, -118),
    ):
        s = scene(stop_gain_q8=gain_q8)
        put(s.leg, "fold", PLAIN["fold_max_cdeg"] - 100)
        assert given(s, 1000) == up
        put(s.leg, "fold", PLAIN["fold_min_cdeg"] + 100)
        assert given(s, -1000) == down


def test_a_leg_in_motion_brakes_as_if_it_were_an_eighth_of_a_second_ahead():
    for rate_cdps in (800, -800, 1600):
        for sign, end in ((1, "fold_max_cdeg"), (-1, "fold_min_cdeg")):
            s = scene()
            s.leg.rate_cdps = sign * rate_cdps
            put(s.leg, "fold", PLAIN[end] - sign * 300)
            assert given(s, sign * 1000) == sign * max(0, min(900, 2 * (300 - rate_cdps // 8)))


def test_where_a_bad_setting_lets_both_ends_cross_the_upper_one_wins():
    """Too much fold breaks a leg; too little only lets the spring straighten it."""
    s = scene(fold_min_cdeg=9000, fold_max_cdeg=7000)
    put(s.leg, "fold", 8000)
    for wanted in (-1000, 0, 1000):
        assert given(s, wanted) == -900
    put(s.leg, "fold", 7100)
    for wanted in (-1000, -150, 0, 1000):
        assert given(s, wanted) == -200


def test_the_drive_changes_by_no_more_than_its_slew_and_comes_exactly_to_what_is_wanted():
    for sign in (1, -1):
        for wanted, before, after in (
            (500, 0, 160),
            (161, 0, 160),
            (160, 0, 160),
            (159, 0, 159),
            (300, 200, 300),
            (300, 139, 299),
            (300, 300, 300),
            (300, 461, 301),
            (300, 460, 300),
            (300, 459, 300),
            (0, 800, 640),
            (-500, 100, -60),
        ):
            assert given(scene(slew_permille=160), sign * wanted, sign * before) == sign * after


def test_a_drive_that_a_memory_error_has_made_is_never_passed_on():
    for sign in (1, -1):
        for drive in (1 << 20, 1061, 1060, 1059):
            found = given(scene(slew_permille=160), sign * 1000, sign * drive)
            assert found == sign * 900, drive
        assert given(scene(slew_permille=1), sign * 1000, sign * 900) == sign * 900


# A wing's drive, which only the slew and the most of it bound here.


def passed_on(wanted, before, **changes):
    s = scene(**changes)
    s.leg.drive_permille = before
    pass_on(s.leg, s.settings, wanted)
    return s.leg.drive_permille


def test_a_wings_drive_changes_by_no_more_than_its_slew_and_keeps_its_most():
    for sign in (1, -1):
        for wanted, before, after in (
            (500, 0, 160),
            (161, 0, 160),
            (160, 0, 160),
            (159, 0, 159),
            (300, 461, 301),
            (300, 460, 300),
            (300, 459, 300),
            (-500, 100, -60),
            (1000, 900, 900),
            (900, 900, 900),
            (899, 900, 899),
            (901, 850, 900),
            (1000, 1 << 20, 900),
        ):
            assert passed_on(sign * wanted, sign * before, slew_permille=160) == sign * after


# The pulse. One that the speed controller reads as neutral brakes the motor.


def pulse_us(drive_permille, **changes):
    s = scene(pulse_neutral_us=1500, pulse_deadband_us=25, pulse_span_us=500, **changes)
    s.leg.drive_permille = drive_permille
    give_pulse(s.leg, s.settings)
    return s.leg.pulse_us


def test_a_drive_is_past_the_deadband_at_once_and_full_drive_is_the_whole_span():
    """475 us lie between the deadband's edge and the span: 0.475 us for a permille."""
    for drive, past_us in ((15, 32), (16, 32), (17, 33), (200, 120), (999, 499), (1000, 500)):
        assert pulse_us(drive) == 1500 + past_us
    # Both ways alike but for the part of a microsecond, which is rounded down both ways.
    for drive in range(15, 1001, 5):
        past_us = 25 + drive * Fraction(475, 1000)
        assert pulse_us(drive) == 1500 + math.floor(past_us)
        assert pulse_us(-drive) == 1500 - math.ceil(past_us)


def test_less_than_the_least_drive_is_neutral_and_so_is_none():
    for drive in (0, 1, 14):
        assert pulse_us(drive) == pulse_us(-drive) == 1500
    # Where every drive counts, none is still neutral.
    assert pulse_us(0, drive_min_permille=0) == 1500
    assert pulse_us(1, drive_min_permille=0) == 1525
    assert pulse_us(-1, drive_min_permille=0) == 1474
    assert pulse_us(3, drive_min_permille=0) == 1526


def test_no_pulse_leaves_what_a_speed_controller_can_read():
    for drive, neutral_us, expected in (
        (1000, 1799, PULSE_MAX_US - 1),
        (1000, 1800, PULSE_MAX_US),
        (1000, 1801, PULSE_MAX_US),
        (1000, 2000, PULSE_MAX_US),
        (-1000, 1201, PULSE_MIN_US + 1),
        (-1000, 1200, PULSE_MIN_US),
        (-1000, 1199, PULSE_MIN_US),
        (-1000, 1000, PULSE_MIN_US),
    ):
        s = scene(pulse_neutral_us=neutral_us, pulse_deadband_us=25, pulse_span_us=500)
        s.leg.drive_permille = drive
        give_pulse(s.leg, s.settings)
        assert s.leg.pulse_us == expected
