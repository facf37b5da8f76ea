"""The search for gains: never worse than where it began, the same for everybody, resumable.

The walks are formulas here, so that the best gains are known beforehand.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import inf, sqrt
from pathlib import Path

import pytest
from hocklift.errors import OutputError
from hocklift.rigfile.keys import value_at
from hocklift.tuning.journal import JOURNAL, Journal
from hocklift.tuning.limits import limits
from hocklift.tuning.score import SMOOTH, Ran, score
from hocklift.tuning.search import ENDS, GOES_ON, Best, search
from hocklift.tuning.variables import VARIABLES, point_of, sound, tuned, values_at
from hocklift.tuning.walks import Crew, Task
from hypothesis import given, settings
from hypothesis import strategies as st
from legsim.figures import WANTS
from legsim.perturb import TOLERANCES, draws
from legsim.rig import Rig
from legsim.settings import core_rig

RIG = Rig()
SEEDS = tuple(range(2 * ENDS))
LIFT = next(i for i, want in enumerate(WANTS) if want.name == "time to lift")
POOR = tuned(RIG, {"control.kp": 0.5, "control.ki": 25.0})


def ran(seed: int, missed: float) -> Ran:
    wants = tuple(missed if i == LIFT else -1.0 for i in range(len(WANTS)))
    return Ran(seed, wants, (0.0,) * len(SMOOTH))


def torn(tasks: Sequence[Task]) -> list[list[Ran]]:
    """Builds with odd seeds would have kp at 4, the others at 1; all would have ki at 3.

    Each misses by the square of how many times too much or too little it is, less a little.
    """
    share = {one.path: one.share for one in VARIABLES}

    def missed(rig: Rig, seed: int) -> float:
        kp, ki = share["control.kp"], share["control.ki"]
        kp_off = kp(value_at(rig, "control.kp")) - kp(4.0 if seed % 2 else 1.0)
        ki_off = ki(value_at(rig, "control.ki")) - ki(3.0)
        return kp_off**2 + ki_off**2 - 0.12

    return [[ran(seed, missed(task.rig, seed)) for seed in task.seeds] for task in tasks]


def found(rig: Rig = POOR, seed: int = 1, budget: int = 700, walker=torn) -> list[Best]:
    return list(search(rig, SEEDS, budget, seed, walker))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_best_in_the_worst_build_is_half_way_between_what_two_builds_want(seed):
    # Minimax: equal misses on both sides, so the geometric mean of 1 and 4.
    best = found(seed=seed)[-1]
    assert best.values["control.kp"] == pytest.approx(sqrt(1.0 * 4.0), rel=0.05)
    assert best.values["control.ki"] == pytest.approx(3.0, rel=0.25)
    assert best.met == len(SEEDS)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=12)
def test_no_round_is_worse_than_the_one_before_nor_than_the_rigs_own_gains(seed):
    rounds = found(seed=seed, budget=40)
    for before, after in pairwise(rounds):
        # More builds may well be harder; on as many none is worse.
        assert after.score <= before.score or len(after.fleet) > len(before.fleet)
    assert not rounds[0].values
    for best in (rounds[0], rounds[-1]):
        walked = tuple(one.seed for one in best.fleet)
        assert best.score == score(torn([Task(tuned(POOR, best.values), walked)])[0])


def test_others_join_as_soon_as_all_builds_of_the_beginning_meet_every_want():
    rounds = found()
    few = [best for best in rounds if len(best.fleet) == 2]
    assert few and all(best.met < len(best.fleet) for best in few)
    assert {len(best.fleet) for best in rounds[len(few) : -1]} == {2 * GOES_ON}
    assert [one.seed for one in rounds[-1].fleet] == list(SEEDS)


def test_a_textbook_rule_that_does_better_than_all_that_was_drawn_wins():
    """The rule for gain alone has no integral at all, and no point of the search has as little."""

    def with_less_integral(tasks: Sequence[Task]) -> list[list[Ran]]:
        kis = [value_at(task.rig, "control.ki") for task in tasks]
        return [
            [ran(seed, ki / 20 - 0.005) for seed in task.seeds]
            for task, ki in zip(tasks, kis, strict=True)
        ]

    best = found(budget=20, walker=with_less_integral)[-1]
    assert best.values["control.ki"] == 0
    assert best.met == len(SEEDS)


def test_gains_that_are_best_already_are_kept():
    def worse_elsewhere(tasks: Sequence[Task]) -> list[list[Ran]]:
        return [[ran(seed, float(task.rig != RIG)) for seed in task.seeds] for task in tasks]

    assert found(RIG, budget=60, walker=worse_elsewhere)[-1].values == {}


def test_gains_that_the_core_refuses_never_win():
    def refusing(tasks: Sequence[Task]) -> list[list[Ran]]:
        return [
            [Ran.refused()] * len(task.seeds) if value_at(task.rig, "control.kp") > 1 else fleet
            for task, fleet in zip(tasks, torn(tasks), strict=True)
        ]

    rounds = found(walker=refusing)
    # The best of what is left stands beside the refused: half the builds would have more.
    assert 0.8 < rounds[-1].values["control.kp"] <= 1.0
    assert rounds[-1].score < score(refusing([Task(POOR, SEEDS)])[0])


def test_the_budget_bounds_the_sets_of_gains_tried():
    assert [best.tried for best in found(budget=0)] == [1]
    assert 100 <= found(budget=100)[-1].tried < 100 + 20


# Scores.


def test_one_more_build_that_misses_is_worse_than_any_room_in_the_others():
    tight, wide = ran(1, -0.001), ran(2, -1.0)
    assert score([tight, tight, tight]) < score([wide, wide, ran(3, 0.001)])
    assert score([wide, ran(1, 3.0)]) < score([ran(1, 0.001), ran(2, 0.001)])


def test_of_gains_that_meet_all_wants_those_with_more_room_in_the_worst_builds_win():
    even = [ran(seed, -0.1) for seed in range(16)]
    assert score(even) < score([ran(seed, -0.05 if seed < 8 else -1.0) for seed in range(16)])


def test_of_gains_with_equal_room_the_smoother_ones_win():
    rough = replace(ran(1, -0.1), smooth=tuple(one.usual for one in SMOOTH))
    assert score([ran(1, -0.1)]) < score([rough])


def test_a_want_that_is_never_met_is_worse_than_any_that_is_met_late_and_still_a_number():
    assert score([ran(1, 0.5)]) < score([ran(1, inf)]) < inf
    assert score([Ran.refused()]) == inf


# Points of the search.


@given(st.lists(st.floats(0, 1), min_size=len(VARIABLES), max_size=len(VARIABLES)))
def test_any_point_of_the_search_is_a_rig_that_the_core_can_hold(point):
    rig = tuned(RIG, values_at(RIG, point))
    assert sound(rig)
    core_rig(rig)


def test_the_fastest_lift_tried_brakes_as_hard_as_it_must_and_a_faster_one_could_not():
    """Lift speed and acceleration share one bound, and the search may go right up to it."""
    speed = [one.path for one in VARIABLES].index("control.lift_speed")
    point = [0.0] * len(VARIABLES)
    point[speed] = 1.0
    values = values_at(RIG, point)
    assert values["control.lift_speed"] > RIG.control.lift_speed_radps
    faster = values | {"control.lift_speed": 1.01 * values["control.lift_speed"]}
    assert not sound(tuned(RIG, faster))
    softer = values | {"control.accel": 0.95 * values["control.accel"]}
    assert not sound(tuned(RIG, softer))


def test_the_rigs_own_gains_are_a_point_of_the_search():
    values = values_at(RIG, point_of(RIG))
    for path, value in values.items():
        assert value == pytest.approx(value_at(RIG, path), rel=0.01, abs=1e-6)


# Kept on disk.


class CutOffError(Exception):
    """The power fails."""


def until(rounds: int):
    """A walker that fails after so many rounds of walks, and counts them."""
    done = []

    def walker(tasks: Sequence[Task]) -> list[list[Ran]]:
        if len(done) == rounds:
            raise CutOffError
        done.append(len(tasks))
        return torn(tasks)

    return walker, done


@pytest.mark.parametrize("rounds", [0, 1, 2, 5])
def test_a_search_that_is_killed_goes_on_to_the_same_end_without_walking_anything_twice(
    tmp_path: Path, rounds: int
):
    whole = found(budget=60)
    walker, _ = until(rounds)
    with pytest.raises(CutOffError):
        found(budget=60, walker=Journal(tmp_path, "one", walker))
    walker, done = until(1000)
    assert found(budget=60, walker=Journal(tmp_path, "one", walker)) == whole
    counted, all_done = until(1000)
    found(budget=60, walker=counted)
    assert done == all_done[rounds:]


def test_a_line_that_the_kill_cut_off_is_walked_anew(tmp_path: Path):
    whole = found(budget=60, walker=Journal(tmp_path, "one", torn))
    path = tmp_path / JOURNAL
    data = path.read_bytes()
    path.write_bytes(data[:-100])
    assert found(budget=60, walker=Journal(tmp_path, "one", torn)) == whole
    assert path.read_bytes() == data


def test_a_larger_budget_goes_on_where_the_smaller_one_ended(tmp_path: Path):
    found(budget=40, walker=Journal(tmp_path, "one", torn))
    walker, done = until(1000)
    assert found(budget=60, walker=Journal(tmp_path, "one", walker)) == found(budget=60)
    assert 0 < len(done) < 10


def test_the_journal_of_another_search_is_told_and_left_alone(tmp_path: Path):
    found(budget=20, walker=Journal(tmp_path, "one", torn))
    data = (tmp_path / JOURNAL).read_bytes()
    with pytest.raises(OutputError, match="another search"):
        Journal(tmp_path, "two", torn)
    assert (tmp_path / JOURNAL).read_bytes() == data
    (tmp_path / JOURNAL).write_text("a shopping list\n")
    with pytest.raises(OutputError, match="move it away"):
        Journal(tmp_path, "one", torn)


# Real walks.


def test_it_makes_no_difference_how_many_processes_walk():
    tasks = [Task(RIG, tuple(range(12))), Task(POOR, (3, 4))]
    assert Crew(6.0, 1)(tasks) == Crew(6.0, 2)(tasks)


def test_a_rig_whose_settings_the_core_cannot_hold_is_refused_not_walked():
    heavy = replace(RIG, control=replace(RIG.control, accel_radps2=34.9))
    assert Crew(6.0, 1)([Task(heavy, (1, 2))]) == [[Ran.refused()] * 2]


# What limits.


def test_the_tolerance_that_makes_a_want_missed_is_named():
    # By the motor's speed alone: the slower, the later.
    row = next(i for i, one in enumerate(TOLERANCES) if "speed_constant" in one.key)
    fleet = [ran(seed, -0.1 - 0.1 * draws(seed)[row]) for seed in range(40)]
    slowest = max(fleet, key=lambda one: one.missed[LIFT])
    found = limits(RIG, fleet, 6.0)[0]
    assert (found.want, found.seed) == ("time to lift", slowest.seed)
    assert found.tolerance.startswith("drive.speed_constant is 5")
    assert found.tolerance.endswith("rpm/V, not 620 rpm/V")


def test_no_tolerance_is_named_where_chance_may_have_done_it():
    fleet = [ran(seed, -0.1) for seed in range(40)]
    assert limits(RIG, fleet, 6.0)[0].tolerance == ""
