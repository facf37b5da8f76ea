"""Keep the commands of the manual's pages, and what they say, as they really are.

A page shows a command and its output in a block marked `console`, each command behind a `$`. All
commands of a page run in its order in a folder of their own, each in a process of its own, and
what one leaves on the simulated board's flash the next one finds. A long output is shown by its
ends: a line `... (N lines left out)` stands for the rest, and keeps its place. A command that
should fail says so: `$ hocklift size broken.toml  # ends with 2`.

To write a page's outputs anew: python -m hocklift.manual first-evening.md
"""

import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from legcore.phases import PHASES

from hocklift.errors import HockliftError

_WIDTH = 96
# What a person sees in place of the folder that all of this ran in.
_SHOWN = "~/.local/share/hocklift"
# In a page where figures depend on the computer and the day, a test compares words alone.
FIGURES_VARY = "<!-- figures vary -->"

_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_COMMAND = re.compile(r"^\$ (.+)\n((?:(?!\$ ).*\n)*)", re.MULTILINE)
_LEFT_OUT = re.compile(r"^\.\.\. \(\d+ lines left out\)$", re.MULTILINE)
_ENDS_WITH = re.compile(r"# ends with (\d+)$")


class TourError(HockliftError):
    """A command of a page that did not end as the page says."""


@dataclass(frozen=True)
class Example:
    """One command of a page: its words, how it ends, and how many lines of each end are shown."""

    line: str
    code: int
    first: int
    last: int


def examples(page: str) -> list[Example]:
    """All commands of a page, in its order."""
    found = []
    for block in _BLOCK.findall(page):
        for line, output in _COMMAND.findall(block):
            ends = _ENDS_WITH.search(line)
            found.append(Example(line, int(ends[1]) if ends else 0, *_shown_ends(output)))
    return found


def _shown_ends(output: str) -> tuple[int, int]:
    mark = _LEFT_OUT.search(output)
    if mark is None:
        return sys.maxsize, 0
    return output[: mark.start()].count("\n"), output[mark.end() + 1 :].count("\n")


def run(page: str, folder: Path) -> list[str]:
    """Run every command of a page in a folder; what each said, on either stream, without its end.

    The folder must be empty: it holds the simulated board's flash, too. Raises TourError where a
    command does not end with the code that the page gives.
    """
    env = {
        **os.environ,
        "XDG_DATA_HOME": str(folder / "data"),
        "COLUMNS": str(_WIDTH),
        "PYTHONIOENCODING": "utf-8",
    }
    said = []
    for example in examples(page):
        program, *words = shlex.split(example.line, comments=True)
        start = [sys.executable, "-m", "hocklift"] if program == "hocklift" else [program]
        done = subprocess.run(
            [*start, *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            cwd=folder,
            env=env,
            encoding="utf-8",
            check=False,
        )
        if done.returncode != example.code:
            raise TourError(
                f"{example.line}: ended with {done.returncode}, the page says {example.code}:"
                f" {done.stdout}"
            )
        text = done.stdout.replace(str(folder / "data" / "hocklift"), _SHOWN).strip("\n")
        said.append("\n".join(line.rstrip() for line in text.split("\n")))
    return said


def renewed(page: str, said: list[str]) -> str:
    """The page with what each of its commands said."""
    outputs = iter(zip(examples(page), said, strict=True))

    def command(match: re.Match[str]) -> str:
        example, text = next(outputs)
        shown = _shortened(text, example.first, example.last)
        return f"$ {match[1]}\n{shown}\n" if shown else f"$ {match[1]}\n"

    return _BLOCK.sub(lambda block: _COMMAND.sub(command, block[0]), page)


def _shortened(text: str, first: int, last: int) -> str:
    lines = text.split("\n")
    left_out = len(lines) - first - last
    if left_out < 2:
        return text
    return "\n".join(
        [*lines[:first], f"... ({left_out} lines left out)", *lines[len(lines) - last :]]
    )


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
