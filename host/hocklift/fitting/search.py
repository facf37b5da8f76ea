"""Which numbers fit best, and how surely: least squares, beside what was known before.

Rows of the comparison and the tolerances of the numbers count alike: each is off by so many of its
own spreads. Where the recording tells nothing of a number, its tolerance is all that holds it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hocklift.fitting.compiled import ALONE, RAISED, REST, STOOPED, SWINGING
from hocklift.fitting.model import FOLD_TICKS, Model, Off
from hocklift.fitting.weighing import Noise, Noises, cost, counts, noises_of, weighed

Floats = NDArray[np.float64]

# Differences are taken over a number's standard error, as far as that is known, within these
# spreads: a motor that may start or not makes rows jump, and a wide step would meet every jump.
_STEP_LEAST, _STEP_MOST = 0.03, 0.3
# Over which the unknown of each piece is varied.
_STRETCH_STEP = 0.004
# Rounds at most, and by how much a round must still mend things: while the noise is guessed, with
# the noise that is left then, and with what is left after that.
_STAGES = (("roughly", 8, 0.02), ("finely", 12, 1e-4), ("at last", 20, 1e-4))
# How a step is held back where the rows bend: first, and at most.
_DAMPING, _DAMPING_MOST = 1e-3, 1e4
# What is linear about one rig is so no farther than this, in spreads.
_FARTHEST = 1.5
# Nobody knows where in its pots' play a hand held a leg.
_NOT_OF_SWINGS = ("sensors.pot_backlash_rad",)
# What one row errs, the next ones err with it for so long.
_TOGETHER_S = 0.5


@dataclass(frozen=True)
class Found:
    """The best unknowns, and the covariance of the numbers among them, in their spreads."""

    x: Floats
    covariance: Floats


def search(model: Model, show: Callable[[str], None]) -> Found:
    """Fit; `show` is told how it goes."""
    x = np.zeros(model.unknowns)
    noises = dict.fromkeys((REST, RAISED, STOOPED, ALONE, SWINGING), Noise())
    steps = np.full(len(model.numbers), _STEP_MOST)
    for stage, (name, rounds, enough) in enumerate(_STAGES):
        model.blurred = stage == 0
        if stage:
            noises = noises_of(model.off(x))
        for i in range(rounds):
            show(f"{name}, round {i + 1}")
            x, steps, better = _round(model, x, steps, noises)
            if better < enough:
                break
    return Found(x, _covariance(model, x, model.off(x), steps, noises))


def _round(model: Model, x: Floats, steps: Floats, noises: Noises) -> tuple[Floats, Floats, float]:
    """One step of Levenberg and Marquardt.

    Returns where it leads, over how much to take the next differences, and by which share the
    cost has fallen.
    """
    offs = model.off(x)
    residuals = _residuals(offs, noises)
    was = cost(residuals) + float(x @ x) / 2
    slopes = _slopes(model, x, offs, steps, noises)
    weights = counts(residuals)
    told = slopes.T @ (slopes * weights[:, None]) + np.eye(len(x))
    errors = np.sqrt(np.diag(np.linalg.inv(told)))[: len(steps)]
    steps = np.clip(errors, _STEP_LEAST, _STEP_MOST)
    downhill = -(slopes.T @ (residuals * weights) + x)
    damping = _DAMPING
    while damping < _DAMPING_MOST:
        step = np.linalg.solve(told + damping * np.diag(np.diag(told)), downhill)
        tried = x + np.clip(step, -_FARTHEST, _FARTHEST)
        is_now = cost(_residuals(model.off(tried), noises)) + float(tried @ tried) / 2
        if is_now < was:
            return tried, steps, 1 - is_now / was
        damping *= 10
    return x, steps, 0.0


def _residuals(offs: Sequence[Off], noises: Noises) -> Floats:
    rows = [(off.fold_rad[:, None], off.battery_V[:, None]) for off in offs]
    return weighed(rows, offs, noises)[:, 0]


def _slopes(model: Model, x: Floats, offs: Sequence[Off], steps: Floats, noises: Noises) -> Floats:
    """How the weighed rows change with each unknown."""
    rows = [
        (np.zeros((len(off.fold_rad), len(x))), np.zeros((len(off.battery_V), len(x))))
        for off in offs
    ]
    numbers = len(model.numbers)
    for k in range(numbers + 1):
        moved = x.copy()
        step = float(steps[k]) if k < numbers else _STRETCH_STEP
        # A piece's stretch moves that piece alone, so all of them are moved at once.
        moved[k : k + 1 if k < numbers else len(x)] += step
        for i, (off, other) in enumerate(zip(offs, model.off(moved), strict=True)):
            column = k if k < numbers else numbers + i
            rows[i][0][:, column] = (other.fold_rad - off.fold_rad) / step
            rows[i][1][:, column] = (other.battery_V - off.battery_V) / step
            if off.kind == SWINGING and k < numbers and model.numbers[k].field in _NOT_OF_SWINGS:
                rows[i][0][:, column] = 0.0
    return weighed(rows, offs, noises)


def _covariance(
    model: Model, x: Floats, offs: Sequence[Off], steps: Floats, noises: Noises
) -> Floats:
    """Covariance of the numbers.

    Rows of half a second err together, whatever the cause: a "sandwich" of what such pieces of the
    rows say, each for itself, between the inverse of what rows would tell that err alone.
    """
    residuals, slopes = _residuals(offs, noises), _slopes(model, x, offs, steps, noises)
    weights = counts(residuals)
    told = slopes.T @ (slopes * weights[:, None]) + np.eye(len(x))
    per_half = round(_TOGETHER_S / model.readings.period_s / FOLD_TICKS)
    said = np.add.reduceat(
        slopes * (residuals * weights)[:, None], np.arange(0, len(residuals), per_half)
    )
    inverse = np.linalg.inv(told)
    numbers = len(model.numbers)
    covariance = inverse @ (said.T @ said + np.eye(len(x))) @ inverse
    return np.asarray(covariance[:numbers, :numbers])
