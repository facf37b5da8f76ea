"""Named tuning rules: gains from a loop's ultimate point, or from a model of what is controlled.

All gains are those of the ideal form, u = K (e + integral of e / Ti + Td de/dt).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, pi
from typing import NamedTuple


@dataclass(frozen=True)
class Gains:
    """PID gains: drive per error, and the two times; an integral time of infinity is none."""

    gain: float
    integral_s: float = inf
    derivative_s: float = 0.0

    @property
    def per_second(self) -> float:
        """Drive per error and second."""
        return self.gain / self.integral_s

    @property
    def seconds(self) -> float:
        """Drive per rate of the error."""
        return self.gain * self.derivative_s


@dataclass(frozen=True)
class Ultimate:
    """Where a loop closed by a gain alone just keeps swinging: that gain, and the period."""

    gain: float
    period_s: float


@dataclass(frozen=True)
class Model:
    """`rate_gain lag / ((lag s + 1)(lag2 s + 1)) exp(-dead s)`, at most two lags and dead time.

    `rate_gain` is how fast the output begins to move per unit of drive. With an infinite lag
    it never stops: what integrates has no other gain.
    """

    rate_gain: float
    lag_s: float
    dead_s: float
    lag2_s: float = 0.0

    @property
    def gain(self) -> float:
        """Where the output ends per unit of drive; infinite for what integrates."""
        return self.rate_gain * self.lag_s


def steady(gain: float, lag_s: float, dead_s: float, lag2_s: float = 0.0) -> Model:
    """A model told by its steady gain."""
    return Model(gain / lag_s, lag_s, dead_s, lag2_s)


def integrating(ultimate: Ultimate) -> Model:
    """What integrates, after some dead time, and has this ultimate point.

    Its phase is -90 deg and -w dead, its gain rate_gain / w: at -180 deg the dead time is a
    quarter of the period. Definition.
    """
    return Model(2 * pi / (ultimate.period_s * ultimate.gain), inf, ultimate.period_s / 4)


def half_rule(lags_s: Sequence[float], dead_s: float, order: int) -> Model:
    """A model of one or two lags for a plant of many: Skogestad 2003.

    The largest lags are kept; of the next, half goes to the last that is kept and half to the
    dead time, and all smaller ones to the dead time. `dead_s` holds already what else delays:
    dead time, half a sampling period, and the times of zeros that turn the wrong way. The
    plant's steady gain is taken as 1.
    """
    lags = sorted(lags_s, reverse=True)
    kept, rest = lags[:order], lags[order:]
    if rest:
        kept[-1] += rest[0] / 2
        dead_s += rest[0] / 2 + sum(rest[1:])
    return steady(1.0, kept[0], dead_s, kept[1] if order > 1 else 0.0)


def from_series(gain: float, integral_s: float, derivative_s: float) -> Gains:
    """Gains of the ideal form that do the same as K (1 + 1 / (Ti s)) (1 + Td s): definition."""
    more = 1 + derivative_s / integral_s
    return Gains(gain * more, integral_s * more, derivative_s / more)


def simc(model: Model, closed_s: float | None = None) -> Gains:
    """PI for one lag, PID for two: Skogestad 2003.

    `closed_s` is the time constant wanted of the closed loop; left out, it is the dead time,
    which the rule calls tight.
    """
    slow_s = (model.dead_s if closed_s is None else closed_s) + model.dead_s
    return from_series(
        1 / (model.rate_gain * slow_s), min(model.lag_s, 4 * slow_s), min(model.lag2_s, model.lag_s)
    )


def amigo(model: Model) -> Gains:
    """PID for one lag or none: Astrom and Hagglund 2004, Ti and Td from memory.

    The rule's K = (0.2 + 0.45 T/L) / Kp and so on, divided through by T so that what
    integrates has its gains, too.
    """
    dead_s, share = model.dead_s, model.dead_s / model.lag_s
    return Gains(
        0.2 / model.gain + 0.45 / (model.rate_gain * dead_s),
        dead_s * (0.4 * share + 0.8) / (share + 0.1),
        0.5 * dead_s / (0.3 * share + 1),
    )


class UltimateRule(NamedTuple):
    """A rule that asks for the ultimate point only: Ti and Td are shares of the period."""

    name: str
    gain: float
    integral: float
    derivative: float
    source: str

    def gains(self, ultimate: Ultimate) -> Gains:
        """The rule's gains."""
        return Gains(
            self.gain * ultimate.gain,
            self.integral * ultimate.period_s,
            self.derivative * ultimate.period_s,
        )


class ModelRule(NamedTuple):
    """A rule that asks for a model."""

    name: str
    apply: Callable[[Model], Gains]
    source: str

    def gains(self, ultimate: Ultimate) -> Gains:
        """The rule's gains for what integrates and has this ultimate point."""
        return self.apply(integrating(ultimate))


_ZIEGLER_NICHOLS = (
    "J. G. Ziegler and N. B. Nichols, Optimum settings for automatic controllers, Trans. ASME 64"
    " (1942); as in T. Co's page on it, Michigan Tech 2012"
)
_TYREUS_LUYBEN = (
    "B. D. Tyreus and W. L. Luyben, Ind. Eng. Chem. Res. 31 (1992); as in T. Co's page on"
    " Ziegler-Nichols, Michigan Tech 2012"
)
_SIMC = (
    "S. Skogestad, Simple analytic rules for model reduction and PID controller tuning, J."
    " Process Control 13 (2003), as in his own program's notes; its tight choice, the closed loop"
    " as fast as its dead time"
)
_AMIGO = (
    "K. J. Astrom and T. Hagglund, Revisiting the Ziegler-Nichols step response method for PID"
    " control, J. Process Control 14 (2004) 635-650; its times from memory"
)

RULES: tuple[UltimateRule | ModelRule, ...] = (
    UltimateRule("Ziegler-Nichols P", 1 / 2, inf, 0, _ZIEGLER_NICHOLS),
    UltimateRule("Ziegler-Nichols PI", 1 / 2.2, 1 / 1.2, 0, _ZIEGLER_NICHOLS),
    UltimateRule("Ziegler-Nichols PID", 0.6, 1 / 2, 1 / 8, _ZIEGLER_NICHOLS),
    UltimateRule("Tyreus-Luyben PI", 1 / 3.2, 2.2, 0, _TYREUS_LUYBEN),
    UltimateRule("Tyreus-Luyben PID", 1 / 2.2, 2.2, 1 / 6.3, _TYREUS_LUYBEN),
    ModelRule("SIMC PI", simc, _SIMC),
    ModelRule("AMIGO PID", amigo, _AMIGO),
)


def by_name(name: str) -> UltimateRule | ModelRule:
    """One rule of the table."""
    return next(rule for rule in RULES if rule.name == name)
