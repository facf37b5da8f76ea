"""The page docs/from-flash-to-replay.md: every command that talks to a board, with its real output.

All of it runs at a simulated board with nothing on its flash, each command in a process of its
own. To write the page anew: python -m hocklift.tour > docs/from-flash-to-replay.md
"""

import os
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from textwrap import fill

from legcore.phases import PHASES
from legsim.simboard.process import micropython

from hocklift.errors import HockliftError

WALK_S = 60
LOG = "walk.log"
_WIDTH = 96
# What a person sees in place of the folder that all of this ran in.
_SHOWN = "~/.local/share/hocklift"


@dataclass(frozen=True)
class Stop:
    """One command: why it comes now, its words, and how many lines of each end are shown."""

    title: str
    why: str
    words: tuple[str, ...]
    first: int = 1000
    last: int = 0


STOPS = (
    Stop(
        "Flash",
        "The board is new: MicroPython is on it, nothing else. The firmware comes as machine code"
        " for it, each file verified, with the demo rig's settings. Nothing moves yet: the stage is"
        " the lowest.",
        ("flash",),
    ),
    Stop(
        "Calibrate",
        "Four poses of each leg. At a real board a person sets them, and types what a spirit level"
        " shows.",
        ("calibrate",),
        first=12,
        last=14,
    ),
    Stop(
        "Check",
        "Every wire, then every stage, each opened by the one before; the last one lets the rig"
        " walk.",
        ("check", "--out", "check"),
        first=34,
        last=16,
    ),
    Stop(
        "Record",
        "The wearer walks for a minute. Every tick comes over the wire, every input in it.",
        ("record", "--seconds", str(WALK_S), "--out", LOG),
        first=4,
        last=5,
    ),
    Stop(
        "Replay on the PC",
        "The control code steps again over the recorded inputs; all it gave and, at each snapshot,"
        " its whole memory must come out as the board had it.",
        ("replay", LOG),
    ),
    Stop(
        "Replay on the board",
        "Now the board itself is fed the recording, its outputs held neutral, and what it answers"
        " is compared.",
        ("replay", LOG, "--port", "sim"),
    ),
    Stop("Report", "Pictures, and every channel as a table.", ("report", LOG, "--out", "report")),
)

_HEAD = f"""# From flash to replay

What a person does with a new board, in this order, and what hocklift says to it. Here the board is
the simulated one (`--port sim`, which is used where no port is named): the same firmware, on
MicroPython, behind a serial port, at the demo rig. With a real board every command but the first
replay takes its port, as in `--port /dev/ttyACM0`, and a person does what simulated hands do here.

The simulated board keeps its flash in `{_SHOWN}/simulated-board`, as a
real one does without power: what one command leaves there the next one finds. Delete that folder,
and it is new. Before its first `hocklift flash` there is none: then each command has a board of its
own, made for its rig, with perfect calibration and all stages open, and forgotten afterwards.

Made by the commands themselves: `python -m hocklift.tour > docs/from-flash-to-replay.md`.
"""


class TourError(HockliftError):
    """A command of the tour that did not end well."""


def tour(folder: Path) -> list[str]:
    """Run every command in a folder; what each said. Raises TourError where one did not end with 0.

    The folder must be empty: it holds the board's flash, too.
    """
    if micropython() is None:
        raise TourError("the tour flashes a simulated board: pip install 'hocklift[sim]'")
    env = {**os.environ, "XDG_DATA_HOME": str(folder / "data"), "COLUMNS": str(_WIDTH)}
    said = []
    for stop in STOPS:
        done = subprocess.run(
            [sys.executable, "-m", "hocklift", *stop.words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            cwd=folder,
            env=env,
            text=True,
            check=False,
        )
        if done.returncode:
            raise TourError(f"{' '.join(stop.words)} ended with {done.returncode}: {done.stdout}")
        text = done.stdout.replace(str(folder / "data" / "hocklift"), _SHOWN).strip("\n")
        said.append("\n".join(line.rstrip() for line in text.split("\n")))
    return said


def page(said: list[str]) -> str:
    """The page of what each command said."""
    parts = [_HEAD]
    for stop, text in zip(STOPS, said, strict=True):
        command = " ".join(("hocklift", *stop.words))
        shown = _shortened(text, stop.first, stop.last)
        why = fill(stop.why, 100)
        parts.append(f"## {stop.title}\n\n{why}\n\n```\n$ {command}\n{shown}\n```\n")
    return "\n".join(parts)


def _shortened(text: str, first: int, last: int) -> str:
    lines = text.split("\n")
    left_out = len(lines) - first - last
    if left_out < 2:
        return text
    return "\n".join([*lines[:first], f"... ({left_out} lines left out)", *lines[-last:]])


# In this order: hashes before the numbers in them, lines of figures whole.
_VARIES = (
    (re.compile(r"app-[0-9a-f]+"), "app"),
    (re.compile(rf"\b({'|'.join(name for name, *_ in PHASES)})\b"), "phase"),
    (re.compile(r"linux \[.*?\] version"), "machine"),
    (re.compile(r"machine code \w+"), "machine code"),
    (re.compile(r"[-+]?\d+(\.\d+)?"), "0"),
    (re.compile(r"[-+\s━─]+"), " "),
)


def masked(text: str) -> str:
    """A page without what differs from day to day and from computer to computer: every figure."""
    for pattern, word in _VARIES:
        text = pattern.sub(word, text)
    return text


def main() -> None:
    """Print the page."""
    with tempfile.TemporaryDirectory() as folder:
        print(page(tour(Path(folder))), end="")


if __name__ == "__main__":
    main()
