"""The law and the heat model where what they are asked is at its end: bounded, never beyond."""

from types import SimpleNamespace

import pytest
from legcore import faults
from legcore.heat import warm, work
from legcore.law import control
from legcore.model import (
    ERROR_MAX_CDEG,
    FEEDFORWARD_POINTS,
    POWER_MAX_MW,
    RATE_MAX_CDPS,
    SETPOINT_RATE_MAX_CDPS,
    WARMTH_MAX_MK,
    make,
)
from legcore.phases import LIFTING, STANDING
from legcore.setpoint import aim
from walk import DEMO, fill_settings

SIGNS = pytest.mark.parametrize("sign", [1, -1], ids=["up", "down"])
BY_PARTS = {"kp_q16": 0, "ki_q16": 0, "kd_q16": 0, "integral_permille": 0}


def scene(**changes):
    """A leg that lifts, the law on already, with nothing fed forward."""
    rig = make("Rig")
    fill_settings(rig.settings, **changes)
    for table in (rig.settings.hold_permille, rig.settings.speed_q16):
        for i in range(FEEDFORWARD_POINTS):
            table[i] = 0
    leg = rig.left
    leg.phase, leg.law_on = LIFTING, 1
    leg.fold_cdeg = leg.warmed_cdeg = 8000
    leg.setpoint_cdeg_q6 = 8000 * 64
    return SimpleNamespace(rig=rig, leg=leg, settings=rig.settings)


def wanted(s):
    control(s.leg, s.settings)
    return s.leg.wanted_permille


@SIGNS
def test_an_error_past_what_the_law_looks_at_drives_no_harder(sign):
    for error_cdeg in (ERROR_MAX_CDEG - 1000, ERROR_MAX_CDEG, ERROR_MAX_CDEG + 1000, 8000):
        s = scene(**(BY_PARTS | {"kp_q16": 6554}))
        s.leg.setpoint_cdeg_q6 = (8000 + sign * error_cdeg) * 64
        # A tenth of a permille for each hundredth of a degree.
        assert abs(wanted(s) - sign * min(error_cdeg, ERROR_MAX_CDEG) / 10) <= 1


@SIGNS
def test_no_drive_beyond_full_is_wanted(sign):
    s = scene(**(BY_PARTS | {"kp_q16": 65536}))
    for error_cdeg in (999, 1000, 1001, 4000):
        s.leg.setpoint_cdeg_q6 = (8000 + sign * error_cdeg) * 64
        assert wanted(s) == sign * min(error_cdeg, 1000)


@SIGNS
def test_the_integral_finds_out_no_more_than_it_may_hold(sign):
    s = scene(**(BY_PARTS | {"ki_q16": 65536 // 8, "integral_permille": 100}))
    s.leg.setpoint_cdeg_q6 = (8000 + sign * 300) * 64
    found = []
    for _ in range(4):
        # The drive follows what is wanted, so nothing holds the integral back.
        s.leg.drive_permille = wanted(s)
        found.append(s.leg.integral_q16)
    # An eighth of a permille for each hundredth of a degree and visit.
    assert found == [sign * most * 65536 // 2 for most in (75, 150, 200, 200)]


@SIGNS
def test_a_setpoint_faster_than_any_leg_is_fed_forward_as_the_fastest(sign):
    for step_q6 in (1000, 1280, 1281, 8192):
        s = scene(**(BY_PARTS | {"visit_hz": 500}))
        for i in range(FEEDFORWARD_POINTS):
            s.settings.speed_q16[i] = 4096
        s.leg.step_cdeg_q6 = sign * step_q6
        # A sixteenth of a permille for each cdeg/s.
        rate_cdps = min(step_q6 * 500 // 64, SETPOINT_RATE_MAX_CDPS)
        assert abs(wanted(s) - sign * rate_cdps / 16) <= 1


def test_beyond_its_table_a_leg_is_held_as_at_the_tables_end():
    s = scene(**BY_PARTS)
    for i in range(FEEDFORWARD_POINTS):
        s.settings.hold_permille[i] = 10 * i
    start, step = DEMO["table_start_cdeg"], DEMO["table_step_cdeg"]
    for points in (0, 3, FEEDFORWARD_POINTS - 1, FEEDFORWARD_POINTS, 20):
        s.leg.setpoint_cdeg_q6 = (start + points * step) * 64
        assert wanted(s) == 10 * min(points, FEEDFORWARD_POINTS - 1)
    s.leg.setpoint_cdeg_q6 = (start - 1000) * 64
    assert wanted(s) == 0


def test_a_table_of_no_step_at_all_is_a_memory_error_that_is_not_read_past():
    """Compiled code would read whatever lies behind the table."""
    s = scene(**BY_PARTS)
    s.settings.table_step_cdeg = -1
    s.settings.hold_permille[FEEDFORWARD_POINTS - 1] = 80
    s.leg.setpoint_cdeg_q6 = 9000 * 64
    assert wanted(s) == 80


def test_the_slack_guard_counts_up_to_its_time_and_stays_there():
    s = scene(slack_ticks=4)
    s.leg.phase = STANDING + 3
    s.leg.fold_cdeg_q4 = 9000 * 16
    s.leg.setpoint_cdeg_q6 = 8000 * 64
    counted = []
    for _ in range(4):
        aim(s.leg, s.settings)
        counted.append(s.leg.slack_ticks)
    assert counted == [2, 4, 4, 4]


# Heat. What power makes of warmth is shown in tests/sim/test_heat.py; here are its bounds.


@SIGNS
def test_a_setpoint_faster_than_any_leg_is_reckoned_as_the_fastest(sign):
    found = []
    for step_q6 in (1280, 1281, 8192):
        s = scene(visit_hz=500, heat_accel_q8=256, heat_most_permille=1000)
        for i in range(FEEDFORWARD_POINTS):
            s.settings.speed_q16[i] = 4096
        s.leg.step_cdeg_q6 = sign * step_q6
        s.rig.battery_mV = 0
        work(s.leg, s.rig)
        found.append(s.leg.meant_permille)
    assert found == [sign * SETPOINT_RATE_MAX_CDPS // 16] * 3


@SIGNS
def test_a_leg_that_leaps_between_two_looks_is_reckoned_as_falling(sign):
    found = set()
    for leap_cdeg in (1600, 8000, 36000):
        s = scene(heat_turn_q8=256, heat_turn2_q16=0)
        for i in range(FEEDFORWARD_POINTS):
            s.settings.speed_q16[i] = 1024
        s.leg.warmed_cdeg = s.leg.fold_cdeg - sign * leap_cdeg
        work(s.leg, s.rig)
        found.add(s.leg.turning_mW)
    # At most 20000 cdeg/s at a 64th of a permille each.
    assert max(found) in (RATE_MAX_CDPS // 64, RATE_MAX_CDPS // 64 + 1)


def test_no_power_is_reckoned_beyond_the_most_however_large_the_settings():
    s = scene(heat_most_permille=1000, heat_copper_q6=16384, heat_turn_q8=8192)
    s.settings.heat_turn2_q16 = 32768
    for i in range(FEEDFORWARD_POINTS):
        s.settings.hold_permille[i] = 1000
        s.settings.speed_q16[i] = 32768
    s.leg.warmed_cdeg = -8000
    work(s.leg, s.rig)
    assert (s.leg.copper_mW, s.leg.turning_mW) == (POWER_MAX_MW, POWER_MAX_MW)
    # Two looks, and no more even where the turn that spends them was lost.
    for _ in range(2):
        s.leg.warmed_cdeg = -8000
        work(s.leg, s.rig)
    assert s.leg.copper_mW == 2 * POWER_MAX_MW


def test_a_winding_just_as_warm_as_its_limit_is_a_fault_and_none_is_reckoned_warmer_than_the_most():
    for over_mK, trips in ((-1, False), (0, True)):
        s = scene(heat_cross_q12=0, hot_mK=78000)
        s.leg.winding_mK_q8 = (78000 + over_mK) * 256
        warm(s.leg, s.settings)
        assert (s.leg.fault_bits == faults.HOT) == trips
    s = scene(heat_warm_q8=65536)
    s.leg.winding_mK_q8 = WARMTH_MAX_MK * 256
    s.leg.copper_mW = 2 * POWER_MAX_MW
    warm(s.leg, s.settings)
    assert s.leg.winding_mK_q8 == WARMTH_MAX_MK * 256


def test_below_its_table_a_leg_is_reckoned_as_at_the_tables_start():
    found = []
    for fold_cdeg in (0, DEMO["table_start_cdeg"]):
        s = scene(heat_most_permille=1000)
        s.settings.hold_permille[0] = 70
        s.leg.fold_cdeg = s.leg.warmed_cdeg = fold_cdeg
        work(s.leg, s.rig)
        found.append(s.leg.copper_mW)
    assert found[0] == found[1] > 0
