"""Trials of many builds under many sets of gains, on all cores."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from legsim.rig import Rig
from legsim.settings import SettingsError
from legsim.trial import trial
from legsim.wearer import Gait

from hocklift.tuning.score import REFUSED, SMOOTH, Ran
from hocklift.tuning.variables import sound
from hocklift.wearerfile import built_in_gait

# So many builds are one piece of work: some tens of milliseconds, far over what handing it
# to another process takes.
_PIECE = 8


class Task(NamedTuple):
    """One set of gains, in a whole rig, to be walked on the builds of these seeds."""

    rig: Rig
    seeds: tuple[int, ...]


Walker = Callable[[Sequence[Task]], list[list[Ran]]]


@dataclass(frozen=True)
class Crew:
    """Walks tasks in as many processes as told; results in order, whoever did the work."""

    seconds: float
    workers: int

    def __call__(self, tasks: Sequence[Task]) -> list[list[Ran]]:
        """What came of each task, build by build in the order of its seeds."""
        from joblib import Parallel, delayed

        pieces = [
            (i, Task(task.rig, task.seeds[k : k + _PIECE]))
            for i, task in enumerate(tasks)
            for k in range(0, len(task.seeds), _PIECE)
        ]
        done = Parallel(n_jobs=self.workers)(
            delayed(run_piece)(piece, self.seconds) for _, piece in pieces
        )
        fleets: list[list[Ran]] = [[] for _ in tasks]
        for (i, _), ran in zip(pieces, done, strict=True):
            fleets[i] += ran
        return fleets


def run_piece(task: Task, seconds: float) -> list[Ran]:
    """Walk every build of a task; one that no core could hold is `REFUSED`."""
    if not sound(task.rig):
        return [REFUSED] * len(task.seeds)
    return [_ran(task.rig, seed, seconds) for seed in task.seeds]


def _ran(rig: Rig, seed: int, seconds: float) -> Ran:
    try:
        tried = trial(rig, seed, seconds, _gait())
    except SettingsError:
        return REFUSED
    legs = tried.legs.values()
    return Ran(
        seed, tried.missed, tuple(max(one.figure(leg, rig) for leg in legs) for one in SMOOTH)
    )


@cache
def _gait() -> Gait:
    return built_in_gait()
