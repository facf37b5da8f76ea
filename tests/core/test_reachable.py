"""No path of phases leads to motion but through arming: proof by visiting every state there is.

The supervisor itself is run, from the state after a reset, on. What it carries from tick to tick
is the state of the search; whatever else it reads may be anything at any time, so that the proof
leans on nothing that the rest of the core does. A record leaves such a field open until the
supervisor asks for it; then the search takes each answer in turn. Faults stand for their kind:
one that releases, one that cuts, one that lasts; and a memory error may change any phase.
"""

from types import SimpleNamespace
from typing import NamedTuple

import pytest
from legcore.faults import FAULTS as ROWS
from legcore.faults import MEMORY, UNTIL_RESET
from legcore.model import SETTINGS as SETTING_ROWS
from legcore.model import TICKS_MAX
from legcore.phases import (
    CUT,
    HELD,
    LIFTING,
    LOWERING,
    OFF,
    RELEASE,
    RELEASING,
    STANDING,
    STOOPING,
    TRANSITIONS,
)
from legcore.stages import GANTRY
from legcore.supervise import supervise
from search import Record, Search, every_way
from walk import DEMO

# The shortest time to hold that settings may ask for: fewer states, and no other kind of state.
HOLD = next(row[2] for row in SETTING_ROWS if row[0] == "arm_ticks")
SETTINGS = SimpleNamespace(**(DEMO | {"arm_ticks": HOLD}))
PHASES = (OFF, STANDING, LIFTING, HELD, LOWERING, RELEASING, STOOPING)
MOVING = (LIFTING, HELD, LOWERING, RELEASING)


def first_bit(action, latch=None):
    return next(row[0] for row in ROWS if row[7] == action and latch in (None, row[8]))


# What a memory error sets lasts; the supervisor asks of a fault only which of these it is.
RELEASES, CUTS, LASTS = first_bit(RELEASE), first_bit(CUT), MEMORY
KINDS = (0, RELEASES, CUTS, LASTS)
assert {(row[7], row[8]) for row in ROWS if row[8] == UNTIL_RESET} == {(CUT, UNTIL_RESET)}

FAR_CDEG = DEMO["rest_fold_cdeg"] + DEMO["hanging_cdeg"] + 1
# What a field may be that nothing is known of; two values are on either side of each question.
OPEN = {
    "arm": (0, 1),
    # A fault of other joints on the same board.
    "elsewhere": (0, RELEASES),
    "stick_count": (DEMO["stick_centre_count"], 0),
    "pressed": (0, 1),
    "switch": (0, 1),
    "rearmed": (0, 1),
    "sole": (0, 1),
    "phase_ticks": (0, TICKS_MAX),
    "slack_ticks": (0, DEMO["slack_ticks"]),
    "fold_cdeg": (0, FAR_CDEG),
    "target_cdeg": (0,),
    "setpoint_cdeg_q6": (0, 64),
    "unseen_lifts": (0,),
    "stick_step_q6": (0, 1),
    "stick_ready": (0, 1),
    "stoop_cdeg_q6": tuple(DEMO[f"{name}_fold_cdeg"] * 64 for name in ("rest", "step", "stoop")),
}
assert DEMO["stage"] >= GANTRY


class Leg(NamedTuple):
    """What is carried of a leg."""

    phase: int = OFF
    phase_not: int = -1 - OFF
    fault: int = 0

    @property
    def spoilt(self):
        return self.phase + self.phase_not != -1


class State(NamedTuple):
    """What is carried from tick to tick; and `held`, which is no part of the core.

    `held` is what a person has done since both legs were last found off: -1 where the arm
    input has not been seen open, or for how many ticks it has then been held closed with
    nothing in the way.
    """

    left: Leg = Leg()
    right: Leg = Leg()
    fault: int = 0
    turn: int = 0
    arm_ready: int = 0
    arm_was: int = 0
    arm_ticks: int = 0
    arm_blocks: int = 0
    held: int = -1

    @property
    def legs(self):
        return self.left, self.right

    @property
    def off(self):
        return self.left.phase == self.right.phase == OFF

    @property
    def spoilt(self):
        return self.left.spoilt or self.right.spoilt

    @property
    def kind(self):
        """The strictest fault that is latched anywhere."""
        return max((self.left.fault, self.right.fault, self.fault), key=KINDS.index)


class Step(NamedTuple):
    """One run of the supervisor: what it found, what it left behind, and its output."""

    before: State
    after: State
    contactor: int
    # The record of the rig as it was left, with all that was asked for.
    rig: Record

    @property
    def spoilt(self):
        return self.before.spoilt or self.after.spoilt

    @property
    def phases_before(self):
        return [leg.phase for leg in self.before.legs]

    def found(self, name):
        """What the supervisor asked each leg's record for and found; None where it did not ask."""
        return [vars(leg).get(name) for leg in (self.rig.left, self.rig.right)]

    @property
    def changes(self):
        """The phase of each leg before and after."""
        pairs = zip(self.before.legs, self.after.legs, strict=True)
        return [(before.phase, after.phase) for before, after in pairs]


def strikes(state):
    """What the supervisor may find next: the state as it left it, or with something happened.

    That is one fault more, or one phase that a memory error has changed.

    A fault that is no stricter than one that holds already changes nothing.
    """
    found = [state]
    for kind in KINDS[KINDS.index(state.kind) + 1 :]:
        found.append(state._replace(fault=kind))
        for side in ("left", "right"):
            found.append(state._replace(**{side: getattr(state, side)._replace(fault=kind)}))
    if not state.spoilt and state.kind != LASTS:
        for side in ("left", "right"):
            leg = getattr(state, side)
            # One past the last phase, and one with its sign changed, stand for no phase at all.
            for phase in {*PHASES, len(PHASES), leg.phase - len(PHASES)} - {leg.phase}:
                found.append(state._replace(**{side: leg._replace(phase=phase)}))
    return found


def open_leg(choose, leg):
    """The record of one leg. Nobody asks how long a leg has been off; it is only counted."""
    known = {"phase_ticks": 0} if leg.phase == OFF else {}
    return Record(
        choose, OPEN, phase=leg.phase, phase_not=leg.phase_not, fault_bits=leg.fault, **known
    )


def tick(state, choose):
    """Run the supervisor for the leg whose turn it is."""
    left, right = (open_leg(choose, leg) for leg in state.legs)
    rig = Record(
        choose,
        OPEN,
        settings=SETTINGS,
        left=left,
        right=right,
        fault_bits=state.fault,
        arm_ready=state.arm_ready,
        arm_was=state.arm_was,
        arm_ticks=state.arm_ticks,
        arm_blocks=state.arm_blocks,
    )
    supervise(rig, *((left, right) if state.turn else (right, left)))
    after = State(
        *(Leg(leg.phase, leg.phase_not, kind_of(leg.fault_bits)) for leg in (left, right)),
        fault=kind_of(rig.fault_bits),
        turn=1 - state.turn,
        arm_ready=rig.arm_ready,
        arm_was=rig.arm_was,
        arm_ticks=rig.arm_ticks,
        # Which of them is in the way is nothing that is asked later.
        arm_blocks=min(rig.arm_blocks, 1),
    )
    after = after._replace(held=held_after(state, after, rig))
    return Step(state, after, rig.contactor, rig)


def kind_of(bits):
    """The strictest fault of one holder; the others of it change nothing more."""
    return next((kind for kind in reversed(KINDS) if bits & kind), 0)


def held_after(before, after, rig):
    """What the person has done by the end of a tick, read from inputs and not from the core."""
    if not after.off:
        return before.held
    if rig.arm == 0:
        return 0
    held = before.held if before.off else -1
    if held < 0:
        return held
    in_the_way = (
        before.kind != 0
        or rig.elsewhere != 0
        or any(leg.pressed or leg.switch for leg in (rig.left, rig.right))
        or rig.stick_count != DEMO["stick_centre_count"]
        or any(leg.fold_cdeg == FAR_CDEG for leg in (rig.left, rig.right))
    )
    return 0 if in_the_way else min(held + 1, HOLD)


# What must hold of every tick: each check says what is wrong, or nothing.

STEPS = {(row[0], row[2]) for row in TRANSITIONS} | {(phase, phase) for phase in PHASES}
# While one leg moves the other one stands, or is off. Legs that arm or disarm follow each
# other by one tick.
TOGETHER = {
    frozenset(pair)
    for pair in (
        *((OFF, OFF), (OFF, STANDING), (STANDING, STANDING)),
        *((STANDING, phase) for phase in MOVING),
        *((OFF, phase) for phase in MOVING),
        # Legs stoop together; one after the other they are let down.
        *((STOOPING, STOOPING), (RELEASING, RELEASING)),
    )
}


def a_leg_that_is_not_off_was_armed(step):
    return step.after.spoilt or step.after.off or step.after.held == HOLD


def the_contactor_is_closed_only_while_a_leg_is_not_off(step):
    return step.contactor == (0 if step.after.off else 1)


def at_most_one_leg_moves_but_in_a_stoop(step):
    return step.after.spoilt or frozenset(leg.phase for leg in step.after.legs) in TOGETHER


def a_cut_is_for_both_legs_in_the_same_tick(step):
    return step.before.kind not in (CUTS, LASTS) or step.after.off


def a_phase_changes_only_by_a_row_of_the_table(step):
    return step.spoilt or set(step.changes) <= STEPS


def a_leg_that_is_off_can_only_come_to_stand(step):
    return step.spoilt or all(
        before != OFF or after in (OFF, STANDING) for before, after in step.changes
    )


def a_leg_lifts_only_while_the_other_one_stands(step):
    (left, left_after), (right, right_after) = step.changes
    return step.spoilt or all(
        before == LIFTING or after != LIFTING or other == STANDING
        for before, after, other in ((left, left_after, right), (right, right_after, left))
    )


def a_stoop_begins_for_both_legs_that_stand_and_bear_with_no_foot_raised(step):
    """Nor with the stick pushed since before both legs stood."""
    if step.spoilt or STOOPING not in [leg.phase for leg in step.after.legs]:
        return True
    if step.before.left.phase == STOOPING:
        return True
    rig = step.rig
    legs = rig.left, rig.right
    return (
        step.changes == [(STANDING, STOOPING)] * 2
        and rig.stick_step_q6 > 0
        and rig.stick_ready
        and all(leg.sole and not leg.pressed for leg in legs)
    )


def a_step_out_of_a_stoop_passes_through_standing_near_its_rest(step):
    if step.spoilt or step.changes != [(STOOPING, STANDING)] * 2:
        return step.spoilt or (STOOPING, STANDING) not in step.changes
    raised = step.rig.left.pressed or step.rig.right.pressed
    return step.rig.stoop_cdeg_q6 <= DEMO["step_fold_cdeg" if raised else "rest_fold_cdeg"] * 64


def a_leg_whose_other_one_is_off_is_let_down_at_its_next_turn(step):
    """However short the time for which the arm input was open: both legs answer."""
    visited, other = step.before.legs[:: 1 if step.before.turn else -1]
    after = step.after.legs[1 - step.before.turn]
    if step.spoilt or other.phase != OFF or visited.phase == OFF:
        return True
    return after.phase in (OFF, RELEASING)


def a_changed_phase_ends_off_at_the_next_turn_of_its_leg(step):
    visited = step.before.legs[1 - step.before.turn]
    return not visited.spoilt or (step.after.off and step.after.kind == LASTS)


def what_lasts_stays(step):
    return step.before.kind != LASTS or step.after.kind == LASTS


CHECKS = (
    a_leg_that_is_not_off_was_armed,
    the_contactor_is_closed_only_while_a_leg_is_not_off,
    at_most_one_leg_moves_but_in_a_stoop,
    a_cut_is_for_both_legs_in_the_same_tick,
    a_phase_changes_only_by_a_row_of_the_table,
    a_leg_that_is_off_can_only_come_to_stand,
    a_leg_lifts_only_while_the_other_one_stands,
    a_stoop_begins_for_both_legs_that_stand_and_bear_with_no_foot_raised,
    a_step_out_of_a_stoop_passes_through_standing_near_its_rest,
    a_leg_whose_other_one_is_off_is_let_down_at_its_next_turn,
    a_changed_phase_ends_off_at_the_next_turn_of_its_leg,
    what_lasts_stays,
)


# What nobody should do, and a frame must bear.
COMBINATIONS = {
    "a foot raised while stooping": lambda step: (
        STOOPING in step.phases_before and 1 in step.found("pressed")
    ),
    "the other foot raised while one is up": lambda step: any(
        phase == STANDING and other in (LIFTING, HELD) and pressed
        for phase, other, pressed in zip(
            step.phases_before, step.phases_before[::-1], step.found("pressed"), strict=True
        )
    ),
    "stick off its middle while arming": lambda step: (
        step.before.off
        and step.before.arm_ready
        and vars(step.rig).get("arm") == 1
        and vars(step.rig).get("stick_count") == 0
    ),
}


@pytest.fixture(scope="module")
def search():
    return Search(State(), strikes, tick, CHECKS, COMBINATIONS)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_in_every_tick_from_every_state_that_can_be_reached(search, check):
    assert search.wrong[check] is None, search.path(check)


def test_the_search_comes_to_every_phase_that_a_leg_can_be_in(search, record_property):
    record_property("states of the supervisor", search.told())
    whole = [state for state in search.came_from if not state.spoilt]
    for side in (0, 1):
        assert {state.legs[side].phase for state in whole} == set(PHASES)
    assert {frozenset(leg.phase for leg in state.legs) for state in whole} == TOGETHER
    assert {state.held for state in whole} == set(range(-1, HOLD + 1))
    assert {state.kind for state in whole} == set(KINDS)


@pytest.mark.parametrize("combination", COMBINATIONS)
def test_among_the_ways_are_those_that_nobody_should_go(search, combination):
    assert search.met[combination] > 0


def test_every_way_is_taken_once():
    def run(choose):
        first = choose("ab")
        return first + (choose("xyz") if first == "b" else "")

    assert list(every_way(run)) == ["a", "bx", "by", "bz"]
