"""What has been tried already, a line each, so that a run that was broken off goes on from there.

A mutant killed by a test stays killed while the core, that test's file and what the tests share
are as they were; one that survived does while all its tests are.
"""

import hashlib
import json
from pathlib import Path

from mutants.making import Mutant
from mutants.plan import CORE, FILES, RULES, TESTS
from mutants.trying import SURVIVED


def digest(paths: list[Path]) -> str:
    """One number for the contents of files."""
    whole = hashlib.sha256()
    for path in sorted(paths):
        whole.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return whole.hexdigest()[:16]


class Kept:
    """The results in one file, and which of them still hold."""

    def __init__(self, path: Path) -> None:
        self.path = path
        shared = [file for file in TESTS.glob("*.py") if not file.name.startswith("test_")]
        self.base = digest([*CORE.glob("*.py"), *shared])
        self.tests = {file.name: digest([file]) for file in TESTS.glob("test_*.py")}
        self.found: dict[str, str] = {}
        self.read()

    def read(self) -> None:
        """Read what others have noted, too; of files as they were when this was made."""
        lines = self.path.read_text(encoding="utf-8").splitlines() if self.path.exists() else ()
        for row in map(json.loads, lines):
            if row["on"] == self.stamp(row["file"], row["outcome"]):
                self.found[row["name"]] = row["outcome"]

    def stamp(self, file: str, outcome: str) -> str:
        """What must be as it was for an outcome to hold."""
        tests: tuple[str, ...] = (*FILES[file], *RULES)
        if outcome != SURVIVED:
            tests = tuple(name for name in tests if f"{name}::" in outcome) or tests
        return " ".join((self.base, *(self.tests.get(name, "") for name in tests)))

    def get(self, mutant: Mutant) -> str | None:
        """That a mutant survived, or what killed it, or nothing."""
        return self.found.get(mutant.name)

    def put_killed(self, mutant: Mutant, outcome: str) -> None:
        """Note what killed a mutant; one that survived has more tests before it."""
        if outcome != SURVIVED:
            self.put(mutant, outcome)

    def put(self, mutant: Mutant, outcome: str) -> None:
        """Note what became of a mutant, at once."""
        self.found[mutant.name] = outcome
        row = {
            "name": mutant.name,
            "file": mutant.file,
            "words": mutant.words,
            "outcome": outcome,
            "on": self.stamp(mutant.file, outcome),
        }
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
