"""The search: CMA-ES over the tuned keys, each round a race, the hardest builds first.

Source of the method: Hansen, "The CMA Evolution Strategy: A Tutorial", arXiv:1604.00772; in the
author's package `cma`. All sets of gains of a round walk the builds on which the best one so far
did worst; the better half of them walks all builds. Nothing but the seed and what comes back
from the walks decides, so that the result is the same whoever walks.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from legsim.rig import Rig

from hocklift.tuning.score import Ran, score
from hocklift.tuning.variables import point_of, tuned, values_at
from hocklift.tuning.walks import Task, Walker

# First step of the search, as a share of each key's bounds.
_SIGMA = 0.2
_HARDEST_SHARE = 0.25
_GO_ON_SHARE = 0.5


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
    rig: Rig, seeds: Sequence[int], budget: int, seed: int, walker: Walker
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
        values = [values_at(point) for point in points]
        rigs = [tuned(rig, one) for one in values]
        scores, fleets = _race(rigs, _hardest_first(best.fleet), walker)
        strategy.tell(points, scores)
        tried += len(points)
        first = int(np.argmin(scores))
        fleet = fleets[first]
        if fleet and scores[first] < best.score:
            # In the order of the seeds, so that a fleet compares with any other.
            in_order = {ran.seed: ran for ran in fleet}
            best = Best(tried, values[first], *_judged([in_order[one] for one in seeds]))
        else:
            best = Best(tried, best.values, best.score, best.fleet)
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


def _hardest_first(fleet: Sequence[Ran]) -> list[int]:
    """The builds' seeds, those first that are nearest to missing a want or miss it most."""
    return [ran.seed for ran in sorted(fleet, key=lambda ran: (-ran.nearest[0], ran.seed))]


def _race(
    rigs: Sequence[Rig], seeds: list[int], walker: Walker
) -> tuple[list[float], list[list[Ran]]]:
    """Each rig's score, and its walks if it got to the end; the others score behind those."""
    few = max(1, round(len(seeds) * _HARDEST_SHARE))
    heats = walker([Task(rig, tuple(seeds[:few])) for rig in rigs])
    order = sorted(range(len(rigs)), key=lambda i: (score(heats[i]), i))
    finalists = order[: max(1, round(len(rigs) * _GO_ON_SHARE))]
    rest = walker([Task(rigs[i], tuple(seeds[few:])) for i in finalists])
    scores = [inf] * len(rigs)
    fleets: list[list[Ran]] = [[] for _ in rigs]
    for i, more in zip(finalists, rest, strict=True):
        fleets[i] = [*heats[i], *more]
        scores[i] = score(fleets[i])
    worst = max((one for one in scores if one < inf), default=0.0)
    for place, i in enumerate(order):
        if not fleets[i] or scores[i] == inf:
            fleets[i] = []
            scores[i] = worst + 1.0 + place
    return scores, fleets
