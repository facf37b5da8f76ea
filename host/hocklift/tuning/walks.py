"""Trials of many builds under many sets of gains, on all cores."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from legsim.settings import SettingsError

from hocklift.rigfile.keys import AnyRig
from hocklift.tuning.kinds import kind_of
from hocklift.tuning.score import Ran
from hocklift.tuning.variables import sound

# So many builds are one piece of work: some tens of milliseconds, far over what handing it
# to another process takes.
_PIECE = 8


class Task(NamedTuple):
    """One set of gains, in a whole rig, to be walked on the builds of these seeds."""

    rig: AnyRig
    seeds: tuple[int, ...]


Walker = Callable[[Sequence[Task]], list[list[Ran]]]


@dataclass(frozen=True)
class Crew:
    """Walks tasks in as many processes as told; results in order, whoever did the work.

    No `seconds`: trials as brief as the rig's kind has them.
    """

    seconds: float | None
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


def run_piece(task: Task, seconds: float | None) -> list[Ran]:
    """Walk every build of a task; one that no core could hold is refused."""
    if not sound(task.rig):
        return [kind_of(task.rig).ran.refused()] * len(task.seeds)
    return [_ran(task.rig, seed, seconds) for seed in task.seeds]


def _ran(rig: AnyRig, seed: int, seconds: float | None) -> Ran:
    kind = kind_of(rig)
    try:
        tried = kind.trial(rig, seed, seconds)
    except SettingsError:
        return kind.ran.refused()
    joints = tried.joints.values()
    smooth = (max(one.figure(joint, rig) for joint in joints) for one in kind.ran.scale.smooth)
    return kind.ran(seed, tried.missed, tuple(smooth))
