"""The command line: one table of commands, one boundary for what goes wrong."""

import argparse
import importlib
import io
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from hocklift.errors import HockliftError, UsageError


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0
    if not 1 <= seconds <= 3600:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of seconds from 1 to 3600")
    return seconds


def _seed(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 10 and int(text) < 2**32):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 to {2**32 - 1}")
    return int(text)


def _new_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", type=Path, help="folder for it, made if needed")


def _rehearse_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    add(
        "--seconds",
        metavar="S",
        type=_seconds,
        help="how long, 1 to 3600 (left out: legs walk for 20, wings work for 105)",
    )
    add(
        "--script",
        metavar="FILE.toml",
        type=Path,
        help="what the wearer does, act by act (left out: walks)",
    )
    add(
        "--wearer",
        metavar="FILE.csv",
        help="recorded gait, or metronome (left out: a built-in recording)",
    )
    chance = parser.add_mutually_exclusive_group().add_argument
    chance("--seed", metavar="N", type=_seed, default=1, help="start of all chance (%(default)s)")
    chance(
        "--built",
        metavar="SEED",
        type=_seed,
        help="walk the build of that seed of `hocklift study`, its wearer and chance included",
    )
    add("--json", action="store_true", help="print the figures as JSON")
    add("--out", metavar="DIR", type=Path, help="folder for pictures and traces")


def _runs(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 6 and int(text) <= 100_000):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 0 to 100000")
    return int(text)


def _drill_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    add(
        "--runs",
        metavar="N",
        type=_runs,
        default=500,
        help="random cases besides the table of all troubles, 0 to 100000 (%(default)s)",
    )
    add("--seed", metavar="S", type=_seed, default=1, help="start of all chance (%(default)s)")
    add("--json", action="store_true", help="print every case as JSON")
    add("--out", metavar="DIR", type=Path, help="folder for pictures and all figures")


def _builds(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 5 and 2 <= int(text) <= 10_000):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 2 to 10000")
    return int(text)


def _tune_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    add(
        "--rigs",
        metavar="N",
        type=_builds,
        default=64,
        help="builds of the rig to begin on, 2 to 10000 (%(default)s); more join later",
    )
    add(
        "--budget",
        metavar="N",
        type=_runs,
        default=400,
        help="sets of gains to try, 0 to 100000 (%(default)s)",
    )
    add("--seed", metavar="S", type=_seed, default=1, help="start of all chance (%(default)s)")
    add("--write", action="store_true", help="write the gains into RIG, its comments kept")
    add("--json", action="store_true", help="print the figures as JSON")
    add("--out", metavar="DIR", type=Path, help="folder for pictures, and to go on after a kill")


def _rigs(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 6 and 1 <= int(text) <= 100_000):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 to 100000")
    return int(text)


def _study_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    add(
        "--rigs",
        metavar="N",
        type=_rigs,
        default=1000,
        help="how many builds of it, 1 to 100000 (%(default)s)",
    )
    add(
        "--seconds",
        metavar="S",
        type=_seconds,
        default=20.0,
        help="how long each walks, 1 to 3600 (%(default)g)",
    )
    add("--seed", metavar="S", type=_seed, default=1, help="seed of the first (%(default)s)")
    add("--sensitivity", action="store_true", help="also tell which tolerance matters most")
    add("--cluster", metavar="ADDRESS", help="let the workers of a Dask cluster walk them")
    add("--json", action="store_true", help="print the figures as JSON")
    add("--out", metavar="DIR", type=Path, help="folder for pictures, and to go on after a kill")


def _size_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    add(
        "--sweep",
        metavar="KEY=FROM..TO:N",
        nargs="+",
        help='rig keys to vary, as in "spring.rate=40..90 N/mm:11"',
    )
    add("--json", action="store_true", help="print the figures as JSON")
    add("--out", metavar="DIR", type=Path, help="folder for pictures")


def _margins_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    add("--json", action="store_true", help="print the margins as JSON")
    add("--out", metavar="DIR", type=Path, help="folder for pictures")


def _board_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--port", metavar="PORT", default="sim", help="the board's serial port (%(default)s)")
    add("--seed", metavar="N", type=_seed, default=1, help="start of all chance (%(default)s)")


def _record_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    _board_arguments(parser)
    add(
        "--seconds",
        metavar="S",
        type=_seconds,
        help="how long, 1 to 3600 (left out: 20 for sim, else until Ctrl-C)",
    )
    add("--out", metavar="FILE", type=Path, help="where to (left out: named by date and time)")
    add("--real-time", action="store_true", help="sim: as fast as a real rig, not as it can")
    add("--json", action="store_true", help="print what was recorded as JSON")


def _replay_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("log", metavar="LOG", type=Path, help="a recording")
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file whose settings to try on it")
    add("--port", metavar="PORT", help="also feed it to a board at this port, or to sim")
    add("--json", action="store_true", help="print what was found as JSON")


def _fit_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("log", metavar="LOG", type=Path, help="a recording")
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the recorded one)")
    add("--write", action="store_true", help="write what was found into RIG, its comments kept")
    add("--json", action="store_true", help="print the numbers as JSON")
    add("--out", metavar="DIR", type=Path, help="folder for pictures")


def _report_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("log", metavar="LOG", type=Path, help="a recording")
    add("--out", metavar="DIR", type=Path, required=True, help="folder for pictures and traces")
    add("--parquet", action="store_true", help="write the trace as Parquet, too")
    add("--json", action="store_true", help="print the figures as JSON")


def _bench_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    add("--port", metavar="PORT", default="sim", help="the board's serial port (%(default)s)")
    add("--json", action="store_true", help="print what was measured as JSON")


def _page_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("rig", metavar="RIG", type=Path, nargs="?", help="rig file (left out: the demo rig)")
    _board_arguments(parser)
    add("--no-open", action="store_true", help="only print the address, open no browser")


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    _bench_arguments(parser)
    add = parser.add_argument
    add("--out", metavar="DIR", type=Path, help="folder of the record (check-DATE beside RIG)")
    add("--anew", action="store_true", help="do all steps again, whatever the record has")


def _relay_arguments(parser: argparse.ArgumentParser) -> None:
    _bench_arguments(parser)
    parser.add_argument("--out", metavar="DIR", type=Path, help="folder for pictures")


def _flash_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    help_rig = "rig file for the settings (left out: those on the board stay; sim, new: demo rig's)"
    add("rig", metavar="RIG", type=Path, nargs="?", help=help_rig)
    add("--port", metavar="PORT", default="sim", help="the board's serial port (%(default)s)")
    add("--fresh", action="store_true", help="forget the calibration that is on the board")
    add("--json", action="store_true", help="print what was done as JSON")


def _doctor_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print what was found as JSON")


def _manual_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--no-open", action="store_true", help="only print where it is, open no browser")


# What a completion script can be made for, and where it then goes.
SHELLS = {
    "bash": "`hocklift completion bash > ~/.hocklift.bash`, and the line `source ~/.hocklift.bash`"
    " in `~/.bashrc`",
    "zsh": "`hocklift completion zsh > FOLDER/_hocklift`, where FOLDER is one of `$fpath`",
    "fish": "`hocklift completion fish > ~/.config/fish/completions/hocklift.fish`",
}


def _completion_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("shell", metavar="SHELL", choices=tuple(SHELLS), help=f"one of {', '.join(SHELLS)}")


class Command(NamedTuple):
    """One word of the command line; `module` has `run(args) -> int`, imported only to run it."""

    name: str
    help: str
    module: str
    add_arguments: Callable[[argparse.ArgumentParser], None]


COMMANDS = (
    Command(
        "new",
        "write the demo rig's file, to change into your own",
        "hocklift.commands.new",
        _new_arguments,
    ),
    Command(
        "size",
        "compare every part of a rig with what it has to bear, before buying it",
        "hocklift.commands.size",
        _size_arguments,
    ),
    Command(
        "rehearse",
        "walk a simulated rig with the board's own control code, and judge it",
        "hocklift.commands.rehearse",
        _rehearse_arguments,
    ),
    Command(
        "drill",
        "put every fault into the simulated rig, in every phase, and see that it stays safe",
        "hocklift.commands.drill",
        _drill_arguments,
    ),
    Command(
        "tune",
        "search gains, filters and limits that hold for many builds of the rig",
        "hocklift.commands.tune",
        _tune_arguments,
    ),
    Command(
        "margins",
        "how far gains and delays may grow before a leg swings by itself",
        "hocklift.commands.margins",
        _margins_arguments,
    ),
    Command(
        "study",
        "walk thousands of builds of a rig, each within its tolerances: how many do well?",
        "hocklift.commands.study",
        _study_arguments,
    ),
    Command(
        "flash",
        "put the firmware and a rig's settings onto a board",
        "hocklift.commands.flash",
        _flash_arguments,
    ),
    Command(
        "bench",
        "watch a board live on a page: both legs, traces, faults, gains, and a stop",
        "hocklift.commands.bench",
        _page_arguments,
    ),
    Command(
        "record",
        "write down everything that a board says, with its figures on the screen",
        "hocklift.commands.record",
        _record_arguments,
    ),
    Command(
        "replay",
        "step the control code again over a recording: the same to the bit?",
        "hocklift.commands.replay",
        _replay_arguments,
    ),
    Command(
        "fit",
        "tell from a recording what the rig really is: spring, friction, motor, delay",
        "hocklift.commands.fit",
        _fit_arguments,
    ),
    Command(
        "report",
        "make a page of pictures and a trace from a recording",
        "hocklift.commands.report",
        _report_arguments,
    ),
    Command(
        "calibrate",
        "turn sensor counts into angles: pose both legs, fit, and keep it on the board",
        "hocklift.commands.calibrate",
        _bench_arguments,
    ),
    Command(
        "check",
        "commission a rig on the bench, step by step, each stage opened by the one before",
        "hocklift.commands.check",
        _check_arguments,
    ),
    Command(
        "relay",
        "let a leg swing on its stand, and name first gains from it",
        "hocklift.commands.relay",
        _relay_arguments,
    ),
    Command(
        "doctor",
        "what is installed, which ports are seen, what is missing and how to get it",
        "hocklift.commands.doctor",
        _doctor_arguments,
    ),
    Command(
        "manual",
        "open the manual: a first evening, wiring, commissioning, every fault and key",
        "hocklift.commands.manual",
        _manual_arguments,
    ),
    Command(
        "completion",
        "print a script with which a shell completes commands, options and files",
        "hocklift.commands.completion",
        _completion_arguments,
    ),
)


# How a command ends. The shell's own codes for a program stopped by Ctrl-C or by a closed pipe.
EXIT_CODES = (
    (0, "all is well"),
    (1, "a check was not met: a want, a margin, a step, a difference"),
    (2, "wrong use or wrong input; the message says what to do"),
    (130, "stopped by Ctrl-C"),
    (141, "the reader of its output has left, as `head` does"),
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; 2 is for what the person can put right."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A sign that the terminal's encoding lacks must not end the command.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        try:
            return _run(argv)
        finally:
            sys.stdout.flush()  # here, so that a closed pipe shows inside the boundary
    except HockliftError as error:
        print(f"hocklift: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("hocklift: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader has left, as `head` does; Python must not flush into the pipe again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


class _Version(argparse.Action):
    """Looked up only when asked for: the installed version, which is the firmware's."""

    def __init__(self, **named: Any) -> None:
        super().__init__(nargs=0, **named)

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import version

        print(f"hocklift {version('hocklift')}")
        parser.exit()


def _run(argv: Sequence[str] | None) -> int:
    _check_command(sys.argv[1:] if argv is None else argv)
    args = parser().parse_args(argv)
    code: int = importlib.import_module(args.module).run(args)
    return code


def _check_command(words: Sequence[str]) -> None:
    """Refuse a mistyped command with the one that may have been meant; UsageError."""
    names = [command.name for command in COMMANDS]
    if not words or words[0].startswith("-") or words[0] in names:
        return
    from difflib import get_close_matches

    close = get_close_matches(words[0], names, 1)
    meant = f"; did you mean `hocklift {close[0]}`?" if close else "."
    raise UsageError(f"no command is called {words[0]!r}{meant} `hocklift --help` lists them all")


def parser() -> argparse.ArgumentParser:
    """The parser of the command line, made from the table of commands."""
    whole = argparse.ArgumentParser(
        prog="hocklift",
        description="Control, simulate and size a home-built powered leg frame.",
        allow_abbrev=False,
    )
    whole.add_argument("--version", action=_Version, help="print the version and end")
    commands = whole.add_subparsers(metavar="COMMAND", required=True)
    for command in COMMANDS:
        sub = commands.add_parser(
            command.name, help=command.help, description=command.help, allow_abbrev=False
        )
        command.add_arguments(sub)
        sub.set_defaults(module=command.module)
    return whole
