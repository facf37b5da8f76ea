"""How much a row of the comparison counts, and what the recording says of that itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import radians

import numpy as np
from numpy.typing import NDArray
from scipy.special import huber

from hocklift.fitting.compiled import ALONE, SWINGING, reliance, told_apart
from hocklift.fitting.model import Off

Floats = NDArray[np.float64]

# Beyond so many times its spread a row counts no more than one there: something else happened.
FAR = 3.0
# Where a piece begins is read to so much, by a smoothed angle; the battery at rest by the mean of
# some twenty readings, each good to a step of 7 mV.
_START_RAD, _REST_V = radians(0.05), 0.002
# Where a hand held a leg, its pots may be anywhere in their play; a leg that has sunk under all
# the weight is read better.
_HAND_RAD, _SUNK_RAD = radians(0.1), radians(0.05)
# So far may a motor that hunts be from where it should be, a row later.
_HUNT_RAD = radians(0.15)
# What is tried of both kinds of noise of the fold; no less, whatever a recording seems to say, as
# no model is better. Nor are means of a voltage, read in steps of 7 mV.
_FOLD_DEG = (0.06, 0.08, 0.12, 0.16, 0.24, 0.4)
_DRIFT_DEG = (0.004, 0.008, 0.016, 0.03, 0.06, 0.12)
_LEAST_V = 0.0015


@dataclass(frozen=True)
class Noise:
    """By how much rows are off by themselves: fold and voltage; and how far the fold drifts.

    It drifts from row to row while it is driven, as frames and a controller's steps are not known
    to the last: `drift_rad` is the spread of one such step.
    """

    fold_rad: float = radians(0.12)
    drift_rad: float = radians(0.006)
    battery_V: float = 0.01

    def of_fold(self, off: Off) -> tuple[Floats, Floats]:
        """How each row of a piece's fold is scaled, and by how much it corrects the next."""
        start_rad = {ALONE: _SUNK_RAD, SWINGING: _HAND_RAD}.get(off.kind, _START_RAD)
        drift_rad = np.maximum(self.drift_rad * off.driven, _HUNT_RAD * off.hunting)
        return _reliance(drift_rad / self.fold_rad, start_rad / self.fold_rad)

    def of_battery(self, off: Off) -> tuple[Floats, Floats]:
        """The same of its voltage."""
        return _reliance(np.zeros(len(off.battery_V)), _REST_V / self.battery_V)


def _reliance(drift: Floats, start: float) -> tuple[Floats, Floats]:
    scale, gain = np.empty(len(drift)), np.empty(len(drift))
    reliance(drift, start, scale, gain)
    return scale, gain


def counts(rows: Floats) -> Floats:
    """By how much each weighed row counts beside one that is near."""
    return np.asarray(np.minimum(1.0, FAR / np.maximum(np.abs(rows), FAR)))


# Noise by kind of piece: how fast a leg moves makes most of it.
Noises = dict[int, Noise]


def weighed(rows: Sequence[tuple[Floats, Floats]], offs: Sequence[Off], noises: Noises) -> Floats:
    """All pieces' rows of fold and voltage under each other, each with as many columns."""
    parts = []
    for (fold, battery), off in zip(rows, offs, strict=True):
        noise = noises[off.kind]
        parts.append(told_apart(fold / noise.fold_rad, *noise.of_fold(off)))
        parts.append(told_apart(battery / noise.battery_V, *noise.of_battery(off)))
    return np.concatenate(parts)


def cost(rows: Floats) -> float:
    """Half the squares of weighed rows, far ones counted as FAR says (Huber's loss)."""
    return float(huber(FAR, rows).sum())


def noises_of(offs: Sequence[Off]) -> Noises:
    """The likeliest noise behind what is left, of each kind of piece."""
    kinds = sorted({off.kind for off in offs})
    return {kind: _noise_of([off for off in offs if off.kind == kind]) for kind in kinds}


def _noise_of(offs: Sequence[Off]) -> Noise:
    volts = np.concatenate([off.battery_V - _level(off.battery_V) for off in offs])
    # Of an even spread as many are beyond its median as below; 1.48 makes that a deviation.
    battery_V = max(_LEAST_V, 1.48 * float(np.median(np.abs(volts))) if len(volts) else 0.0)
    choices = [
        Noise(radians(fold_deg), radians(drift_deg), battery_V)
        for fold_deg, drift_deg in product(_FOLD_DEG, _DRIFT_DEG)
    ]
    return min(choices, key=lambda noise: _unlikely(noise, offs))


def _level(volts: Floats) -> float:
    return float(np.median(volts)) if len(volts) else 0.0


def _unlikely(noise: Noise, offs: Sequence[Off]) -> float:
    """Less the logarithm of the likelihood of all folds, but for a constant."""
    total = 0.0
    for off in offs:
        scale, gain = noise.of_fold(off)
        rows = told_apart(off.fold_rad[:, None] / noise.fold_rad, scale, gain)
        total += cost(rows) - float(np.log(scale / noise.fold_rad).sum())
    return total
