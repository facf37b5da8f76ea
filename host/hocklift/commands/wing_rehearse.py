"""`hocklift rehearse` of a rig with wings: raise, hold and lower them, and judge it."""

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import Any

from legsim.figures import seconds_words
from legsim.wing.rig import WingRig
from rich.console import Console
from rich.table import Table

from hocklift.commands.output import deliver
from hocklift.errors import HockliftError
from hocklift.wing_rehearsal import (
    USUAL_SECONDS,
    WING_ROWS,
    WingRehearsal,
    rehearse_wing_build,
    rehearse_wing_script,
    rehearse_wings,
)

SCHEMA = "hocklift rehearse wings 1"


def run(rig: WingRig, rig_name: str, args: argparse.Namespace) -> int:
    """Rehearse, print, and write the page when asked; 0 when every want is met, else 1."""
    if args.wearer is not None:
        raise HockliftError(
            f"--wearer: found {args.wearer}, and {rig_name} is a rig with wings, which nobody walks"
            " in; leave --wearer out"
        )
    seconds = USUAL_SECONDS if args.seconds is None else args.seconds
    if args.script is not None:
        rehearsal = rehearse_wing_script(rig, rig_name, args.script, args.seed)
    elif args.built is None:
        rehearsal = rehearse_wings(rig, rig_name, seconds, args.seed)
    else:
        rehearsal = rehearse_wing_build(rig, rig_name, seconds, args.built)
    deliver(args, rehearsal, show=print_figures, as_json=as_json, write_page=_write_page)
    return 1 if rehearsal.unmet else 0


def _write_page(rehearsal: WingRehearsal, folder: Path) -> Path:
    from hocklift.pages.wing_rehearsal_page import write_page  # drawing is slow to import

    return write_page(rehearsal, folder)


def print_figures(rehearsal: WingRehearsal, console: Console) -> None:
    """Print the figures of both wings, the time in each phase, and the verdict."""
    plain: dict[str, Any] = {"highlight": False, "markup": False, "soft_wrap": True}
    console.print(f"{rehearsal.rig_name}: {rehearsal.told}", **plain)
    table = Table("", "left wing", "right wing", "wanted")
    left, right = rehearsal.wings.values()
    for what, figure, want in WING_ROWS:
        table.add_row(what, figure(left), figure(right), want(rehearsal.rig))
    table.add_section()
    for phase in left.phase_s:
        times_s = left.phase_s[phase], right.phase_s[phase]
        table.add_row(f"time {phase}", *map(seconds_words, times_s), "")
    console.print(table)
    style = "bold red" if rehearsal.unmet else "bold green"
    console.print(rehearsal.verdict, style=style, **plain)
    for what, found, advice in rehearsal.unmet[1:]:
        console.print(f"  {what}: {found}. Next: {advice}.", **plain)


def as_json(rehearsal: WingRehearsal) -> dict[str, Any]:
    """All figures in SI units; a time that never came is null."""
    return {
        "schema": SCHEMA,
        "rig": rehearsal.rig_name,
        "seconds": rehearsal.seconds,
        "seed": rehearsal.seed,
        "met": not rehearsal.unmet,
        "verdict": rehearsal.verdict,
        "unmet": [
            {"want": what, "found": found, "advice": advice}
            for what, found, advice in rehearsal.unmet
        ],
        "wings": {name: asdict(wing) for name, wing in rehearsal.wings.items()},
    }
