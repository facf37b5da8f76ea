"""`hocklift margins`: how far a rig's control loop is from swinging by itself."""

import argparse
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.loops.told import HEADINGS, Told, cells, notes, told
from hocklift.rigfile.file import rig_or_demo

SCHEMA = "hocklift margins 1"


def run(args: argparse.Namespace) -> int:
    """Work out the margins, print, draw when asked; 0 when no loop is nervous, else 1."""
    rig, rig_name = rig_or_demo(args.rig)
    check_out(args)
    found = told(rig, rig_name)
    deliver(args, found, show=show, as_json=as_json, write_page=_write_page)
    return 0 if found.met else 1


def _write_page(found: Told, folder: Path) -> Path:
    from hocklift.pages.margins_page import write_page  # drawing is slow to import

    return write_page(found, folder)


def show(found: Told, console: Console) -> None:
    """Print the table, the verdict, and what is left out."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Loop margins of {found.rig_name}\n")
    table = Table(HEADINGS[0], box=None, pad_edge=False)
    for heading in HEADINGS[1:]:
        table.add_column(heading, justify="right")
    for row in found.rows:
        table.add_row(row.phase, *cells(row))
    console.print(table)
    say(f"\n{found.verdict}", style="bold green" if found.met else "bold red")
    for note in notes(found):
        say(f"\n{note}")


def as_json(found: Told) -> dict[str, Any]:
    """All margins in SI units; what has no end is null."""
    return {
        "schema": SCHEMA,
        "rig": found.rig_name,
        "met": found.met,
        "verdict": found.verdict,
        "loops": [
            {
                "phase": row.phase,
                "fold_rad": row.fold_rad,
                "rate_radps": row.loop.rate_radps if row.loop else None,
                "why_none": row.why,
                "margins": asdict(row.margins) if row.margins else None,
            }
            for row in found.rows
        ],
    }
