"""`hocklift record`: write down all that a board says, with its figures on the screen."""

import argparse
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from legsim.tables import FAULTS, Fault
from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from hocklift.commands.output import print_json
from hocklift.device import Device
from hocklift.errors import OutputError
from hocklift.logfigures import loss_words, times
from hocklift.recording import LEGS, STOPPED, Recording, record, walk
from hocklift.rigfile.file import rig_or_demo
from hocklift.safety.cautions import before_motion
from hocklift.transport import SIM, open_port

SCHEMA = "hocklift record 1"
# A simulated wearer walks for so long where nobody says how long.
_WALK_S = 20.0
_LIVE_HZ = 10
_LINE_S = 1.0


def run(args: argparse.Namespace) -> int:
    """Record; 0 when it ended as asked, 1 when something cut it short."""
    rig, _ = rig_or_demo(args.rig)
    path = args.out or Path(datetime.now().strftime("hocklift-%Y%m%d-%H%M%S.log"))
    if path.exists():
        raise OutputError(f"{path}: exists already; name another file with --out, or move it away")
    console = Console(stderr=args.json)
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    seconds = args.seconds
    if args.port == SIM:
        seconds = seconds or _WALK_S
    else:
        say(before_motion())
    with Device(open_port(args.port, rig, seed=args.seed, realtime=args.real_time)) as device:
        board = device.transport.board
        say(f"The board is {device.transport.about}.")
        with _shown(console, seconds) as show:
            recording = record(
                device,
                path,
                None if args.rig is None else rig,
                seconds,
                walks=lambda: _walk(board, rig, seconds, args.seed),
                marks=_typed_lines(),
                show=show,
            )
    if args.json:
        print_json(as_json(recording))
    _tell_end(recording, say)
    return 1 if recording.trouble else 0


def _walk(board: Any, rig: Any, seconds: float | None, seed: int) -> None:
    if board is not None:
        # A moment longer than what is recorded, so that it does not end in the wearer's halt.
        walk(board, rig, (seconds or 0) + 1, seed)


def _typed_lines() -> "SimpleQueue[str] | None":
    """Lines as a person types them at a terminal; None where nobody can."""
    if not sys.stdin.isatty():
        return None
    lines: SimpleQueue[str] = SimpleQueue()

    def read() -> None:
        for line in sys.stdin:
            if line.strip():
                lines.put(line.strip())

    threading.Thread(target=read, daemon=True).start()
    return lines


@contextmanager
def _shown(console: Console, seconds: float | None) -> Iterator[Callable[[Recording], None]]:
    """Show figures as they come: in place on a terminal, a line a second elsewhere."""
    if not console.is_terminal:
        yield _Lines(console)
        return
    with Live(console=console, auto_refresh=False, transient=True) as live:
        last_s = 0.0

        def show(recording: Recording) -> None:
            nonlocal last_s
            if time.monotonic() - last_s > 1 / _LIVE_HZ and recording.ticks:
                last_s = time.monotonic()
                live.update(figures(recording, seconds), refresh=True)

        yield show


class _Lines:
    """A line for each second of the recording."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.next_s = _LINE_S

    def __call__(self, recording: Recording) -> None:
        if recording.seconds < self.next_s:
            return
        self.next_s = recording.seconds + _LINE_S
        values = recording.values
        legs = "  ".join(
            f"{leg} {recording.phase(leg)} {values[f'{leg}_fold_cdeg'] / 100:.1f}°"
            f" {values[f'{leg}_drive_permille'] / 10:.0f} %"
            for leg in LEGS
        )
        self.console.print(
            f"{recording.seconds:.0f} s  {legs}  {values['battery_mV'] / 1000:.1f} V"
            f"  faults: {', '.join(recording.faults) or 'none'}  lost: {recording.lost}",
            highlight=False,
            markup=False,
            soft_wrap=True,
        )


def figures(recording: Recording, seconds: float | None) -> Group:
    """What a terminal shows: both legs, the board, faults with what to do, and the loss."""
    values = recording.values
    table = Table(box=None, pad_edge=False)
    for heading in ("", *LEGS):
        table.add_column(heading, no_wrap=True, min_width=12)
    table.add_row("phase", *(recording.phase(leg) for leg in LEGS))
    table.add_row("fold", *(f"{values[f'{leg}_fold_cdeg'] / 100:.1f}°" for leg in LEGS))
    table.add_row("drive", *(f"{values[f'{leg}_drive_permille'] / 10:+.0f} %" for leg in LEGS))
    of = "" if seconds is None else f" of {seconds:g}"
    lines = [
        f"{recording.seconds:.1f}{of} s  battery {values['battery_mV'] / 1000:.1f} V"
        f"  loop {values['loop_us'] / 1000:.1f} ms  frames lost {recording.lost}"
        + (f"  marks {recording.marks}" if recording.marks else "")
    ]
    lines += [fault_words(fault) for fault in FAULTS if recording.fault_bits() & fault.bit]
    lines.append("Enter a word to mark this moment; Ctrl-C ends the recording.")
    return Group(table, *(Text(line) for line in lines))


def fault_words(fault: Fault) -> str:
    """A fault as a person reads it, with what to do."""
    return f"{fault.name}: {fault.text} {fault.remedy}"


def _tell_end(recording: Recording, say: Callable[[str], None]) -> None:
    ended = " (stopped by hand)" if recording.why == STOPPED else ""
    say(
        f"Recorded {recording.seconds:.1f} s{ended}, {recording.ticks} ticks, into"
        f" {recording.path} ({recording.bytes / 1000:.0f} kB)."
    )
    if recording.trouble:
        print(f"hocklift: {recording.trouble}", file=sys.stderr)
        say("The recording is good up to there.")
    if recording.missing or recording.lost or recording.damaged:
        loss = loss_words(recording.missing, recording.lost, recording.damaged)
        say(
            f"Not everything came: {loss}. After each gap the core's memory was taken anew, so that"
            " the rest can be re-stepped."
        )
    else:
        say("No frame was lost.")
    if recording.restarts:
        say(f"The board started anew {times(recording.restarts)}.")
    for fault in FAULTS:
        if fault.name in recording.faults:
            say(f"- {fault_words(fault)}")
    for note in "".join(recording.notes).splitlines():
        say(f"The board notes: {note}")
    say(f"Next: hocklift replay {recording.path}")


def as_json(recording: Recording) -> dict[str, Any]:
    """What was recorded, and what came meanwhile."""
    return {
        "schema": SCHEMA,
        "log": str(recording.path),
        "met": not recording.trouble,
        "ended": recording.why,
        "seconds": recording.seconds,
        "ticks": recording.ticks,
        "missing_ticks": recording.missing,
        "lost_frames": recording.lost,
        "damaged": recording.damaged,
        "restarts": recording.restarts,
        "marks": recording.marks,
        "bytes": recording.bytes,
        "faults": [
            {"fault": fault.name, "text": fault.text, "remedy": fault.remedy}
            for fault in FAULTS
            if fault.name in recording.faults
        ],
        "notes": "".join(recording.notes).splitlines(),
    }
