"""`hocklift fit`: what a recording says the rig really is."""

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.errors import LogError, RigFileError
from hocklift.fitting.fitting import EXERCISES, Fit, changed, fit
from hocklift.fitting.told import (
    CAUTION,
    HEADINGS,
    NOTES,
    WALK_HEADINGS,
    lacking_words,
    ordered,
    table_rows,
    verdict,
    walk_rows,
)
from hocklift.log import read_log, rig_of
from hocklift.progress import spinner
from hocklift.rigfile.file import rig_or_demo
from hocklift.safety.cautions import before_motion

SCHEMA = "hocklift fit 1"
_TABLE_WIDTH = 80


def run(args: argparse.Namespace) -> int:
    """Fit, print, and write as asked; 0 when the gains do on the rig as found, else 1."""
    if args.write and args.rig is None:
        raise RigFileError(
            "--write needs a rig file to write to, and none was given; name it after the recording"
        )
    log = read_log(args.log)
    if args.rig is not None:
        rig, rig_name = rig_or_demo(args.rig)
    else:
        recorded = rig_of(log)
        if recorded is None:
            raise LogError(f"{log.path}: names no rig of legs; name its rig file after it")
        rig, rig_name = recorded, "the recorded rig file"
    check_out(args)
    console = Console(stderr=True)
    with spinner(console) as progress:
        task = progress.add_task("Fitting: reading")
        found = fit(
            log, rig, rig_name, lambda words: progress.update(task, description=f"Fitting: {words}")
        )
    deliver(args, found, show=show, as_json=as_json, write_page=_write_page)
    if args.write:
        from hocklift.rigfile.edit import edit_rig

        edit_rig(args.rig, found.changes)
        console.print(
            f"Written: {args.rig}; what cannot be told alone, as it goes best with the rest",
            highlight=False,
            soft_wrap=True,
        )
    return 1 if found.unmet else 0


def _write_page(found: Fit, folder: Path) -> Path:
    from hocklift.pages.fit_page import write_page  # drawing is slow to import

    return write_page(found, folder)


def show(found: Fit, console: Console) -> None:
    """Print what is told, what cannot be, how the gains do, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    pieces = ", ".join(f"{found.found[one.kind]} of {one.name}" for one in EXERCISES)
    say(f"{found.log.path} beside {found.rig_name}: {pieces}\n")
    console.width = max(console.width, _TABLE_WIDTH)
    table = Table(box=None, pad_edge=False)
    for heading in HEADINGS:
        table.add_column(heading, justify="right" if heading in HEADINGS[1:4] else "left")
    for row in table_rows(found):
        table.add_row(*row)
    console.print(table)
    for words in lacking_words(found):
        say(f"\n{words}", style="yellow")
    if found.lacking:
        say(f"\n{before_motion(CAUTION)}")
    say("\nOne walk with the gains of the file:\n")
    console.print(_walk_table(found))
    for note in NOTES:
        say(f"\n{note}")
    say(f"\n{verdict(found)}", style="bold red" if found.unmet else "bold green")


def _walk_table(found: Fit) -> Table:
    table = Table(box=None, pad_edge=False)
    for i, heading in enumerate(WALK_HEADINGS):
        table.add_column(heading, justify="right" if i > 1 else "left")
    for row in walk_rows(found):
        table.add_row(*row)
    return table


def as_json(found: Fit) -> dict[str, Any]:
    """All numbers in SI; what is not told has no value."""
    return {
        "schema": SCHEMA,
        "log": str(found.log.path),
        "rig": found.rig_name,
        "met": not found.unmet,
        "verdict": verdict(found),
        "numbers": [
            {
                "number": row.number.name,
                "group": row.number.group,
                "file": row.was,
                "found": row.value if row.told else None,
                "error": row.error if row.told else None,
                "told": row.told,
                "differs": changed(row),
            }
            for row in ordered(found)
        ],
        "sums": [
            {
                "figure": row.sum.name,
                "file": row.was,
                "found": row.value if row.told else None,
                "error": row.error if row.told else None,
            }
            for row in found.sums
        ],
        "exercises": [
            {"exercise": one.name, "pieces": found.found[one.kind], "wanted": one.least}
            for one in EXERCISES
        ],
        "unmet": [{"want": what, "found": words} for what, words, _ in found.unmet],
    }
