"""What tuning may change, and within which bounds; between a point of the search and a rig."""

from collections.abc import Sequence
from fractions import Fraction
from math import exp, log, radians
from typing import NamedTuple

from legsim.rig import Rig

from hocklift.rigfile.keys import key_at, value_at, with_value_at
from hocklift.rigfile.rules import RULES
from hocklift.rigfile.units import Written, show, to_si

# As many digits as a person would write; what is walked is exactly what will be written.
_DIGITS = 3


class Variable(NamedTuple):
    """One key that is tuned, in SI, from `low` to `high`; by factors where `by_factor`."""

    path: str
    low: float
    high: float
    by_factor: bool

    def share(self, value: float) -> float:
        """Where a value stands within the bounds, 0 to 1."""
        value = min(max(value, self.low), self.high)
        if self.by_factor:
            return log(value / self.low) / log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)

    def value(self, share: float) -> float:
        """The value at a share of the bounds, rounded as people write it."""
        share = min(max(share, 0.0), 1.0)
        if self.by_factor:
            raw = self.low * exp(share * log(self.high / self.low))
        else:
            raw = self.low + share * (self.high - self.low)
        key = key_at(self.path)
        return to_si(Written(Fraction(show(raw, key.unit, _DIGITS)), key.unit))


# Bounds are what a person would try by hand (common practice, no source), inside the ranges of
# the keys and of the core's integers.
VARIABLES = (
    Variable("control.kp", 0.4, 5.7, by_factor=True),
    Variable("control.ki", 0.2, 30.0, by_factor=True),
    Variable("control.kd", 0.002, 0.3, by_factor=True),
    Variable("control.integral", 0.03, 0.6, by_factor=True),
    Variable("control.lift_speed", radians(20), radians(95), by_factor=False),
    Variable("control.lower_speed", radians(12), radians(80), by_factor=False),
    Variable("control.accel", radians(60), radians(600), by_factor=True),
    Variable("control.lag", radians(0.8), radians(3.8), by_factor=True),
    Variable("control.angle_filter", 0.001, 0.030, by_factor=True),
    Variable("control.rate_filter", 0.002, 0.080, by_factor=True),
    Variable("control.stop_zone", radians(2), radians(12), by_factor=True),
    Variable("control.stop_ahead", 0.0, 0.1, by_factor=False),
    Variable("control.drive_max", 0.6, 1.0, by_factor=False),
    Variable("control.slew", 4.0, 100.0, by_factor=True),
)


def point_of(rig: Rig) -> list[float]:
    """The rig's own values as a point of the search, each 0 to 1."""
    return [one.share(value_at(rig, one.path)) for one in VARIABLES]


def values_at(point: Sequence[float]) -> dict[str, float]:
    """The value in SI of each tuned key at a point of the search."""
    return {one.path: one.value(share) for one, share in zip(VARIABLES, point, strict=True)}


def tuned(rig: Rig, values: dict[str, float]) -> Rig:
    """The rig with these values of its keys."""
    for path, value in values.items():
        rig = with_value_at(rig, path, value)
    return rig


def sound(rig: Rig) -> bool:
    """Whether the rig's keys agree with each other as a rig file's must."""
    return all(rule.kept(rig) for rule in RULES)
