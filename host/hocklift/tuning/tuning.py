"""A tuning from start to end: search on some builds, compare before and after on others."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import inf
from pathlib import Path
from random import Random

from legsim.compiled import source_hash
from legsim.rig import Rig
from rich.console import Console

from hocklift.loops.margins import Margins, rig_margins, worst
from hocklift.progress import bar
from hocklift.rigfile.file import rig_text
from hocklift.rigfile.keys import AnyRig, key_at, keys_of, value_at
from hocklift.rigfile.units import show, with_unit
from hocklift.tuning.journal import Journal
from hocklift.tuning.kinds import kind_of
from hocklift.tuning.limits import Limit, limits
from hocklift.tuning.score import Ran
from hocklift.tuning.search import ENDS, Best, search
from hocklift.tuning.variables import tuned, variables_of
from hocklift.tuning.walks import Crew, Task, Walker

# So many unseen builds for each one that the search begins on.
UNSEEN = 3
# Of the unseen builds, so many must meet every want.
SHARE_WANTED = 0.99
# More than the most builds that a search can be told to walk.
_SEEDS_APART = 10**5


@dataclass(frozen=True)
class Row:
    """One line of a comparison: what, before and after, in words."""

    what: str
    before: str
    after: str


@dataclass(frozen=True)
class Tuning:
    """What came of a tuning: the rig before and after, how unseen builds of both walk, and why."""

    rig_name: str
    before: AnyRig
    after: AnyRig
    seed: int
    progress: tuple[Best, ...]
    fleet_before: tuple[Ran, ...]
    fleet_after: tuple[Ran, ...]
    limits: tuple[Limit, ...]

    @property
    def changes(self) -> dict[str, float]:
        """The new value, in SI, of each tuned key."""
        return self.progress[-1].values

    @property
    def searched_on(self) -> int:
        """How many builds the search walked."""
        return len(self.progress[-1].fleet)

    @property
    def met(self) -> bool:
        """Whether enough of the unseen builds meet every want."""
        return share_met(self.fleet_after) >= SHARE_WANTED


def share_met(fleet: Sequence[Ran]) -> float:
    """Share of builds that meet every want."""
    return sum(ran.met for ran in fleet) / len(fleet)


def tune(
    rig: AnyRig,
    rig_name: str,
    rigs: int,
    budget: int,
    seed: int,
    folder: Path | None,
    console: Console,
    workers: int = -1,
) -> Tuning:
    """Search `budget` sets of gains in `workers` processes (-1: every core).

    On `rigs` builds at first, later on `GOES_ON` times as many, at the end on `ENDS` times.

    With a folder, what was walked is kept there, and the same search goes on from it. Raises
    OutputError where that is impossible.
    """
    kind = kind_of(rig)
    walker: Walker = Crew(kind.search_s, workers)
    if folder is not None:
        walker = Journal(folder, f"{_digest(rig)}, {rigs} rigs, seed {seed}", walker, kind.ran)
    progress = _watched(rig, rigs, budget, seed, walker, console)
    after = tuned(rig, progress[-1].values)
    unseen = unseen_seeds(seed, UNSEEN * rigs)
    compare = Crew(kind.compare_s, workers)
    before_fleet, after_fleet = compare([Task(rig, unseen), Task(after, unseen)])
    return Tuning(
        rig_name,
        rig,
        after,
        seed,
        tuple(progress),
        tuple(before_fleet),
        tuple(after_fleet),
        tuple(limits(after, after_fleet, kind.compare_s)),
    )


def search_seeds(seed: int, count: int) -> tuple[int, ...]:
    """Seeds of builds to search on: far from the small ones that people give to commands."""
    start = Random(f"tune {seed}").randrange(2**31, 2**32 - 4 * _SEEDS_APART)
    return tuple(range(start, start + count))


def unseen_seeds(seed: int, count: int) -> tuple[int, ...]:
    """Seeds of builds that no search with this seed walks."""
    start = search_seeds(seed, 1)[0] + _SEEDS_APART
    return tuple(range(start, start + count))


def _digest(rig: AnyRig) -> str:
    """Which rig under which code: what was walked says nothing about any other."""
    return "rig and code " + sha256((rig_text(rig) + source_hash()).encode()).hexdigest()[:12]


def _watched(
    rig: AnyRig, rigs: int, budget: int, seed: int, walker: Walker, console: Console
) -> list[Best]:
    found = []
    with bar(console, "sets of gains tried") as progress:
        task = progress.add_task("Tuning", total=budget)
        for best in search(rig, search_seeds(seed, ENDS * rigs), budget, seed, walker):
            found.append(best)
            words = (
                f"Tuning; the best so far: {best.met} of {len(best.fleet)} builds meet every want"
            )
            progress.update(task, completed=min(best.tried, budget), description=words)
    return found


def key_rows(tuning: Tuning) -> list[Row]:
    """Each tuned key, before and after."""
    rows = []
    for one in variables_of(tuning.after):
        key = key_at(one.path, keys_of(tuning.after))
        before, after = (
            with_unit(show(value_at(rig, one.path), key.unit, 4), key.unit)
            for rig in (tuning.before, tuning.after)
        )
        rows.append(Row(one.path, before, after))
    return rows


def want_rows(tuning: Tuning) -> list[Row]:
    """How many of the unseen builds meet each want, and by how much the worst one does."""
    fleets = tuning.fleet_before, tuning.fleet_after
    rows = [Row("every want", *(f"{sum(ran.met for ran in fleet)} builds" for fleet in fleets))]
    for i, want in enumerate(fleets[0][0].scale.wants):
        rows.append(Row(want.name, *(_met_words(fleet, i) for fleet in fleets)))
    return rows


def smooth_rows(tuning: Tuning) -> list[Row]:
    """How smoothly the unseen builds move, the roughest of them; and margins of a leg's loop."""
    fleets = tuning.fleet_before, tuning.fleet_after
    rows = [
        Row(one.name, *(one.words(max(ran.smooth[k] for ran in fleet)) for fleet in fleets))
        for k, one in enumerate(fleets[0][0].scale.smooth)
    ]
    legs = [rig for rig in (tuning.before, tuning.after) if isinstance(rig, Rig)]
    if not legs:
        return rows
    both = [worst(rig_margins(rig)).margins for rig in legs]
    return rows + [
        Row(name, *(words(one) if one and one.stable else "it swings" for one in both))
        for name, words in _MARGINS
    ]


# Of the rig as its file has it, in the pose and phase that comes nearest to swinging.
_MARGINS: tuple[tuple[str, Callable[[Margins], str]], ...] = (
    ("margin of gain", lambda one: f"{one.gain:.1f} times"),
    ("margin of delay", lambda one: f"{1000 * one.delay_s:.0f} ms"),
    ("peak sensitivity", lambda one: f"{one.peak:.2f}"),
)


def _met_words(fleet: Sequence[Ran], i: int) -> str:
    most = max(ran.missed[i] for ran in fleet)
    met = sum(ran.missed[i] <= 0 for ran in fleet)
    if most == 0:
        return f"{met}"
    if most == inf:
        return f"{met}, worst never"
    return f"{met}, worst {100 * abs(most):.0f} % " + ("over" if most > 0 else "in hand")


def verdict(tuning: Tuning) -> str:
    """One line to act on."""
    count = len(tuning.fleet_after)
    met = sum(ran.met for ran in tuning.fleet_after)
    of = f"{met} of {count} builds that the search has not seen meet every want"
    if tuning.met:
        return f"These gains hold: {of}."
    limit = tuning.limits[0]
    return (
        f"Not yet: {of}; wanted are {100 * SHARE_WANTED:.0f} %. What limits most: {limit.words}."
        f" Next: {limit.advice}."
    )
