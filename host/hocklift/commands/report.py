"""`hocklift report`: a page of pictures, and the trace, of a recording."""

import argparse
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from rich.console import Console

from hocklift.commands.output import check_out, deliver
from hocklift.commands.replay import damage_words
from hocklift.errors import LogError
from hocklift.log import read_log
from hocklift.logfigures import Figures, board_figures, figures_of

SCHEMA = "hocklift report 1"


def run(args: argparse.Namespace) -> int:
    """Write page and traces into `args.out`; returns 0."""
    log = read_log(args.log)
    if not len(log.ticks):
        raise LogError(f"{log.path}: holds no tick; record for longer with `hocklift record`")
    check_out(args)

    def write(figures: Figures, folder: Path) -> Path:
        from hocklift.pages.log_page import write_page  # drawing is slow to import

        return write_page(figures, folder, parquet=args.parquet)

    deliver(args, figures_of(log), show=show, as_json=as_json, write_page=write)
    return 0


def show(figures: Figures, console: Console) -> None:
    """Print how long it is, what is not as it should be with it, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    log = figures.log
    say(f"{log.path}: {figures.seconds:.1f} s, {len(log.ticks)} ticks")
    for words in damage_words(log):
        say(words, style="yellow")
    say(figures.verdict, style="bold green" if figures.clean else "bold red")


def as_json(figures: Figures) -> dict[str, Any]:
    """Figures of both legs and the board, faults, and what happened when."""
    return {
        "schema": SCHEMA,
        "log": str(figures.log.path),
        "clean": figures.clean,
        "verdict": figures.verdict,
        "seconds": figures.seconds,
        "faults": [
            {
                "fault": seen.fault.name,
                "leg": seen.leg,
                "start_s": seen.start_s,
                "seconds": seen.seconds,
                "text": seen.fault.text,
                "remedy": seen.fault.remedy,
            }
            for seen in figures.faults
        ],
        "events": [event._asdict() for event in figures.events],
        "legs": {name: asdict(leg) for name, leg in figures.legs.items()},
        "board": asdict(board_figures(figures.log)),
    }
