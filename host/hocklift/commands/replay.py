"""`hocklift replay`: step the control code again over a recording; here, on a board, or changed."""

import argparse
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from legsim.rig import Rig
from rich.console import Console
from rich.table import Table

from hocklift.commands.output import print_json
from hocklift.device import Device
from hocklift.feeding import feed
from hocklift.log import Log, read_log, rig_of
from hocklift.logfigures import counted, times
from hocklift.progress import bar
from hocklift.replaying import Difference, Replay, replay, runs
from hocklift.rigfile.file import read_rig
from hocklift.safety.cautions import before_motion
from hocklift.transport import SIM, open_port
from hocklift.whatif import ROWS, WhatIf, what_if

SCHEMA = "hocklift replay 1"
_CAUTION = (
    "The board steps through a walk that was, and its outputs stay neutral: the motors' plugs out"
    " all the same."
)
# A memory has hundreds of numbers; what differs is what matters.
_MOST_SHOWN = 40


@dataclass(frozen=True)
class Result:
    """All that was asked for; what was not is None."""

    log: Log
    replay: Replay
    port: str | None = None
    fed: int = 0
    board: Difference | None = None
    what_if: WhatIf | None = None

    @property
    def met(self) -> bool:
        """Whether everything was the same to the bit."""
        return not self.replay.differences and self.board is None


def run(args: argparse.Namespace) -> int:
    """Replay and print; 0 when all was the same to the bit, 1 when something differed.

    With other settings things are meant to differ, so that is no failure.
    """
    log = read_log(args.log)
    rig = None if args.rig is None else read_rig(args.rig)
    other = None if rig is None else what_if(log, rig, str(args.rig))
    here = replay(log)
    if args.port is None:
        result = Result(log, here, what_if=other)
    else:
        fed, board = _feed(args.port, log, Console(stderr=True))
        result = Result(log, here, args.port, fed, board, other)
    if args.json:
        print_json(as_json(result))
    else:
        print_result(result, Console())
    return 0 if result.met else 1


def _feed(port: str, log: Log, console: Console) -> tuple[int, Difference | None]:
    """Feed the log to a board, with a bar that shows how far it is."""
    if port != SIM:
        console.print(before_motion(_CAUTION), highlight=False, markup=False, soft_wrap=True)
    total = sum(each.end - each.start for each in runs(log))
    with (
        Device(open_port(port, rig_of(log) or Rig())) as device,
        bar(console, "ticks") as progress,
    ):
        about = f"The board is {device.transport.about}."
        console.print(about, highlight=False, markup=False, soft_wrap=True)
        task = progress.add_task("Feeding the board", total=total)
        device.hello()
        return feed(device, log, lambda ticks: progress.advance(task, ticks))


def damage_words(log: Log) -> list[str]:
    """What is not as it should be with a log, a line each."""
    words = []
    if log.damaged:
        words.append(
            f"Damage: {counted(log.damaged, 'piece')} no frame; what was in there is lost."
        )
    if not log.header:
        words.append("Its header is damaged: rig file and date are not known.")
    if log.missing_ticks:
        words.append(f"{counted(log.missing_ticks, 'tick')} missing in all.")
    if log.restarts:
        words.append(f"The board started anew {times(log.restarts)}.")
    if log.ended is None:
        words.append("The file breaks off: whatever recorded it was ended from outside.")
    return words


def print_result(result: Result, console: Console) -> None:
    """Print what was compared, and the first difference of each kind."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    log, here = result.log, result.replay
    snapshots = f"{len(log.snapshots)} snapshot{'' if len(log.snapshots) == 1 else 's'}"
    say(f"{log.path}: {len(log.ticks)} ticks, {snapshots} of the core's memory")
    for words in damage_words(log):
        say(words, style="yellow")
    if here.left_out and not here.differences:
        say(f"{here.left_out} ticks after that have no snapshot before them to start from.")
    ticks = f"{here.compared} ticks since the first snapshot, {here.checked} later snapshots"
    if here.differences:
        for difference in here.differences:
            _print_difference(difference, "re-stepped here", console)
        say("Not the same: this core is not the recorded one.", style="bold red")
    else:
        say(f"Re-stepped here: {ticks}: the same to the bit.", style="bold green")
    if result.board is not None:
        _print_difference(result.board, f"on the board at {result.port}", console)
        say("Not the same: the board's core is not the recorded one.", style="bold red")
    elif result.port is not None:
        say(
            f"On the board at {result.port}: {result.fed} ticks: the same to the bit.",
            style="bold green",
        )
    if result.what_if is not None:
        _print_what_if(result.what_if, console)


def _print_difference(difference: Difference, where: str, console: Console) -> None:
    what = "memory" if difference.memory else "outputs"
    console.print(
        f"First difference: {what} after tick {difference.tick}, at {difference.time_s:.3f} s",
        highlight=False,
        markup=False,
        soft_wrap=True,
    )
    fields = difference.fields
    if difference.memory:
        fields = tuple(field for field in fields if not field.same)[:_MOST_SHOWN]
    table = Table(what, "recorded", where, "", box=None, pad_edge=False)
    for field in fields:
        table.add_row(
            field.name,
            str(field.recorded),
            str(field.restepped),
            "" if field.same else "differs",
            style="" if field.same else "bold red",
        )
    console.print(table)


def _print_what_if(other: WhatIf, console: Console) -> None:
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"\nThe same inputs with the settings of {other.rig_name}, the recorded calibration kept:")
    for change in other.changed[:_MOST_SHOWN]:
        say(f"- {change.name}: {change.was} to {change.now}")
    if len(other.changed) > _MOST_SHOWN:
        say(f"- and {len(other.changed) - _MOST_SHOWN} more: --json has them all")
    table = Table(box=None, pad_edge=False)
    columns = {
        f"{leg}\n{when}": figures
        for leg, answers in other.legs.items()
        for when, figures in answers.items()
    }
    table.add_column("")
    for heading in columns:
        table.add_column(heading, justify="right")
    for what, words in ROWS:
        table.add_row(what, *map(words, columns.values()))
    console.print(table)
    say(other.summary)
    say("The legs moved as they did: this tells what would have been asked of them, no more.")


def as_json(result: Result) -> dict[str, Any]:
    """Everything that was found; what was not asked for is null."""
    log, here, other = result.log, result.replay, result.what_if
    return {
        "schema": SCHEMA,
        "log": str(log.path),
        "met": result.met,
        "ticks": len(log.ticks),
        "missing_ticks": log.missing_ticks,
        "lost_frames": log.lost,
        "damaged": log.damaged,
        "ended": log.ended,
        "compared_ticks": here.compared,
        "compared_snapshots": here.checked,
        "differences": [_difference_json(each) for each in here.differences],
        "board": None
        if result.port is None
        else {
            "port": result.port,
            "compared_ticks": result.fed,
            "difference": None if result.board is None else _difference_json(result.board),
        },
        "what_if": None
        if other is None
        else {
            "rig": other.rig_name,
            "summary": other.summary,
            "changed": [change._asdict() for change in other.changed],
            "legs": {
                leg: {when: asdict(figures) for when, figures in answers.items()}
                for leg, answers in other.legs.items()
            },
        },
    }


def _difference_json(difference: Difference) -> dict[str, Any]:
    return {
        "tick": difference.tick,
        "time_s": difference.time_s,
        "of": "memory" if difference.memory else "outputs",
        "fields": [field._asdict() for field in difference.fields if not field.same],
    }
