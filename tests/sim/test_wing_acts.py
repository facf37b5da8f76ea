"""What a wearer's acts become for wings: what is asked, where that means a wing to be, and what
of it can be judged."""

from itertools import pairwise
from math import radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from legsim.acts import Act, ActError
from legsim.wing.acts import asked_path_rad, play_wings, wing_seconds_of
from legsim.wing.run import Show
from legsim.wing.script import HALF, LOWERED, RAISED, WINGS, first_s
from wing_rigs import DEMO, changed_wings

PERIOD_S = DEMO.control.period_s
BY_POT = changed_wings(control={"command": "pot"})


def act(kind: str, time: float, stick: float = 1.0, wing: str = "both", **more: float) -> Act:
    return Act(kind, {"time": time, "stick": stick, "wing": wing, **more})


def hold(time: float) -> Act:
    return Act("hold", {"time": time})


def load(mass: float, wing: str = "both") -> Act:
    return Act("load", {"time": 1.0, "mass": mass, "wing": wing})


def at(played, seconds: float):
    return played.lines[round((first_s(DEMO) + seconds) / PERIOD_S)]


def test_a_stick_is_pushed_for_as_long_as_told_and_one_wing_alone_where_told() -> None:
    acts = [act("raise", 2.0, 0.5), act("lower", 1.0, wing="right"), load(3.0, "left"), hold(2.0)]
    played = play_wings(DEMO, acts)
    assert len(played.lines) == round(wing_seconds_of(DEMO, acts) / PERIOD_S)
    assert [at(played, s)["left"]["command"] for s in (-0.1, 1.0, 2.5)] == [0, 0.5, 0]
    assert [at(played, s)["right"]["command"] for s in (1.0, 2.5, 3.5)] == [0.5, -1, 0]
    assert at(played, 4.5)["left"]["load_kg"] == 3.0
    assert at(played, 4.5)["right"]["load_kg"] == 0.0


def test_a_pot_is_turned_no_faster_than_the_setpoint_goes_and_no_farther_than_its_ends() -> None:
    command = play_wings(BY_POT, [act("raise", 5.0), act("lower", 6.0)]).lines["left"]["command"]
    assert command.max() == DEMO.wing.raised_rad
    assert command.min() == DEMO.wing.lowered_rad
    fastest = np.abs(np.diff(command)).max() / PERIOD_S
    assert fastest == pytest.approx(DEMO.control.follow_speed_radps)


@given(st.lists(st.tuples(st.sampled_from([-1, 1]), st.floats(0.1, 1.0)), min_size=1, max_size=4))
@settings(max_examples=10, deadline=None)
def test_a_wing_ends_where_the_pushes_of_its_stick_mean_it_to_be(
    pushes: list[tuple[int, float]],
) -> None:
    """The setpoint gains in braking what it lost in speeding up, so a push's area is its way."""
    acts: list[Act] = []
    for way, stick in pushes:
        acts += [act("raise" if way > 0 else "lower", 1.5, stick), hold(1.5)]
    played = play_wings(DEMO, acts)
    trace = Show(DEMO, played.lines, 1).run()
    # What the pot's count and the stick's zone round off, over a second and a half of pushing.
    meant = asked_path_rad(DEMO, played.lines["left"]["command"])[-1]
    setpoint_rad = radians(trace["left"]["setpoint_cdeg_q6"][-1] / 6400)
    assert setpoint_rad == pytest.approx(meant, abs=radians(1.5) * len(pushes))


def test_waves_go_up_and_down_as_often_as_told_and_end_where_they_began() -> None:
    played = play_wings(DEMO, [act("raise", 1.5), act("wave", 9.0, 0.6, every=3.0), hold(3.0)])
    trace = Show(DEMO, played.lines, 1).run()
    lift = np.degrees(trace["left"]["lift_rad"])
    start = round((first_s(DEMO) + 1.5) / PERIOD_S)
    waving = lift[start : round((first_s(DEMO) + 10.5) / PERIOD_S)]
    turns = np.diff(np.sign(np.diff(waving[:: round(0.1 / PERIOD_S)]))) < 0
    assert np.count_nonzero(turns) == 3
    assert np.ptp(waving) > 15
    begun_rad = asked_path_rad(DEMO, played.lines["left"]["command"])[start]
    assert lift[-1] == pytest.approx(np.degrees(begun_rad), abs=3)


def test_a_wave_of_raised_wings_begins_downward() -> None:
    up = play_wings(DEMO, [act("raise", 4.0), act("wave", 4.0, every=2.0)])
    assert at(up, 4.5)["left"]["command"] < 0
    down = play_wings(DEMO, [act("wave", 4.0, every=2.0)])
    assert at(down, 0.5)["left"]["command"] > 0


def test_whole_moves_at_the_fastest_that_are_held_are_judged_by_their_time() -> None:
    acts = [
        act("lower", 2.0),
        hold(1.0),
        act("raise", 4.0),
        hold(3.0),
        act("lower", 2.0),
        hold(2.0),
    ]
    for wing in play_wings(DEMO, acts).moves.values():
        assert [pose.where for pose in wing] == [LOWERED, RAISED, HALF]
        assert all(pose.brisk and pose.held_s < pose.end_s for pose in wing)
    slow = play_wings(DEMO, [act("lower", 2.0), act("raise", 20.0, 0.4), hold(2.0)])
    lowered, raised = slow.moves["left"]
    assert (lowered.where, raised.where) == (LOWERED, RAISED)
    # Neither is: followed at once, and asked to be slow.
    assert not lowered.brisk
    assert not raised.brisk


def test_a_load_taken_up_in_a_hold_begins_a_new_hold() -> None:
    """A line stretches under a load; that the wing gives is no drift of a hold."""
    played = play_wings(DEMO, [act("raise", 2.0), hold(4.0), load(2.0, "left"), hold(6.0)])
    assert len(played.moves["right"]) == 1
    before, after = played.moves["left"]
    assert (before.load_kg, after.load_kg) == (0.0, 2.0)
    assert before.end_s < after.held_s


def test_holds_neither_overlap_nor_outlast_the_show() -> None:
    acts = [act("raise", 1.0), hold(1.0), act("wave", 4.0, every=2.0), load(1.0), act("lower", 1.0)]
    played = play_wings(DEMO, acts)
    for name in WINGS:
        kept = [pose for pose in played.moves[name] if pose.held_s < pose.end_s]
        assert all(one.end_s <= other.start_s for one, other in pairwise(kept))
        assert kept[-1].end_s <= len(played.lines) * PERIOD_S


def test_an_act_that_cannot_be_played_is_told_by_its_number() -> None:
    with pytest.raises(ActError, match="too short for one wave") as caught:
        play_wings(DEMO, [hold(1.0), act("wave", 1.0, every=2.0)])
    assert caught.value.index == 1
