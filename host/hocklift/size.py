"""`hocklift size`: every part of a rig against what it has to bear, and what limits the rig."""

import argparse
import json
import sys
from dataclasses import dataclass
from functools import partial
from math import floor, isfinite, isnan
from typing import Any

from legsim.rig import Rig
from rich.console import Console
from rich.table import Table

from hocklift.errors import RigFileError
from hocklift.sizing.checks import TIGHT, Row, rows_of
from hocklift.sizing.facts import FACTS
from hocklift.sizing.loads import Loads
from hocklift.sizing.remedy import Remedy, nearest_remedy
from hocklift.sizing.springs import fall_of_10kg_m
from hocklift.units import show, with_unit

SCHEMA = "hocklift size 1"
# How many limits are told, and the margin that their remedies aim at: a quarter in hand.
_LIMITS = 3
_AIM = 1.25


@dataclass(frozen=True)
class Limit:
    """One of the things that limit a rig: its check, and the nearest change that mends it."""

    row: Row
    remedy: Remedy | None

    def words(self) -> str:
        """Two sentences: what, how far off, and what to change by how much."""
        row, check = self.row, self.row.check
        if row.margin == 0:
            far = "beyond all measure"
        elif row.margin < 1:
            far = f"{100 * (1 / row.margin - 1):.0f} % too much"
        else:
            far = f"{100 * (row.margin - 1):.0f} % in hand"
        told = (
            f"{check.part}, {check.situation}: {check.what}: {shown(row.demand, check.unit)}"
            f" against {shown(row.capacity, check.unit)}, {far}."
        )
        if self.remedy is None:
            return f"{told} No change of one key alone mends it: {', '.join(check.levers)}."
        told += f" Change {self.remedy.words()}"
        if self.remedy.failing:
            told += f"; even then look at: {', '.join(self.remedy.failing)}"
        return f"{told}."


@dataclass(frozen=True)
class Sizing:
    """A rig sized: every check worked out, and its limits, the worst first."""

    rig: Rig
    rig_name: str
    loads: Loads
    rows: list[Row]
    limits: list[Limit]

    @property
    def failing(self) -> list[Row]:
        """Every check that fails."""
        return [row for row in self.rows if row.verdict == "fails"]

    @property
    def verdict(self) -> str:
        """One line to act on."""
        if self.failing:
            parts = ", ".join(dict.fromkeys(row.check.part for row in self.failing))
            count = len(self.failing)
            fail = "1 check fails" if count == 1 else f"{count} checks fail"
            return f"Do not build it like this: {fail}, of {parts}."
        return "Every part bears what it has to."


def run(args: argparse.Namespace) -> int:
    """Size, print, and write the page when asked; 0 when every check holds, else 1."""
    from hocklift.rigfile import rig_or_demo

    rig, rig_name = rig_or_demo(args.rig)
    if args.sweep is not None:
        from hocklift.sweep import run as run_sweep

        return run_sweep(rig, rig_name, args)
    if args.out is not None:
        from hocklift.files import check_writable

        check_writable(args.out)
    sizing = size(rig, rig_name)
    if args.json:
        json.dump(as_json(sizing), sys.stdout, indent=2)
        print()
    else:
        print_sizing(sizing, Console())
    if args.out is not None:
        from hocklift.size_page import write_page

        page = write_page(sizing, args.out)
        Console(stderr=True).print(f"Pictures: {page}", highlight=False, soft_wrap=True)
    return 1 if sizing.failing else 0


def size(rig: Rig, rig_name: str) -> Sizing:
    """Work out every check of a rig, and its limits with their remedies.

    Raises RigFileError where the numbers together describe no possible rig.
    """
    try:
        rows = rows_of(rig)
    except (ValueError, ZeroDivisionError) as error:
        raise RigFileError(f"{rig_name}: cannot be sized: {error}") from error
    known = [row for row in rows if row.verdict != "unknown"]
    worst = sorted(known, key=lambda row: row.margin)
    failing = [row for row in worst if row.verdict == "fails"]
    limits = [
        Limit(row, nearest_remedy(rig, row, 1.0 if failing else _AIM))
        for row in failing or worst[:_LIMITS]
    ]
    return Sizing(rig, rig_name, Loads(rig), rows, limits)


def shown(value: float, unit: str) -> str:
    """A value as people read it: three digits and its unit."""
    if not isfinite(value):
        return "unknown" if isnan(value) else "endless"
    return with_unit(show(value, unit, 3), unit)


def margin_shown(row: Row) -> str:
    """A margin in two digits, and no more than people can use."""
    if isnan(row.margin):
        return ""
    # Rounded down, so that what fails never reads 1.00.
    return f"{floor(100 * row.margin) / 100:.2f}" if row.margin < 10 else "over 10"


_STYLES = {"holds": "", "tight": "yellow", "fails": "bold red", "unknown": "dim"}


def print_sizing(sizing: Sizing, console: Console) -> None:
    """Print the checks by part, facts, limits, verdict and cautions."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Sizing of {sizing.rig_name}\n")
    console.print(_checks_table(sizing))
    say("\nGood to know:")
    for fact in FACTS:
        say(f"- {fact.what}: {fact.words(sizing.loads)}")
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


def cautions(loads: Loads) -> list[str]:
    """What can hurt, in numbers that a person feels."""
    energy_J = loads.spring_energy_J
    told = [
        f"Folded to its stop, each coil spring stores {energy_J:.0f} J: a 10 kg weight falling from"
        f" {fall_of_10kg_m(energy_J):.1f} m. Never stand in line with it; block the leg before you"
        " reach in, and squeeze or release a spring only with a screw clamp made for it.",
        "Links, gears and rope pinch and draw in: guard them, and keep hands, hair, straps and"
        " cloth away while anything can move.",
        "A lithium-polymer pack burns when crushed, shorted or overcharged: fuse it at the pack,"
        " charge it on stone and attended, and carry it where it can be thrown off.",
        "These figures are estimates by formulas of the trade, without a load test. Local codes and"
        " licensed practice take precedence.",
    ]
    if loads.rig.gas_spring.force_extended_N > 0:
        told.insert(1, "A gas spring stays full of pressure: never drill, saw, heat or open one.")
    return told


def as_json(sizing: Sizing) -> dict[str, Any]:
    """All checks in SI units; what is unknown is null."""
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
                "demand_SI": _finite(row.demand),
                "capacity_SI": _finite(row.capacity),
                "margin": _finite(row.margin),
                "verdict": row.verdict,
                "source": row.check.source,
                "keys": list(row.check.levers),
            }
            for row in sizing.rows
        ],
        "facts": {fact.what: fact.words(sizing.loads) for fact in FACTS},
        "limits": [limit.words() for limit in sizing.limits],
        "cautions": cautions(sizing.loads),
    }


def _finite(value: float) -> float | None:
    """JSON has neither infinity nor NaN."""
    return value if isfinite(value) else None
