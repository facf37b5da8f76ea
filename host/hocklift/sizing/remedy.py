"""The nearest change of one rig key that mends a check, found by trying."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, isfinite, log, log10

from hocklift.rigfile.keys import AnyRig, Key, key_at, keys_of, value_at, with_value_at
from hocklift.rigfile.units import show, unit_of, with_unit
from hocklift.rigfile.wing_rules import rules_of
from hocklift.sizing.checks import rows_of
from hocklift.sizing.checks.check import Check, Row

# A value may change this many times over; more would be another rig.
_FARTHEST = 4.0


@dataclass(frozen=True)
class Remedy:
    """One key changed: from, to, and the names of parts that fail even then."""

    path: str
    unit: str
    old: float | str
    new: float | str
    failing: tuple[str, ...]

    @property
    def size(self) -> float:
        """How large the change is, the same up and down; a word counts like a doubling."""
        if isinstance(self.old, str) or isinstance(self.new, str):
            return log(2)
        return abs(log(self.new / self.old)) if self.old > 0 else log(_FARTHEST)

    def words(self) -> str:
        """What to do, as in "spring.rate from 40 N/mm to 52 N/mm"."""
        return (
            f"{self.path} from {_written(self.old, self.unit)} to {_written(self.new, self.unit)}"
        )


def _written(value: float | str, unit: str) -> str:
    """A key's value as people write it, with its unit."""
    return value if isinstance(value, str) else with_unit(show(value, unit, 4), unit)


def nearest_remedy(rig: AnyRig, row: Row, margin: float) -> Remedy | None:
    """Find the smallest change of one of the check's keys that gives it `margin`.

    A change after which nothing fails goes before a smaller one that leaves or breaks
    something; what the rig is wanted to do is changed only where nothing else helps. None
    where no change of one key does it.
    """
    found = [
        remedy
        for path in row.check.levers
        if (remedy := _change_of(rig, row.check, path, margin)) is not None
    ]
    return min(
        found,
        key=lambda remedy: (
            len(remedy.failing),
            remedy.path.startswith("wants."),
            remedy.size,
        ),
        default=None,
    )


def _change_of(rig: AnyRig, check: Check, path: str, margin: float) -> Remedy | None:
    """Nearest value of one key that gives the check its margin and leaves least failing."""
    best: Remedy | None = None
    old = value_at(rig, path)
    key = key_at(path, keys_of(rig))
    for value in _candidates(key, old):
        changed = with_value_at(rig, path, value)
        if not _possible(rig, changed):
            continue
        try:
            rows = rows_of(changed)
        except (ValueError, ZeroDivisionError):
            continue
        row = next((r for r in rows if _name(r.check) == _name(check)), None)
        if row is None or not row.margin >= margin:
            continue
        failing = tuple(dict.fromkeys(r.check.part for r in rows if r.verdict == "fails"))
        if best is None or len(failing) < len(best.failing):
            best = Remedy(path, key.unit, old, value, failing)
        if not failing:
            break
    return best


def _possible(rig: AnyRig, changed: AnyRig) -> bool:
    """Whether a changed rig keeps every rule of the rig file that the rig kept.

    But for the teeth of the gears: they are to follow a new ratio.
    """
    return all(
        rule.kept(changed) or not rule.kept(rig)
        for rule in rules_of(rig)
        if "gears.pinion_teeth" not in rule.keys
    )


def _name(check: Check) -> str:
    return f"{check.part}, {check.situation}: {check.what}"


def _candidates(key: Key, old: float | str) -> Sequence[float | str]:
    """Values to try, the nearest first: words, whole numbers, or numbers of two digits."""
    if isinstance(old, str):
        return [word for word in key.words if word != old]
    if not isfinite(old) or old <= 0:
        return []
    unit = 1.0 if key.whole else float(unit_of(key.unit).factor)
    grid = range(1, 400) if key.whole else _two_digits(old / unit)
    least, most = max(key.low, old / _FARTHEST), min(key.high, old * _FARTHEST)
    values = [number * unit for number in grid]
    return sorted(
        (value for value in values if least <= value <= most and value != old),
        key=lambda value: abs(log(value / old)),
    )


def _two_digits(number: float) -> list[float]:
    """All numbers of two digits within two powers of ten of a number: people drill in these."""
    middle = floor(log10(number))
    return [
        float(f"{digits}e{power - 1}")
        for power in range(middle - 1, middle + 2)
        for digits in range(10, 100)
    ]
