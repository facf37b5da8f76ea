"""One comparison of a demand with a capacity, and what came of it for one rig."""

from collections.abc import Callable
from math import inf, isnan, nan
from typing import Any, NamedTuple

# Below this a part is told to be tight: loads are estimates (common practice, no source).
TIGHT = 1.1

# Of the loads of a rig of the kind that the check is for.
Figure = Callable[[Any], float]


class Check(NamedTuple):
    """One comparison: `demand` must not be above `capacity`; NaN where something is unknown."""

    part: str
    situation: str
    what: str
    unit: str
    demand: Figure
    capacity: Figure
    source: str
    levers: tuple[str, ...]
    applies: Callable[[Any], bool] = lambda rig: True


class Row(NamedTuple):
    """One check of one rig, worked out; margin is capacity over demand."""

    check: Check
    demand: float
    capacity: float

    @property
    def margin(self) -> float:
        """Capacity over demand; infinite without demand, NaN where something is unknown."""
        if isnan(self.demand) or isnan(self.capacity):
            return nan
        if self.demand <= 0:
            return inf
        return self.capacity / self.demand

    @property
    def verdict(self) -> str:
        """One of `VERDICTS`."""
        if isnan(self.margin):
            return "unknown"
        if self.margin < 1:
            return "fails"
        return "tight" if self.margin < TIGHT else "holds"


VERDICTS = ("holds", "tight", "fails", "unknown")
