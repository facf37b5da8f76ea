"""Each watch of a leg and of its board: exactly at its limit all is well, a hair past it is not.

One part of the core is run by itself, on numbers put into its memory, so that nothing but the
limit itself decides. What is done to legs, and what their motion does, is shown in test_faults.py.
"""

from collections.abc import Callable
from itertools import product
from operator import attrgetter
from types import SimpleNamespace
from typing import NamedTuple

import pytest
from legcore import faults
from legcore.model import (
    LONG_ROUND_TICKS,
    RECORDS,
    ROUND_TICKS,
    VISIT_TICKS,
    WATCH_TICKS_MAX,
    make,
)
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING, STOOPING
from legcore.stages import GANTRY, STAND
from legcore.watch import judge, scrub
from legsim.tables import FAULTS, PHASES, fault_names
from walk import DEMO, SIDES, fill_settings

BY_BIT = {fault.bit: fault for fault in FAULTS}
# No row trips within a test but the one whose own time is put back.
NEVER = {fault.ticks: 2000 for fault in FAULTS if fault.ticks}
# Deeper than weight alone folds a leg, far from the end stop.
UP_CDEG = 8000
assert DEMO["rest_fold_cdeg"] + DEMO["sunk_cdeg"] < UP_CDEG


def scene(phase=STANDING, side=0, other_phase=None, **changes):
    """A leg in a phase with all well: the rig, the leg, the other one, the settings."""
    rig = make("Rig")
    fill_settings(rig.settings, **(NEVER | changes))
    legs = (rig.left, rig.right)
    leg, other = legs[side], legs[1 - side]
    alone = phase not in (OFF, STOOPING)
    calm(leg, rig.settings, phase)
    calm(
        other, rig.settings, (STANDING if alone else phase) if other_phase is None else other_phase
    )
    rig.contactor = 1
    rig.battery_mV, rig.supply_mV = 22800, 5000
    rig.stick_count = DEMO["stick_centre_count"]
    return SimpleNamespace(rig=rig, leg=leg, other=other, settings=rig.settings)


def calm(leg, settings, phase):
    leg.phase = phase
    leg.primed = 1
    put_fold(leg, settings.rest_fold_cdeg if phase <= STANDING else UP_CDEG)
    leg.mark_cdeg = leg.warmed_cdeg = leg.fold_cdeg
    for joint, skew_cdeg in ((leg.thigh, settings.skew_cdeg), (leg.shank, 0)):
        joint.count = joint.good_count = joint.mark_count = 2000
        joint.angle_cdeg_q4 = (3000 + skew_cdeg) * 16
    leg.sole = int(phase in (OFF, STANDING, STOOPING))


def put_fold(leg, cdeg):
    leg.fold_cdeg = cdeg
    leg.fold_cdeg_q4 = cdeg * 16
    leg.setpoint_cdeg_q6 = cdeg * 64


def tick(at):
    """Judge once, as the tick does: the legs in turn."""
    rig = at.rig
    rig.turn = rig.turn + 1 & 31
    side = rig.turn & 1
    legs = (rig.left, rig.right)
    cals = (rig.settings.left_thigh, rig.settings.left_shank)
    if side:
        cals = (rig.settings.right_thigh, rig.settings.right_shank)
    judge(rig, legs[side], legs[1 - side], *cals)


def bits(at):
    return at.rig.left.fault_bits | at.rig.right.fault_bits | at.rig.fault_bits


def own_bits(at):
    """Those of the leg and of the board."""
    return at.leg.fault_bits | at.rig.fault_bits


def ticks_to_trip(at, most):
    """After how many ticks the first fault is set; 0 where none is."""
    for n in range(1, most + 1):
        tick(at)
        if bits(at):
            return n
    return 0


# Rows that have a time. Each edge: what else must be so, the field, its value at the limit, where
# all is well, and the value a hair past it.


class Edge(NamedTuple):
    """One limit of a row, and how its two sides are put into the memory."""

    bit: int
    words: str
    # Put one side of the limit into a scene: 0 at the limit, 1 a hair past it.
    put: Callable
    phases: tuple[int, ...] = ()

    @property
    def fault(self):
        return BY_BIT[self.bit]

    def in_phases(self):
        return self.phases or self.fault.phases


def on_leg(field, at, past, **also):
    """An edge at a field of the leg; `at` gives the limit from the settings."""

    def put(s, side):
        for name, value in also.items():
            setattr(s.leg, name, getattr(s.settings, value) if isinstance(value, str) else value)
        setattr(s.leg, field, at(s) + side * past)

    return put


def on_board(field, at, past):
    return lambda s, side: setattr(s.rig, field, at(s.settings) + side * past)


def on_fold(at):
    return lambda s, side: put_fold(s.leg, at(s.settings) + side)


def setpoint(lead_q6, past):
    """The setpoint ahead of the fold, in sixty-fourths of a hundredth of a degree."""
    return on_leg("setpoint_cdeg_q6", lambda s: s.leg.fold_cdeg * 64 + lead_q6(s.settings), past)


def driven(field, at, past):
    """Under drive; stooping, behind the setpoint as well."""

    def put(s, side):
        s.leg.drive_permille = s.settings.stall_drive_permille
        s.leg.setpoint_cdeg_q6 = (s.leg.fold_cdeg + s.settings.apart_cdeg) * 64 + 1
        setattr(s.leg, field, at(s) + side * past)

    return put


def drive(rate_cdps):
    """As strong a drive as counts, or a hair less."""

    def put(s, side):
        s.leg.rate_cdps = rate_cdps
        s.leg.setpoint_cdeg_q6 = (s.leg.fold_cdeg + s.settings.apart_cdeg) * 64 + 1
        s.leg.drive_permille = s.settings.stall_drive_permille - 1 + side

    return put


def stooping_behind(rate_cdps):
    """A stooping leg counts as driven only while it is behind its setpoint."""

    def put(s, side):
        s.leg.rate_cdps = rate_cdps
        s.leg.drive_permille = s.settings.stall_drive_permille
        s.leg.setpoint_cdeg_q6 = (s.leg.fold_cdeg + s.settings.apart_cdeg) * 64 + side

    return put


def skew(by_q4, past):
    return lambda s, side: setattr(
        s.leg.thigh,
        "angle_cdeg_q4",
        s.leg.shank.angle_cdeg_q4 + by_q4(s.settings) + side * past,
    )


def other_is_up(s, side):
    s.leg.sole = 1 - side
    s.other.phase = HELD
    s.other.sole = 0


def neither_bears(s, side):
    s.leg.sole = 0
    s.other.sole = 1 - side


def both_stand(s, side):
    """A leg that stands without the ground beside one that stands, and beside one that does not."""
    s.leg.sole = s.other.sole = 0
    s.other.phase = LIFTING if side else STANDING


def raised_under_weight(sole, pressed):
    def put(s, side):
        s.leg.sole = side or sole
        s.leg.pressed = side or pressed

    return put


def hangs(s, side):
    s.leg.sole = 0
    put_fold(s.leg, s.settings.rest_fold_cdeg + s.settings.hanging_cdeg + side)


def hangs_without_ground(s, side):
    put_fold(s.leg, s.settings.rest_fold_cdeg + s.settings.hanging_cdeg + 1)
    s.leg.sole = 1 - side


def slack(sole):
    def put(s, side):
        s.leg.sole = sole
        s.leg.setpoint_cdeg_q6 = (s.leg.fold_cdeg - s.settings.push_cdeg) * 64 - side

    return put


def slack_unborne(s, side):
    """Coming down, a foot that the ground bears may have been folded by it."""
    s.leg.sole = 1 - side
    s.leg.setpoint_cdeg_q6 = (s.leg.fold_cdeg - s.settings.push_cdeg) * 64 - 1


def slack_deep(s, side):
    """Weight alone folds a stooping leg so far, and no farther."""
    put_fold(s.leg, s.settings.rest_fold_cdeg + s.settings.sunk_cdeg + side)
    s.leg.setpoint_cdeg_q6 -= s.settings.push_cdeg * 64 + 1
    s.leg.sole = 1


def host_silent(s, side):
    s.rig.host = 1
    s.rig.host_heard = 1 - side


def host_in_charge(s, side):
    s.rig.host_heard = 0
    s.rig.host = side


NOT_UP = (OFF, STANDING)
DOWN = (LOWERING, RELEASING)
UNDER_DRIVE = (LIFTING, HELD, LOWERING, RELEASING, STOOPING)
EDGES = (
    Edge(
        faults.LINKAGE,
        "thigh too far ahead",
        skew(lambda c: (c.skew_cdeg + c.skew_most_cdeg) * 16 + 15, 1),
    ),
    Edge(
        faults.LINKAGE,
        "shank too far ahead",
        skew(lambda c: (c.skew_cdeg - c.skew_most_cdeg) * 16, -1),
    ),
    Edge(faults.SWITCH_STUCK, "pressed", on_leg("pressed", lambda s: 0, 1)),
    Edge(faults.WEIGHT, "sole bears", on_leg("sole", lambda s: 0, 1)),
    Edge(faults.ASKED, "pressed under weight", raised_under_weight(1, 0)),
    Edge(faults.ASKED, "weight while pressed", raised_under_weight(0, 1)),
    Edge(faults.UNBORNE, "other is up", other_is_up, (STANDING,)),
    Edge(faults.UNBORNE, "other begins to lift", both_stand, (STANDING,)),
    Edge(faults.UNBORNE, "neither bears", neither_bears, (STOOPING,)),
    Edge(faults.HANGING, "folded", hangs),
    Edge(faults.HANGING, "without ground", hangs_without_ground),
    Edge(faults.UNASKED, "folded", on_fold(lambda c: c.rest_fold_cdeg + c.sunk_cdeg)),
    Edge(faults.STALL, "drive", drive(0)),
    Edge(faults.STALL, "behind", stooping_behind(0), (STOOPING,)),
    Edge(faults.AGAINST, "rate", driven("rate_cdps", lambda s: -s.settings.against_cdps, -1)),
    Edge(faults.RATE, "upward", on_leg("rate_cdps", lambda s: s.settings.rate_most_cdps, 1)),
    Edge(faults.RATE, "downward", on_leg("rate_cdps", lambda s: -s.settings.rate_most_cdps, -1)),
    Edge(faults.ADRIFT, "lead", setpoint(lambda c: c.adrift_cdeg * 64 + 63, 1)),
    Edge(faults.SLACK, "in the air", slack(0)),
    Edge(faults.SLACK, "on the ground", slack(1), (LIFTING, HELD, STOOPING)),
    Edge(faults.SLACK, "the ground bears", slack_unborne, DOWN),
    Edge(faults.SLACK, "deep", slack_deep, (STOOPING,)),
    Edge(faults.END_STOP, "folded", on_fold(lambda c: c.fold_max_cdeg + c.stop_margin_cdeg)),
    Edge(faults.BATTERY, "low", on_board("battery_mV", lambda c: c.battery_least_mV, -1)),
    Edge(faults.SUPPLY, "low", on_board("supply_mV", lambda c: c.supply_least_mV, -1)),
    Edge(faults.STICK, "low", on_board("stick_count", lambda c: c.stick_low_count, -1)),
    Edge(faults.STICK, "high", on_board("stick_count", lambda c: c.stick_high_count, 1)),
    Edge(faults.HOST, "silent", host_silent),
    Edge(faults.HOST, "in charge", host_in_charge),
    Edge(faults.MISMATCH, "below", setpoint(lambda c: c.apart_cdeg * 64 + 63, 1)),
    Edge(faults.MISMATCH, "above", setpoint(lambda c: -c.apart_cdeg * 64, -1)),
)
each_edge = pytest.mark.parametrize("edge", EDGES, ids=lambda e: f"{e.fault.name}, {e.words}")


def test_every_row_that_has_a_time_has_an_edge_but_pots_whose_time_the_estimate_counts():
    assert {edge.bit for edge in EDGES} == {
        fault.bit for fault in FAULTS if fault.ticks not in ("", "pot_ticks")
    }


def ready(edge, phase, side=0, more=0):
    """A scene in a phase, in which the row may trip after two looks and a bit."""
    every = edge.fault.every_ticks
    return scene(phase, side, **{edge.fault.ticks: 2 * every + more})


def run(edge, at, side, most):
    """Tick with an edge put anew each time, as readings are; ticks until a fault is set, or 0."""
    for n in range(1, most + 1):
        edge.put(at, side)
        tick(at)
        if own_bits(at):
            return n
    return 0


@pytest.mark.parametrize("more", [0, 1])
@each_edge
def test_a_row_trips_when_its_time_has_passed_and_not_a_look_before(edge, more):
    """However the looks lie: it is looked at once in so many ticks as the table says."""
    every = edge.fault.every_ticks
    whole = every * (2 + more)
    phase = edge.in_phases()[-1]
    for side in (0, 1):
        found = []
        for turn in range(every):
            at = ready(edge, phase, side, more)
            at.rig.turn = turn
            found.append(run(edge, at, 1, 2 * whole))
            assert fault_names(own_bits(at)) == (edge.fault.name,)
        assert sorted(found) == [*range(whole + 1, whole + every + 1)]


@each_edge
def test_at_its_limit_a_row_never_trips(edge):
    for phase in edge.in_phases():
        at = ready(edge, phase)
        assert run(edge, at, 0, 6 * edge.fault.every_ticks) == 0


@pytest.mark.parametrize("more", [0, 1])
@each_edge
def test_a_condition_that_ends_for_one_look_has_to_last_its_whole_time_again(edge, more):
    every = edge.fault.every_ticks
    whole = every * (2 + more)
    at = ready(edge, edge.in_phases()[0], 0, more)
    assert run(edge, at, 1, whole) == 0
    assert run(edge, at, 0, every) == 0
    assert whole < run(edge, at, 1, 2 * whole) <= whole + every


@each_edge
def test_a_row_is_watched_in_its_phases_and_in_no_others(edge):
    for phase in range(len(PHASES)):
        if phase == OFF and edge.bit == faults.END_STOP:
            # A leg that is off beside one that is let down may not pass its end stop, either.
            continue
        if phase in edge.fault.phases and phase not in edge.in_phases():
            continue
        at = ready(edge, phase)
        tripped = run(edge, at, 1, 5 * edge.fault.every_ticks)
        assert bool(tripped) == (phase in edge.fault.phases), PHASES[phase].name


@pytest.mark.parametrize("bit", [faults.UNASKED, faults.END_STOP], ids=["folds", "end stop"])
def test_a_leg_without_power_is_watched_only_while_the_other_one_has_it(bit):
    """What a person does with a leg by hand, with the contactor open, is nobody's business."""
    edge = next(edge for edge in EDGES if edge.bit == bit)
    for contactor in (0, 1):
        at = ready(edge, OFF)
        at.rig.contactor = contactor
        assert bool(run(edge, at, 1, 20)) == contactor


@pytest.mark.parametrize("phase", range(STANDING, len(PHASES)))
def test_a_leg_that_is_not_off_is_watched_whatever_the_memory_says_of_the_contactor(phase):
    edge = next(edge for edge in EDGES if edge.bit == faults.END_STOP)
    at = ready(edge, phase)
    at.rig.contactor = 0
    assert run(edge, at, 1, 20)


def test_a_leg_that_stands_straight_in_the_air_does_not_hang():
    at = scene(STANDING, hanging_ticks=1)
    at.leg.sole = 0
    assert ticks_to_trip(at, 5 * ROUND_TICKS) == 0


@pytest.mark.parametrize("phase", range(len(PHASES)), ids=[phase.name for phase in PHASES])
def test_with_all_well_no_row_ever_trips_however_short_its_time(phase):
    at = scene(phase, **dict.fromkeys(NEVER, 1))
    at.settings.chatter_most = at.settings.unseen_lifts = 1
    at.rig.contactor = int(phase != OFF)
    assert ticks_to_trip(at, 3 * LONG_ROUND_TICKS) == 0


@pytest.mark.parametrize("stage", [STAND, GANTRY])
@pytest.mark.parametrize("phase", [STANDING, STOOPING])
def test_on_a_stand_no_foot_bears_and_that_is_no_fault(stage, phase):
    at = scene(phase, other_phase=phase if phase == STOOPING else LIFTING, unborne_ticks=8)
    at.settings.stage = stage
    at.leg.sole = at.other.sole = 0
    tripped = ticks_to_trip(at, 5 * ROUND_TICKS)
    assert fault_names(bits(at)) == (("nothing bears",) if stage >= GANTRY else ())
    assert bool(tripped) == (stage >= GANTRY)


@pytest.mark.parametrize("other_phase", range(len(PHASES)), ids=[phase.name for phase in PHASES])
def test_a_leg_that_stands_must_bear_while_the_other_one_moves_and_not_otherwise(other_phase):
    at = scene(STANDING, other_phase=other_phase, unborne_ticks=8)
    at.leg.sole = 0
    at.other.sole = 0
    ticks_to_trip(at, 5 * ROUND_TICKS)
    assert bool(at.leg.fault_bits & faults.UNBORNE) == (other_phase > STANDING)


def test_of_two_legs_that_stoop_one_may_do_without_the_ground():
    for sole, other_sole in product((0, 1), repeat=2):
        at = scene(STOOPING, unborne_ticks=8)
        at.leg.sole, at.other.sole = sole, other_sole
        ticks_to_trip(at, 5 * ROUND_TICKS)
        assert bool(bits(at)) == (not sole and not other_sole)


@pytest.mark.parametrize("phase", [phase for phase in range(len(PHASES)) if phase > STANDING])
def test_a_foot_that_bears_or_moves_begins_every_count_of_a_standing_one_anew(phase):
    at = scene(phase)
    at.leg.unborne_ticks = at.leg.hanging_ticks = at.leg.asked_ticks = 50
    at.leg.sole = 1
    for _ in range(ROUND_TICKS):
        tick(at)
    assert (at.leg.unborne_ticks, at.leg.hanging_ticks, at.leg.asked_ticks) == (0, 0, 0)


# A stall is judged by what has been gained over the whole time.


@pytest.mark.parametrize("phase", UNDER_DRIVE)
@pytest.mark.parametrize("start_cdeg", [UP_CDEG, UP_CDEG - 37])
def test_a_leg_that_gains_just_enough_is_no_stall_and_one_that_gains_less_is(phase, start_cdeg):
    """Enough is enough whether it comes at once or at last; less is too little each time anew."""
    gain_cdeg = DEMO["stall_move_cdeg"]
    for gained, looks in product((-gain_cdeg, gain_cdeg - 1, gain_cdeg, gain_cdeg + 1), (1, 2)):
        at = scene(phase, stall_ticks=4, adrift_cdeg=9000, apart_cdeg=10)
        at.leg.drive_permille = DEMO["stall_drive_permille"]
        put_fold(at.leg, start_cdeg)
        at.leg.setpoint_cdeg_q6 = (UP_CDEG + 500) * 64
        at.rig.turn = 1
        # The first look begins the count; after two more the third judges.
        for look in range(4):
            tick(at)
            tick(at)
            assert bits(at) == (faults.STALL if look == 2 and gained < gain_cdeg else 0), look
            at.leg.fault_bits = 0
            if look == looks - 1:
                at.leg.fold_cdeg = start_cdeg + gained


def test_a_stall_that_is_over_is_counted_from_where_the_leg_is_then():
    """Each stretch of its time is judged for itself: a leg that has moved may still stall later."""
    at = scene(LIFTING, stall_ticks=4)
    at.leg.drive_permille = DEMO["stall_drive_permille"]
    at.rig.turn = 1
    moved_cdeg = 2 * DEMO["stall_move_cdeg"]
    for n in range(1, 7):
        tick(at)
        tick(at)
        if n == 2:
            put_fold(at.leg, UP_CDEG + moved_cdeg)
        assert bool(bits(at)) == (n >= 6)


def test_a_stooping_leg_that_follows_is_not_measured_by_its_gain():
    """A stoop is slow, and pots are noisy: it may be driven hard for long and hardly move."""
    for lead_cdeg in (0, DEMO["apart_cdeg"], -DEMO["apart_cdeg"]):
        at = scene(STOOPING, stall_ticks=2)
        at.leg.drive_permille = 1000
        at.leg.setpoint_cdeg_q6 = (UP_CDEG + lead_cdeg) * 64
        assert ticks_to_trip(at, 20) == 0


def test_weight_may_fold_a_stooping_leg_by_as_much_as_its_spring_gives():
    """No rope drew it there, and nothing pushes it from below."""
    at = scene(STOOPING, push_ticks=2)
    put_fold(at.leg, DEMO["rest_fold_cdeg"] + DEMO["sunk_cdeg"] - 500)
    at.leg.setpoint_cdeg_q6 -= (DEMO["push_cdeg"] + 1) * 64
    assert ticks_to_trip(at, 20) == 0
    at.leg.sole = 0
    assert ticks_to_trip(at, 20)
    assert bits(at) == faults.SLACK


def test_a_leg_that_rises_under_its_drive_or_stays_does_not_go_against_it():
    for rate_cdps in (0, 1000, -DEMO["against_cdps"] + 1):
        at = scene(LIFTING, against_ticks=2)
        at.leg.drive_permille = 1000
        at.leg.rate_cdps = rate_cdps
        assert ticks_to_trip(at, 20) == 0


def test_a_leg_that_is_driven_too_little_or_rises_against_nothing_forgets_what_it_counted():
    for drive_permille, expected in ((DEMO["stall_drive_permille"] - 1, 0), (1000, VISIT_TICKS)):
        at = scene(LIFTING)
        at.leg.drive_permille = drive_permille
        at.leg.stall_ticks = at.leg.against_ticks = 0 if expected else 6
        at.leg.rate_cdps = -DEMO["against_cdps"] - 1
        at.rig.turn = 1
        tick(at)
        assert (at.leg.stall_ticks, at.leg.against_ticks) == (expected, expected)


# Pots. How long a count has been bad the estimate says.

COUNTS = (
    (-1, faults.POT_LOW),
    (0, faults.POT_JUMP),
    (1240, faults.POT_JUMP),
    (1241, faults.POT_HIGH),
)


@pytest.mark.parametrize(("past_low", "bit"), COUNTS)
@pytest.mark.parametrize("joint", ["left.thigh", "left.shank", "right.thigh", "right.shank"])
def test_a_pot_that_has_been_bad_for_its_time_is_named_by_its_window(joint, past_low, bit):
    side, name = joint.split(".")
    for bad_ticks in (DEMO["pot_ticks"] - 1, DEMO["pot_ticks"], DEMO["pot_ticks"] + 1):
        at = scene(pot_ticks=DEMO["pot_ticks"])
        leg = getattr(at.rig, side)
        cal = getattr(at.settings, joint.replace(".", "_"))
        assert cal.high_count - cal.low_count == 1240
        getattr(leg, name).count = cal.low_count + past_low
        getattr(leg, name).bad_ticks = bad_ticks
        ticks_to_trip(at, VISIT_TICKS)
        assert bits(at) == leg.fault_bits == (bit if bad_ticks >= DEMO["pot_ticks"] else 0)


def joint_pairs():
    return [("thigh", "shank"), ("shank", "thigh")]


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("still", "turns"), joint_pairs())
def test_a_joint_that_moves_while_the_other_one_does_not_shows_a_frozen_pot(still, turns, sign):
    few, far = DEMO["frozen_count"], DEMO["frozen_cdeg"]
    for moved, other, folded in product((few, few + 1), (few, few + 1), (far, far + 1)):
        at = scene()
        getattr(at.leg, turns).good_count += sign * moved
        getattr(at.leg, still).good_count -= sign * other
        at.leg.mark_cdeg -= sign * folded
        tripped = ticks_to_trip(at, ROUND_TICKS)
        assert bool(tripped) == (folded > far and (moved > few) != (other > few))
        assert bits(at) in (0, faults.POT_FROZEN)


@pytest.mark.parametrize(("still", "turns"), joint_pairs())
def test_the_watch_for_a_frozen_pot_begins_anew_where_a_stretch_of_fold_has_passed(still, turns):
    at = scene()
    for joint in (at.leg.thigh, at.leg.shank):
        joint.good_count += 30
    put_fold(at.leg, at.leg.mark_cdeg + DEMO["frozen_cdeg"] + 1)
    for _ in range(ROUND_TICKS):
        tick(at)
    assert at.leg.mark_cdeg == at.leg.fold_cdeg
    assert [(j.mark_count, j.moved) for j in (at.leg.thigh, at.leg.shank)] == [(2030, 0)] * 2
    # Within the next stretch one joint stays where it was, though it had moved in the last one.
    getattr(at.leg, turns).good_count += 30
    put_fold(at.leg, at.leg.mark_cdeg + DEMO["frozen_cdeg"] + 1)
    assert ticks_to_trip(at, ROUND_TICKS)
    assert bits(at) == faults.POT_FROZEN


def test_a_joint_that_has_moved_and_come_back_has_moved():
    at = scene()
    for joint in (at.leg.thigh, at.leg.shank):
        joint.good_count += 30
        for _ in range(ROUND_TICKS):
            tick(at)
        joint.good_count -= 30
    assert (at.leg.thigh.moved, at.leg.shank.moved) == (1, 1)
    at.leg.thigh.good_count += 30
    put_fold(at.leg, at.leg.mark_cdeg + DEMO["frozen_cdeg"] + 1)
    assert ticks_to_trip(at, ROUND_TICKS) == 0


# The foot switch.


def test_a_switch_that_changes_as_often_as_its_limit_chatters_and_each_round_forgives_one():
    for over, phase in product((-1, 0, 1), (OFF, STANDING, HELD)):
        at = scene(phase)
        at.leg.chatter = DEMO["chatter_most"] + over
        assert bool(ticks_to_trip(at, ROUND_TICKS)) == (over >= 0)
        assert bits(at) in (0, faults.SWITCH_CHATTER)
        at.rig.turn = 1
        tick(at)
        assert at.leg.chatter == DEMO["chatter_most"] + over - 2
    at = scene()
    at.leg.chatter = 1
    for _ in range(3 * ROUND_TICKS):
        tick(at)
    assert at.leg.chatter == 0


def test_a_switch_unseen_for_as_many_lifts_as_its_limit_is_a_fault_until_it_is_pressed():
    for over in (-1, 0, 1):
        at = scene()
        at.leg.unseen_lifts = DEMO["unseen_lifts"] + over
        assert bool(ticks_to_trip(at, ROUND_TICKS)) == (over >= 0)
        assert bits(at) in (0, faults.SWITCH_UNSEEN)
    at = scene()
    at.leg.unseen_lifts = DEMO["unseen_lifts"]
    at.leg.pressed = 1
    assert ticks_to_trip(at, ROUND_TICKS) == 0
    assert at.leg.unseen_lifts == 0


# The board.

AT_ONCE = {"stop": faults.STOP, "settings_bad": faults.SETTINGS, "was_hung": faults.WATCHDOG}


@pytest.mark.parametrize(("name", "bit"), AT_ONCE.items(), ids=AT_ONCE)
def test_what_the_board_says_counts_in_the_same_tick_whichever_legs_turn_it_is(name, bit):
    for turn in range(ROUND_TICKS):
        at = scene()
        at.rig.turn = turn
        setattr(at.rig, name, 1)
        assert ticks_to_trip(at, 1) == 1
        assert at.rig.fault_bits == bits(at) == bit
        # A hang is told once; the others are so for as long as the board says so.
        assert getattr(at.rig, name) == (0 if bit == faults.WATCHDOG else 1)


def test_a_missed_period_is_forgotten_in_sixteen_ticks_and_four_close_together_are_a_fault():
    """From memory of what the limit means: a few late ticks in a hundred, and no more."""
    assert DEMO["late_most"] == 64
    for missed, pause, trips in ((1, 15, True), (1, 16, False), (4, 0, True), (3, 100, False)):
        at = scene()
        tripped = 0
        for _ in range(80):
            at.rig.missed_ticks = missed
            tick(at)
            at.rig.missed_ticks = 0
            tripped |= ticks_to_trip(at, pause) or bits(at)
        assert bool(tripped) == trips, (missed, pause)
        assert bits(at) in (0, faults.LATE)


def test_lateness_is_scored_sixteen_a_period_up_to_a_bound_and_one_off_a_tick():
    at = scene(late_most=1000)
    at.rig.missed_ticks = 3
    tick(at)
    assert at.rig.late == 48
    at.rig.missed_ticks = 0
    tick(at)
    assert at.rig.late == 47
    at.rig.late = 1
    tick(at)
    tick(at)
    assert at.rig.late == 0
    assert bits(at) == 0
    at.rig.late = 999
    at.rig.missed_ticks = 1
    tick(at)
    assert at.rig.late == 1000
    assert bits(at) == faults.LATE


def test_a_score_of_lateness_just_at_its_limit_is_a_fault():
    for most, trips in ((48, True), (49, False), (47, True)):
        at = scene(late_most=most)
        at.rig.missed_ticks = 3
        assert bool(ticks_to_trip(at, 1)) == trips


def test_a_stick_out_of_its_window_asks_for_nothing():
    for count in (DEMO["stick_low_count"] - 1, DEMO["stick_high_count"] + 1):
        at = scene()
        at.rig.stick_step_q6 = 77
        at.rig.stick_count = count
        for _ in range(ROUND_TICKS):
            tick(at)
        assert at.rig.stick_step_q6 == 0
        assert at.rig.stick_ticks == ROUND_TICKS


@pytest.mark.parametrize("phase", [STANDING, LIFTING, STOOPING])
def test_a_stick_lost_for_a_moment_is_heeded_again_from_its_middle_but_in_a_stoop(phase):
    """A leg may step while nobody sees it; legs that stoop would rise by themselves."""
    at = scene(phase)
    at.rig.stick_ready = 1
    at.rig.stick_count = 0
    for _ in range(ROUND_TICKS):
        tick(at)
    assert at.rig.stick_ready == (1 if phase == STOOPING else 0)


def test_a_host_that_is_heard_is_to_be_heard_again_each_round():
    at = scene(host_ticks=17)
    at.rig.host = 1
    for _ in range(6):
        at.rig.host_heard = 1
        for _ in range(ROUND_TICKS):
            tick(at)
        assert (at.rig.host_heard, at.rig.host_ticks) == (0, 0)
    assert 3 * ROUND_TICKS < ticks_to_trip(at, 100) <= 4 * ROUND_TICKS


# No counter is ever negative but by a memory error.

COUNTED = (*("chatter", "unseen_lifts", "late", "winding_mK_q8", "case_mK_q8"),)
COUNTED += ("copper_mW", "turning_mW")
# What a tick reads anew, or bounds by itself.
INPUTS = ("missed_ticks",)


def counters(record):
    return [
        row[0]
        for row in RECORDS[record]
        if row[0] in COUNTED or (row[0].endswith("_ticks") and row[0] not in INPUTS)
    ]


COUNTERS = [
    *(f"leg.{name}" for name in counters("Leg")),
    *(f"leg.{joint}.{name}" for joint in ("thigh", "shank") for name in counters("Joint")),
    *(f"rig.{name}" for name in counters("Rig")),
]


@pytest.fixture
def scrubbed():
    """Whether a scrub takes a leg whose counters are these for spoilt."""
    at = scene()
    places = {}
    for name in COUNTERS:
        *path, field = name.split(".")
        places[name] = attrgetter(".".join(path))(at), field

    def put(values):
        for name, value in values.items():
            setattr(*places[name], value)

    def ask(**values):
        put(values)
        scrub(at.leg, at.rig)
        put(dict.fromkeys(values, 0))
        found = bits(at)
        assert found == at.leg.fault_bits
        at.leg.fault_bits = 0
        return found == faults.MEMORY

    return ask


@pytest.mark.parametrize("name", COUNTERS)
def test_any_counter_below_zero_is_a_memory_error(scrubbed, name):
    """Whatever the others are: an error may have changed more than one."""
    for value in (-1, -2, -(1 << 31)):
        assert scrubbed(**{name: value})
    for other in COUNTERS:
        if other != name:
            for value in (-1, 1, 3, 1600):
                assert scrubbed(**{name: -4, other: value}), other
    for value in (0, 1, WATCH_TICKS_MAX):
        assert not scrubbed(**{name: value})


def test_all_counters_at_once_are_no_memory_error_unless_one_is_below_zero(scrubbed):
    values = {name: 3 + i for i, name in enumerate(COUNTERS)}
    assert not scrubbed(**values)
    assert scrubbed(**dict.fromkeys(COUNTERS, -1))


@pytest.mark.parametrize("side", (0, 1), ids=SIDES)
def test_each_leg_is_scrubbed_once_a_long_round(side):
    found = []
    for turn in range(LONG_ROUND_TICKS):
        at = scene(side=side)
        at.leg.phase_ticks = -1
        at.rig.turn = turn
        found.append(ticks_to_trip(at, LONG_ROUND_TICKS))
        assert (at.leg.fault_bits, at.other.fault_bits) == (faults.MEMORY, 0)
    assert sorted(found) == [*range(1, LONG_ROUND_TICKS + 1)]


def test_each_leg_is_scrubbed_warmed_and_looked_at_for_work_in_turn():
    """Twice a long round its motor's work is added up, once its warmth; once it is scrubbed."""
    for side in (0, 1):
        at = scene(HELD, side=side, heat_most_permille=1000, heat_doubt_permille=0)
        at.settings.heat_turn_q8 = 0
        at.leg.drive_permille = 200
        looks = {"worked": 0, "warmed": 0}
        for _ in range(LONG_ROUND_TICKS):
            before = at.leg.copper_mW
            tick(at)
            looks["worked"] += at.leg.copper_mW > before
            looks["warmed"] += at.leg.copper_mW < before
        assert looks == {"worked": 2, "warmed": 1}
        assert at.leg.winding_mK_q8 > 0
