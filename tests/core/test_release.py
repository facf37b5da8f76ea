"""Letting a leg down under control must come to an end: foot down, drive off, contactor open."""

import pytest
from legcore.faults import END_STOP
from legcore.phases import OFF, RELEASING, STANDING
from stream import Walk, pushed_past_the_stop

# From the lift fold to the rest fold at the release speed of the walk's settings, twice over.
LONG_ENOUGH = 600


@pytest.fixture
def walk():
    walk = Walk(seed=1)
    walk.recover()
    return walk


@pytest.mark.parametrize("side", [0, 1], ids=["left", "right"])
def test_a_leg_disarmed_in_mid_air_is_let_down_and_then_off(walk, side):
    walk.reach(side, RELEASING)
    walk.until(side, OFF, LONG_ENOUGH)
    assert walk.leg(side).phase == OFF
    assert walk.rig.contactor == 0


@pytest.mark.parametrize("side", [0, 1], ids=["left", "right"])
def test_a_leg_past_its_end_stop_is_let_down_and_off_until_it_is_disarmed(walk, side):
    walk.foot(side, 1)
    walk.run(100)
    pushed_past_the_stop(walk, side)
    walk.until(side, RELEASING, 50)
    walk.legs[side].push_cdeg = 0.0
    walk.until(side, OFF, LONG_ENOUGH)
    assert walk.leg(side).phase == OFF
    assert walk.leg(side).fault_bits == END_STOP
    assert walk.rig.contactor == 0
    # The foot still raised, the fault still latched: arming is a person's act.
    walk.run(100)
    assert walk.leg(side).phase == OFF
    walk.recover()
    assert walk.leg(side).phase == STANDING
    assert walk.leg(side).fault_bits == 0
