"""Letting a leg down under control must come to an end: foot down, drive off, contactor open."""

import pytest
from legcore.faults import WEIGHT
from legcore.phases import HELD, OFF, RELEASING, STANDING
from walk import DEMO, SIDES, Walk

# No foot takes longer to come down, whatever it meets.
LONG_ENOUGH = DEMO["down_ticks"]
each_side = pytest.mark.parametrize("side", range(len(SIDES)), ids=SIDES)


def walk_of(**changes):
    walk = Walk(seed=1, **changes)
    walk.arm()
    return walk


@each_side
def test_a_leg_disarmed_in_mid_air_is_let_down_and_then_off(side):
    walk = walk_of()
    walk.reach(side, RELEASING)
    walk.until(side, OFF, LONG_ENOUGH)
    assert walk.leg(side).phase == OFF
    assert walk.rig.contactor == 0


@pytest.mark.parametrize("after", [0, 1], ids=["its own", "the other leg's"])
@each_side
def test_an_arm_input_that_opens_for_one_tick_disarms_both_legs(side, after):
    """Whichever leg's turn that tick was."""
    walk = walk_of()
    walk.reach(side, HELD)
    walk.run(after)
    walk.board["arm"] = 0
    walk.run(1)
    walk.board["arm"] = 1
    walk.run(3)
    assert walk.leg(side).phase == RELEASING
    walk.until(side, OFF, LONG_ENOUGH)
    walk.run(2)
    assert walk.leg(1 - side).phase == OFF
    assert walk.rig.contactor == 0


@each_side
def test_a_leg_that_neither_lands_nor_arrives_is_off_when_its_time_is_over(side):
    """As if its foot switch and its pots said nothing of where it is: the time still passes."""
    walk = walk_of(slack_ticks=2000, adrift_cdeg=9000)
    walk.reach(side, HELD)
    walk.board["arm"] = 0
    walk.legs[side].ill.jammed = True
    walk.until(side, RELEASING)
    walk.run(LONG_ENOUGH - 10)
    assert walk.leg(side).phase == RELEASING
    walk.run(20)
    assert walk.leg(side).phase == OFF
    assert walk.rig.contactor == 0


@each_side
def test_a_leg_that_something_stands_on_is_let_down_and_off_until_it_is_disarmed(side):
    walk = walk_of()
    walk.reach(side, HELD)
    walk.legs[side].ill.sole_reads = 1
    walk.until(side, RELEASING)
    walk.until(side, OFF, LONG_ENOUGH)
    assert walk.leg(side).phase == OFF
    assert walk.leg(side).fault_bits == WEIGHT
    assert walk.rig.contactor == 0
    # The foot still raised, the fault still latched: arming is a person's act.
    walk.run(100)
    assert walk.leg(side).phase == OFF
    walk.recover()
    assert walk.leg(side).phase == STANDING
    assert walk.leg(side).fault_bits == 0
