"""Which event counts, what it does to a leg, and what both legs share; each rule by itself.

The table of events says that of several that hold the earliest counts. So each event has its
condition here, in words of what is sensed, and the core is asked in scenes that lie on either side
of every limit.
"""

import random
from itertools import product
from types import SimpleNamespace

import pytest
from legcore import faults
from legcore.model import LIFTS_MAX, TICKS_MAX, VISIT_TICKS, make
from legcore.phases import (
    ARM,
    ARRIVED,
    ASK,
    CUT,
    DISARM,
    EVENTS,
    HELD,
    LANDED,
    LET_GO,
    LIFTING,
    LOWERING,
    NOTHING,
    OFF,
    PHASES,
    RELEASE,
    RELEASING,
    STANDING,
    STOOP,
    STOOPING,
    TIRED,
    TRANSITIONS,
)
from legcore.stages import GANTRY, STAND, WALKING
from legcore.supervise import advance, event_of, supervise
from walk import DEMO, SIDES, fill_settings

EVERY_PHASE = range(len(PHASES))
REST_CDEG, STEP_CDEG = DEMO["rest_fold_cdeg"], DEMO["step_fold_cdeg"]
TARGET_CDEG = 7000
each_side = pytest.mark.parametrize("side", range(len(SIDES)), ids=SIDES)
each_phase = pytest.mark.parametrize("phase", EVERY_PHASE, ids=[row[0] for row in PHASES])


def put_phase(leg, phase):
    leg.phase = phase
    leg.phase_not = -1 - phase


def scene(phase=STANDING, other_phase=STANDING, side=0):
    """Both legs armed and all well: the rig, the leg that is visited, the other one."""
    rig = make("Rig")
    fill_settings(rig.settings)
    legs = (rig.left, rig.right)
    for leg in legs:
        leg.fold_cdeg = leg.target_cdeg = TARGET_CDEG
        leg.sole = 1
    put_phase(legs[side], phase)
    put_phase(legs[1 - side], other_phase)
    rig.arm = rig.arm_was = 1
    rig.stick_count = DEMO["stick_centre_count"]
    return SimpleNamespace(rig=rig, leg=legs[side], other=legs[1 - side], settings=rig.settings)


# When each event holds. What a wearer may do is asked on either side of each limit below.


def may_lift(s):
    """The other leg stands; worn, this foot bears nothing and the other one bears."""
    bears = s.settings.stage < GANTRY or (not s.leg.sole and s.other.sole)
    return s.leg.pressed and s.leg.rearmed and s.other.phase == STANDING and bears


def may_stoop(s):
    """Both legs stand, no foot is raised; worn, both bear."""
    bear = s.settings.stage < GANTRY or (s.leg.sole and s.other.sole)
    return s.other.phase == STANDING and not s.leg.pressed and not s.other.pressed and bear


def pushed(s):
    return s.rig.stick_step_q6 > 0 and s.rig.stick_ready


def arrived(s):
    """The setpoint has come to its end, and the leg to the setpoint."""
    near = abs(s.leg.fold_cdeg - s.leg.target_cdeg) <= s.settings.arrive_cdeg
    return s.leg.setpoint_cdeg_q6 == s.leg.target_cdeg * 64 and near


def down(s):
    """The foot has met something, or has had its time, or is at its end, or bears there."""
    ended = s.leg.setpoint_cdeg_q6 == s.leg.target_cdeg * 64
    return (
        s.leg.slack_ticks >= s.settings.slack_ticks
        or s.leg.phase_ticks >= s.settings.down_ticks
        or arrived(s)
        or (ended and s.leg.sole)
    )


def risen(s):
    """Both legs at rest, or near it with a foot raised."""
    least = STEP_CDEG if s.leg.pressed or s.other.pressed else REST_CDEG
    return not pushed(s) and s.rig.stoop_cdeg_q6 <= least * 64


HOLDS = {
    RELEASE: lambda s: s.faults and s.leg.phase != RELEASING,
    DISARM: lambda s: (
        s.leg.phase != RELEASING
        and (not s.rig.arm or (s.leg.phase != OFF and s.other.phase == OFF))
    ),
    ARM: lambda s: (
        s.leg.phase == OFF and s.rig.arm_ticks >= s.settings.arm_ticks and not s.rig.arm_blocks
    ),
    ASK: lambda s: s.leg.phase in (STANDING, LOWERING) and may_lift(s),
    STOOP: lambda s: s.leg.phase == STANDING and pushed(s) and may_stoop(s),
    LET_GO: lambda s: s.leg.phase in (LIFTING, HELD) and not s.leg.pressed,
    TIRED: lambda s: s.leg.phase in (LIFTING, HELD) and s.leg.phase_ticks >= s.settings.hold_ticks,
    LANDED: lambda s: (
        risen(s) if s.leg.phase == STOOPING else s.leg.phase in (LOWERING, RELEASING) and down(s)
    ),
    ARRIVED: lambda s: s.leg.phase == LIFTING and arrived(s),
}
# What is drawn: what is usual, more often than what is not, so that late events get their turn.
DRAWN = {
    "rig": {
        "arm": (1, 1, 1, 1, 0),
        "arm_ticks": (DEMO["arm_ticks"] - 1, DEMO["arm_ticks"], DEMO["arm_ticks"] + 1),
        "arm_blocks": (0, 0, 1),
        "stick_step_q6": (-1, 0, 1),
        "stick_ready": (0, 1),
        "stoop_cdeg_q6": tuple(
            cdeg * 64 + more for cdeg in (REST_CDEG, STEP_CDEG) for more in (-1, 0, 1)
        ),
    },
    "leg": {
        "phase": EVERY_PHASE,
        "pressed": (0, 1),
        "rearmed": (0, 1, 1),
        "sole": (0, 1),
        "phase_ticks": (
            *(DEMO["hold_ticks"] + more for more in (-1, 0, 1)),
            *(DEMO["down_ticks"] + more for more in (-1, 0, 1)),
            *(0,) * 6,
        ),
        "slack_ticks": (0, 0, 0, *(DEMO["slack_ticks"] + more for more in (-1, 0, 1))),
        "setpoint_cdeg_q6": (*(TARGET_CDEG * 64 + more for more in (-1, 0, 0, 0, 1)),),
        "fold_cdeg": tuple(
            TARGET_CDEG + sign * (DEMO["arrive_cdeg"] + more)
            for sign in (-1, 1)
            for more in (-40, 0, 1)
        ),
    },
    "other": {"phase": (*EVERY_PHASE, *(STANDING,) * 8), "pressed": (0, 1), "sole": (0, 1, 1)},
    "settings": {"stage": (STAND, GANTRY, WALKING)},
}


def draw(rng, s):
    """Put anything into a scene."""
    for holder, fields in DRAWN.items():
        for name, values in fields.items():
            setattr(getattr(s, holder), name, rng.choice(values))
    s.other.unseen_lifts = 0
    s.faults = rng.choice((0, 0, 0, 0, faults.WEIGHT, faults.STOP))


def earliest(s):
    return min((event for event, holds in HOLDS.items() if holds(s)), default=NOTHING)


def test_of_all_events_that_hold_the_earliest_of_the_table_counts():
    rng = random.Random(3)
    met = set()
    s = scene()
    for _ in range(3000):
        draw(rng, s)
        event, rearmed = earliest(s), s.leg.rearmed
        found = event_of(s.leg, s.other, s.rig, s.faults)
        assert found == event, (EVENTS[event][0], vars(s.leg), vars(s.other))
        met.add((s.leg.phase, event))
        # Nobody tires twice of one raised foot; and each lift asks for the other foot's switch.
        assert s.leg.rearmed == (0 if event == TIRED else rearmed)
        assert s.other.unseen_lifts == (event == ASK)
    # A cut is for the supervisor to tell; all else has been met where it has a row.
    assert met >= {row[:2] for row in TRANSITIONS if row[1] != CUT}
    assert set(HOLDS) | {NOTHING, CUT} == set(range(len(EVENTS)))


def test_a_pushed_stick_begins_a_stoop_of_legs_that_may_and_of_no_others():
    """The scenes above come to it seldom; here they all do."""
    flags = product((STAND, GANTRY, WALKING), *[(0, 1)] * 4, (STANDING, LIFTING))
    for stage, sole, other_sole, pressed, other_pressed, other_phase in flags:
        s = scene(STANDING, other_phase)
        s.settings.stage = stage
        s.leg.sole, s.other.sole = sole, other_sole
        s.leg.pressed, s.other.pressed = pressed, other_pressed
        s.rig.stick_step_q6 = s.rig.stick_ready = 1
        s.faults = 0
        assert (event_of(s.leg, s.other, s.rig, 0) == STOOP) == bool(may_stoop(s))


def test_lifts_that_nobody_saw_the_other_switch_close_in_are_counted_up_to_a_bound():
    for before, after in ((0, 1), (LIFTS_MAX - 1, LIFTS_MAX), (LIFTS_MAX, LIFTS_MAX)):
        s = scene()
        s.leg.pressed = s.leg.rearmed = 1
        s.leg.sole = 0
        s.other.unseen_lifts = before
        assert event_of(s.leg, s.other, s.rig, 0) == ASK
        assert s.other.unseen_lifts == after


# What an event does to a leg.

OF_ONE_PHASE = (
    *("phase_ticks", "slack_ticks", "sunk_ticks", "stall_ticks", "against_ticks", "rate_ticks"),
    *("adrift_ticks", "push_ticks", "apart_ticks", "weight_ticks"),
)


def test_an_event_leads_where_the_table_says_and_no_other_event_leads_anywhere():
    rows = {row[:2]: row[2] for row in TRANSITIONS}
    for phase, event in product(EVERY_PHASE, range(len(EVENTS))):
        s = scene(phase)
        for name in OF_ONE_PHASE:
            setattr(s.leg, name, 30)
        advance(s.leg, event)
        after = rows.get((phase, event), phase)
        assert (s.leg.phase, s.leg.phase_not) == (after, -1 - after)
        left = {name: getattr(s.leg, name) for name in OF_ONE_PHASE}
        if after != phase:
            # Whatever was being counted of its motion was another phase's.
            assert left == dict.fromkeys(OF_ONE_PHASE, 0)
        else:
            assert left == dict.fromkeys(OF_ONE_PHASE, 30) | {"phase_ticks": 30 + VISIT_TICKS}


def test_the_time_in_a_phase_is_counted_in_ticks_up_to_a_bound():
    for before in (0, 1, TICKS_MAX - 2, TICKS_MAX - 1, TICKS_MAX, TICKS_MAX + 1):
        s = scene()
        s.leg.phase_ticks = before
        advance(s.leg, NOTHING)
        assert s.leg.phase_ticks == before + (VISIT_TICKS if before < TICKS_MAX else 0)


# What both legs share.


def visit(s):
    supervise(s.rig, s.leg, s.other)
    return s.leg.phase, s.other.phase


CUTS, RELEASES = faults.STOP, faults.WEIGHT


@pytest.mark.parametrize("holder", ["rig", "leg", "other"])
@each_phase
def test_a_fault_that_cuts_takes_power_from_both_legs_in_this_tick_wherever_it_is(phase, holder):
    other_phase = phase if phase in (OFF, STOOPING) else STANDING
    for others in (0, RELEASES):
        s = scene(phase, other_phase)
        s.rig.contactor = 1
        s.rig.left.fault_bits = s.rig.right.fault_bits = s.rig.fault_bits = others
        getattr(s, holder).fault_bits |= CUTS
        assert visit(s) == (OFF, OFF)
        assert s.rig.contactor == 0
        # What was latched stays so, nobody has acknowledged it; and no more has been.
        latched = [getattr(s, name).fault_bits for name in ("rig", "leg", "other")]
        assert latched[("rig", "leg", "other").index(holder)] & CUTS
        assert not any(bits & ~(CUTS | others) for bits in latched)


@pytest.mark.parametrize("holder", ["rig", "leg", "other", "elsewhere"])
@each_phase
def test_a_fault_that_releases_lets_a_leg_down_at_its_turn_wherever_it_is(phase, holder):
    other_phase = phase if phase in (OFF, STOOPING) else STANDING
    s = scene(phase, other_phase)
    s.rig.arm_ticks = DEMO["arm_ticks"]
    s.leg.pressed = 1
    # One of the same kind on the board besides does not make it another kind.
    if holder == "elsewhere":
        s.rig.elsewhere = CUTS
    else:
        s.leg.fault_bits = RELEASES if holder == "leg" else 0
        s.other.fault_bits = RELEASES if holder == "other" else 0
        s.rig.fault_bits = RELEASES if holder == "rig" else 0
    down = RELEASING if phase > STANDING else OFF
    both = phase == STOOPING
    assert visit(s) == (down, down if both else other_phase)
    assert s.rig.contactor == int(phase != OFF)


def test_the_same_fault_on_both_legs_and_on_the_board_is_a_fault_all_the_same():
    """Bits are joined, not reckoned with: twice the same one is still that one."""
    for one, two in product(("rig", "leg", "other"), repeat=2):
        if one != two:
            for bit in (CUTS, RELEASES):
                s = scene(HELD)
                getattr(s, one).fault_bits = getattr(s, two).fault_bits = bit
                visit(s)
                assert s.leg.phase == (OFF if bit == CUTS else RELEASING)
            s = scene(HELD)
            s.rig.elsewhere = RELEASES
            getattr(s, one).fault_bits = RELEASES
            visit(s)
            assert s.leg.phase == RELEASING


@pytest.mark.parametrize("fault", faults.FAULTS, ids=lambda row: row[1])
def test_whatever_it_is_a_fault_of_both_legs_is_answered_as_one_of_either(fault):
    for one, two in (("leg", "other"), ("leg", "rig"), ("other", "rig")):
        s = scene(HELD)
        getattr(s, one).fault_bits = getattr(s, two).fault_bits = fault[0]
        visit(s)
        assert s.leg.phase == (OFF if fault[7] == CUT else RELEASING)


@pytest.mark.parametrize("spoilt", [-1, len(PHASES), 1 << 20])
@each_phase
def test_a_phase_that_differs_from_its_copy_is_trusted_by_nobody(phase, spoilt):
    """It becomes a phase that the table knows, so that the cut finds its row."""
    for name in ("phase", "phase_not"):
        s = scene(phase, phase if phase == STOOPING else STANDING)
        setattr(s.leg, name, spoilt if name == "phase" else getattr(s.leg, name) ^ 1)
        assert visit(s) == (OFF, OFF)
        assert (s.leg.fault_bits, s.other.fault_bits) == (faults.MEMORY, 0)
        assert (s.leg.phase_not, s.other.phase_not) == (-1, -1)
        assert s.rig.contactor == 0


@each_phase
def test_a_cut_finds_a_spoilt_phase_of_the_other_leg_as_well(phase):
    for cut, spoilt in product((0, 1), (phase ^ 32, phase - 32)):
        s = scene(STANDING, phase)
        s.other.phase = spoilt
        s.rig.stop = cut
        s.rig.fault_bits = CUTS if cut else 0
        visit(s)
        if cut:
            assert (s.leg.phase, s.other.phase, s.other.phase_not) == (OFF, OFF, -1)
        assert s.other.fault_bits == (faults.MEMORY if cut else 0)
        assert s.leg.fault_bits == 0


@each_side
def test_a_leg_that_is_not_off_keeps_the_contactor_closed_whichever_it_is(side):
    for phase, other_phase in product((OFF, STANDING, RELEASING), repeat=2):
        s = scene(phase, other_phase, side)
        s.leg.phase_ticks = 0
        s.leg.setpoint_cdeg_q6 = s.other.setpoint_cdeg_q6 = 0
        visit(s)
        assert s.rig.contactor == int(s.leg.phase != OFF or s.other.phase != OFF)


# Arming.


def unarmed(side=0, **rig):
    s = scene(OFF, OFF, side)
    for leg in (s.leg, s.other):
        leg.fold_cdeg = REST_CDEG
    s.rig.arm_ready = 1
    for name, value in rig.items():
        setattr(s.rig, name, value)
    return s


@each_side
def test_a_hold_is_counted_tick_by_tick_up_to_a_bound_while_nothing_is_in_the_way(side):
    for before, after in ((0, 1), (7, 8), (TICKS_MAX - 1, TICKS_MAX), (TICKS_MAX, TICKS_MAX)):
        s = unarmed(side, arm_ticks=before)
        s.settings.arm_ticks = TICKS_MAX + 1
        visit(s)
        assert (s.rig.arm_ticks, s.rig.arm_ready, s.rig.arm_blocks) == (after, 1, 0)


def test_whatever_is_in_the_way_begins_a_hold_anew():
    s = unarmed(arm_ticks=20)
    s.other.pressed = 1
    visit(s)
    assert s.rig.arm_ticks == 0
    assert s.rig.arm_blocks
    s = unarmed(arm_ticks=20, elsewhere=RELEASES)
    visit(s)
    assert s.rig.arm_ticks == 0


def test_an_open_arm_input_makes_ready_and_counts_nothing():
    s = unarmed(arm=0, arm_was=0, arm_ready=0, arm_ticks=20)
    visit(s)
    assert (s.rig.arm_ready, s.rig.arm_ticks, s.rig.arm_was) == (1, 0, 0)


@pytest.mark.parametrize("arm_was", [0, 1])
def test_faults_clear_in_the_tick_in_which_the_arm_input_opens_but_for_those_that_last(arm_was):
    lasting = faults.SETTINGS | faults.MEMORY
    s = unarmed(arm=0, arm_was=arm_was)
    every = sum(row[0] for row in faults.FAULTS)
    for holder in (s.rig, s.leg, s.other):
        holder.fault_bits = every
    s.leg.primed = s.other.primed = 1
    visit(s)
    left = lasting if arm_was else every
    assert [holder.fault_bits for holder in (s.rig, s.leg, s.other)] == [left] * 3
    # Sensors start anew after a fault, as the joint may be anywhere by now.
    assert (s.leg.primed, s.other.primed) == ((0, 0) if arm_was else (1, 1))
    s = unarmed(arm=0, arm_was=1)
    s.leg.primed = s.other.primed = 1
    visit(s)
    assert (s.leg.primed, s.other.primed) == (1, 1)


def test_faults_stay_while_a_leg_is_still_let_down_though_the_arm_input_has_opened():
    s = scene(RELEASING, OFF)
    s.leg.setpoint_cdeg_q6 = 0
    s.rig.arm, s.leg.fault_bits, s.rig.arm_ready, s.rig.arm_ticks = 0, RELEASES, 1, 9
    visit(s)
    assert s.leg.fault_bits == RELEASES
    assert (s.rig.arm_was, s.rig.arm_ready, s.rig.arm_ticks) == (0, 0, 0)


@each_side
def test_both_legs_off_must_be_seen_before_a_new_hold_counts(side):
    """Once both stand, or where the input opens or others break in, the last hold is used up."""
    for phase, other_phase, arm, elsewhere, used_up in (
        (STANDING, STANDING, 1, 0, True),
        (OFF, STANDING, 1, 0, False),
        (OFF, STANDING, 0, 0, True),
        (OFF, STANDING, 1, RELEASES, True),
        (RELEASING, OFF, 1, 0, False),
        (RELEASING, OFF, 0, 0, True),
    ):
        s = scene(phase, other_phase, side)
        s.leg.setpoint_cdeg_q6 = 0
        s.rig.arm, s.rig.elsewhere, s.rig.arm_ready, s.rig.arm_ticks = arm, elsewhere, 1, 9
        visit(s)
        assert (s.rig.arm_ready, s.rig.arm_ticks) == ((0, 0) if used_up else (1, 9))
        assert s.rig.arm_was == arm


# A stoop is for both legs.


@each_side
def test_a_stoop_begins_for_both_in_one_tick_from_the_straighter_leg(side):
    for fold_cdeg, other_cdeg in ((6100, 6200), (6200, 6100)):
        s = scene(STANDING, STANDING, side)
        s.rig.stick_step_q6 = s.rig.stick_ready = 1
        s.rig.stoop_cdeg_q6, s.rig.stoop_step_q6 = 1, 77
        s.leg.fold_cdeg, s.other.fold_cdeg = fold_cdeg, other_cdeg
        assert visit(s) == (STOOPING, STOOPING)
        assert (s.rig.stoop_cdeg_q6, s.rig.stoop_step_q6) == (6100 * 64, 0)


@each_side
def test_a_stoop_goes_on_from_where_it_is_and_ends_for_both_in_one_tick(side):
    s = scene(STOOPING, STOOPING, side)
    s.rig.stoop_cdeg_q6, s.rig.stoop_step_q6 = 8000 * 64, 77
    s.leg.phase_ticks = s.other.phase_ticks = 10
    assert visit(s) == (STOOPING, STOOPING)
    assert (s.rig.stoop_cdeg_q6, s.rig.stoop_step_q6) == (8000 * 64, 77)
    # Each leg's time is counted at its own visits.
    assert (s.leg.phase_ticks, s.other.phase_ticks) == (10 + VISIT_TICKS, 10)
    s.rig.stoop_cdeg_q6 = REST_CDEG * 64
    assert visit(s) == (STANDING, STANDING)
    for ends in ({"arm": 0}, {"fault_bits": RELEASES}):
        s = scene(STOOPING, STOOPING, side)
        s.rig.stoop_cdeg_q6 = 8000 * 64
        for name, value in ends.items():
            setattr(s.rig, name, value)
        assert visit(s) == (RELEASING, RELEASING)


@each_phase
def test_a_stooping_leg_takes_no_leg_along_that_does_not_stoop(phase):
    """Such a phase is a memory error, which that leg's own visit finds."""
    if phase in (STOOPING, OFF):
        return
    s = scene(STOOPING, phase)
    s.rig.stoop_cdeg_q6 = REST_CDEG * 64
    assert visit(s) == (STANDING, phase)


@each_phase
def test_one_leg_that_lands_leaves_the_other_one_as_it_is(phase):
    if phase == OFF:
        return
    s = scene(LOWERING, phase)
    s.leg.slack_ticks = DEMO["slack_ticks"]
    s.rig.stoop_cdeg_q6 = 1
    assert visit(s) == (STANDING, phase)
    assert s.rig.stoop_cdeg_q6 == 1
