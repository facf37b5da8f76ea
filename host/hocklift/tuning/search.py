"""The search: CMA-ES over the tuned keys, each round a race, the hardest builds first.

Source of the method: Hansen, "The CMA Evolution Strategy: A Tutorial", arXiv:1604.00772; in the
author's package `cma`. It begins on a few builds; once all of these meet every want,
more join, for who is best on few is lucky with a few. Each round walks the builds on which the best
gains so far did worst; only who does better there walks the others, too. At the end the latest of
the best, and gains by textbook rules, run for the last place on more builds still. Nothing but the
seed and what comes back from the walks decides, so that the result is the same whoever walks.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hocklift.rigfile.keys import AnyRig
from hocklift.tuning.score import Ran, score
from hocklift.tuning.textbook import textbook
from hocklift.tuning.variables import point_of, tuned, values_at
from hocklift.tuning.walks import Task, Walker

# First step of the search, as a share of each key's bounds.
_SIGMA = 0.2
# So many times the builds that it begins on, a search goes on with once all of these meet every
# want, and ends on.
GOES_ON, ENDS = 4, 12
# So many of the latest of the best run once more at the end.
_LATEST = 4
# On so many builds a set of gains must do better than the best so far, to be tried on all.
_HARDEST = 24
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

    `seeds` are of all builds, `ENDS` times as many as it begins on. Raises whatever the walker
    does. The last one is the result; on the same builds none is worse than the one before.
    """
    few = seeds[: max(1, len(seeds) // ENDS)]
    many = seeds[: GOES_ON * len(few)]
    best = Best(1, {}, *_judged(walker([Task(rig, tuple(few))])[0]))
    strategy = _strategy(point_of(rig), seed)
    latest: list[dict[str, float]] = []
    while True:
        if best.met == len(best.fleet):
            best = _joined(rig, best, many, walker)
        yield best
        if best.tried >= budget or strategy.stop():
            break
        points = strategy.ask()
        # The middle of what is drawn, too: late in a search it is better than most around it.
        values = [values_at(rig, point) for point in (*points, strategy.result.xfavorite)]
        before = best.values
        best, scores = _after(rig, best, values, walker)
        best = replace(best, tried=best.tried + len(values))
        strategy.tell(points, scores[: len(points)])
        if best.values != before:
            latest.append(before)
            # Drawn once more in the next round, so that the search moves there sooner.
            strategy.inject([point_of(tuned(rig, best.values))])
    if best.values:
        rivals = [best.values | gains for gains in textbook(tuned(rig, best.values))]
        best = _joined(rig, best, seeds, walker)
        best, _ = _after(rig, best, [*latest[-_LATEST:], *rivals], walker)
        yield replace(best, tried=best.tried + len(rivals))


def _joined(rig: AnyRig, best: Best, seeds: Sequence[int], walker: Walker) -> Best:
    """The same gains, tried on all builds of `seeds`."""
    others = seeds[len(best.fleet) :]
    if not others:
        return best
    more = walker([Task(tuned(rig, best.values), tuple(others))])[0]
    return Best(best.tried, best.values, *_judged([*best.fleet, *more]))


def _after(
    rig: AnyRig, best: Best, values: Sequence[dict[str, float]], walker: Walker
) -> tuple[Best, list[float]]:
    """The best once these sets of gains have run against it, on its builds; and their scores."""
    rigs = [tuned(rig, one) for one in values]
    scores, fleets = _race(rigs, _hardest_first(best.fleet), walker)
    whole = [i for i, fleet in enumerate(fleets) if fleet]
    winner = min(whole, key=lambda i: (scores[i], i), default=None)
    if winner is not None and scores[winner] < best.score:
        by_seed = {ran.seed: ran for ran in fleets[winner]}
        in_order = [by_seed[ran.seed] for ran in best.fleet]
        best = Best(best.tried, values[winner], *_judged(in_order))
    return best, scores


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


def _race(
    rigs: Sequence[AnyRig], hardest_first: Sequence[Ran], walker: Walker
) -> tuple[list[float], list[list[Ran]]]:
    """Each rig's score, and its walks of all builds if it got so far.

    Who is worse in all builds than in the hardest is scored by all.
    """
    seeds = [ran.seed for ran in hardest_first]
    few = min(_HARDEST, len(seeds))
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
