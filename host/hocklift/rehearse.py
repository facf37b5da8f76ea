"""`hocklift rehearse`: walk the rig in closed loop with the board's own control code."""

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from math import degrees, isfinite
from pathlib import Path
from typing import Any

import numpy as np
from legsim.figures import WANTS, LegFigures, leg_figures
from legsim.rig import Rig
from legsim.run import Walk
from legsim.settings import SettingsError
from legsim.wearer import Gait, GaitError, gait_raises, metronome_raises, script
from numpy.typing import NDArray
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from hocklift.errors import RigFileError, WearerFileError
from hocklift.rigfile import rig_or_demo
from hocklift.wearerfile import built_in_gait, read_gait

SCHEMA = "hocklift rehearse 1"
METRONOME = "metronome"
LEGS = ("left", "right")


@dataclass(frozen=True)
class Rehearsal:
    """One walk: what was asked, what happened, in figures and as a trace."""

    rig: Rig
    rig_name: str
    wearer_name: str
    seconds: float
    seed: int
    trace: NDArray[np.void]
    legs: dict[str, LegFigures]

    @property
    def unmet(self) -> list[tuple[str, str, str]]:
        """Every want that a leg does not meet: leg and want, what was found, advice."""
        return [
            (f"{name} leg, {want.name}", want.found(leg, self.rig), want.advice)
            for want in WANTS
            for name, leg in self.legs.items()
            if not want.met(leg, self.rig)
        ]


def run(args: argparse.Namespace) -> int:
    """Rehearse, print, and write the page when asked; 0 when every want is met, else 1."""
    rig, rig_name = rig_or_demo(args.rig)
    if args.out is not None:
        from hocklift.files import check_writable

        # Before the walk, so that nobody waits for figures that cannot be kept.
        check_writable(args.out)
    console = Console(stderr=True)
    rehearsal = rehearse(rig, rig_name, args.wearer, args.seconds, args.seed, console)
    if args.json:
        json.dump(as_json(rehearsal), sys.stdout, indent=2)
        print()
    else:
        print_figures(rehearsal, Console())
    if args.out is not None:
        from hocklift.rehearse_page import write_page

        page = write_page(rehearsal, args.out)
        console.print(f"Pictures: {page}", highlight=False, soft_wrap=True)
    return 1 if rehearsal.unmet else 0


def rehearse(
    rig: Rig, rig_name: str, wearer: str | None, seconds: float, seed: int, console: Console
) -> Rehearsal:
    """Walk `rig` for `seconds`; the wearer is a CSV file, "metronome", or None for the built-in.

    Raises RigFileError or WearerFileError where rig or gait make no walk.
    """
    if wearer == METRONOME:
        raises = metronome_raises(rig, seconds)
        wearer_name = "a metronome"
    else:
        gait: Gait = built_in_gait() if wearer is None else read_gait(Path(wearer))
        wearer_name = "the built-in recorded gait" if wearer is None else wearer
        try:
            raises = gait_raises(rig, gait, seconds)
        except GaitError as error:
            raise WearerFileError(f"{wearer_name}: {error}; record a longer level walk") from error
    try:
        walk = Walk(rig, script(rig, raises, seconds), seed)
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.completed:.0f} of {task.total:.0f} s walked"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    ) as progress:
        # The first run on a machine compiles the control code and the plant.
        task = progress.add_task("Rehearsing", total=seconds)
        for done in walk.ticks(round(1 / rig.control.period_s)):
            progress.update(task, completed=done * rig.control.period_s)
    legs = {name: leg_figures(walk.trace, name, rig) for name in LEGS}
    return Rehearsal(rig, rig_name, wearer_name, seconds, seed, walk.trace, legs)


def _mm(metres: float) -> str:
    return f"{1000 * metres:.0f} mm"


def _seconds(value: float) -> str:
    return f"{value:.2f} s" if isfinite(value) else "never"


# (what, how one leg's figure reads, how the want reads). The page shows the same rows.
ROWS: tuple[tuple[str, Any, Any], ...] = (
    (
        "steps made, of those asked",
        lambda leg: f"{leg.steps_made} of {leg.steps_asked}",
        lambda rig: "all",
    ),
    (
        "clearance, worst step",
        lambda leg: _mm(leg.clearance_worst_m),
        lambda rig: f"at least {_mm(rig.wants.clearance_worst_m)}",
    ),
    (
        "clearance, median",
        lambda leg: _mm(leg.clearance_median_m),
        lambda rig: f"{_mm(rig.wants.clearance_m)} ± {100 * rig.wants.clearance_tolerance:.0f} %",
    ),
    (
        "time to lift, worst",
        lambda leg: _seconds(leg.lift_worst_s),
        lambda rig: f"at most {_seconds(rig.wants.lift_s)}",
    ),
    (
        "time to lower, worst",
        lambda leg: _seconds(leg.lower_worst_s),
        lambda rig: f"at most {_seconds(rig.wants.lower_s)}",
    ),
    ("fold past its target", lambda leg: f"{degrees(leg.past_target_rad):.2f}°", lambda rig: ""),
    (
        "fold past the soft end stop",
        lambda leg: f"{degrees(leg.past_soft_stop_rad):.2f}°",
        lambda rig: "never",
    ),
    (
        "rope tension, peak",
        lambda leg: f"{leg.tension_peak_N:.0f} N",
        lambda rig: f"at most {rig.rope.breaking_N / rig.wants.rope_factor:.0f} N",
    ),
    (
        "motor current, peak",
        lambda leg: f"{leg.current_peak_A:.0f} A",
        lambda rig: f"controller limits to {rig.controller.current_limit_A:.0f} A",
    ),
    ("motor current, mean", lambda leg: f"{leg.current_mean_A:.1f} A", lambda rig: ""),
    ("energy a step", lambda leg: f"{leg.energy_per_step_J:.0f} J", lambda rig: ""),
    (
        "winding over the air, warmest",
        lambda leg: f"{leg.winding_K:.1f} K",
        lambda rig: f"at most {rig.drive.winding_limit_K:.0f} K",
    ),
    (
        "loose rope, foot up",
        lambda leg: _mm(leg.slack_moving_m),
        lambda rig: f"at most {_mm(rig.wants.slack_m)}",
    ),
    (
        "loose rope, standing",
        lambda leg: _mm(leg.slack_standing_m),
        lambda rig: "the leg sinks under weight",
    ),
    ("faults", lambda leg: ", ".join(leg.faults) or "none", lambda rig: "none"),
)


def verdict(rehearsal: Rehearsal) -> str:
    """One line to act on."""
    if not rehearsal.unmet:
        return "The rig walks: both legs meet every want."
    what, found, advice = rehearsal.unmet[0]
    rest = len(rehearsal.unmet) - 1
    more = f" ({rest} more not met, below.)" if rest else ""
    return f"Not yet: {what}: {found}. Next: {advice}.{more}"


def print_figures(rehearsal: Rehearsal, console: Console) -> None:
    """Print the figures of both legs, the time in each phase, and the verdict."""
    console.print(
        f"{rehearsal.seconds:g} s of walking, {rehearsal.rig_name}, worn by"
        f" {rehearsal.wearer_name}, seed {rehearsal.seed}",
        highlight=False,
        markup=False,
        soft_wrap=True,
    )
    table = Table("", "left leg", "right leg", "wanted")
    left, right = (rehearsal.legs[name] for name in LEGS)
    for what, figure, want in ROWS:
        table.add_row(what, figure(left), figure(right), want(rehearsal.rig))
    table.add_section()
    for phase in left.phase_s:
        table.add_row(
            f"time {phase}", _seconds(left.phase_s[phase]), _seconds(right.phase_s[phase]), ""
        )
    console.print(table)
    style = "bold red" if rehearsal.unmet else "bold green"
    console.print(verdict(rehearsal), style=style, highlight=False, markup=False, soft_wrap=True)
    for what, found, advice in rehearsal.unmet[1:]:
        console.print(
            f"  {what}: {found}. Next: {advice}.", highlight=False, markup=False, soft_wrap=True
        )


def as_json(rehearsal: Rehearsal) -> dict[str, Any]:
    """All figures in SI units; a time that never came is null."""
    return {
        "schema": SCHEMA,
        "rig": rehearsal.rig_name,
        "wearer": rehearsal.wearer_name,
        "seconds": rehearsal.seconds,
        "seed": rehearsal.seed,
        "met": not rehearsal.unmet,
        "verdict": verdict(rehearsal),
        "unmet": [
            {"want": what, "found": found, "advice": advice}
            for what, found, advice in rehearsal.unmet
        ],
        "legs": {name: _finite(asdict(leg)) for name, leg in rehearsal.legs.items()},
    }


def _finite(value: Any) -> Any:
    """JSON has no infinity."""
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not isfinite(value):
        return None
    return value
