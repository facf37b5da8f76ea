"""What tuning may change, and within which bounds; between a point of the search and a rig."""

from collections.abc import Sequence
from fractions import Fraction
from math import exp, log, radians
from typing import NamedTuple, TypeVar

from legsim.wing.rig import WingRig

from hocklift.rigfile.keys import KEYS, WING_KEYS, AnyRig, key_at, value_at, with_value_at
from hocklift.rigfile.units import Written, show, to_si
from hocklift.rigfile.wing_rules import rules_of

# As many digits as a person would write; what is walked is exactly what will be written.
_DIGITS = 3
_Rig = TypeVar("_Rig", bound=AnyRig)
# Finer than that many digits tell apart.
_HALVINGS = 14


class Variable(NamedTuple):
    """One key that is tuned, in SI, from `low` to `high`; by factors where `by_factor`.

    `safest` is the end at which the rules between keys leave the other keys most room; None where
    no other tuned key minds.
    """

    path: str
    low: float
    high: float
    by_factor: bool
    safest: float | None = None

    def share(self, value: float) -> float:
        """Where a value stands within the bounds, 0 to 1."""
        if self.low == self.high:
            return 0.0
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
        return as_written(self.path, raw)

    def within(self, rig: AnyRig) -> "Variable":
        """This variable with its bounds drawn in to what the rig's other keys allow it."""
        rules = [rule for rule in rules_of(rig) if self.path in rule.keys]
        safe = value_at(rig, self.path) if self.safest is None else self.safest

        def allowed(value: float) -> bool:
            here = with_value_at(rig, self.path, value)
            return all(rule.kept(here) for rule in rules)

        def drawn_in(end: float) -> float:
            way = self._replace(low=safe, high=end)
            if allowed(end):
                return end
            kept, broken = 0.0, 1.0
            for _ in range(_HALVINGS):
                middle = (kept + broken) / 2
                if allowed(way.value(middle)):
                    kept = middle
                else:
                    broken = middle
            return way.value(kept) if kept else safe

        return self._replace(low=drawn_in(self.low), high=drawn_in(self.high))


def as_written(path: str, value: float) -> float:
    """A tuned key's value in SI, rounded as people write it."""
    unit = _unit(path)
    return to_si(Written(Fraction(show(value, unit, _DIGITS)), unit))


def _unit(path: str) -> str:
    """Unit of a tuned key; what both kinds of rig have is in the same unit for both."""
    section, _, name = path.partition(".")
    keys = KEYS if name in KEYS[section] else WING_KEYS
    return key_at(path, keys).unit


# Bounds are what a person would try by hand (common practice, no source), inside the ranges of
# the keys and of the core's integers. What braking from a lift's speed takes must fit beside the
# lag and the time in which weight is seen: so these three narrow each other, in this order.
VARIABLES = (
    Variable("control.kp", 0.4, 5.7, by_factor=True),
    Variable("control.ki", 0.2, 30.0, by_factor=True),
    Variable("control.kd", 0.002, 0.3, by_factor=True),
    Variable("control.integral", 0.03, 0.6, by_factor=True),
    Variable("control.lag", radians(0.8), radians(3.8), by_factor=True, safest=radians(0.8)),
    Variable("control.lift_speed", radians(20), radians(95), by_factor=False, safest=radians(20)),
    Variable("control.accel", radians(60), radians(600), by_factor=True, safest=radians(600)),
    Variable("control.lower_speed", radians(12), radians(80), by_factor=False),
    Variable("control.angle_filter", 0.001, 0.030, by_factor=True),
    Variable("control.rate_filter", 0.005, 0.080, by_factor=True),
    Variable("control.stop_zone", radians(2), radians(12), by_factor=True),
    Variable("control.stop_ahead", 0.0, 0.1, by_factor=False),
    Variable("control.drive_max", 0.6, 1.0, by_factor=False),
    Variable("control.slew", 4.0, 100.0, by_factor=True),
)


# The same of wings. A stick asks for no more than the fastest setpoint, which the rate that is a
# fault bounds; the share of the load that the feed-forward reckons with is anybody's choice.
WING_VARIABLES = (
    Variable("control.kp", 0.4, 5.7, by_factor=True),
    Variable("control.ki", 0.1, 30.0, by_factor=True),
    Variable("control.kd", 0.002, 0.3, by_factor=True),
    Variable("control.integral", 0.03, 0.6, by_factor=True),
    Variable("control.feed_load", 0.0, 1.0, by_factor=False),
    Variable("control.lag", radians(1), radians(8), by_factor=True),
    Variable("control.follow_speed", radians(10), radians(90), by_factor=False),
    Variable("control.accel", radians(30), radians(600), by_factor=True),
    Variable("control.angle_filter", 0.001, 0.030, by_factor=True),
    Variable("control.rate_filter", 0.005, 0.080, by_factor=True),
    Variable("control.stop_zone", radians(2), radians(12), by_factor=True),
    Variable("control.stop_ahead", 0.0, 0.1, by_factor=False),
    Variable("control.drive_max", 0.6, 1.0, by_factor=False),
    Variable("control.slew", 4.0, 100.0, by_factor=True),
)


def variables_of(rig: AnyRig) -> tuple[Variable, ...]:
    """What is tuned of a rig's kind."""
    return WING_VARIABLES if isinstance(rig, WingRig) else VARIABLES


def point_of(rig: AnyRig) -> list[float]:
    """The rig's own values as a point of the search, each 0 to 1."""
    variables = variables_of(rig)
    own = {one.path: value_at(rig, one.path) for one in variables}
    rig = _opened(rig)
    point = []
    for one in variables:
        point.append(one.within(rig).share(own[one.path]))
        rig = with_value_at(rig, one.path, own[one.path])
    return point


def values_at(rig: AnyRig, point: Sequence[float]) -> dict[str, float]:
    """The value in SI of each tuned key at a point of the search, which keeps the rig sound."""
    rig = _opened(rig)
    values = {}
    for one, share in zip(variables_of(rig), point, strict=True):
        values[one.path] = one.within(rig).value(share)
        rig = with_value_at(rig, one.path, values[one.path])
    return values


def _opened(rig: _Rig) -> _Rig:
    """The rig with each key that others mind where it leaves them most room."""
    safest = {one.path: one.safest for one in variables_of(rig) if one.safest is not None}
    return tuned(rig, safest)


def tuned(rig: _Rig, values: dict[str, float]) -> _Rig:
    """The rig with these values of its keys."""
    for path, value in values.items():
        rig = with_value_at(rig, path, value)
    return rig


def sound(rig: AnyRig) -> bool:
    """Whether the rig's keys agree with each other as a rig file's must."""
    return all(rule.kept(rig) for rule in rules_of(rig))
