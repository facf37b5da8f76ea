"""How many mutants were killed, by file, and which were not, and why that is no harm."""

import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

from mutants.kept import Kept
from mutants.making import Mutant
from mutants.plan import FILES
from mutants.trying import NO_PROGRAM, SURVIVED

KILLED = "killed"
REASONS = Path(__file__).parent / "survivors.toml"


def table() -> list[dict[str, Any]]:
    """The table of survivors: groups of those that have one reason."""
    groups: list[dict[str, Any]] = tomllib.loads(REASONS.read_text(encoding="utf-8"))["group"]
    return groups


def reasons() -> dict[str, str]:
    """Why each known survivor is no harm, by its words."""
    return {words: group["reason"] for group in table() for words in group["mutants"]}


def report(mutants: list[Mutant], kept: Kept, least_percent: float) -> int:
    """Print the figures and the survivors; 1 if too many survived, or one without a reason."""
    counts: dict[str, Counter[str]] = {file: Counter() for file in FILES}
    survivors = set()
    untried = 0
    for mutant in mutants:
        outcome = kept.get(mutant)
        if outcome == SURVIVED:
            counts[mutant.file][SURVIVED] += 1
            survivors.add(mutant.words)
        elif outcome is None:
            untried += 1
        elif outcome != NO_PROGRAM:
            counts[mutant.file][KILLED] += 1
    row = "{:18} {:>7} {:>8} {:>8}".format
    print(row("file", KILLED, SURVIVED, "share"))
    total: Counter[str] = Counter()
    for file, count in counts.items():
        if count:
            print(row(file, *columns(count)))
            total += count
    print(row("together", *columns(total)))
    known_reasons = reasons()
    without = sorted(survivors - known_reasons.keys())
    for words in without:
        print(f"survived, and no reason is given: {words}")
    share = percent(total)
    if share < least_percent:
        print(f"{share:.1f} % were killed; {least_percent:.0f} % must be")
    if untried:
        print(f"{untried} were not tried")
    return 1 if without or untried or share < least_percent else 0


def columns(count: Counter[str]) -> tuple[int | str, ...]:
    """The figures of one row."""
    return count[KILLED], count[SURVIVED], f"{percent(count):.1f} %"


def percent(count: Counter[str]) -> float:
    """The share that was killed."""
    return 100 * count[KILLED] / count.total() if count else 0.0
