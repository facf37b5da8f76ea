"""Which tolerance matters most: Morris's screening over all rows of the table of tolerances.

A walk through the tolerances begins at a build drawn at random and changes one tolerance after
the other, each by two thirds of its spread, until all have been changed once: so each is tried
at as many places as there are walks, at the price of one trial each. Chance is held within a
walk and is another's in the next.

Morris, Factorial sampling plans for preliminary computational experiments, Technometrics 33
(1991); with the mean of absolute effects of Campolongo, Cariboni and Saltelli, Environmental
Modelling & Software 22 (2007). The work is SALib's.
"""

from collections.abc import Sequence
from types import ModuleType
from typing import Any, NamedTuple

import numpy as np
from legsim.figures import WANTS, Want
from legsim.perturb import ABOVE, LESS, MORE, TOLERANCES, Tolerance
from numpy.typing import NDArray

from hocklift.errors import CrewError
from hocklift.studying.jobs import Job, Ran

Floats = NDArray[np.float64]
Bounds = Sequence[tuple[float, float]]

# Common practice is 10 to 50 walks on 4 levels; so many make the order of the first few settle.
WALKS = 40
_LEVELS = 4
# One change, as a share of a spread: what these levels give.
_CHANGE = _LEVELS / (2 * (_LEVELS - 1))
# From one end of its spread to the other; what is drawn counts by its size in these ways.
_BOUNDS: Bounds = [
    (0.0, 1.0) if tolerance.way in (MORE, LESS, ABOVE) else (-1.0, 1.0) for tolerance in TOLERANCES
]
_ROWS = len(TOLERANCES) + 1  # trials of one walk
# Past this, farther makes no difference; a time that never comes is infinite.
_FARTHEST = 0.5


class Effect(NamedTuple):
    """What one tolerance does when it goes from one end of its spread to the other.

    `nearest` is how far the nearest limit moves, in the mean, a share of what is asked; `doubt`
    its 95 % interval, either way; `verdicts` the share of changes that turned a build from one
    that meets every want into one that does not, or back; `want` what it moves most.
    """

    tolerance: Tolerance
    nearest: float
    doubt: float
    verdicts: float
    want: Want


def sensitivity_jobs(seed: int, walks: int = WALKS) -> list[Job]:
    """The builds to try; CrewError where SALib is not installed."""
    points = points_of(_BOUNDS, walks, seed)
    return [
        Job(number, seed + number // _ROWS, tuple(point))
        for number, point in enumerate(points.tolist())
    ]


def effects_of(rans: Sequence[Ran], seed: int, walks: int = WALKS) -> tuple[Effect, ...]:
    """What each tolerance does, the one that moves the nearest limit most first.

    `rans` is what came of `sensitivity_jobs`, in their order.
    """
    points = points_of(_BOUNDS, walks, seed)
    missed = np.clip([ran.missed for ran in rans], -_FARTHEST, _FARTHEST)
    nearest = np.clip([ran.nearest for ran in rans], -_FARTHEST, _FARTHEST)
    met = np.array([float(ran.met) for ran in rans])
    moves, doubts = mean_effects(_BOUNDS, points, nearest, seed)
    verdicts, _ = mean_effects(_BOUNDS, points, met, seed)
    by_want = [mean_effects(_BOUNDS, points, column, seed)[0] for column in missed.T]
    most = np.argmax(by_want, axis=0)
    effects = [
        Effect(
            tolerance,
            float(moves[i]),
            float(doubts[i]),
            float(verdicts[i]) * _CHANGE,
            WANTS[most[i]],
        )
        for i, tolerance in enumerate(TOLERANCES)
    ]
    return tuple(sorted(effects, key=lambda effect: effect.nearest, reverse=True))


def points_of(bounds: Bounds, walks: int, seed: int) -> Floats:
    """Where each of the walks goes: one row a trial, as many to a walk as bounds, and one."""
    points = _salib("sample").sample(_problem(bounds), walks, num_levels=_LEVELS, seed=seed)
    return np.asarray(points, np.float64)


def mean_effects(
    bounds: Bounds, points: Floats, values: Floats, seed: int
) -> tuple[Floats, Floats]:
    """How much a value changes over each bound's whole length, in the mean, and the doubt of it."""
    found = _salib("analyze").analyze(
        _problem(bounds), points, values, num_levels=_LEVELS, seed=seed
    )
    return np.asarray(found["mu_star"], np.float64), np.asarray(found["mu_star_conf"], np.float64)


def _problem(bounds: Bounds) -> dict[str, Any]:
    names = [str(i) for i in range(len(bounds))]
    return {"num_vars": len(bounds), "names": names, "bounds": [list(one) for one in bounds]}


def _salib(part: str) -> ModuleType:
    try:
        from importlib import import_module

        return import_module(f"SALib.{part}.morris")
    except ImportError as error:
        raise CrewError(
            "--sensitivity needs SALib, which is not installed: pip install 'hocklift[study]'"
        ) from error
