"""Which event counts for a wing, what it does to it, and what both wings share.

As test_supervisor.py does for legs: each event has its condition here, in words of what is sensed,
and of several that hold the earliest of the table counts.
"""

import random
from itertools import product

import pytest
from legcore import arming, faults
from legcore.model import TICKS_MAX, VISIT_TICKS
from legcore.wing_model import POT_COMMAND, STICK_COMMAND
from legcore.wing_phases import (
    ARM,
    CALL,
    CUT,
    DISARM,
    FOLLOWING,
    LANDED,
    NOTHING,
    OFF,
    RELEASE,
    RELEASING,
    RESTING,
    SETTLED,
    WING_EVENTS,
    WING_PHASES,
    WING_TRANSITIONS,
)
from legcore.wing_supervise import advance_wing, supervise_wing, wing_blocks, wing_event
from walk import SIDES
from wing_scene import SETTINGS, scene

EVERY_PHASE = range(len(WING_PHASES))
REST_CDEG = SETTINGS["rest_fold_cdeg"]
CUTS, RELEASES = faults.STOP, faults.BATTERY
each_side = pytest.mark.parametrize("side", range(len(SIDES)), ids=SIDES)
each_phase = pytest.mark.parametrize("phase", EVERY_PHASE, ids=[row[0] for row in WING_PHASES])


# When each event holds.


def called(s):
    """A stick off its centre, or a pot that asks for a pose away from rest."""
    if s.settings.command_kind == STICK_COMMAND:
        return s.wing.asked != 0
    return abs(s.wing.asked - REST_CDEG) > SETTINGS["call_cdeg"]


def near(cdeg):
    return abs(cdeg - REST_CDEG) <= SETTINGS["arrive_cdeg"]


def settled(s):
    still = s.wing.step_cdeg_q6 == 0
    return (
        not called(s) and still and near(s.wing.setpoint_cdeg_q6 // 64) and near(s.wing.fold_cdeg)
    )


def hangs(s):
    """It hangs and its setpoint has come to its end, or the time for it is over."""
    ended = s.wing.setpoint_cdeg_q6 == REST_CDEG * 64
    return s.wing.phase_ticks >= SETTINGS["down_ticks"] or (ended and near(s.wing.fold_cdeg))


def faulty(s):
    return bool(s.faults or s.wings.elsewhere)


HOLDS = {
    RELEASE: lambda s: faulty(s) and s.wing.phase != RELEASING,
    DISARM: lambda s: (
        s.wing.phase != RELEASING
        and (not s.wings.arm or (s.wing.phase != OFF and s.other.phase == OFF))
    ),
    ARM: lambda s: (
        s.wing.phase == OFF and s.wings.arm_ticks >= s.settings.arm_ticks and not s.wings.arm_blocks
    ),
    CALL: lambda s: s.wing.phase == RESTING and called(s),
    SETTLED: lambda s: s.wing.phase == FOLLOWING and settled(s),
    LANDED: lambda s: s.wing.phase == RELEASING and hangs(s),
}
AROUND = tuple(
    REST_CDEG + sign * (SETTINGS["arrive_cdeg"] + more) for sign in (-1, 1) for more in (-40, 0, 1)
)
DRAWN = {
    "wings": {
        "arm": (1, 1, 1, 1, 0),
        "arm_ticks": (49, 50, 51),
        "arm_blocks": (0, 0, 1),
        "elsewhere": (0, 0, 0, 0, RELEASE, CUT),
    },
    "wing": {
        "phase": EVERY_PHASE,
        "asked": (
            0,
            0,
            1,
            -1,
            *(REST_CDEG + sign * more for sign in (-1, 1) for more in (300, 301)),
        ),
        "phase_ticks": (0, 0, 0, 499, 500, 501),
        "setpoint_cdeg_q6": (
            *(REST_CDEG * 64 + more for more in (-1, 0, 0, 0, 1)),
            *(cdeg * 64 for cdeg in AROUND),
        ),
        "fold_cdeg": AROUND,
        "step_cdeg_q6": (0, 0, 0, 1, -1),
    },
    "other": {"phase": (*EVERY_PHASE, RESTING, FOLLOWING)},
    "settings": {"command_kind": (STICK_COMMAND, POT_COMMAND)},
}


def draw(rng):
    s = scene(side=rng.randrange(2))
    for holder, fields in DRAWN.items():
        for name, values in fields.items():
            setattr(getattr(s, holder), name, rng.choice(values))
    s.faults = rng.choice((0, 0, 0, 0, RELEASES, CUTS))
    return s


def test_of_all_events_that_hold_the_earliest_of_the_table_counts():
    rng = random.Random(4)
    met = set()
    for _ in range(3000):
        s = draw(rng)
        event = min((event for event, holds in HOLDS.items() if holds(s)), default=NOTHING)
        found = wing_event(s.wing, s.other, s.wings, s.faults)
        assert found == event, (WING_EVENTS[event][0], vars(s.wing))
        met.add((s.wing.phase, event))
    # A cut is for the supervisor to tell.
    assert met >= {row[:2] for row in WING_TRANSITIONS if row[1] != CUT}
    assert set(HOLDS) | {NOTHING, CUT} == set(range(len(WING_EVENTS)))


# What an event does to a wing.

OF_ONE_PHASE = (
    *("phase_ticks", "sunk_ticks", "stall_ticks", "against_ticks", "rate_ticks", "adrift_ticks"),
)


def test_an_event_leads_where_the_table_says_and_no_other_event_leads_anywhere():
    rows = {row[:2]: row[2] for row in WING_TRANSITIONS}
    for phase, event in product(EVERY_PHASE, range(len(WING_EVENTS))):
        s = scene(phase)
        for name in OF_ONE_PHASE:
            setattr(s.wing, name, 30)
        advance_wing(s.wing, event)
        after = rows.get((phase, event), phase)
        assert (s.wing.phase, s.wing.phase_not) == (after, -1 - after)
        left = {name: getattr(s.wing, name) for name in OF_ONE_PHASE}
        if after != phase:
            # Whatever was being counted of its motion was another phase's.
            assert left == dict.fromkeys(OF_ONE_PHASE, 0)
        else:
            assert left == dict.fromkeys(OF_ONE_PHASE, 30) | {"phase_ticks": 30 + VISIT_TICKS}


def test_the_time_in_a_phase_is_counted_in_ticks_up_to_a_bound():
    for before in (0, 1, TICKS_MAX - 2, TICKS_MAX - 1, TICKS_MAX, TICKS_MAX + 1):
        s = scene()
        s.wing.phase_ticks = before
        advance_wing(s.wing, NOTHING)
        assert s.wing.phase_ticks == before + (VISIT_TICKS if before < TICKS_MAX else 0)


# What both wings share.


def visit(s):
    supervise_wing(s.wings, s.wing, s.other)
    return s.wing.phase, s.other.phase


def put_fault(s, holder, bit):
    if holder == "elsewhere":
        s.wings.elsewhere = CUT if bit == CUTS else RELEASE
    else:
        getattr(s, holder).fault_bits |= bit


HOLDERS = ("wings", "wing", "other", "elsewhere")


@pytest.mark.parametrize("holder", HOLDERS)
@each_phase
def test_a_cut_here_or_of_the_legs_takes_power_from_both_wings_in_this_tick(phase, holder):
    for other_phase, others in product(EVERY_PHASE, (0, RELEASES)):
        s = scene(phase, other_phase)
        s.wing.fault_bits = s.other.fault_bits = s.wings.fault_bits = others
        put_fault(s, holder, CUTS)
        assert visit(s) == (OFF, OFF)
        assert s.wings.contactor == 0
        # No more is latched than has been.
        for name in HOLDERS[:3]:
            assert not getattr(s, name).fault_bits & ~(CUTS | others)


@pytest.mark.parametrize("holder", HOLDERS)
@each_phase
def test_a_fault_that_releases_brings_a_wing_down_at_its_turn_wherever_it_is(phase, holder):
    s = scene(phase, RESTING)
    s.wings.arm_ticks = SETTINGS["arm_ticks"]
    s.wing.asked = 77
    put_fault(s, holder, RELEASES)
    assert visit(s) == (RELEASING if phase > RESTING else OFF, RESTING)
    assert s.wings.contactor == 1


def test_the_same_fault_in_several_places_is_a_fault_all_the_same():
    """Bits are joined, not reckoned with: twice the same one is still that one."""
    for one, two in product(HOLDERS[:3], repeat=2):
        if one != two:
            for bit in (CUTS, RELEASES):
                s = scene(FOLLOWING, RESTING)
                put_fault(s, one, bit)
                put_fault(s, two, bit)
                visit(s)
                assert s.wing.phase == (OFF if bit == CUTS else RELEASING)


@pytest.mark.parametrize("spoilt", [-1, len(WING_PHASES), 1 << 20])
@each_phase
def test_a_phase_that_differs_from_its_copy_is_trusted_by_nobody(phase, spoilt):
    """It becomes a phase that the table knows, so that the cut finds its row."""
    for name in ("phase", "phase_not"):
        s = scene(phase, RESTING)
        setattr(s.wing, name, spoilt if name == "phase" else getattr(s.wing, name) ^ 1)
        assert visit(s) == (OFF, OFF)
        assert (s.wing.fault_bits, s.other.fault_bits) == (faults.MEMORY, 0)
        assert (s.wing.phase_not, s.other.phase_not) == (-1, -1)
        assert s.wings.contactor == 0


@each_phase
def test_a_cut_finds_a_spoilt_phase_of_the_other_wing_as_well(phase):
    for cut, spoilt in product((0, 1), (phase ^ 32, phase - 32)):
        s = scene(RESTING, phase)
        s.other.phase = spoilt
        s.wings.fault_bits = CUTS if cut else 0
        visit(s)
        if cut:
            assert (s.wing.phase, s.other.phase, s.other.phase_not) == (OFF, OFF, -1)
        assert s.other.fault_bits == (faults.MEMORY if cut else 0)
        assert s.wing.fault_bits == 0


@each_side
def test_a_wing_that_is_not_off_keeps_the_contactor_closed_whichever_it_is(side):
    for phase, other_phase in product((OFF, RESTING, RELEASING), repeat=2):
        s = scene(phase, other_phase, side)
        visit(s)
        assert s.wings.contactor == int(s.wing.phase != OFF or s.other.phase != OFF)


# Arming.


def unarmed(side=0, **changes):
    s = scene(OFF, OFF, side)
    s.wings.arm_ready = 1
    for name, value in changes.items():
        setattr(s.wings, name, value)
    return s


@each_side
def test_a_hold_is_counted_tick_by_tick_while_nothing_is_in_the_way(side):
    s = unarmed(side, arm_ticks=7)
    visit(s)
    assert (s.wings.arm_ticks, s.wings.arm_ready, s.wings.arm_blocks) == (8, 1, 0)
    assert s.wings.arm_was == 1


@pytest.mark.parametrize("elsewhere", [RELEASE, CUT])
def test_whatever_breaks_in_on_arming_makes_it_begin_anew(elsewhere):
    """Also where the wings hang and stay armed for this tick."""
    for phase, other_phase in ((OFF, OFF), (RESTING, RESTING), (RELEASING, OFF)):
        s = scene(phase, other_phase)
        s.wings.arm_ready, s.wings.arm_ticks, s.wings.elsewhere = 1, 20, elsewhere
        visit(s)
        assert (s.wings.arm_ready, s.wings.arm_ticks) == (0, 0)


@each_side
def test_both_wings_off_must_be_seen_before_a_new_hold_counts(side):
    """Once both rest, or where the input opens, the last hold is used up."""
    for phase, other_phase, arm, used_up in (
        (RESTING, RESTING, 1, True),
        (OFF, RESTING, 1, False),
        (OFF, RESTING, 0, True),
        (RELEASING, OFF, 1, False),
        (RELEASING, OFF, 0, True),
    ):
        s = scene(phase, other_phase, side)
        s.wings.arm, s.wings.arm_ready, s.wings.arm_ticks = arm, 1, 9
        visit(s)
        assert (s.wings.arm_ready, s.wings.arm_ticks) == ((0, 0) if used_up else (1, 9))
        assert s.wings.arm_was == arm


def test_faults_clear_in_the_tick_in_which_the_arm_input_opens_but_for_those_that_last():
    every = sum(row[0] for row in faults.FAULTS)
    for arm_was, left in ((0, every), (1, faults.SETTINGS | faults.MEMORY)):
        s = unarmed(arm=0, arm_was=arm_was)
        for holder in (s.wings, s.wing, s.other):
            holder.fault_bits = every
        visit(s)
        assert [holder.fault_bits for holder in (s.wings, s.wing, s.other)] == [left] * 3


# What is in the way of arming.

SHOWS = {
    faults.SETTINGS: arming.UNSETTLED,
    faults.POT_LOW: arming.UNSAFE_SENSOR,
    faults.POT_HIGH: arming.UNSAFE_SENSOR,
    faults.POT_JUMP: arming.UNSAFE_SENSOR,
    faults.STOP: arming.STOPPED,
    faults.BATTERY: arming.EMPTY,
}


def blocks(fault_bits=0, **changes):
    return wing_blocks(unarmed(**changes).wings, fault_bits)


@pytest.mark.parametrize("fault", faults.FAULTS, ids=lambda row: row[1])
def test_a_fault_is_in_the_way_and_shows_at_the_condition_that_it_contradicts(fault):
    bit = fault[0]
    assert blocks(bit) == arming.FAULTY | SHOWS.get(bit, 0)
    # Beside others, too.
    for other, shown in SHOWS.items():
        assert blocks(bit | other) == arming.FAULTY | shown | SHOWS.get(bit, 0)


def test_with_all_well_nothing_is_in_the_way_but_what_is_named():
    assert blocks() == 0
    assert blocks(elsewhere=RELEASE) == arming.FAULTY
    assert blocks(arm_ready=0) == arming.UNSEEN


@pytest.mark.parametrize("which", ["wing", "other"])
def test_a_wing_that_is_called_or_does_not_hang_is_in_the_way_whichever_it_is(which):
    for asked in (-1, 1):
        s = unarmed()
        getattr(s, which).asked = asked
        assert wing_blocks(s.wings, 0) == arming.STICK_AWAY
    for away_cdeg, expected in ((700, 0), (701, arming.FOLDED)):
        for sign in (1, -1):
            s = unarmed()
            getattr(s, which).fold_cdeg = REST_CDEG + sign * away_cdeg
            assert wing_blocks(s.wings, 0) == expected


def test_all_that_is_in_the_way_is_told_at_once():
    s = unarmed(arm_ready=0)
    s.wing.asked = 1
    s.wing.fold_cdeg = s.other.fold_cdeg = 5000
    s.other.asked = 1
    together = sum(bit for bit in SHOWS)
    shown = arming.FAULTY | arming.STICK_AWAY | arming.FOLDED | arming.UNSEEN
    for condition in SHOWS.values():
        shown |= condition
    assert wing_blocks(s.wings, together) == shown
