"""Which tolerance matters: the screening's own numbers on functions whose answer is known."""

from itertools import product
from math import pi, sqrt

import numpy as np
import pytest
from hocklift.studying.jobs import Ran
from hocklift.studying.sensitivity import (
    effects_of,
    mean_effects,
    points_of,
    sensitivity_jobs,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from legsim.figures import WANTS
from legsim.perturb import ABOVE, LESS, MORE, TOLERANCES, draws
from SALib.test_functions import Ishigami

BOUNDS = [(-pi, pi)] * 3


def exact_ishigami() -> list[float]:
    """Mean absolute effects of the Ishigami function on four levels, over all of its grid."""
    levels = np.linspace(-pi, pi, 4)
    values = {
        place: float(Ishigami.evaluate(np.array([[levels[i] for i in place]]))[0])
        for place in product(range(4), repeat=3)
    }
    means = []
    for axis in range(3):
        effects = []
        for place, value in values.items():
            if place[axis] < 2:
                moved = tuple(i + 2 * (j == axis) for j, i in enumerate(place))
                effects.append(abs(values[moved] - value) / (2 / 3))
        means.append(float(np.mean(effects)))
    return means


def test_the_ishigami_function_has_the_effects_that_are_published_and_exact() -> None:
    points = points_of(BOUNDS, 2000, 1)
    found, doubt = mean_effects(BOUNDS, points, Ishigami.evaluate(points), 1)
    # Over the whole grid, by Morris's own definition (Technometrics 33, 1991); of the second
    # input by hand: 7 sin^2 changes by 7 * 3/4 in each step of two thirds.
    exact = exact_ishigami()
    assert exact[1] == pytest.approx(7 * 0.75 / (2 / 3))
    assert exact[0] == pytest.approx(sqrt(3) / 2 * 1.5 * (1 + 0.05 * pi**4 * (1 + 1 / 81)))
    assert np.abs(found - exact) == pytest.approx(0, abs=2 * doubt.max())
    # As published with SALib (tests/test_regression.py, test_regression_morris_vanilla; seen), of
    # 10 000 other walks, whose doubt is less.
    published = [7.682808, 7.875, 6.256295]
    assert exact == pytest.approx(published, rel=0.005)
    assert np.abs(found - published) == pytest.approx(0, abs=2 * doubt.max())


@given(st.lists(st.floats(-10, 10), min_size=2, max_size=6), st.integers(0, 2**32 - 1))
@settings(max_examples=20)
def test_of_a_plane_each_effect_is_its_slope_times_the_whole_bound(
    slopes: list[float], seed: int
) -> None:
    bounds = [(-1.0, 1.0) if i % 2 else (0.0, 1.0) for i in range(len(slopes))]
    points = points_of(bounds, 4, seed)
    found, doubt = mean_effects(bounds, points, points @ np.array(slopes), seed)
    lengths = [high - low for low, high in bounds]
    assert found == pytest.approx(np.abs(np.array(slopes) * lengths), abs=1e-9)
    assert doubt == pytest.approx(0, abs=1e-9)


def test_each_walk_changes_every_tolerance_once_and_keeps_its_chance() -> None:
    jobs = sensitivity_jobs(seed=5, walks=3)
    rows = len(TOLERANCES) + 1
    assert len(jobs) == 3 * rows
    assert [job.number for job in jobs] == list(range(len(jobs)))
    for walk in range(3):
        part = jobs[walk * rows : (walk + 1) * rows]
        assert {job.seed for job in part} == {5 + walk}
        changes = np.diff([job.drawn for job in part if job.drawn], axis=0) != 0
        assert changes.sum(axis=0).tolist() == [1] * len(TOLERANCES)
        assert changes.sum(axis=1).tolist() == [1] * len(TOLERANCES)


def test_what_is_drawn_stays_in_its_spread_and_one_sided_ones_are_not_tried_twice() -> None:
    drawn = np.array([job.drawn for job in sensitivity_jobs(seed=1, walks=20)])
    assert np.abs(drawn).max() == 1
    for tolerance, column in zip(TOLERANCES, drawn.T, strict=True):
        # What is drawn counts by its size there: -1 and 1 are the same build.
        assert column.min() == (0 if tolerance.way in (MORE, LESS, ABOVE) else -1)


def test_the_tolerance_that_moves_the_limit_is_found_and_named_with_its_want() -> None:
    jobs = sensitivity_jobs(seed=1, walks=8)
    strong, weak = 14, 3
    want = next(i for i, one in enumerate(WANTS) if one.name == "time to lift")

    def ran(number: int, drawn: tuple[float, ...]) -> Ran:
        missed = [0.0] * len(WANTS)
        missed[want] = 0.1 * drawn[strong] + 0.01 * drawn[weak]
        return Ran(number, 1, tuple(missed), ())

    found = effects_of([ran(job.number, job.drawn or ()) for job in jobs], seed=1, walks=8)
    assert len(found) == len(TOLERANCES)
    assert found[0].tolerance is TOLERANCES[strong]
    assert found[1].tolerance is TOLERANCES[weak]
    # From -1 to 1, and by so much both ways.
    assert found[0].nearest == pytest.approx(0.2)
    assert found[0].want is WANTS[want]
    # Each of its changes, by two thirds of its spread, takes it from one side of 0 to the other.
    assert found[0].verdicts == pytest.approx(1.0)
    assert all(effect.nearest == pytest.approx(0) for effect in found[2:])


def test_a_build_by_its_seed_draws_within_the_same_bounds() -> None:
    drawn = np.array([draws(seed) for seed in range(50)])
    assert drawn.shape == (50, len(TOLERANCES))
    assert -1 <= drawn.min() < -0.9 < 0.9 < drawn.max() <= 1
