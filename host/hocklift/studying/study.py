"""A study: many builds of one rig, each within its tolerances; how many meet every want."""

from collections.abc import Sequence
from contextlib import closing, nullcontext
from dataclasses import dataclass
from functools import cached_property
from math import inf
from pathlib import Path
from typing import NamedTuple

from legsim.figures import WANTS, Want
from legsim.rig import Rig
from legsim.settings import SettingsError, core_rig
from rich.console import Console

from hocklift.errors import RigFileError
from hocklift.progress import bar
from hocklift.studying.crews import Crew
from hocklift.studying.jobs import Job, Ran, Walks, batches
from hocklift.studying.kept import Kept
from hocklift.studying.sensitivity import Effect, effects_of, sensitivity_jobs
from hocklift.wearerfile import built_in_gait

# So many of all builds must meet every want.
WANTED = 0.99
CONFIDENCE = 0.95
# Walking of one batch: long against what it costs to hand it over, short against the whole.
BATCH_S = 400.0
_MOST_WORST = 5


class Share(NamedTuple):
    """How many builds meet something, and between which shares the truth is, 95 % sure."""

    met: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """The builds that meet it, of all."""
        return self.met / self.of


def share_of(met: int, of: int) -> Share:
    """With the interval of Wilson, J. Amer. Stat. Assoc. 22 (1927), which holds near 0 and 1."""
    from scipy.stats import binomtest

    interval = binomtest(met, of).proportion_ci(CONFIDENCE, "wilson")
    return Share(met, of, float(interval.low), float(interval.high))


@dataclass(frozen=True)
class Study:
    """All builds of one study, in the order of their seeds, and the effects where asked for."""

    rig: Rig
    rig_name: str
    seed: int
    seconds: float
    ran: tuple[Ran, ...]
    effects: tuple[Effect, ...] = ()

    @cached_property
    def share(self) -> Share:
        """Builds that meet every want."""
        return share_of(sum(ran.met for ran in self.ran), len(self.ran))

    @cached_property
    def wants(self) -> tuple[tuple[Want, Share], ...]:
        """Builds that meet each want."""
        return tuple(
            (want, share_of(sum(ran.missed[i] <= 0 for ran in self.ran), len(self.ran)))
            for i, want in enumerate(WANTS)
        )

    @property
    def met(self) -> bool:
        """Whether enough of the builds meet every want."""
        return self.share.share >= WANTED

    @property
    def worst(self) -> tuple[Ran, ...]:
        """The builds that miss a want, the worst first; not all of them."""
        missing = [ran for ran in self.ran if not ran.met]
        missing.sort(key=lambda ran: (-ran.nearest, -sum(one > 0 for one in ran.missed)))
        return tuple(missing[:_MOST_WORST])

    @property
    def most_missed(self) -> tuple[Want, Share] | None:
        """The want that most builds miss; none where all meet all."""
        want, share = min(self.wants, key=lambda one: one[1].met)
        return None if share.met == share.of else (want, share)

    @property
    def words(self) -> str:
        """What was studied."""
        last = self.ran[-1].seed
        seeds = f"seed {last}" if len(self.ran) == 1 else f"seeds {self.seed} to {last}"
        return (
            f"{len(self.ran)} builds within their tolerances, {seeds},"
            f" {self.seconds:g} s of walking each"
        )

    @property
    def verdict(self) -> str:
        """One line to act on."""
        share = self.share
        told = f"{share.met} of {share.of} builds meet every want: {percent(share.share)}"
        if not self.met:
            assert self.most_missed is not None
            want, missed = self.most_missed
            return (
                f"Not yet: {told}, and {percent(WANTED)} are wanted. Most often missed:"
                f" {want.name}, by {missed.of - missed.met}. Next: {want.advice}."
            )
        if share.low < WANTED:
            return (
                f"{told}. So few builds cannot tell it from {percent(share.low)}: take more"
                " (--rigs) to be sure."
            )
        return f"{told}. It holds for builds that differ as yours will."


def percent(share: float) -> str:
    """A share as people read it; what is not all, or not nothing, never reads as if it were."""
    for digits in range(1, 6):
        text = f"{100 * share:.{digits}f}"
        if share in (0, 1) or float(text) not in (0, 100):
            break
    return f"{text.removesuffix('.0')} %"


def size_words(share: float) -> str:
    """How far something is from a limit, either way, in percent of what is asked."""
    percents = 100 * abs(share)
    return f"{percents:.{0 if percents >= 1 else 1}f} %"


def missed_words(ran: Ran) -> str:
    """What a build misses, the worst first, and how far."""
    missed = sorted(zip(ran.missed, WANTS, strict=True), key=lambda one: -one[0])
    return ", ".join(_missed_words(ran, want, by) for by, want in missed if not by <= 0)


def _missed_words(ran: Ran, want: Want, by: float) -> str:
    if want is WANTS[0]:
        return f"faults ({', '.join(ran.faults)})"
    return f"{want.name} ({'never' if by == inf else f'{size_words(by)} off'})"


def study(
    rig: Rig,
    rig_name: str,
    rigs: int,
    seed: int,
    seconds: float,
    crew: Crew,
    console: Console,
    *,
    sensitivity_walks: int = 0,
    folder: Path | None = None,
    batch_s: float = BATCH_S,
) -> Study:
    """Walk `rigs` builds of the seeds `seed`, `seed` + 1, ..., each for `seconds`.

    What finishes is kept in `folder`, and what is kept there of the same rig, length and version
    is not done again. Raises RigFileError where the rig's numbers make no settings, CrewError
    where the work cannot be done, OutputError where it cannot be kept.
    """
    try:
        core_rig(rig)  # before the work, so that nobody waits for what cannot be run
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    walks = Walks(rig, seconds, built_in_gait())
    builds = [Job(seed + i, seed + i) for i in range(rigs)]
    ran = _done("Builds", walks, builds, crew, console, folder, "builds", batch_s)
    effects: tuple[Effect, ...] = ()
    if sensitivity_walks:
        jobs = sensitivity_jobs(seed, sensitivity_walks)
        what = f"sensitivity {jobs}"
        tried = _done("Tolerances", walks, jobs, crew, console, folder, what, batch_s)
        effects = effects_of(tried, seed, sensitivity_walks)
    return Study(rig, rig_name, seed, seconds, ran, effects)


def _done(
    title: str,
    walks: Walks,
    jobs: Sequence[Job],
    crew: Crew,
    console: Console,
    folder: Path | None,
    what: str,
    batch_s: float,
) -> tuple[Ran, ...]:
    """What came of all jobs, in their order, those that were kept included."""
    with nullcontext() if folder is None else closing(Kept(folder, walks, what)) as kept:
        done = {} if kept is None else kept.ran
        left = [job for job in jobs if job.number not in done]
        if kept is not None:
            _tell_kept(console, title, kept, len(jobs) - len(left))
        with bar(console, "walked") as progress:
            task = progress.add_task(title, total=len(jobs), completed=len(jobs) - len(left))
            for rans in crew(walks, batches(walks, left, batch_s)) if left else ():
                if kept is None:
                    done.update((ran.number, ran) for ran in rans)
                else:
                    kept.add(rans)
                progress.advance(task, len(rans))
    return tuple(done[job.number] for job in jobs)


def _tell_kept(console: Console, title: str, kept: Kept, count: int) -> None:
    if count:
        words = f"{title}: {count} were finished before, in {kept.path}, and are not walked again."
    elif kept.others:
        words = (
            f"{title}: {kept.others[0]} is of another rig, length of walk or version of hocklift:"
            f" it stays as it is, and this study begins anew in {kept.path}."
        )
    else:
        return
    console.print(words, highlight=False, markup=False, soft_wrap=True)
