"""The search: CMA-ES over the tuned keys, each round a race, the hardest builds first.

Source of the method: Hansen, "The CMA Evolution Strategy: A Tutorial", arXiv:1604.00772; in the
author's package `cma`. All sets of gains of a round walk the builds on which the best one so far
did worst; only those that do better there walk the other builds, too. Nothing but the seed and
what comes back from the walks decides, so that the result is the same whoever walks.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hocklift.rigfile.keys import AnyRig
from hocklift.tuning.score import Ran, score
from hocklift.tuning.variables import point_of, tuned, values_at
from hocklift.tuning.walks import Task, Walker

# First step of the search, as a share of each key's bounds.
_SIGMA = 0.2
_HARDEST_SHARE = 0.25
# Worse than any score of walks.
_REFUSED = 1e6


@dataclass(frozen=True)
class Best:
    """The best set of gains so far: after how many tried, its values by key, what came of it."""

    tried: int
    values: dict[str, float]
    score: float
    fleet: tuple[Ran, ...]

    @property
    def met(self) -> int:
        """How many builds meet every want."""
        return sum(ran.met for ran in self.fleet)


def search(
    rig: AnyRig, seeds: Sequence[int], budget: int, seed: int, walker: Walker
) -> Iterator[Best]:
    """Yield the best so far after the rig's own gains, and after each round; `budget` in all.

    Raises whatever the walker does. The last one is the result, and never worse than the first.
    """
    best = Best(1, {}, *_judged(walker([Task(rig, tuple(seeds))])[0]))
    yield best
    strategy = _strategy(point_of(rig), seed)
    tried = 1
    while tried < budget and not strategy.stop():
        points = strategy.ask()
        values = [values_at(rig, point) for point in points]
        rigs = [tuned(rig, one) for one in values]
        scores, fleets = _race(rigs, _hardest_first(best.fleet), walker)
        strategy.tell(points, scores)
        tried += len(points)
        whole = [i for i in range(len(rigs)) if fleets[i]]
        first = min(whole, key=lambda i: (scores[i], i), default=None)
        if first is not None and scores[first] < best.score:
            best = Best(tried, values[first], *_judged(_in_order(fleets[first], seeds)))
            # Drawn once more in the next round, so that the search moves there sooner.
            strategy.inject([points[first]])
        else:
            best = replace(best, tried=tried)
        yield best


def _judged(fleet: Sequence[Ran]) -> tuple[float, tuple[Ran, ...]]:
    return score(fleet), tuple(fleet)


def _strategy(start: list[float], seed: int) -> Any:
    from cma import CMAEvolutionStrategy

    # Its own chance: nothing else that draws from NumPy's can change the search.
    chance = np.random.Generator(np.random.PCG64(seed))
    return CMAEvolutionStrategy(
        start,
        _SIGMA,
        {
            "bounds": [0, 1],
            "randn": lambda *size: chance.standard_normal(size),
            "seed": np.nan,
            "verbose": -9,
            "verb_log": 0,
        },
    )


def _hardest_first(fleet: Sequence[Ran]) -> list[Ran]:
    """The builds, those first that are nearest to missing a want or miss it most."""
    return sorted(fleet, key=lambda ran: (-ran.nearest[0], ran.seed))


def _in_order(fleet: Sequence[Ran], seeds: Sequence[int]) -> list[Ran]:
    """The builds in the order of `seeds`, so that any two fleets compare."""
    by_seed = {ran.seed: ran for ran in fleet}
    return [by_seed[seed] for seed in seeds]


def _race(
    rigs: Sequence[AnyRig], hardest_first: Sequence[Ran], walker: Walker
) -> tuple[list[float], list[list[Ran]]]:
    """Each rig's score, and its walks of all builds if it got so far.

    Who is worse in all builds than in the hardest is scored by all.
    """
    few = max(1, round(len(hardest_first) * _HARDEST_SHARE))
    seeds = [ran.seed for ran in hardest_first]
    heats = walker([Task(rig, tuple(seeds[:few])) for rig in rigs])
    scores = [score(heat) for heat in heats]
    fleets: list[list[Ran]] = [[] for _ in rigs]
    ahead = [i for i, one in enumerate(scores) if one < score(hardest_first[:few])]
    rest = walker([Task(rigs[i], tuple(seeds[few:])) for i in ahead])
    for i, more in zip(ahead, rest, strict=True):
        fleets[i] = [*heats[i], *more]
        scores[i] = max(scores[i], score(fleets[i]))
    # A rig that the core refuses is behind all others, by a number that can be reckoned with.
    return [min(one, _REFUSED) for one in scores], fleets
