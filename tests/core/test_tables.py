"""What a table of the core must be like for the code that reads it by place."""

from itertools import pairwise
from typing import NamedTuple

import pytest
from legcore import arming, faults, phases, stages, wing_faults, wing_phases, wing_supervise
from legcore.model import FAULT_BITS_MAX, RECORDS, SETPOINT_RATE_MAX_CDPS
from legcore.wing_model import WING


class Kind(NamedTuple):
    """The tables of one kind of joint, and what their constants are called there."""

    of: object
    phases: tuple
    events: tuple
    transitions: tuple
    next_phase: tuple
    event_count: int
    faults: tuple
    cut_bits: int
    of_faults: object


LEG = Kind(
    phases,
    phases.PHASES,
    phases.EVENTS,
    phases.TRANSITIONS,
    phases.NEXT_PHASE,
    phases.EVENT_COUNT,
    faults.FAULTS,
    faults.CUT_BITS,
    faults,
)
WING_KIND = Kind(
    wing_phases,
    wing_phases.WING_PHASES,
    wing_phases.WING_EVENTS,
    wing_phases.WING_TRANSITIONS,
    wing_phases.NEXT_WING_PHASE,
    wing_phases.WING_EVENT_COUNT,
    wing_faults.WING_FAULTS,
    wing_faults.WING_CUT_BITS,
    wing_faults,
)
each_kind = pytest.mark.parametrize("kind", [LEG, WING_KIND], ids=["leg", "wing"])


def constant(kind, name):
    """The constant that a row's name stands for."""
    return getattr(kind.of, {"held up": "HELD"}.get(name, name.upper().replace(" ", "_")))


@each_kind
def test_a_phase_and_an_event_are_the_places_of_their_rows(kind):
    """Tables are indexed by them, and people read the name that stands there."""
    for place, row in enumerate(kind.phases):
        assert constant(kind, row[0]) == place
    for place, row in enumerate(kind.events):
        assert constant(kind, row[0]) == place
    assert kind.event_count == len(kind.events)


@each_kind
def test_the_drive_leaves_neutral_only_past_standing_or_resting(kind):
    """The tick asks no more than whether a phase is past the first two."""
    assert [row[1] for row in kind.phases] == [int(place > 1) for place in range(len(kind.phases))]


@each_kind
def test_the_next_phase_is_that_of_the_row_and_without_one_the_same(kind):
    rows = {(row[0], row[1]): row[2] for row in kind.transitions}
    assert len(rows) == len(kind.transitions)
    for phase in range(len(kind.phases)):
        for event in range(len(kind.events)):
            place = phase * kind.event_count + event
            assert kind.next_phase[place] == rows.get((phase, event), phase)
    assert len(kind.next_phase) == len(kind.phases) * len(kind.events)


@each_kind
def test_every_phase_but_off_is_left_for_off_by_a_cut_and_for_nothing_that_moves_by_a_release(kind):
    for phase in range(1, len(kind.phases)):
        to = {row[1]: row[2] for row in kind.transitions if row[0] == phase}
        assert to[kind.of.CUT] == kind.of.OFF
        if phase != kind.of.RELEASING:
            assert to[kind.of.RELEASE] in (kind.of.OFF, kind.of.RELEASING)
            assert to[kind.of.DISARM] == to[kind.of.RELEASE]


def test_a_wings_events_that_a_leg_has_too_are_told_by_the_same_numbers():
    """What befalls the legs is handed to the wings as an event."""
    for name in ("NOTHING", "CUT", "RELEASE"):
        assert getattr(wing_phases, name) == getattr(phases, name)


@each_kind
def test_the_declared_range_of_a_phase_is_all_phases_and_that_of_its_copy_their_bits_turned(kind):
    record = {row[0]: row for row in (RECORDS["Leg"] if kind is LEG else WING)}
    last = len(kind.phases) - 1
    assert record["phase"][2:] == (0, last)
    assert record["phase_not"][2:] == (-1 - last, -1)


# Faults.


@each_kind
def test_the_bits_that_cut_are_those_of_the_rows_that_say_so(kind):
    cuts = [row[0] for row in kind.faults if row[7] == kind.of.CUT]
    assert kind.cut_bits == sum(cuts)
    assert 0 < len(cuts) < len(kind.faults)
    assert {row[7] for row in kind.faults} == {kind.of.CUT, kind.of.RELEASE}


def test_each_fault_has_a_bit_of_its_own_and_together_they_fill_a_small_integer():
    assert sorted(row[0] for row in faults.FAULTS) == [1 << i for i in range(30)]
    assert sum(row[0] for row in faults.FAULTS) == FAULT_BITS_MAX
    assert {row[0] for row in wing_faults.WING_FAULTS} <= {row[0] for row in faults.FAULTS}
    assert len({row[0] for row in wing_faults.WING_FAULTS}) == len(wing_faults.WING_FAULTS)


def test_only_a_restart_clears_what_the_memory_may_have_spoilt():
    lasting = [row[1] for row in faults.FAULTS if row[8] == faults.UNTIL_RESET]
    assert lasting == ["settings not valid", "memory corrupt"]
    assert faults.LASTING_BITS == faults.SETTINGS | faults.MEMORY
    assert faults.UNTIL_DISARMED != faults.UNTIL_RESET
    assert {row[8] for row in faults.FAULTS} == {faults.UNTIL_DISARMED, faults.UNTIL_RESET}


@pytest.mark.parametrize("column", [7, 8])
def test_the_bits_of_a_column_are_joined_however_many_rows_hold_a_value(column):
    rows = [(1 << i, *("",) * 6, i % 3, i % 2) for i in range(9)]
    for value in range(4):
        expected = sum(row[0] for row in rows if row[column] == value)
        assert faults.bits_of(rows, column, value) == expected
    # One fault in two rows is one fault.
    assert faults.bits_of(rows + rows, column, 0) == faults.bits_of(rows, column, 0)


@each_kind
def test_a_row_is_watched_in_known_phases_each_named_once(kind):
    for row in kind.faults:
        assert row[6]
        assert len(set(row[6])) == len(row[6])
        assert set(row[6]) <= set(range(len(kind.phases)))
    moving = tuple(place for place, row in enumerate(kind.phases) if row[1])
    assert moving == kind.of_faults.MOVING
    assert tuple(range(len(kind.phases))) == kind.of_faults.ALWAYS


@each_kind
def test_what_the_board_says_of_itself_is_looked_at_every_tick_and_all_else_less_often(kind):
    own = faults.LATE | faults.WATCHDOG | faults.SETTINGS | faults.STOP
    for row in kind.faults:
        assert (row[5] == 1) == bool(row[0] & own)
        assert row[5] in (1, 2, 8, 32)


# Arming and stages.


@pytest.mark.parametrize(
    "table", [arming.ARMING, wing_supervise.WING_ARMING], ids=["legs", "wings"]
)
def test_each_condition_of_arming_is_one_bit_and_contradicted_by_faults_that_cannot_be_armed(table):
    bits = [row[0] for row in table]
    assert len(set(bits)) == len(bits)
    assert all(bit & (bit - 1) == 0 and 0 < bit <= 256 for bit in bits)
    assert sum(bits) <= next(row[3] for row in RECORDS["Rig"] if row[0] == "arm_blocks")
    every = sum(row[0] for row in faults.FAULTS)
    seen = 0
    for row in table:
        # A fault shows at one condition; each part of a sum of bits is a bit of its own.
        assert row[2] & ~every == 0
        assert seen & row[2] == 0
        seen |= row[2]


def test_a_pot_that_cannot_be_trusted_shows_as_a_sensor_that_does_not_read():
    pots = faults.POT_LOW | faults.POT_HIGH | faults.POT_JUMP
    by_bit = {row[0]: row[2] for row in arming.ARMING}
    assert by_bit[arming.UNSAFE_SENSOR] == pots | faults.LINKAGE
    wings = {row[0]: row[2] for row in wing_supervise.WING_ARMING}
    assert wings[arming.UNSAFE_SENSOR] == pots
    for table in (by_bit, wings):
        assert table[arming.UNSETTLED] == faults.SETTINGS
        assert table[arming.STOPPED] == faults.STOP
        assert table[arming.EMPTY] == faults.BATTERY
        assert table[arming.STICK_AWAY] == faults.STICK


def test_each_stage_is_the_place_of_its_row_and_allows_more_than_the_one_before():
    for place, row in enumerate(stages.STAGES):
        assert getattr(stages, row[0].upper()) == place
    for before, after in pairwise(stages.STAGES):
        assert all(less < more for less, more in zip(before[1:4], after[1:4], strict=True))
    # Walking is bounded by the controller and by the law alone.
    assert stages.STAGES[stages.WALKING][1:3] == (1000, SETPOINT_RATE_MAX_CDPS)
