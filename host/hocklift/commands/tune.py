"""`hocklift tune`: gains that do best in the worst of many builds of a rig."""

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.errors import RigFileError
from hocklift.rigfile.file import any_rig_or_demo
from hocklift.tuning.kinds import kind_of
from hocklift.tuning.told import SMOOTH_WORDS, caution
from hocklift.tuning.tuning import (
    Row,
    Tuning,
    key_rows,
    share_met,
    smooth_rows,
    tune,
    verdict,
    want_rows,
)

SCHEMA = "hocklift tune 1"
_TABLE_WIDTH = 80


def run(args: argparse.Namespace) -> int:
    """Tune, print, and write as asked; 0 when enough unseen builds meet every want, else 1."""
    if args.write and args.rig is None:
        raise RigFileError(
            "--write needs a rig file to write to, and none was given;"
            " make one with `hocklift new DIR`"
        )
    rig, rig_name = any_rig_or_demo(args.rig)
    check_out(args)
    console = Console(stderr=True)
    tuning = tune(rig, rig_name, args.rigs, args.budget, args.seed, args.out, console)
    deliver(args, tuning, show=print_tuning, as_json=as_json, write_page=_write_page)
    if args.write:
        from hocklift.rigfile.edit import edit_rig

        edit_rig(args.rig, tuning.changes)
        console.print(
            f"Written: {args.rig}" if tuning.changes else f"Left as it is: {args.rig}",
            highlight=False,
            soft_wrap=True,
        )
    return 0 if tuning.met else 1


def _write_page(tuning: Tuning, folder: Path) -> Path:
    from hocklift.pages.tune_page import write_page  # drawing is slow to import

    return write_page(tuning, folder)


def print_tuning(tuning: Tuning, console: Console) -> None:
    """Print before and after side by side, what limits, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(
        f"Tuning of {tuning.rig_name}: {tuning.progress[-1].tried} sets of gains tried on"
        f" {tuning.searched_on} builds, seed {tuning.seed}\n"
    )
    console.width = max(console.width, _TABLE_WIDTH)
    console.print(_table("key", key_rows(tuning)))
    say(f"\nOf {len(tuning.fleet_after)} builds that the search has not seen, so many meet:\n")
    console.print(_table("want", want_rows(tuning)))
    say(f"\n{SMOOTH_WORDS[kind_of(tuning.after).joint]}:\n")
    console.print(_table("figure", smooth_rows(tuning)))
    say("\nWhat limits these gains, the nearest to a limit first:")
    for limit in tuning.limits:
        say(f"- {limit.words}")
    say("(`hocklift rehearse RIG --built N` walks build N.)")
    say(f"\n{caution(tuning)}")
    say(f"\n{verdict(tuning)}", style="bold green" if tuning.met else "bold red")


def _table(what: str, rows: list[Row]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(what)
    table.add_column("before", justify="right")
    table.add_column("after", justify="right")
    for row in rows:
        table.add_row(row.what, row.before, row.after)
    return table


def as_json(tuning: Tuning) -> dict[str, Any]:
    """Keys and figures in SI; a want that is never met is null."""
    fleets = {"before": tuning.fleet_before, "after": tuning.fleet_after}
    return {
        "schema": SCHEMA,
        "rig": tuning.rig_name,
        "seed": tuning.seed,
        "tried": tuning.progress[-1].tried,
        "searched_on": tuning.searched_on,
        "met": tuning.met,
        "verdict": verdict(tuning),
        "keys": tuning.changes,
        "share_met": {name: share_met(fleet) for name, fleet in fleets.items()},
        "builds": {
            name: [
                {
                    "seed": ran.seed,
                    "missed": list(ran.missed),
                    "smooth": {
                        one.name: figure
                        for one, figure in zip(ran.scale.smooth, ran.smooth, strict=True)
                    },
                }
                for ran in fleet
            ]
            for name, fleet in fleets.items()
        },
        "limits": [
            {"want": limit.want, "seed": limit.seed, "found": limit.found, "there": limit.tolerance}
            for limit in tuning.limits
        ],
        "progress": [
            {
                "tried": best.tried,
                "score": best.score,
                "builds": len(best.fleet),
                "builds_met": best.met,
            }
            for best in tuning.progress
        ],
    }
