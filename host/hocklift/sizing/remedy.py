"""The nearest change of one rig key that mends a check, found by trying."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite, log, log10

from legsim.rig import Rig

from hocklift.rigkeys import Key, key_at, value_at, with_value_at
from hocklift.sizing.checks import Check, Row, rows_of
from hocklift.units import show, unit_of, with_unit

# A value may change this many times over; more would be another rig.
_FARTHEST = 4.0
# Each try goes on by a fiftieth, so that the nearest change is found to about that.
_STEP = 1.02
# People drill, order and print in numbers of two digits.
_DIGITS = 2


@dataclass(frozen=True)
class Remedy:
    """One key changed: from, to, and the names of parts that would fail by it."""

    path: str
    old: float | str
    new: float | str
    breaks: tuple[str, ...]

    @property
    def size(self) -> float:
        """How large the change is, the same up and down; a word counts like a doubling."""
        if isinstance(self.old, str) or isinstance(self.new, str):
            return log(2)
        return abs(log(self.new / self.old)) if self.old > 0 else log(_FARTHEST)

    def words(self) -> str:
        """What to do, as in "spring.rate from 40 N/mm to 52 N/mm"."""
        return f"{self.path} from {written(self.path, self.old)} to {written(self.path, self.new)}"


def written(path: str, value: float | str, digits: int = 4) -> str:
    """A key's value as people write it, with its unit."""
    if isinstance(value, str):
        return value
    unit = key_at(path).unit
    return with_unit(show(value, unit, digits), unit)


def nearest_remedy(rig: Rig, row: Row, margin: float) -> Remedy | None:
    """Find the smallest change of one of the check's keys that gives it `margin`.

    A change under which everything else that held goes on holding goes before a smaller one
    that breaks something; what the rig is wanted to do is changed only where nothing else
    helps. None where no change of one key does it.
    """
    failing = {_name(r.check) for r in rows_of(rig) if r.verdict == "fails"}
    found = [
        remedy
        for path in row.check.levers
        if (remedy := _change_of(rig, row.check, path, margin, failing)) is not None
    ]
    return min(
        found,
        key=lambda remedy: (bool(remedy.breaks), remedy.path.startswith("wants."), remedy.size),
        default=None,
    )


def _change_of(
    rig: Rig, check: Check, path: str, margin: float, failing: set[str]
) -> Remedy | None:
    """Nearest value of one key that gives the check its margin, breaking nothing if possible."""
    first = None
    for value in _candidates(key_at(path), value_at(rig, path)):
        changed = with_value_at(rig, path, value)
        try:
            rows = rows_of(changed)
        except (ValueError, ZeroDivisionError):
            continue  # no possible rig
        row = next((r for r in rows if _name(r.check) == _name(check)), None)
        if row is None or not row.margin >= margin:
            continue
        breaks = tuple(
            dict.fromkeys(
                r.check.part for r in rows if r.verdict == "fails" and _name(r.check) not in failing
            )
        )
        remedy = Remedy(path, value_at(rig, path), value, breaks)
        if not breaks:
            return remedy
        first = first or remedy
    return first


def _name(check: Check) -> str:
    return f"{check.part}, {check.situation}: {check.what}"


def _candidates(key: Key, old: float | str) -> Iterator[float | str]:
    """Values to try, those near the old one first, in the steps that people use."""
    if isinstance(old, str):
        yield from (word for word in key.words if word != old)
        return
    if not isfinite(old) or old == 0:
        return
    seen = {old}
    factor = 1.0
    while factor < _FARTHEST:
        factor *= _STEP
        for value in (old * factor, old / factor):
            rounded = _rounded(key, value)
            if rounded not in seen and key.low <= rounded <= key.high:
                seen.add(rounded)
                yield rounded


def _rounded(key: Key, value: float) -> float:
    """Round to two digits in the unit that people use, or to a whole number."""
    if key.whole:
        return float(round(value))
    factor = float(unit_of(key.unit).factor)
    number = value / factor
    return round(number, _DIGITS - 1 - int(log10(abs(number)) // 1)) * factor
