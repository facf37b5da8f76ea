"""What has been checked, when, and what came of it: a JSON file, written whole after each step."""

import json
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any, Self

from hocklift.checking.bench import Figure
from hocklift.errors import LogError
from hocklift.files import write_atomically

SCHEMA = "hocklift check record 1"
FILE = "check.json"


@dataclass
class Entry:
    """One step that was tried."""

    step: str
    stage: str
    passed: bool
    date: str
    figures: list[Figure]
    notes: list[str] = field(default_factory=list)
    remedy: str = ""

    @property
    def failures(self) -> list[str]:
        """What was out of its limits, found and expected."""
        return [figure.words for figure in self.figures if not figure.good]


@dataclass
class Record:
    """All steps so far, of one rig, one board and one calibration."""

    path: Path
    rig: str
    # What must be the same for steps of an earlier run to count.
    mark: str
    entries: list[Entry] = field(default_factory=list)

    @classmethod
    def open(cls, path: Path, rig: str, mark: str) -> Self:
        """Continue the file that is there, if it was of the same rig, board and calibration."""
        record = cls(path, rig, mark)
        if not path.exists():
            return record
        try:
            document = json.loads(path.read_text(encoding="utf-8"))
            if document["schema"] != SCHEMA:
                raise ValueError(f"its schema is {document['schema']!r}, expected {SCHEMA!r}")
            entries = [_entry(entry) for entry in document["steps"]]
            same = document["mark"] == mark
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise LogError(
                f"{path}: cannot be continued: {error}; name another folder with --out, or move"
                " the file away"
            ) from error
        if same:
            record.entries = entries
        return record

    def passed(self, step: str) -> bool:
        """Whether a step has passed."""
        return any(entry.step == step and entry.passed for entry in self.entries)

    def add(self, entry: Entry) -> None:
        """Take the latest try of a step, and write the file."""
        self.entries = [one for one in self.entries if one.step != entry.step] + [entry]
        write_atomically(self.path, json.dumps(self.as_json(), indent=2) + "\n")

    def as_json(self) -> dict[str, Any]:
        """The whole file."""
        return {
            "schema": SCHEMA,
            "rig": self.rig,
            "mark": self.mark,
            "steps": [asdict(entry) for entry in self.entries],
        }


def _entry(found: dict[str, Any]) -> Entry:
    return Entry(**{**found, "figures": [Figure(**figure) for figure in found["figures"]]})


def mark_of(*parts: object) -> str:
    """A short text that differs where any of these does."""
    return sha256("\n".join(map(str, parts)).encode()).hexdigest()[:16]


def now_words() -> str:
    """Now, in UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")
