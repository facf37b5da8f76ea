"""One trial of a study as work for any process: what goes in, and what comes out."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from legsim.perturb import draws
from legsim.rig import Rig
from legsim.trial import trial_of
from legsim.wearer import Gait, GaitError

from hocklift.errors import WearerFileError


@dataclass(frozen=True)
class Walks:
    """What all trials of a study share: the rig as its file has it, how long, and the gait."""

    rig: Rig
    seconds: float
    gait: Gait


class Job(NamedTuple):
    """One build to walk: its number in the study, its seed, and -1 to 1 of each tolerance.

    Where nothing is `drawn`, the seed draws.
    """

    number: int
    seed: int
    drawn: tuple[float, ...] | None = None


class Ran(NamedTuple):
    """What came of a job: how far each want is missed, in the order of `WANTS`, and the faults."""

    number: int
    seed: int
    missed: tuple[float, ...]
    faults: tuple[str, ...]

    @property
    def met(self) -> bool:
        """Whether both legs met every want."""
        return all(missed <= 0 for missed in self.missed)

    @property
    def nearest(self) -> float:
        """How far past the nearest limit, a share of what is asked; less than 0 is inside.

        A want that is met or not, with nothing between, is 0 when met and then tells nothing.
        """
        return max((missed for missed in self.missed if missed != 0), default=-inf)


def run_batch(walks: Walks, jobs: Sequence[Job]) -> list[Ran]:
    """Walk some builds, one after the other."""
    return [_run(walks, job) for job in jobs]


def _run(walks: Walks, job: Job) -> Ran:
    drawn = draws(job.seed) if job.drawn is None else job.drawn
    try:
        done = trial_of(walks.rig, drawn, job.seed, walks.seconds, walks.gait)
    except GaitError as error:
        raise WearerFileError(
            f"the build of seed {job.seed}: {error}; see wearer.cadence, wearer.stance_share and"
            " wants.lower of the rig file"
        ) from error
    # A fault of the board is one of both legs.
    faults = dict.fromkeys(name for leg in done.legs.values() for name in leg.faults)
    return Ran(job.number, job.seed, done.missed, tuple(faults))


def batches(walks: Walks, jobs: Sequence[Job], each_s: float) -> Iterator[Sequence[Job]]:
    """Cut jobs into batches of about so many seconds of walking."""
    size = max(1, round(each_s / walks.seconds))
    for start in range(0, len(jobs), size):
        yield jobs[start : start + size]
