"""No arithmetic leaves the small integers of a 32-bit board, and no field its declared range.

Past ±(2^30 - 1) such a board would put the result on the heap, or compiled code would
one day wrap it around. The core under test is a copy whose every arithmetic result is checked.
"""

import ast
from array import array
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
import rewrites
from fields import names, ranges
from hypothesis import given, settings
from hypothesis import strategies as st
from kinds import FRAME, LEGS, Core
from legcore.model import ANGLE_MAX_CDEG, POWER_MAX_MW, RATE_MAX_CDPS, WARMTH_MAX_MK
from legcore.phases import LIFTING, STANDING
from legcore.wing_model import POT_COMMAND
from legcore.wing_phases import FOLLOWING, RESTING
from rewrites import SMALL_MAX, NotSmallError, small
from stream import (
    ARMED_TICKS,
    DISARMED_TICKS,
    input_ranges,
    make_lenient,
    quiet,
    row_of,
)
from walk import BOARD_INPUTS

WATCHED = rewrites.watched()
RANGES = input_ranges(LEGS)


def at_the_ends_or_between(low, high):
    """Products are largest at the ends, so draw those often."""
    return st.sampled_from((low, high)) | st.integers(low, high)


@cache
def drawn_from(pairs):
    return st.tuples(*(at_the_ends_or_between(low, high) for low, high in pairs))


def rows(kind):
    """Any readings; all well with the board but one thing, which may be anything at all."""
    spans = input_ranges(kind)
    armed = quiet(kind) | {"arm": 1}
    readings = [name for name in kind.inputs if name not in BOARD_INPUTS]
    # Mostly armed, or nothing would move.
    said = st.sampled_from(list(BOARD_INPUTS)).flatmap(
        lambda name: at_the_ends_or_between(*spans[name]).map(lambda value: {name: value})
    )
    return st.tuples(drawn_from(tuple(spans[name] for name in readings)), said).map(
        lambda drawn: row_of(armed | dict(zip(readings, drawn[0], strict=True)) | drawn[1])
    )


@cache
def segments(kind):
    """Inputs, and for how many ticks they stay; first a person arms, with both feet down."""
    first = [
        (row_of(quiet(kind)), DISARMED_TICKS),
        (row_of(quiet(kind) | {"arm": 1}), ARMED_TICKS),
    ]
    held = st.tuples(rows(kind), st.integers(1, 25))
    return st.lists(held, min_size=5, max_size=25).map(lambda drawn: [*first, *drawn])


def check_state(board):
    """Every integer of the state, and nothing but integers, within its declared range."""
    state = board.tell()
    low, high = np.array(board.kind.state_ranges).T
    assert {type(value) for value in state} == {int}
    outside = np.flatnonzero((np.array(state) < low) | (np.array(state) > high))
    assert [(board.kind.state_names[i], state[i], low[i], high[i]) for i in outside] == []


def run(kind, values, drawn):
    board = Core(kind, values, WATCHED)
    for inputs, ticks in drawn:
        board.put_inputs(inputs)
        for _ in range(ticks):
            board.tick()
            check_state(board)


@settings(max_examples=400)
@given(data=st.data())
def test_no_settings_and_no_readings_lead_out_of_range(kind, data):
    run(kind, data.draw(drawn_from(kind.setting_ranges)), data.draw(segments(kind)))


@settings(max_examples=400)
@given(data=st.data())
def test_nor_do_settings_with_which_hardly_anything_is_a_fault(kind, data):
    values = make_lenient(data.draw(drawn_from(kind.setting_ranges)), kind)
    run(kind, values, data.draw(segments(kind)))


@settings(max_examples=800)
@given(data=st.data())
def test_a_tick_from_any_state_within_its_ranges_ends_within_them(kind, data):
    """With the test above this is an induction: what one tick cannot leave, none will."""
    board = Core(kind, data.draw(drawn_from(kind.setting_ranges)), WATCHED)
    board.put_state(data.draw(drawn_from(kind.state_ranges)))
    board.tick()
    check_state(board)


def test_no_tick_of_the_streams_ends_out_of_range(kind, streams, reference):
    """But for a word that an error of the memory has changed."""
    low, high = np.array(kind.state_ranges).T
    at = 0
    for _, inputs in streams:
        trace = reference[at : at + len(inputs)]
        at += len(inputs)
        inside = ((trace >= low) & (trace <= high)).all(axis=0)
        inside[[word - 1 for word in set(inputs[:, -2].tolist()) if word]] = True
        assert [kind.state_names[i] for i in np.flatnonzero(~inside)] == []


HIGHEST = dict(zip(names("Settings"), (high for _, high in ranges("Settings")), strict=True))
WING_HIGHEST = dict(
    zip(names("WingSettings"), (high for _, high in ranges("WingSettings")), strict=True)
)


def raise_settings(config, raised, enlarged, highest=HIGHEST):
    """Put settings at the upper end of their ranges, and one of them ten times past it."""
    for name in raised:
        setattr(config, name, highest[name] * (10 if name == enlarged else 1))
    for table in ("hold_permille", "speed_q16"):
        for i, _ in enumerate(getattr(config, table)):
            most = highest[f"{table}[{i}]"]
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
    board = Core(LEGS, modules=WATCHED)
    rig = board.made[0]
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
    board.tick()
    return board


def test_the_worst_tick_within_all_ranges_passes():
    board = worst_tick()
    check_state(board)
    rig = board.made[0]
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


def worst_wing_tick(enlarged=None):
    """As the worst tick of a leg: a wing that follows a pot up as fast as it may, and falls."""
    board = Core(FRAME, modules=WATCHED)
    _, wings = board.made
    config = wings.settings
    raised = (
        *("visit_hz", "angle_alpha_q8", "rate_alpha_q8", "raised_cdeg", "follow_step_q6"),
        *("kp_q16", "ki_q16", "kd_q16", "integral_permille", "table_step_cdeg"),
        *("fold_max_cdeg", "stop_gain_q8", "stop_ahead_q10", "drive_max_permille"),
        *("slew_permille", "pot_ticks", "stick_ticks", "stop_ticks", "stall_ticks"),
        *("against_ticks", "rate_ticks", "adrift_ticks", "accel_step_q6"),
    )
    raise_settings(config, raised, enlarged, WING_HIGHEST)
    config.command_kind = POT_COMMAND
    config.lowered_cdeg = -ANGLE_MAX_CDEG
    for cal in (config.left_pot, config.left_command):
        cal.high_count = 4095
        cal.count[:] = array("i", (0, 1000, 2000, 3000, 4095))
        cal.angle_cdeg[:] = array("i", (-ANGLE_MAX_CDEG, -9000, 0, 9000, ANGLE_MAX_CDEG))
    wing = wings.left
    wing.rate_cdps = RATE_MAX_CDPS
    wing.primed = wing.law_on = wings.arm = 1
    wing.command.count = 4095
    for one, phase in ((wing, FOLLOWING), (wings.right, RESTING)):
        one.phase = phase
        one.phase_not = -1 - phase
    wing.pot.angle_cdeg_q4 = 16 * ANGLE_MAX_CDEG
    wing.fold_cdeg_q4 = 16 * ANGLE_MAX_CDEG
    wing.setpoint_cdeg_q6 = 64 * (ANGLE_MAX_CDEG - 1000)
    wing.step_cdeg_q6 = WING_HIGHEST["follow_step_q6"]
    wing.integral_q16 = 65536 * WING_HIGHEST["integral_permille"]
    # The next tick is the wings', and of them the left one's; it looks at no supply.
    wings.slot = 1
    wings.turn = 15
    board.tick()
    return board


def test_the_worst_tick_of_a_wing_within_all_ranges_passes():
    board = worst_wing_tick()
    check_state(board)
    wing = board.made[1].left
    assert wing.phase == FOLLOWING
    assert wing.rate_cdps == -RATE_MAX_CDPS


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
def test_a_setting_of_a_wing_allowed_to_be_ten_times_larger_leads_out_of_range(setting):
    with pytest.raises(NotSmallError):
        worst_wing_tick(enlarged=setting)


HEATS = (
    *("heat_most_permille", "heat_copper_q6", "heat_turn_q8", "heat_turn2_q16"),
    *("heat_warm_q8", "heat_case_q8", "heat_cross_q12", "heat_share_q8", "heat_cool_q12"),
)


def warmest_tick(case_mK, enlarged=None):
    """The model of heat with all that can warm at its most, the winding as warm as it may be."""
    board = Core(LEGS, modules=WATCHED)
    rig = board.made[0]
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
    board.tick()
    rig.turn = 19
    board.tick()
    return board


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


def test_watched_arithmetic_computes_what_plain_arithmetic_does(kind, streams, reference):
    settings, inputs = streams[0]
    board = Core(kind, settings, WATCHED)
    for row, expected in zip(inputs[:20_000].tolist(), reference, strict=False):
        board.put_inputs(row)
        board.tick()
        assert board.tell() == expected.tolist()
