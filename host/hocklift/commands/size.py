"""`hocklift size`: every part of a rig against what it has to bear, and what limits the rig."""

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.rigfile.file import any_rig_or_demo, rig_or_demo
from hocklift.rigfile.units import in_unit
from hocklift.sizing.checks.check import TIGHT
from hocklift.sizing.result import Sizing, cautions, margin_shown, shown, size

SCHEMA = "hocklift size 1"


def run(args: argparse.Namespace) -> int:
    """Size, print, and write the page when asked; 0 when every check holds, else 1."""

    if args.sweep is not None:
        from hocklift.commands.sweep import run as run_sweep

        return run_sweep(*rig_or_demo(args.rig), args)
    rig, rig_name = any_rig_or_demo(args.rig)
    check_out(args)
    sizing = size(rig, rig_name)
    deliver(args, sizing, show=print_sizing, as_json=as_json, write_page=_write_page)
    return 1 if sizing.failing else 0


_STYLES = {"holds": "", "tight": "yellow", "fails": "bold red", "unknown": "dim"}


def _write_page(sizing: Sizing, folder: Path) -> Path:
    from hocklift.pages.size_page import write_page  # drawing is slow to import

    return write_page(sizing, folder)


def print_sizing(sizing: Sizing, console: Console) -> None:
    """Print the checks by part, facts, limits, verdict and cautions."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Sizing of {sizing.rig_name}\n")
    console.print(_checks_table(sizing))
    say("\nGood to know:")
    for what, words in sizing.facts:
        say(f"- {what}: {words}")
    title = "What fails" if sizing.failing else "What limits this rig"
    say(f"\n{title}, the worst first:")
    for i, limit in enumerate(sizing.limits, 1):
        say(f"{i}. {limit.words()}")
    say(f"\n{sizing.verdict}", style="bold red" if sizing.failing else "bold green")
    say("\nBefore you build:")
    for caution in cautions(sizing.loads):
        say(f"- {caution}")


def _checks_table(sizing: Sizing) -> Table:
    """One line a check under the name of its part."""
    table = Table("what, and when", box=None, pad_edge=False)
    for heading in ("demand", "capacity", "margin", ""):
        table.add_column(heading, no_wrap=True, justify="left" if heading == "" else "right")
    part = ""
    for row in sizing.rows:
        check = row.check
        if check.part != part:
            table.add_row(check.part, style="bold")
            part = check.part
        table.add_row(
            f"  {check.what} ({check.situation})",
            shown(row.demand, check.unit),
            shown(row.capacity, check.unit),
            margin_shown(row),
            row.verdict,
            style=_STYLES[row.verdict],
        )
    return table


def as_json(sizing: Sizing) -> dict[str, Any]:
    """All checks, each in its own unit; what is unknown is null."""
    return {
        "schema": SCHEMA,
        "rig": sizing.rig_name,
        "met": not sizing.failing,
        "verdict": sizing.verdict,
        "tight_below": TIGHT,
        "checks": [
            {
                "part": row.check.part,
                "situation": row.check.situation,
                "what": row.check.what,
                "demand": in_unit(row.demand, row.check.unit),
                "capacity": in_unit(row.capacity, row.check.unit),
                "unit": row.check.unit,
                "margin": row.margin,
                "verdict": row.verdict,
                "source": row.check.source,
                "keys": list(row.check.levers),
            }
            for row in sizing.rows
        ],
        "facts": dict(sizing.facts),
        "limits": [limit.words() for limit in sizing.limits],
        "cautions": cautions(sizing.loads),
    }
