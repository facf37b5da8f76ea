"""No path of the stick leads into a stoop but through its middle, and a lost wiper ends one.

As `test_reachable.py` does, with the stick as it is really looked at, once in eight ticks, instead
of asking for anything at any time; and with no other fault than its own.
"""

from types import SimpleNamespace
from typing import NamedTuple

import pytest
from legcore.faults import STICK
from legcore.model import SETTINGS as SETTING_ROWS
from legcore.model import TICKS_MAX
from legcore.phases import HELD, OFF, RELEASING, STANDING, STOOPING
from legcore.supervise import supervise
from legcore.watch import watch_hands
from search import Record, Search
from walk import DEMO

LEAST = {row[0]: row[2] for row in SETTING_ROWS if len(row) == 4}
# The shortest times that settings may ask for: fewer states, and no other kind of state.
SETTINGS = SimpleNamespace(**(DEMO | {name: LEAST[name] for name in ("arm_ticks", "stick_ticks")}))
ROUND = 8
MIDDLE, PUSHED, PULLED, LOST = DEMO["stick_centre_count"], 3800, 300, 0
FAR_CDEG = DEMO["rest_fold_cdeg"] + DEMO["hanging_cdeg"] + 1
COOL, TIRED = 0, DEMO["tired_mK"] * 256
# What a field may be that nothing is known of.
OPEN = {
    "arm": (0, 1),
    "stick_count": (MIDDLE, PUSHED, PULLED, LOST),
    "pressed": (0, 1),
    "rearmed": (0, 1),
    "sole": (0, 1),
    "phase_ticks": (0, TICKS_MAX),
    "winding_mK_q8": (COOL, TIRED),
    "fold_cdeg": (0, FAR_CDEG),
    "setpoint_cdeg_q6": (0, 64),
    "stoop_cdeg_q6": tuple(DEMO[f"{name}_fold_cdeg"] * 64 for name in ("rest", "step", "stoop")),
}
# Nobody asks about these here, or only counts them.
SHUT = {"switch": 0, "slack_ticks": 0, "target_cdeg": 0, "unseen_lifts": 0, "fault_bits": 0}


class State(NamedTuple):
    """What is carried from tick to tick; and what the stick has been seen to do.

    `seen` is where it was at the last look, `lost` for how many looks its wiper has been lost by
    now, `middle` whether it has been seen in its middle with both legs standing, and no leg has
    been seen to do anything else but stoop since.
    """

    left: int = OFF
    right: int = OFF
    turn: int = 0
    fault: int = 0
    stick_ready: int = 0
    pushes: int = 0
    stick_ticks: int = 0
    arm_ready: int = 0
    arm_was: int = 0
    arm_ticks: int = 0
    arm_blocks: int = 0
    seen: int = LOST
    lost: int = 0
    middle: int = 0

    @property
    def phases(self):
        return [self.left, self.right]


class Step(NamedTuple):
    before: State
    after: State
    stick_step_q6: int

    @property
    def looked(self):
        return self.after.turn == ROUND - 1


def tick(state, choose):
    """One tick: the stick is looked at when its turn comes, then the supervisor visits a leg."""
    left, right = (
        Record(choose, OPEN, phase=phase, phase_not=-1 - phase, **SHUT) for phase in state.phases
    )
    for leg in (left, right):
        if leg.phase == OFF:
            leg.phase_ticks = 0
    rig = Record(
        choose,
        OPEN,
        settings=SETTINGS,
        left=left,
        right=right,
        fault_bits=state.fault,
        elsewhere=0,
        host=0,
        stick_ready=state.stick_ready,
        stick_step_q6=state.pushes,
        stick_ticks=state.stick_ticks,
        arm_ready=state.arm_ready,
        arm_was=state.arm_was,
        arm_ticks=state.arm_ticks,
        arm_blocks=state.arm_blocks,
    )
    turn = (state.turn + 1) % ROUND
    seen, lost, middle = state.seen, state.lost, state.middle
    if turn == ROUND - 1:
        watch_hands(rig)
        seen = rig.stick_count
        lost = min(lost + 1, 2) if seen == LOST else 0
        if state.phases == [STANDING] * 2:
            middle = int(middle or seen == MIDDLE)
        elif state.phases != [STOOPING] * 2:
            middle = 0
    supervise(rig, *((right, left) if turn & 1 else (left, right)))
    after = State(
        *(left.phase, right.phase, turn),
        fault=rig.fault_bits,
        stick_ready=rig.stick_ready,
        # How fast it asks is nothing that the supervisor asks.
        pushes=int(rig.stick_step_q6 > 0),
        stick_ticks=rig.stick_ticks,
        arm_ready=rig.arm_ready,
        arm_was=rig.arm_was,
        arm_ticks=rig.arm_ticks,
        arm_blocks=min(rig.arm_blocks, 1),
        **{"seen": seen, "lost": lost, "middle": middle},
    )
    return Step(state, after, rig.stick_step_q6)


def a_stoop_begins_only_by_a_stick_seen_in_its_middle_and_then_pushed(step):
    if STOOPING in step.before.phases or STOOPING not in step.after.phases:
        return True
    return step.after.middle == 1 and step.after.seen == PUSHED


def a_lost_wiper_asks_for_no_motion(step):
    return step.after.seen != LOST or step.stick_step_q6 == 0


def a_wiper_found_lost_twice_in_a_row_is_a_fault_and_no_leg_stoops_any_more(step):
    return step.after.lost < 2 or (
        STOOPING not in step.after.phases
        and (step.after.fault == STICK or OFF in step.after.phases)
    )


def a_stoop_that_its_stick_ends_is_let_up_under_control(step):
    """The fault is no reason to drop anybody."""
    if step.before.phases != [STOOPING] * 2 or step.after.fault == step.before.fault:
        return True
    return step.after.phases == [RELEASING] * 2


def nothing_else_than_its_wiper_is_the_sticks_fault(step):
    return step.after.fault in {step.before.fault, 0} or step.after.lost == 2


CHECKS = (
    a_stoop_begins_only_by_a_stick_seen_in_its_middle_and_then_pushed,
    a_lost_wiper_asks_for_no_motion,
    a_wiper_found_lost_twice_in_a_row_is_a_fault_and_no_leg_stoops_any_more,
    a_stoop_that_its_stick_ends_is_let_up_under_control,
    nothing_else_than_its_wiper_is_the_sticks_fault,
)
COMBINATIONS = {
    "wiper lost while stooping": lambda step: (
        step.looked and step.before.phases == [STOOPING] * 2 and step.after.seen == LOST
    ),
    "stick pushed since before both legs stood": lambda step: (
        step.looked
        and step.before.phases == [STANDING] * 2
        and step.after.seen == PUSHED
        and not step.after.middle
    ),
    "stick pushed while a foot is up": lambda step: (
        step.looked and HELD in step.before.phases and step.after.seen == PUSHED
    ),
    "stick held down by legs too warm or stooped for too long": lambda step: (
        step.before.phases == [STOOPING] * 2 and step.after.pushes and not step.after.stick_ready
    ),
}


@pytest.fixture(scope="module")
def search():
    return Search(State(), lambda state: [state], tick, CHECKS, COMBINATIONS)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_in_every_tick_from_every_state_that_can_be_reached(search, check):
    assert search.wrong[check] is None, search.path(check)


@pytest.mark.parametrize("combination", COMBINATIONS)
def test_among_the_ways_are_those_that_nobody_should_go(search, combination):
    assert search.met[combination] > 0


def test_the_search_comes_into_stoops_and_out_of_them(search, record_property):
    record_property("states of the stick and the supervisor", search.told())
    found = {(state.left, state.right) for state in search.came_from}
    assert {(OFF, OFF), (STANDING, STANDING), (STOOPING, STOOPING), (RELEASING, RELEASING)} <= found
    assert {state.fault for state in search.came_from} == {0, STICK}
    assert {state.seen for state in search.came_from} == {MIDDLE, PUSHED, PULLED, LOST}
