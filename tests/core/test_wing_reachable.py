"""No path of a wing's phases leads to motion but through arming, the command at rest: every state.

As `test_reachable.py` does for legs, with what the legs on the same board may ask besides.
"""

from types import SimpleNamespace
from typing import NamedTuple

import pytest
from legcore.faults import MEMORY, UNTIL_RESET
from legcore.model import TICKS_MAX
from legcore.wing_faults import WING_FAULTS
from legcore.wing_model import STICK_COMMAND, WING_SETTINGS
from legcore.wing_phases import (
    CUT,
    FOLLOWING,
    OFF,
    RELEASE,
    RELEASING,
    RESTING,
    WING_TRANSITIONS,
)
from legcore.wing_supervise import supervise_wing
from legsim.wing.rig import WingRig
from legsim.wing.settings import core_wings
from search import Record, Search

DEMO = vars(core_wings(WingRig()).settings)
HOLD = next(row[2] for row in WING_SETTINGS if row[0] == "arm_ticks")
SETTINGS = SimpleNamespace(**(DEMO | {"arm_ticks": HOLD, "command_kind": STICK_COMMAND}))
PHASES = (OFF, RESTING, FOLLOWING, RELEASING)


def first_bit(action):
    return next(row[0] for row in WING_FAULTS if row[7] == action)


# What a memory error sets lasts; the supervisor asks of a fault only which of these it is.
RELEASES, CUTS, LASTS = first_bit(RELEASE), first_bit(CUT), MEMORY
KINDS = (0, RELEASES, CUTS, LASTS)
assert {(row[7], row[8]) for row in WING_FAULTS if row[8] == UNTIL_RESET} == {(CUT, UNTIL_RESET)}

FAR_CDEG = DEMO["sunk_cdeg"] + 1
# What a field may be that nothing is known of: on either side of each question.
OPEN = {
    "arm": (0, 1),
    "elsewhere": (0, RELEASE, CUT),
    "asked": (0, -1500),
    "phase_ticks": (0, TICKS_MAX),
    "fold_cdeg": (0, FAR_CDEG),
    "setpoint_cdeg_q6": (0, 64 * FAR_CDEG),
    "step_cdeg_q6": (0, 1),
}


class Wing(NamedTuple):
    """What is carried of a wing."""

    phase: int = OFF
    phase_not: int = -1 - OFF
    fault: int = 0

    @property
    def spoilt(self):
        return self.phase + self.phase_not != -1


class State(NamedTuple):
    """What is carried from tick to tick; and `held`, which is no part of the core.

    `held` is -1 where the arm input has not been seen open since both wings were last found off,
    or for how many ticks it has then been held closed with nothing in the way.
    """

    left: Wing = Wing()
    right: Wing = Wing()
    fault: int = 0
    turn: int = 0
    arm_ready: int = 0
    arm_was: int = 0
    arm_ticks: int = 0
    arm_blocks: int = 0
    held: int = -1

    @property
    def wings(self):
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
    # The records as they were left, with all that was asked for.
    wings: Record
    visited: Record

    @property
    def elsewhere(self):
        return vars(self.wings).get("elsewhere", 0)

    @property
    def asked(self):
        return vars(self.visited).get("asked")

    @property
    def spoilt(self):
        return self.before.spoilt or self.after.spoilt

    @property
    def changes(self):
        """The phase of each wing before and after."""
        pairs = zip(self.before.wings, self.after.wings, strict=True)
        return [(before.phase, after.phase) for before, after in pairs]


def strikes(state):
    """What may be found next: the state as it was left, one fault more, or one phase changed."""
    found = [state]
    for kind in KINDS[KINDS.index(state.kind) + 1 :]:
        found.append(state._replace(fault=kind))
        for side in ("left", "right"):
            found.append(state._replace(**{side: getattr(state, side)._replace(fault=kind)}))
    if not state.spoilt and state.kind != LASTS:
        for side in ("left", "right"):
            wing = getattr(state, side)
            # One past the last phase, and one with its sign changed, stand for no phase at all.
            for phase in {*PHASES, len(PHASES), wing.phase - len(PHASES)} - {wing.phase}:
                found.append(state._replace(**{side: wing._replace(phase=phase)}))
    return found


def open_wing(choose, wing):
    # Nobody asks how long a wing has been off; it is only counted.
    known = {"phase_ticks": 0} if wing.phase == OFF else {}
    return Record(
        choose,
        OPEN,
        phase=wing.phase,
        phase_not=wing.phase_not,
        fault_bits=wing.fault,
        **known,
    )


def tick(state, choose):
    """Run the supervisor for the wing whose turn it is."""
    left, right = (open_wing(choose, wing) for wing in state.wings)
    wings = Record(
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
    visited = right if state.turn else left
    supervise_wing(wings, *((right, left) if state.turn else (left, right)))
    after = State(
        *(Wing(wing.phase, wing.phase_not, kind_of(wing.fault_bits)) for wing in (left, right)),
        fault=kind_of(wings.fault_bits),
        turn=1 - state.turn,
        arm_ready=wings.arm_ready,
        arm_was=wings.arm_was,
        arm_ticks=wings.arm_ticks,
        # Which of them is in the way is nothing that is asked later.
        arm_blocks=min(wings.arm_blocks, 1),
    )
    after = after._replace(held=held_after(state, after, wings))
    return Step(state, after, wings.contactor, wings, visited)


def kind_of(bits):
    """The strictest fault of one holder; the others of it change nothing more."""
    return next((kind for kind in reversed(KINDS) if bits & kind), 0)


def held_after(before, after, wings):
    """What the person has done by the end of a tick, read from inputs and not from the core."""
    if not after.off:
        return before.held
    if wings.arm == 0:
        return 0
    held = before.held if before.off else -1
    if held < 0:
        return held
    in_the_way = (
        before.kind != 0
        or wings.elsewhere != 0
        or any(wing.asked != 0 or wing.fold_cdeg == FAR_CDEG for wing in (wings.left, wings.right))
    )
    return 0 if in_the_way else min(held + 1, HOLD)


# What must hold of every tick.

STEPS = {(row[0], row[2]) for row in WING_TRANSITIONS} | {(phase, phase) for phase in PHASES}


def a_wing_that_is_not_off_was_armed_with_its_command_at_rest(step):
    """`held` counts only while no stick is off its centre, so armed otherwise it is not HOLD."""
    return step.after.spoilt or step.after.off or step.after.held == HOLD


def the_contactor_is_wanted_only_while_a_wing_is_not_off(step):
    return step.contactor == (0 if step.after.off else 1)


def a_cut_here_or_of_the_legs_is_for_both_wings_in_the_same_tick(step):
    return (step.before.kind not in (CUTS, LASTS) and step.elsewhere != CUT) or step.after.off


def a_phase_changes_only_by_a_row_of_the_table(step):
    return step.spoilt or set(step.changes) <= STEPS


def a_wing_moves_from_rest_only_where_it_is_asked_to(step):
    return step.spoilt or all(
        (before, after) != (RESTING, FOLLOWING) or step.asked for before, after in step.changes
    )


def a_fault_anywhere_ends_following_at_the_wings_next_turn(step):
    visited = step.before.wings[step.before.turn]
    after = step.after.wings[step.before.turn]
    if step.spoilt or visited.phase != FOLLOWING:
        return True
    if step.before.kind == 0 and step.elsewhere == 0:
        return True
    return after.phase in (OFF, RELEASING)


def a_wing_whose_other_one_is_off_is_let_down_at_its_next_turn(step):
    visited, other = step.before.wings[:: -1 if step.before.turn else 1]
    after = step.after.wings[step.before.turn]
    if step.spoilt or other.phase != OFF or visited.phase == OFF:
        return True
    return after.phase in (OFF, RELEASING)


def a_changed_phase_ends_off_at_the_next_turn_of_its_wing(step):
    visited = step.before.wings[step.before.turn]
    return not visited.spoilt or (step.after.off and step.after.kind == LASTS)


def what_lasts_stays(step):
    return step.before.kind != LASTS or step.after.kind == LASTS


CHECKS = (
    a_wing_that_is_not_off_was_armed_with_its_command_at_rest,
    the_contactor_is_wanted_only_while_a_wing_is_not_off,
    a_cut_here_or_of_the_legs_is_for_both_wings_in_the_same_tick,
    a_phase_changes_only_by_a_row_of_the_table,
    a_wing_moves_from_rest_only_where_it_is_asked_to,
    a_fault_anywhere_ends_following_at_the_wings_next_turn,
    a_wing_whose_other_one_is_off_is_let_down_at_its_next_turn,
    a_changed_phase_ends_off_at_the_next_turn_of_its_wing,
    what_lasts_stays,
)


# What nobody should do, and wings must bear.
COMBINATIONS = {
    "stick pushed while arming": lambda step: (
        step.before.off
        and step.before.arm_ready
        and vars(step.wings).get("arm") == 1
        and step.asked
    ),
    "legs cut while a wing follows": lambda step: (
        FOLLOWING in [wing.phase for wing in step.before.wings] and step.elsewhere == CUT
    ),
    "legs let down while a wing follows": lambda step: (
        FOLLOWING in [wing.phase for wing in step.before.wings] and step.elsewhere == RELEASE
    ),
}


@pytest.fixture(scope="module")
def search():
    return Search(State(), strikes, tick, CHECKS, COMBINATIONS)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_in_every_tick_from_every_state_that_can_be_reached(search, check):
    assert search.wrong[check] is None, search.path(check)


@pytest.mark.parametrize("combination", COMBINATIONS)
def test_among_the_ways_are_those_that_nobody_should_go(search, combination):
    assert search.met[combination] > 0


def test_the_search_comes_to_every_phase_that_a_wing_can_be_in(search, record_property):
    record_property("states of the wings' supervisor", search.told())
    whole = [state for state in search.came_from if not state.spoilt]
    for side in (0, 1):
        assert {state.wings[side].phase for state in whole} == set(PHASES)
    assert {state.held for state in whole} == set(range(-1, HOLD + 1))
    assert {state.kind for state in whole} == set(KINDS)
