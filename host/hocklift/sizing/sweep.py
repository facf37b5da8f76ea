"""A rig's headline figures and worst margin over values of its keys."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import isfinite, isnan, nan
from string import ascii_uppercase
from typing import NamedTuple

from legsim.rig import Rig
from rich.console import Console

from hocklift.progress import bar
from hocklift.rigfile.keys import key_at, value_at, with_value_at
from hocklift.rigfile.rules import RULES
from hocklift.rigfile.units import show
from hocklift.sizing.axes import Axis, range_words
from hocklift.sizing.checks import rows_of
from hocklift.sizing.checks.check import Check
from hocklift.sizing.loads import Loads


class Headline(NamedTuple):
    """One figure to watch: its name with the SI unit, what it is, unit to show, how to get it."""

    name: str
    short: str
    what: str
    unit: str
    of: Callable[[Loads], float]


HEADLINES = (
    Headline(
        "sink_m", "sink", "sink on one leg", "mm", lambda loads: loads.sink_m(loads.one_leg_kg)
    ),
    Headline(
        "tackle_N",
        "tackle",
        "pull of the tackle, foot raised",
        "N",
        lambda loads: loads.tackle_N(loads.lift_fold_rad),
    ),
    Headline(
        "line_N",
        "lead line",
        "highest tension of the lead line",
        "N",
        lambda loads: loads.line_peak_N,
    ),
    Headline(
        "current_A", "current", "highest current, lifting", "A", lambda loads: loads.lift_peak_A
    ),
    Headline("lift_s", "lift", "fastest lift", "s", lambda loads: loads.fastest_lift_s),
)


@dataclass(frozen=True)
class Combination:
    """One combination of values: its headline figures, and every known margin, the worst first.

    `why` is the worst check, or, without margins, what makes it no possible rig.
    """

    values: tuple[float, ...]
    figures: tuple[float, ...]
    margins: tuple[float, ...]
    why: str

    @property
    def margin(self) -> float:
        """The worst margin; NaN where it is no possible rig."""
        return self.margins[0] if self.margins else nan

    @property
    def failing(self) -> int:
        """How many checks fail."""
        return sum(margin < 1 for margin in self.margins)

    @property
    def verdict(self) -> str:
        """One of "passes", "fails" and "no rig"."""
        if not self.margins:
            return "no rig"
        return "fails" if self.failing else "passes"


@dataclass(frozen=True)
class Sweep:
    """A whole sweep; `followed` are keys that had to change along with those swept."""

    rig: Rig
    rig_name: str
    axes: tuple[Axis, ...]
    combinations: list[Combination]
    followed: tuple[str, ...]

    @cached_property
    def best_first(self) -> list[Combination]:
        """All combinations, the largest worst margin first; among equals the next worst counts."""
        return sorted(self.combinations, key=lambda one: one.margins, reverse=True)

    @property
    def met(self) -> bool:
        """Whether any combination passes every check."""
        return any(one.verdict == "passes" for one in self.combinations)

    @cached_property
    def marks(self) -> dict[str, str]:
        """A letter for each worst check and each reason against a rig, by its words."""
        letters = [*ascii_uppercase, *map("".join, product(ascii_uppercase, repeat=2))]
        every = dict.fromkeys(one.why for one in self.combinations)
        return dict(zip(every, letters, strict=False))

    @property
    def verdict(self) -> str:
        """One sentence to act on."""
        best = self.best_first[0]
        if best.verdict == "no rig":
            return f"None of this is a possible rig: {best.why}."
        words = " and ".join(map(Axis.words, self.axes, best.values))
        margin = f"with the largest worst margin, {margin_words(best)} ({best.why})"
        if self.met:
            return f"Best is {words}, {margin}."
        return f"Nothing here passes every check. The nearest is {words}, {margin}."

    @property
    def notes(self) -> list[str]:
        """What to know about how it was swept."""
        if not self.followed:
            return []
        keys = " and ".join(self.followed)
        return [f"So that the rig stays in accord with itself, {keys} changed along."]


# What follows what, so that one rig stays in accord with itself.


class Follower(NamedTuple):
    """A key that changes along with others, unless it is swept itself."""

    path: Callable[[Rig], str]
    leaders: tuple[str, ...]
    factor: Callable[[Rig, Rig], float]


def _times(new: float, old: float) -> float:
    """How many times the old value; once where that is unknown."""
    return 1.0 if isnan(old) else new / old


def _coils_factor(old: Rig, new: Rig) -> float:
    """How many times the active coils, for the same rate by wire over rate given."""
    wire = _times(new.spring.wire_m, old.spring.wire_m)
    coil = _times(new.spring.coil_m, old.spring.coil_m)
    rate = _times(new.spring.rate_N_per_m, old.spring.rate_N_per_m)
    return wire**4 / coil**3 / rate


FOLLOWERS = (
    Follower(
        lambda rig: "spring.active_coils",
        ("spring.rate", "spring.wire", "spring.coil"),
        _coils_factor,
    ),
    Follower(
        lambda rig: "drive.gear_ratio",
        ("gears.pinion_teeth", "gears.wheel_teeth"),
        lambda old, new: new.gears.ratio / old.gears.ratio,
    ),
    # A part of a tooth is no harm: no check looks at the teeth of the last wheel itself.
    Follower(
        lambda rig: f"gears.wheel_teeth[{len(rig.gears.wheel_teeth)}]",
        ("drive.gear_ratio",),
        lambda old, new: (
            new.drive.gear_ratio / old.drive.gear_ratio * old.gears.ratio / new.gears.ratio
        ),
    ),
)


def _followers_of(rig: Rig, axes: Iterable[Axis]) -> list[Follower]:
    paths = [axis.path for axis in axes]
    return [
        follower
        for follower in FOLLOWERS
        if any(path.partition("[")[0] in follower.leaders for path in paths)
        and follower.path(rig) not in paths
    ]


# The sweep itself.


def sweep(rig: Rig, rig_name: str, axes: tuple[Axis, ...], console: Console) -> Sweep:
    """Size every combination of the axes' values, the last axis fastest."""
    followers = _followers_of(rig, axes)
    combinations = []
    with bar(console, "sized") as progress:
        every = list(product(*(axis.values for axis in axes)))
        for values in progress.track(every, description="Sweeping"):
            combinations.append(_sized(rig, axes, values, followers))
    followed = tuple(follower.path(rig) for follower in followers)
    return Sweep(rig, rig_name, axes, combinations, followed)


def _sized(
    rig: Rig, axes: tuple[Axis, ...], values: tuple[float, ...], followers: list[Follower]
) -> Combination:
    """Size one combination; what makes it no possible rig becomes its reason."""
    try:
        changed = _changed(rig, axes, values, followers)
        for rule in RULES:
            if not rule.kept(changed):
                raise ValueError(rule.must)
        rows = sorted(
            (row for row in rows_of(changed) if row.verdict != "unknown"),
            key=lambda row: row.margin,
        )
        loads = Loads(changed)
        figures = tuple(headline.of(loads) for headline in HEADLINES)
    except (ValueError, ArithmeticError) as error:
        return Combination(values, (nan,) * len(HEADLINES), (), str(error))
    margins = tuple(row.margin for row in rows)
    return Combination(values, figures, margins, name_of(rows[0].check))


def _changed(
    rig: Rig, axes: tuple[Axis, ...], values: tuple[float, ...], followers: list[Follower]
) -> Rig:
    """Return the rig with these values; ValueError if a follower leaves its range."""
    changed = rig
    for axis, value in zip(axes, values, strict=True):
        changed = with_value_at(changed, axis.path, value)
    for follower in followers:
        path = follower.path(rig)
        key, value = key_at(path), value_at(rig, path) * follower.factor(rig, changed)
        if value < key.low or value > key.high:
            raise ValueError(
                f"{path}, which changes along, would leave {range_words(key, key.unit)}"
            )
        changed = with_value_at(changed, path, value)
    return changed


def name_of(check: Check) -> str:
    """Return part, situation and what of a check, as in the limits that `size` tells."""
    return f"{check.part}, {check.situation}: {check.what}"


def summary(swept: Sweep) -> list[str]:
    """How many pass, fail by their worst check, and are no rig, the most first."""
    counts = Counter((one.verdict, one.why) for one in swept.combinations)
    passing = sum(count for (verdict, _), count in counts.items() if verdict == "passes")
    words = {"fails": "fail, worst at", "no rig": "are no rig, since"}
    return [f"{passing} pass every check"] + [
        f"{count} {words[verdict]} {why}"
        for (verdict, why), count in counts.most_common()
        if verdict != "passes"
    ]


def margin_words(one: Combination) -> str:
    """The worst margin in two digits; what fails never reads 1.00."""
    if one.verdict == "no rig":
        return ""
    return "0.99" if 0.99 < one.margin < 1 else f"{one.margin:.2f}"


def figure_words(one: Combination) -> list[str]:
    """The headline figures in their units, without them; empty where it is no possible rig."""
    if one.verdict == "no rig":
        return [""] * len(HEADLINES)
    return [
        show(figure, headline.unit, 3) if isfinite(figure) else "endless"
        for figure, headline in zip(one.figures, HEADLINES, strict=True)
    ]
