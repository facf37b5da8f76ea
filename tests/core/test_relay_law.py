"""The relay experiment in the core: bounded in force, travel and time, and only on a stand."""

from itertools import pairwise

import pytest
from legcore.faults import SLACK, STALL
from legcore.model import VISIT_TICKS, make
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING
from legcore.stages import GANTRY, STAGES, STAND, UNLOADED
from legcore.validity import problem
from stream import SWINGING
from walk import DEMO, Walk, fill_settings

PUSH = SWINGING["relay_permille"]


def held(side=0, **changes):
    """A walk whose leg is up, on its stand, the relay about to swing it."""
    walk = Walk(seed=31, **SWINGING, **changes)
    walk.arm()
    walk.reach(side, HELD)
    return walk


def until_pushed(walk, up, side=0):
    """Step until the leg has just been turned round, and is pushed up or down."""
    for _ in range(200):
        walk.run(1)
        leg = walk.leg(side)
        # What carries the leg at its height is far less than the push.
        if (leg.wanted_permille > 0) == up and leg.relay_ticks == 0:
            return
    pytest.fail("the leg does not swing")


def drives(walk, side, ticks):
    found = []
    for _ in range(ticks):
        walk.run(1)
        found.append(walk.leg(side).drive_permille)
    return found


@pytest.mark.parametrize("side", [0, 1])
def test_a_held_leg_swings_about_its_height_and_is_pushed_no_harder_than_asked(side):
    walk = held(side)
    folds, carried = [], []
    for _ in range(250):
        walk.run(1)
        leg = walk.leg(side)
        folds.append(leg.fold_cdeg)
        carried.append(leg.drive_permille)
    # What the table holds the leg with at its height, by straight lines between its points.
    past = (DEMO["lift_fold_cdeg"] - DEMO["table_start_cdeg"]) / DEMO["table_step_cdeg"]
    hold = 60 + 10 * past
    assert max(carried) <= hold + PUSH + 1
    assert min(carried) >= hold - PUSH - 1
    turns = sum((a > hold) != (b > hold) for a, b in pairwise(carried))
    assert turns >= 4
    assert max(folds) > DEMO["lift_fold_cdeg"] + SWINGING["relay_cdeg"]
    assert min(folds) < DEMO["lift_fold_cdeg"] - SWINGING["relay_cdeg"]
    assert walk.leg(side).phase == HELD


def test_lifting_is_as_without_a_relay():
    plain = Walk(seed=31, stage=STAND)
    swinging = Walk(seed=31, **SWINGING)
    for walk in (plain, swinging):
        walk.arm()
        walk.reach(0, LIFTING)
    assert drives(plain, 0, 20) == drives(swinging, 0, 20)


def test_the_core_ends_it_when_the_foot_has_been_up_for_the_longest_time():
    # A winding that does not get warm: that would end it sooner.
    walk = held(hot_mK=200_000)
    walk.run(DEMO["hold_ticks"] - 50)
    assert walk.leg(0).phase == HELD
    walk.run(60)
    assert walk.leg(0).phase == LOWERING
    assert walk.leg(0).fault_bits == 0


both_ways = pytest.mark.parametrize("up", [True, False], ids=["pushed up", "pushed down"])


@both_ways
def test_a_leg_that_does_not_turn_round_in_time_is_a_stall_whichever_way_it_is_pushed(up):
    walk = held()
    until_pushed(walk, up)
    walk.legs[0].ill.jammed = True
    walk.run(DEMO["relay_ticks"] + 4 * VISIT_TICKS)
    assert walk.leg(0).fault_bits & STALL
    assert walk.leg(0).phase == OFF


@both_ways
def test_a_foot_put_down_in_a_swing_comes_all_the_way_down(up):
    """What pushed it up last must not hold it up: the law would take it for an obstacle."""
    walk = held()
    until_pushed(walk, up)
    walk.foot(0, 0)
    walk.until(0, STANDING)
    assert walk.leg(0).fold_cdeg < DEMO["rest_fold_cdeg"] + DEMO["hanging_cdeg"]
    walk.run(200)
    assert walk.leg(0).fault_bits == 0


@both_ways
def test_disarmed_in_a_swing_the_foot_is_let_down_by_the_usual_law(up):
    walk = held()
    until_pushed(walk, up)
    walk.board["arm"] = 0
    walk.run(4)
    assert walk.leg(0).phase == RELEASING
    walk.until(0, OFF)
    assert walk.leg(0).fold_cdeg < DEMO["rest_fold_cdeg"] + DEMO["hanging_cdeg"]


def test_a_leg_that_swings_out_of_its_band_is_a_fault_as_ever():
    walk = held(push_cdeg=350, adrift_cdeg=350)
    for _ in range(4):
        walk.legs[0].ill.push_cdeg += 250
        walk.run(8)
    assert walk.leg(0).phase in (OFF, RELEASING)
    assert walk.leg(0).fault_bits & SLACK


# Every speed and the longest stall within what each stage allows.
SLOW = {f"{name}_step_q6": 300 for name in ("lift", "lower", "release", "stoop")}
SLOW |= {"stall_ticks": 30}


def rig_settings(**changes):
    settings = make("Settings")
    fill_settings(settings, **changes)
    return settings


@pytest.mark.parametrize("stage", range(len(STAGES)))
def test_only_the_stages_without_a_wearer_may_have_a_relay(stage):
    changes = SLOW | {"drive_max_permille": 250, "stage": stage}
    assert problem(rig_settings(**changes)) == ""
    why = problem(rig_settings(**changes, relay_permille=1))
    assert ("relay_permille" in why) == (stage >= GANTRY)


@pytest.mark.parametrize("stage", [UNLOADED, STAND])
def test_a_relay_pushes_no_harder_than_its_stage_allows(stage):
    most = STAGES[stage][1]
    changes = SLOW | {"drive_max_permille": most, "stage": stage}
    assert problem(rig_settings(**changes, relay_permille=most)) == ""
    if most < 500:
        assert "relay_permille" in problem(rig_settings(**changes, relay_permille=most + 1))


def test_a_relay_set_in_memory_while_somebody_walks_is_not_obeyed():
    walk = Walk(seed=31)
    walk.arm()
    walk.reach(0, HELD)
    walk.run(20)
    before = walk.leg(0).integral_q16
    walk.rig.settings.relay_permille = PUSH
    walk.run(40)
    assert abs(walk.leg(0).integral_q16) <= DEMO["integral_permille"] * 65536
    assert abs(walk.leg(0).drive_permille - before // 65536) < PUSH + 100
    assert walk.leg(0).relay_ticks == 0
