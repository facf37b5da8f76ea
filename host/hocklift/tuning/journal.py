"""What a search has walked so far, kept on disk: killed, it goes on where it was.

The search draws nothing but from its seed, so its state is only what came back from the
walks: one line of JSON for each time it asked, after a line that says of which search. The same
search, begun again, is answered from there; what it has not asked before is walked and added.
"""

import json
import os
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

from hocklift.errors import OutputError
from hocklift.tuning.score import Ran
from hocklift.tuning.walks import Task, Walker

JOURNAL = "tune.journal"


class Journal:
    """A walker that remembers, in a file of `folder`, what another walker came back with."""

    def __init__(self, folder: Path, search: str, walker: Walker, kept: type[Ran] = Ran) -> None:
        """`search` is of which search the file is; OutputError where it is of another one."""
        self.path = folder / JOURNAL
        self.walker = walker
        self.known = _read(self.path, search, kept)
        if not self.known:
            self._append(json.dumps(search), "w")

    def __call__(self, tasks: Sequence[Task]) -> list[list[Ran]]:
        """What came of these tasks: from the file if it is there, else walked and added."""
        asked = sha256(repr(tasks).encode()).hexdigest()[:16]
        if asked not in self.known:
            fleets = self.walker(tasks)
            rows = [[(ran.seed, ran.missed, ran.smooth) for ran in fleet] for fleet in fleets]
            self._append(json.dumps([asked, rows]), "a")
            self.known[asked] = fleets
        return self.known[asked]

    def _append(self, line: str, mode: str) -> None:
        try:
            with self.path.open(mode, encoding="utf-8") as file:
                file.write(line + "\n")
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise OutputError(
                f"{self.path}: cannot be written: {error.strerror};"
                " name a folder that you may write to and that has room"
            ) from error


def _read(path: Path, search: str, kept: type[Ran]) -> dict[str, list[list[Ran]]]:
    """What is in the file, by what was asked; a line that a kill cut off is cut off there, too."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise OutputError(f"{path}: cannot be read: {error.strerror}") from error
    whole = data[: data.rfind(b"\n") + 1]
    lines = whole.splitlines()
    if not lines:
        return {}
    try:
        found, *answers = map(json.loads, lines)
        read = {asked: [_fleet(rows, kept) for rows in fleets] for asked, fleets in answers}
    except (ValueError, TypeError) as error:
        raise OutputError(f"{path}: is no journal of a search; move it away") from error
    if found != search:
        raise OutputError(
            f"{path}: is of another search ({found}), this is {search};"
            " name another folder for --out, or move that file away"
        )
    if len(whole) < len(data):
        os.truncate(path, len(whole))
    return read


def _fleet(rows: list[Any], kept: type[Ran]) -> list[Ran]:
    return [kept(seed, tuple(missed), tuple(smooth)) for seed, missed, smooth in rows]
