"""Nothing moves that a person has not armed, and nothing is armed that is not fit to move."""

from itertools import product

import pytest
from legcore import arming
from legcore.arming import arming_blocks
from legcore.model import VISIT_TICKS
from legcore.phases import LIFTING, OFF, STANDING
from legcore.stages import GANTRY
from legsim.tables import ARMING, FAULTS, STAGES
from walk import DEMO, SIDES, Walk

HOLD = DEMO["arm_ticks"]
each_side = pytest.mark.parametrize("side", range(len(SIDES)), ids=SIDES)


@pytest.fixture
def walk():
    """A board that has just started, the arm input open."""
    walk = Walk(seed=4)
    walk.run(20)
    return walk


def hold(walk, ticks):
    walk.board["arm"] = 1
    walk.run(ticks)


def let_go(walk, ticks=1):
    walk.board["arm"] = 0
    walk.run(ticks)


def armed(walk):
    return [walk.leg(side).phase for side in (0, 1)] == [STANDING] * 2


def off(walk):
    return [walk.leg(side).phase for side in (0, 1)] == [OFF] * 2 and not walk.rig.contactor


# How long, and in which order.


def test_both_legs_stand_as_soon_as_the_arm_input_has_been_held_long_enough(walk):
    hold(walk, HOLD)
    assert off(walk)
    # The next visit of each leg lets it stand.
    walk.run(VISIT_TICKS)
    assert armed(walk)
    assert walk.rig.contactor


def test_letting_go_early_starts_anew(walk):
    hold(walk, HOLD - 1)
    let_go(walk)
    hold(walk, HOLD)
    assert off(walk)
    walk.run(VISIT_TICKS)
    assert armed(walk)


def test_an_arm_input_that_is_closed_at_the_start_arms_nothing_until_it_is_seen_open():
    walk = Walk(seed=5)
    hold(walk, 3 * HOLD)
    assert off(walk)
    assert walk.rig.arm_blocks == arming.UNSEEN
    let_go(walk)
    hold(walk, HOLD + VISIT_TICKS)
    assert armed(walk)


def test_a_board_that_its_watchdog_has_started_anew_waits_for_a_person():
    walk = Walk(seed=5)
    walk.board["was_hung"] = 1
    hold(walk, 3 * HOLD)
    assert off(walk)
    # Opening acknowledges the hang as well.
    let_go(walk)
    hold(walk, HOLD + VISIT_TICKS)
    assert armed(walk)


def test_a_rig_that_was_cut_off_does_not_arm_again_before_the_input_is_seen_open(walk):
    hold(walk, HOLD + VISIT_TICKS)
    walk.board["stop"] = 1
    walk.run(1)
    walk.board["stop"] = 0
    walk.run(3 * HOLD)
    assert off(walk)
    assert walk.rig.arm_blocks & arming.UNSEEN


def test_a_rig_that_was_disarmed_arms_again_only_by_a_whole_hold(walk):
    hold(walk, HOLD + VISIT_TICKS)
    let_go(walk, VISIT_TICKS)
    assert off(walk)
    hold(walk, HOLD)
    assert off(walk)
    walk.run(VISIT_TICKS)
    assert armed(walk)


@each_side
def test_an_arm_input_that_opens_between_one_leg_and_the_other_arms_neither(walk, side):
    """The first leg stands already, whichever it is: no rig stays armed by half."""
    walk.run(side)
    hold(walk, HOLD + 1)
    let_go(walk)
    hold(walk, 3 * HOLD)
    assert off(walk)
    assert walk.rig.arm_blocks == arming.UNSEEN


# Each condition by itself. A function makes it not hold; the ills of a leg are of the left one.


def pot_open(walk):
    walk.legs[0].ill.stuck[0] = 4095


def foot_raised(walk):
    walk.raised[0] = 1


def hangs_folded(walk):
    walk.legs[0].fold_cdeg = walk.legs[0].ill.floor_cdeg = 6040 + DEMO["hanging_cdeg"] + 50


def memory_changed(walk):
    walk.rig.left.phase_not ^= 1


def set_board(**values):
    return lambda walk: walk.board.update(values)


# Condition -> what makes it not hold.
BROKEN = {
    arming.UNSETTLED: set_board(settings_bad=1),
    arming.UNSAFE_SENSOR: pot_open,
    arming.STOPPED: set_board(stop=1),
    arming.EMPTY: set_board(battery_mV=DEMO["battery_least_mV"] - 1),
    arming.PRESSED: foot_raised,
    arming.STICK_AWAY: set_board(
        stick_count=DEMO["stick_centre_count"] + DEMO["stick_zone_count"] + 1
    ),
    arming.FOLDED: hangs_folded,
    arming.FAULTY: memory_changed,
}
each_broken = pytest.mark.parametrize(
    "condition",
    [row for row in ARMING if row.bit != arming.UNSEEN],
    ids=lambda condition: condition.said,
)


def test_every_condition_has_a_bit_of_its_own_and_a_way_to_be_broken():
    assert sorted(row.bit for row in ARMING) == [1 << i for i in range(len(ARMING))]
    assert set(BROKEN) | {arming.UNSEEN} == {row.bit for row in ARMING}


@each_broken
def test_a_condition_that_does_not_hold_blocks_arming_by_itself(walk, condition):
    BROKEN[condition.bit](walk)
    # Until whatever takes longest of all to be noticed has been.
    walk.run(2 * DEMO["battery_ticks"])
    hold(walk, 3 * HOLD)
    assert off(walk)
    others = arming.FAULTY if condition.faults or condition.bit == arming.FAULTY else 0
    assert walk.rig.arm_blocks & condition.bit
    assert walk.rig.arm_blocks & ~(condition.bit | others) == 0


@each_broken
def test_a_condition_that_fails_during_the_hold_ends_off(walk, condition):
    """A battery that is low takes longer to be noticed than the hold; it ends what stands."""
    hold(walk, HOLD - 4)
    BROKEN[condition.bit](walk)
    walk.run(DEMO["battery_ticks"] + 20)
    assert off(walk)


def test_the_other_foot_raised_or_hanging_blocks_too(walk):
    walk.raised[1] = 1
    hold(walk, 2 * HOLD)
    assert walk.rig.arm_blocks == arming.PRESSED
    walk.raised[1] = 0
    walk.legs[1].fold_cdeg = walk.legs[1].ill.floor_cdeg = 6040 + DEMO["hanging_cdeg"] + 50
    walk.run(2 * HOLD)
    assert walk.rig.arm_blocks == arming.FOLDED
    assert off(walk)


def test_a_stick_at_the_edge_of_its_middle_does_not_block_on_either_side(walk):
    for sign in (-1, 1):
        edge = DEMO["stick_centre_count"] + sign * DEMO["stick_zone_count"]
        walk.board["stick_count"] = edge + sign
        walk.run(1)
        assert walk.rig.arm_blocks == arming.STICK_AWAY
        walk.board["stick_count"] = edge
        walk.run(1)
        assert walk.rig.arm_blocks == 0


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_shows_at_the_condition_that_it_contradicts(walk, fault):
    blocks = arming_blocks(walk.rig, fault.bit)
    assert blocks & arming.FAULTY
    shown = arming.UNSETTLED | arming.UNSAFE_SENSOR | arming.STOPPED | arming.EMPTY
    for condition in ARMING:
        if condition.bit & shown:
            assert bool(blocks & condition.bit) == bool(condition.faults & fault.bit)


# A foot's sole: worn, a leg is lifted only if it bears nothing and the other one bears.


@pytest.mark.parametrize(("sole", "other_sole"), list(product((0, 1), repeat=2)))
@pytest.mark.parametrize("stage", range(len(STAGES)), ids=[stage.name for stage in STAGES])
@each_side
def test_worn_a_foot_is_lifted_only_if_it_is_free_and_the_other_one_bears(
    side, stage, sole, other_sole
):
    walk = Walk(seed=6, stage=stage)
    walk.arm()
    walk.legs[side].ill.sole_reads = sole
    walk.legs[1 - side].ill.sole_reads = other_sole
    walk.raised[side] = 1
    walk.until(side, LIFTING, 20)
    lifts = stage < GANTRY or (sole, other_sole) == (0, 1)
    assert walk.leg(side).phase == (LIFTING if lifts else STANDING)
    assert walk.leg(1 - side).phase == STANDING
