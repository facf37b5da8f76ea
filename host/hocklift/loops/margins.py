"""How far a loop is from swinging by itself: margins and peak sensitivity."""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, pi, radians

import numpy as np
from legsim.rig import Rig
from legsim.settings import core_rig
from scipy.optimize import brentq, minimize_scalar

from hocklift.loops.linear import Complexes, Floats, Steps
from hocklift.loops.loop import PHASES, Loop, loop_at, ultimate_loop_at
from hocklift.loops.plant import NoBalanceError
from hocklift.loops.rules import Ultimate

POSES = 4
# From far slower than any loop of a leg to the fastest that its periods can tell.
_SLOWEST_RADPS = 0.05
_POINTS = 600


@dataclass(frozen=True)
class Margins:
    """What may still come before a loop swings by itself. Infinite: it never would.

    `gain_less` is the factor to which the gain may fall, 0 where any will do. All say nothing
    of a loop that is not `stable`.
    """

    stable: bool
    gain: float
    gain_radps: float
    gain_less: float
    phase_rad: float
    phase_radps: float
    delay_s: float
    peak: float
    peak_radps: float


@dataclass(frozen=True)
class PoseMargins:
    """The margins of one leg's loop in one pose and phase; none where the motor cannot be so."""

    phase: str
    fold_rad: float
    loop: Loop | None
    margins: Margins | None
    why: str = ""


def folds_rad(rig: Rig) -> list[float]:
    """Poses from rest to where the end stop begins to act: there the law alone decides."""
    settings = core_rig(rig).settings
    low_rad = radians(settings.rest_fold_cdeg / 100)
    high_rad = rig.mechanism.fold_soft_stop_rad - rig.control.stop_zone_rad
    return [float(fold) for fold in np.linspace(low_rad, max(low_rad, high_rad), POSES)]


def rig_margins(rig: Rig) -> list[PoseMargins]:
    """Margins of a rig with its own gains, by pose and phase."""
    return [_pose_margins(rig, fold, phase) for phase in PHASES for fold in folds_rad(rig)]


def worst(found: list[PoseMargins]) -> PoseMargins:
    """The row that comes nearest to swinging: unstable before stable, then by peak sensitivity."""
    return max(found, key=_nearness)


def _nearness(row: PoseMargins) -> float:
    if row.margins is None:
        return 0.0
    return row.margins.peak if row.margins.stable else inf


def _pose_margins(rig: Rig, fold_rad: float, phase: str) -> PoseMargins:
    try:
        loop = loop_at(rig, fold_rad, phase)
    except NoBalanceError as error:
        return PoseMargins(phase, fold_rad, None, None, str(error))
    return PoseMargins(phase, fold_rad, loop, margins_of(loop))


def rig_ultimate(rig: Rig) -> Ultimate:
    """The least gain alone (full drive a radian) at which a leg swings in any pose and phase."""
    found = []
    for phase in PHASES:
        for fold in folds_rad(rig):
            try:
                margins = margins_of(ultimate_loop_at(rig, fold, phase))
            except NoBalanceError:
                continue
            found.append(Ultimate(margins.gain, 2 * pi / margins.gain_radps))
    return min(found, key=lambda ultimate: ultimate.gain)


def margins_of(loop: Loop) -> Margins:
    """Margins of one loop."""
    return margins_of_steps(loop.steps, loop.visit_s)


def margins_of_steps(steps: Steps, period_s: float) -> Margins:
    """Margins of an open loop in steps, fed back with minus."""
    turn_rad = frequencies(steps, period_s)
    response = steps.at(turn_rad)
    over_one = np.asarray(abs(response) - 1, np.float64)

    def at(turn: float) -> complex:
        return complex(steps.at(np.array([turn]))[0])

    # Where the response is real and negative, the loop swings at minus one over it.
    real = [
        turn
        for turn in _crossings(turn_rad, response.imag, lambda turn: at(turn).imag)
        if at(turn).real < 0
    ]
    factors = [(-1 / at(turn).real, turn) for turn in real]
    more = min(((f, t) for f, t in factors if f > 1), default=(inf, inf))
    less = max((f for f, _ in factors if f < 1), default=0.0)
    # Where it is 1 long, what is left to minus one is an angle.
    ones = _crossings(turn_rad, over_one, lambda turn: abs(at(turn)) - 1)
    angles = [(float(np.angle(-at(turn))) % (2 * pi), turn) for turn in ones]
    phase = min(((a if a < pi else a - 2 * pi, t) for a, t in angles), key=_size, default=None)
    delays = [a / t * period_s for a, t in angles]
    peak, peak_turn = _peak(turn_rad, response, at)
    return Margins(
        stable=bool(abs(np.linalg.eigvals(steps.closed())).max() < 1),
        gain=more[0],
        gain_radps=more[1] / period_s,
        gain_less=less,
        phase_rad=phase[0] if phase else inf,
        phase_radps=phase[1] / period_s if phase else inf,
        delay_s=min(delays, default=inf),
        peak=peak,
        peak_radps=peak_turn / period_s,
    )


def _size(angle: tuple[float, float]) -> float:
    return abs(angle[0])


def frequencies(steps: Steps, period_s: float) -> Floats:
    """Angles a period, dense enough to see every crossing: denser about each resonance."""
    even = np.geomspace(_SLOWEST_RADPS * period_s, pi * (1 - 1e-9), _POINTS)
    poles = np.linalg.eigvals(steps.A)
    poles = np.log(poles[(abs(poles) > 1e-3) & (poles.imag > 1e-9)])
    near = (poles.imag[:, None] + abs(poles.real)[:, None] * np.linspace(-3, 3, 25)).ravel()
    both = np.concatenate([even, near[(near > even[0]) & (near < even[-1])]])
    return np.asarray(np.unique(both))


def _crossings(at: Floats, values: Floats, value_at: Callable[[float], float]) -> list[float]:
    """Where a function of the frequency passes zero."""
    i = np.flatnonzero((values[:-1] > 0) != (values[1:] > 0))
    return [float(brentq(value_at, at[k], at[k + 1], xtol=1e-13)) for k in i]


def _peak(
    turn_rad: Floats, response: Complexes, at: Callable[[float], complex]
) -> tuple[float, float]:
    """The greatest 1 / |1 + L|, and where."""
    k = int(np.argmin(abs(1 + response)))
    low, high = turn_rad[max(k - 1, 0)], turn_rad[min(k + 1, len(turn_rad) - 1)]
    found = minimize_scalar(
        lambda turn: abs(1 + at(turn)),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-12},
    )
    return 1 / float(found.fun), float(found.x)
