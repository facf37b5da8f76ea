"""No arithmetic leaves the small integers of a 32-bit board, and no field its declared range.

Past ±(2^30 - 1) such a board would put the result on the heap, or compiled code would
one day wrap it around. The core under test is a copy whose every arithmetic result is checked.
"""

import ast
from array import array
from types import SimpleNamespace

import numpy as np
import pytest
import rewrites
from fields import SETTINGS_COUNT, STATE_NAMES, STATE_RANGES, names, ranges
from forms import new_rig, put_inputs
from hypothesis import given, settings
from hypothesis import strategies as st
from legcore.model import ANGLE_MAX_CDEG, POWER_MAX_MW, RATE_MAX_CDPS, WARMTH_MAX_MK
from legcore.phases import LIFTING, STANDING
from legsim import core
from rewrites import SMALL_MAX, NotSmallError, small
from stream import ARM, NO_FLIP, QUIET, RANGES, make_lenient
from walk import BOARD_INPUTS

WATCHED = rewrites.watched()
STEP = WATCHED["step"].step


def at_the_ends_or_between(low, high):
    """Products are largest at the ends, so draw those often."""
    return st.sampled_from((low, high)) | st.integers(low, high)


def drawn_from(pairs):
    return st.tuples(*(at_the_ends_or_between(low, high) for low, high in pairs))


COUNT = at_the_ends_or_between(0, 4095)
FLAG = st.integers(0, 1)
LEG = st.tuples(COUNT, COUNT, FLAG, FLAG)
# All well but one thing, which may be anything at all; mostly armed, or nothing would move.
BOARD = st.sampled_from(list(BOARD_INPUTS)).flatmap(
    lambda name: at_the_ends_or_between(*RANGES[name]).map(
        lambda value: tuple((BOARD_INPUTS | {"arm": 1, name: value}).values())
    )
)
INPUTS = st.tuples(LEG, LEG, BOARD).map(lambda parts: (*parts[0], *parts[1], *parts[2], *NO_FLIP))
# Inputs, and for how many ticks they stay.
HELD_INPUTS = st.tuples(INPUTS, st.integers(1, 25))
# A rig arms once it has seen itself disarmed, and then armed for some time, with both feet down.
DISARMED = ((*QUIET, *NO_FLIP), 2)
ARMED = ((*ARM, *NO_FLIP), 20)


def check_state(rig):
    """Every integer of the state, and nothing but integers, within its declared range."""
    state = core.integers(rig, "Rig")[SETTINGS_COUNT:]
    for name, value, (low, high) in zip(STATE_NAMES, state, STATE_RANGES, strict=True):
        assert type(value) is int, f"{name} is {value!r}"
        assert low <= value <= high, f"{name} is {value}, outside {low} to {high}"


def run(values, segments):
    rig = new_rig(values, WATCHED)
    for inputs, ticks in segments:
        put_inputs(rig, inputs)
        for _ in range(ticks):
            STEP(rig)
            check_state(rig)


@settings(max_examples=400)
@given(drawn_from(ranges("Settings")), st.lists(HELD_INPUTS, min_size=5, max_size=25))
def test_no_settings_and_no_readings_lead_out_of_range(values, segments):
    run(values, [DISARMED, ARMED, *segments])


@settings(max_examples=400)
@given(drawn_from(ranges("Settings")), st.lists(HELD_INPUTS, min_size=5, max_size=25))
def test_nor_do_settings_with_which_hardly_anything_is_a_fault(values, segments):
    run(make_lenient(values), [DISARMED, ARMED, *segments])


@settings(max_examples=800)
@given(drawn_from(ranges("Rig")))
def test_a_tick_from_any_state_within_its_ranges_ends_within_them(values):
    """With the test above this is an induction: what one tick cannot leave, none will."""
    rig = WATCHED["model"].make("Rig")
    start = core.to_record(rig)
    start.view("i4")[:] = values
    core.from_record(start, rig)
    STEP(rig)
    check_state(rig)


def test_no_tick_of_the_streams_ends_out_of_range(streams, reference):
    """But for a word that an error of the memory has changed."""
    low, high = np.array(STATE_RANGES).T
    at = 0
    for _, inputs in streams:
        trace = reference[at : at + len(inputs)]
        at += len(inputs)
        inside = ((trace >= low) & (trace <= high)).all(axis=0)
        inside[[word - 1 for word in set(inputs[:, -2].tolist()) if word]] = True
        assert [STATE_NAMES[i] for i in np.flatnonzero(~inside)] == []


HIGHEST = dict(zip(names("Settings"), (high for _, high in ranges("Settings")), strict=True))


def raise_settings(config, raised, enlarged):
    """Put settings at the upper end of their ranges, and one of them ten times past it."""
    for name in raised:
        setattr(config, name, HIGHEST[name] * (10 if name == enlarged else 1))
    for table in ("hold_permille", "speed_q16"):
        for i, _ in enumerate(getattr(config, table)):
            most = HIGHEST[f"{table}[{i}]"]
            getattr(config, table)[i] = most * (10 if table == enlarged else 1)


def lifting(rig):
    """Let the left leg be lifting beside a standing one, as fast as the core believes anything."""
    leg = rig.left
    leg.rate_cdps = RATE_MAX_CDPS
    leg.primed = leg.switch = leg.pressed = leg.law_on = rig.arm = 1
    leg.phase = LIFTING
    leg.phase_not = -1 - LIFTING
    rig.right.phase = STANDING
    rig.right.phase_not = -1 - STANDING
    return leg


def worst_tick(enlarged=None):
    """A lifting leg with all budgets used up at once; one setting may go ten times past its range.

    Both joints flip in one tick from one end of the table to the other, so the fold falls as
    fast as the core believes anything, far below a setpoint that rises as fast as it may:
    error, rate, look-ahead and room up to the end stop are all at their largest, and
    every term of the law pushes the same way.
    """
    rig = WATCHED["model"].make("Rig")
    config = rig.settings
    raised = (
        *("visit_hz", "angle_alpha_q8", "rate_alpha_q8", "lift_fold_cdeg", "lift_step_q6"),
        *("kp_q16", "ki_q16", "kd_q16", "integral_permille", "table_step_cdeg"),
        *("fold_max_cdeg", "thigh_max_cdeg", "shank_max_cdeg", "stop_gain_q8", "stop_ahead_q10"),
        *("drive_max_permille", "slew_permille", "pot_ticks", "stop_ticks", "stall_ticks"),
        *("against_ticks", "rate_ticks", "adrift_ticks", "push_ticks", "frozen_cdeg"),
    )
    raise_settings(config, raised, enlarged)
    for cal in (config.left_thigh, config.left_shank):
        cal.high_count = 4095
        cal.count[:] = array("i", (0, 1000, 2000, 3000, 4095))
        cal.angle_cdeg[:] = array("i", (-ANGLE_MAX_CDEG, -9000, 0, 9000, ANGLE_MAX_CDEG))
    leg = lifting(rig)
    for joint in (leg.thigh, leg.shank):
        joint.angle_cdeg_q4 = 16 * ANGLE_MAX_CDEG
    leg.fold_cdeg_q4 = 32 * ANGLE_MAX_CDEG
    leg.setpoint_cdeg_q6 = 64 * (ANGLE_MAX_CDEG - 1000)
    leg.step_cdeg_q6 = HIGHEST["lift_step_q6"]
    leg.integral_q16 = 65536 * HIGHEST["integral_permille"]
    # The next turn is the left leg's, and looks at no contact and no supply.
    rig.turn = 15
    STEP(rig)
    return rig


def test_the_worst_tick_within_all_ranges_passes():
    rig = worst_tick()
    check_state(rig)
    assert rig.left.phase == LIFTING
    assert rig.left.rate_cdps == -RATE_MAX_CDPS


@pytest.mark.parametrize(
    "setting",
    [
        "angle_alpha_q8",
        "kp_q16",
        "kd_q16",
        "hold_permille",
        "speed_q16",
        "stop_gain_q8",
        "stop_ahead_q10",
    ],
)
def test_a_setting_allowed_to_be_ten_times_larger_leads_out_of_range(setting):
    """The declared ranges are what keeps the core safe, and this harness would notice."""
    with pytest.raises(NotSmallError):
        worst_tick(enlarged=setting)


HEATS = (
    *("heat_most_permille", "heat_copper_q6", "heat_turn_q8", "heat_turn2_q16"),
    *("heat_warm_q8", "heat_case_q8", "heat_cross_q12", "heat_share_q8", "heat_cool_q12"),
)


def warmest_tick(case_mK, enlarged=None):
    """The model of heat with all that can warm at its most, the winding as warm as it may be."""
    rig = WATCHED["model"].make("Rig")
    raise_settings(rig.settings, HEATS, enlarged)
    leg = lifting(rig)
    leg.drive_permille = 1000
    # As far from where the last round left it as a leg can be: its motor turns as fast as any.
    leg.warmed_cdeg = -2 * ANGLE_MAX_CDEG
    rig.battery_mV = RANGES["battery_mV"][1]
    leg.winding_mK_q8 = 256 * WARMTH_MAX_MK
    leg.case_mK_q8 = 256 * case_mK
    # The next turn looks at what the left leg's motor does, and a later one warms it.
    leg.copper_mW = leg.turning_mW = POWER_MAX_MW
    rig.turn = 11
    STEP(rig)
    rig.turn = 19
    STEP(rig)
    return rig


@pytest.mark.parametrize("case_mK", [0, WARMTH_MAX_MK])
def test_the_warmest_tick_within_all_ranges_passes(case_mK):
    check_state(warmest_tick(case_mK))


@pytest.mark.parametrize(
    ("setting", "case_mK"),
    [
        ("heat_copper_q6", 0),
        ("heat_warm_q8", 0),
        ("heat_case_q8", 0),
        ("heat_cross_q12", 0),
        ("heat_share_q8", 0),
        ("heat_cool_q12", WARMTH_MAX_MK),
    ],
)
def test_a_setting_of_the_heat_allowed_to_be_ten_times_larger_does_too(setting, case_mK):
    with pytest.raises(NotSmallError):
        warmest_tick(case_mK, enlarged=setting)


@pytest.mark.parametrize(
    "statement",
    [
        "x = big + one",
        "x = -big - one - one",
        "x = big * two",
        "x = big << one",
        "x = (big ^ two) | big + one",
        "x = two**30",
        "x = (big * two) // two",
        "x = abs(-big * two) % two",
        "x = -(~big) + 0",
        "x = big; x += one",
        "box.field = big; box.field <<= one",
        "x = one if big * two > one else two",
    ],
)
def test_every_form_of_arithmetic_is_watched(statement):
    tree = rewrites.watch_arithmetic(ast.parse(statement))
    scope = {"big": SMALL_MAX, "one": 1, "two": 2, "box": SimpleNamespace(), "_small": small}
    with pytest.raises(NotSmallError):
        exec(compile(tree, "statement", "exec"), scope)


def test_watched_arithmetic_computes_what_plain_arithmetic_does(streams, reference):
    settings, inputs = streams[0]
    rig = new_rig(settings, WATCHED)
    for row, expected in zip(inputs[:20_000].tolist(), reference, strict=False):
        put_inputs(rig, row)
        STEP(rig)
        assert core.integers(rig, "Rig")[SETTINGS_COUNT:] == expected.tolist()
