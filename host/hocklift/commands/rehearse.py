"""`hocklift rehearse`: walk the rig in closed loop with the board's own control code."""

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import Any

from legsim.figures import seconds_words
from legsim.wing.rig import WingRig
from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.errors import HockliftError
from hocklift.rehearsal import (
    LEGS,
    Rehearsal,
    rehearse,
    rehearse_build,
    rehearse_script,
    rows_of,
    verdict,
)
from hocklift.rigfile.file import any_rig_or_demo

SCHEMA = "hocklift rehearse 1"
_MOST_BUILD = 8
USUAL_SECONDS = 20.0


def run(args: argparse.Namespace) -> int:
    """Rehearse, print, and write the page when asked; 0 when every want is met, else 1."""
    check_out(args)
    rig, rig_name = any_rig_or_demo(args.rig)
    if args.script is not None and (args.seconds is not None or args.built is not None):
        raise HockliftError(
            f"--script {args.script}: the script says how long it takes, and is played on the"
            " rig of the file; leave out --seconds and --built"
        )
    if isinstance(rig, WingRig):
        from hocklift.commands.wing_rehearse import run as run_wings

        return run_wings(rig, rig_name, args)
    console = Console(stderr=True)
    seconds = USUAL_SECONDS if args.seconds is None else args.seconds
    if args.script is not None:
        rehearsal = rehearse_script(rig, rig_name, args.script, args.wearer, args.seed, console)
    elif args.built is None:
        rehearsal = rehearse(rig, rig_name, args.wearer, seconds, args.seed, console)
    elif args.wearer is not None:
        raise HockliftError(
            f"--wearer {args.wearer}: the build of a seed brings its own wearer; leave out"
            " --wearer or --built"
        )
    else:
        rehearsal = rehearse_build(rig, rig_name, seconds, args.built, console)
    deliver(args, rehearsal, show=print_figures, as_json=as_json, write_page=_write_page)
    return 1 if rehearsal.unmet else 0


def _write_page(rehearsal: Rehearsal, folder: Path) -> Path:
    from hocklift.pages.rehearsal_page import write_page  # drawing is slow to import

    return write_page(rehearsal, folder)


def print_figures(rehearsal: Rehearsal, console: Console) -> None:
    """Print the figures of both legs, the time in each phase, and the verdict."""
    console.print(
        f"{rehearsal.seconds:.3g} s of {rehearsal.what}, {rehearsal.rig_name}, worn by"
        f" {rehearsal.wearer_name}, seed {rehearsal.seed}",
        highlight=False,
        markup=False,
        soft_wrap=True,
    )
    table = Table("", "left leg", "right leg", "wanted")
    left, right = (rehearsal.legs[name] for name in LEGS)
    for what, figure, want in rows_of(rehearsal):
        table.add_row(what, figure(left), figure(right), want(rehearsal.rig))
    table.add_section()
    for phase in left.phase_s:
        table.add_row(
            f"time {phase}",
            seconds_words(left.phase_s[phase]),
            seconds_words(right.phase_s[phase]),
            "",
        )
    console.print(table)
    if rehearsal.build:
        console.print(f"What this build has otherwise, the {_MOST_BUILD} farthest:")
        for path, in_file, own in rehearsal.build[:_MOST_BUILD]:
            console.print(f"  {path}: {own}, not {in_file}", highlight=False, markup=False)
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
        "build": {path: own for path, _, own in rehearsal.build},
        "met": not rehearsal.unmet,
        "verdict": verdict(rehearsal),
        "unmet": [
            {"want": what, "found": found, "advice": advice}
            for what, found, advice in rehearsal.unmet
        ],
        "legs": {name: asdict(leg) for name, leg in rehearsal.legs.items()},
    }
