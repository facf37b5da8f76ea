"""`hocklift flash`: put the firmware and a rig's settings onto a board."""

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Any

from legsim.rig import Rig
from legwire.kept import GOOD, STATES
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from hocklift.commands.output import print_json
from hocklift.device import Device
from hocklift.errors import HockliftError
from hocklift.flashing.hello import hello_from
from hocklift.flashing.program import Program, build
from hocklift.flashing.prompt import Prompt
from hocklift.flashing.settings import Settings, settings_for
from hocklift.flashing.target import Target, target_at
from hocklift.flashing.upload import NotVerifiedError, Upload, kept_settings, upload
from hocklift.rigfile.file import read_rig, rig_or_demo
from hocklift.safety.cautions import before_motion
from hocklift.simulated import board_words, folder, plugged_in, running
from hocklift.transport import SIM, LockstepPort, ports_here
from hocklift.wire import Frame

SCHEMA = "hocklift flash 1"
_CAUTION = (
    "This ends the board's program, and power to the motors goes at once: no foot may be raised."
)

# A simulated board keeps no time by the clock on the wall, and never restarts by itself meanwhile.
_SIM_PATIENCE = 40.0
Done = tuple[Target, Upload, Settings]


@dataclass(frozen=True)
class Flashed:
    """What was put where, and what the board says to it; `silent` is why it says nothing."""

    port: str
    target: Target
    upload: Upload
    settings: Settings
    hello: Frame | None
    silent: str

    @property
    def met(self) -> bool:
        """Whether the new program runs, with the settings that it was given."""
        if self.hello is None:
            return False
        return self.settings.data is None or self.hello.values["settings_state"] == GOOD

    @property
    def verdict(self) -> str:
        """How it ended, for a person."""
        if self.hello is None:
            return f"The program is on the board, but it does not run: {self.silent}."
        state = STATES[int(self.hello.values["settings_state"])]
        return f"The board says hello: firmware {self.hello.values['firmware']}, settings {state}."


def run(args: argparse.Namespace) -> int:
    """Flash; 0 when the board runs the new program, 1 when a check was not met."""
    if args.fresh and args.rig is None:
        raise HockliftError("--fresh: makes new settings, so name the rig file that they are for")
    rig = None if args.rig is None else read_rig(args.rig)
    console = Console(stderr=True)
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    try:
        if args.port == SIM:
            say(f"The board is {board_words(folder())}.")
            if found := ports_here(usb_only=True):
                say(f"A real board is named with --port; on USB here: {found}.")
            with plugged_in(rig or Rig()) as board:
                with running(board) as path:
                    done = _flash(args, rig, path, console, _SIM_PATIENCE)
                # In lock step: however slow this computer is, it has all the time it needs.
                port = LockstepPort(board, board.rig.control.period_s)
                flashed = _greeted(args.port, done, lambda: _hello(port))
        else:
            say(before_motion(_CAUTION))
            done = _flash(args, rig, args.port, console)
            flashed = _greeted(args.port, done, lambda: hello_from(args.port))
    except NotVerifiedError as error:
        print(f"hocklift: {error}", file=sys.stderr)
        return 1
    if args.json:
        print_json(as_json(flashed))
    else:
        print_flashed(flashed, Console())
    return 0 if flashed.met else 1


def _flash(
    args: argparse.Namespace, rig: Rig | None, path: str, console: Console, patience: float = 1.0
) -> Done:
    """Flash the board at a serial port; with no rig a new simulated board gets the demo rig's."""
    name = str(args.rig)
    with Prompt(path, patience) as prompt:
        target = target_at(prompt)
        prompt.prepare()
        found = kept_settings(prompt)
        if args.port == SIM and rig is None and found is None:
            rig, name = rig_or_demo(None)
        settings = settings_for(rig, name, found, args.fresh)
        program = build(target.architecture)
        with _progress(console, program) as on_file:
            done = upload(prompt, program, settings.data, on_file)
        prompt.restart()
    return target, done, settings


def _greeted(port: str, done: Done, greet: Callable[[], Frame]) -> Flashed:
    """What came of it, with the hello of the new program or why it says none."""
    hello, silent = None, ""
    try:
        hello = greet()
    except HockliftError as error:
        silent = str(error)
    return Flashed(port, *done, hello, silent)


def _hello(port: LockstepPort) -> Frame:
    with Device(port) as device:
        return device.hello()


@contextmanager
def _progress(console: Console, program: Program) -> Iterator[Callable[[str], None]]:
    """A bar that moves with each file, where somebody looks at it."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("copying", total=len(program.files))
        yield lambda path: progress.update(task, advance=1, description=path)


def print_flashed(flashed: Flashed, console: Console) -> None:
    """Print what was found and put there, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    done = flashed.upload
    say(f"Board at {flashed.port}: {flashed.target.words}")
    say(
        f"Program {done.program}: {len(done.sent)} files sent ({done.bytes_sent} bytes),"
        f" {len(done.copied)} taken from the last one, {len(done.there)} there already"
    )
    say(f"Settings: {flashed.settings.words}")
    say(f"\n{flashed.verdict}", style="bold green" if flashed.met else "bold red")


def as_json(flashed: Flashed) -> dict[str, Any]:
    """What was put where, for programs."""
    done, target, hello = flashed.upload, flashed.target, flashed.hello
    return {
        "schema": SCHEMA,
        "port": flashed.port,
        "board": target.machine,
        "platform": target.platform,
        "micropython": target.micropython,
        "architecture": target.architecture,
        "program": done.program,
        "program_before": done.before or None,
        "sent": done.sent,
        "copied": done.copied,
        "there": done.there,
        "bytes_sent": done.bytes_sent,
        "settings": flashed.settings.words,
        "firmware": hello and hello.values["firmware"],
        "settings_state": hello and STATES[int(hello.values["settings_state"])],
        "met": flashed.met,
        "verdict": flashed.verdict,
    }
