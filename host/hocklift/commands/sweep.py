"""`hocklift size --sweep`: a rig's headline figures and worst margin over values of its keys."""

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from legsim.rig import Rig
from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.rigfile.units import in_unit
from hocklift.sizing.axes import Axis, axes_of, sign_of
from hocklift.sizing.sweep import (
    HEADLINES,
    Combination,
    Sweep,
    figure_words,
    margin_words,
    summary,
    sweep,
)

SCHEMA = "hocklift sweep 1"
# A terminal shows so many combinations, or the best of more.
_MOST_SHOWN = 25
_BEST_SHOWN = 10


def run(rig: Rig, rig_name: str, args: argparse.Namespace) -> int:
    """Sweep, print, and write the page when asked; 0 when any combination passes, else 1."""
    axes = axes_of(rig, args.sweep)
    check_out(args)
    console = Console(stderr=True)
    swept = sweep(rig, rig_name, axes, console)
    deliver(args, swept, show=print_sweep, as_json=as_json, write_page=_write_page)
    return 0 if swept.met else 1


_STYLES = {"passes": "", "fails": "red", "no rig": "dim"}


def _write_page(swept: Sweep, folder: Path) -> Path:
    from hocklift.pages.sweep_page import write_page  # drawing is slow to import

    return write_page(swept, folder)


def print_sweep(swept: Sweep, console: Console) -> None:
    """Print the combinations, or the best of many and a summary, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Sweep of {swept.rig_name}\n")
    many = len(swept.combinations) > _MOST_SHOWN
    told = swept.best_first[:_BEST_SHOWN] if many else swept.combinations
    if many:
        say(f"The best {len(told)} of {len(swept.combinations)} combinations:\n")
    console.print(_table(swept, told))
    say("")
    for why in dict.fromkeys(one.why for one in told):
        say(f"{swept.marks[why]}  {why}")
    if many:
        say("\nOf all combinations")
        for line in summary(swept):
            say(f"- {line}")
        say("All of them: --json, or sweep.csv with --out DIR")
    for note in swept.notes:
        say(f"\n{note}")
    say(f"\n{swept.verdict}", style="bold green" if swept.met else "bold red")


def _table(swept: Sweep, combinations: list[Combination]) -> Table:
    table = Table(box=None, pad_edge=False)
    for axis in swept.axes:
        # Broken at its dot, since keys are long and numbers short.
        lines = [*axis.path.partition(".")[::2], sign_of(axis.unit)]
        table.add_column("\n".join(filter(None, lines)), justify="right", vertical="bottom")
    for headline in HEADLINES:
        table.add_column(f"{headline.short}\n{headline.unit}", justify="right", vertical="bottom")
    table.add_column("worst\nmargin", justify="right", vertical="bottom")
    table.add_column("verdict", vertical="bottom")
    table.add_column("why", vertical="bottom")
    for one in combinations:
        table.add_row(
            *map(Axis.number, swept.axes, one.values),
            *figure_words(one),
            margin_words(one),
            one.verdict,
            swept.marks[one.why],
            style=_STYLES[one.verdict],
        )
    return table


def as_json(swept: Sweep) -> dict[str, Any]:
    """All combinations; what is endless, or unknown for want of a rig, is null."""
    return {
        "schema": SCHEMA,
        "rig": swept.rig_name,
        "met": swept.met,
        "verdict": swept.verdict,
        "keys": [axis.path for axis in swept.axes],
        "units": [axis.unit for axis in swept.axes],
        "followed": list(swept.followed),
        "rows": [
            {
                "values": [
                    in_unit(value, axis.unit)
                    for value, axis in zip(one.values, swept.axes, strict=True)
                ],
                **{
                    headline.name: figure
                    for headline, figure in zip(HEADLINES, one.figures, strict=True)
                },
                "worst_margin": one.margin,
                "failing": one.failing,
                "verdict": one.verdict,
                "why": one.why,
            }
            for one in swept.combinations
        ],
    }
