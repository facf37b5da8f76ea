"""`hocklift check`: commission a rig on the bench, step by step, stage by stage."""

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from legsim.rig import Rig
from rich.console import Console

from hocklift.bench_check import Outcome, check, mark_parts
from hocklift.calibrating import Calibrating
from hocklift.checking.asker import Asker, asker_of, say
from hocklift.checking.record import FILE, Entry, Record, mark_of
from hocklift.commands.output import print_json
from hocklift.device import Device
from hocklift.files import check_writable
from hocklift.rigfile.file import rig_or_demo
from hocklift.transport import open_port
from hocklift.wire import Frame

SCHEMA = "hocklift check 1"


def run(args: argparse.Namespace) -> int:
    """Check; 0 when every step has passed, 1 when one failed or was not reached."""
    rig, rig_name = rig_or_demo(args.rig)
    folder = args.out or default_folder(args.rig)
    console = Console(stderr=args.json)
    with Device(open_port(args.port, rig)) as device:
        check_writable(folder)
        asker = asker_of(device, console)
        hello = ready(device, rig, asker, console)
        path = folder / FILE
        record = Record.open(path, rig_name, mark_of(*mark_parts(device, rig, hello)))
        if args.anew:
            record.entries = []
        elif any(entry.passed for entry in record.entries):
            say(console, f"{path} is continued: what passed is not done again (--anew does).")
        elif path.exists():
            say(console, f"{path} is of another rig file, board or calibration: begun anew.")
        try:
            outcome = check(device, rig, asker, hello, record, lambda each: show(each, console))
        except BaseException:
            say(console, f"\nStopped. {kept_words(record)}")
            raise
    if args.json:
        print_json(as_json(outcome))
    conclude(outcome, console)
    return 0 if outcome.passed else 1


def default_folder(rig: Path | None) -> Path:
    """A folder of today's, beside the rig file or here."""
    name = f"check-{datetime.now(UTC).date().isoformat()}"
    return (rig.parent if rig else Path()) / name


def ready(device: Device, rig: Rig, asker: Asker, console: Console) -> Frame:
    """The board's hello; a simulated board that is not kept is calibrated first."""
    hello = device.hello()
    board = device.transport.board
    if board is not None and board.kept is None and hello.values["calibrated_day"] == 0:
        say(console, "This board is calibrated first.")
        Calibrating(device, rig, asker, hello).run(lambda _: None)
        hello = device.hello()
    return hello


def kept_words(record: Record) -> str:
    """What is kept of a run that was stopped."""
    if not record.path.exists():
        return "No step was over: nothing was written."
    done = sum(entry.passed for entry in record.entries)
    return (
        f"{done} steps have passed and are in {record.path}; the same command continues there."
        " Take the board's power before you touch the rig."
    )


def show(entry: Entry, console: Console) -> None:
    """Print what was measured and the verdict."""
    for figure in entry.figures:
        say(console, f"  {'ok    ' if figure.good else 'FAILED'} {figure.words}")
    for note in entry.notes:
        say(console, f"  The board says: {note}")
    if not entry.passed:
        say(console, f"  Next: {entry.remedy}")


def conclude(outcome: Outcome, console: Console) -> None:
    """Print what the run came to."""
    if outcome.passed:
        words = f"Every step has passed: the board is set to the stage {outcome.stage}."
    elif outcome.failed:
        names = "; ".join(entry.step for entry in outcome.failed)
        words = (
            f"Not passed: {names}. The board stays at the stage {outcome.stage};"
            f" {len(outcome.left)} steps wait. Mend it, then run the same command: it continues"
            " here."
        )
    else:
        words = f"Nothing was moved. {len(outcome.left)} steps wait; the same command continues."
    style = "bold green" if outcome.passed else "bold red"
    console.print(words, style=style, highlight=False, markup=False)
    say(console, f"Record: {outcome.record.path}")


def as_json(outcome: Outcome) -> dict[str, Any]:
    """The record, and what the run came to."""
    return {
        **outcome.record.as_json(),
        "schema": SCHEMA,
        "passed": outcome.passed,
        "stage": outcome.stage,
        "failed": [entry.step for entry in outcome.failed],
        "left": [step.name for step in outcome.left],
    }
