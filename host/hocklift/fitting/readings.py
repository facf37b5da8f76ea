"""What a recording has of each tick, ready to be compared: angles, pulses, voltage, switches.

Angles are read through the calibration that the board had.
"""

from dataclasses import dataclass
from math import pi, radians

import numpy as np
from legcore.model import CALIBRATION_POINTS
from numpy.typing import NDArray
from scipy.signal import savgol_filter

from hocklift.errors import LogError
from hocklift.fitting.compiled import last_way
from hocklift.fitting.numbers import JOINTS, LEGS
from hocklift.log import Log, core_mark

Floats = NDArray[np.float64]

_RAD_PER_CDEG = pi / 18000
# Smooth over so many ticks: an eighth of a second, in which a pose changes but its bend does not.
_SMOOTH_TICKS = 31
# A joint has turned round once it has come back by so much, more than a pot's noise.
_TURN_RAD = radians(0.2)


@dataclass(frozen=True)
class LegReadings:
    """One leg, an array with a value a tick: leans as read and smoothed, what it was asked."""

    lean_rad: dict[str, Floats]
    smooth_rad: dict[str, Floats]
    way: dict[str, Floats]  # which way each joint last moved: -1, 1, or 0 before it has
    good: NDArray[np.bool_]  # both pots read well, and nothing was missing
    rate_radps: dict[str, Floats]
    pulse_s: Floats
    push: Floats
    sole: NDArray[np.bool_]
    phase: NDArray[np.int64]

    @property
    def smooth_fold_rad(self) -> Floats:
        """Fold, smoothed."""
        return self.smooth_rad["thigh"] + self.smooth_rad["shank"]


@dataclass(frozen=True)
class Readings:
    """A recording, tick by tick from its first one on; what is missing is bridged, not `good`."""

    period_s: float
    time_s: Floats
    battery_V: Floats
    neutral_s: float
    rest_fold_rad: float
    calibrated: bool
    legs: dict[str, LegReadings]


def readings_of(log: Log) -> Readings:
    """Make ready the longest piece of a log without a new start of the board.

    Raises LogError where it was not made by this version's core, or has next to nothing in it.
    """
    if log.header.get("core") != core_mark():
        raise LogError(
            f"{log.path}: its header is damaged, or of a firmware whose core keeps other settings"
            " than this hocklift's; use a recording of this version"
        )
    ticks = _longest_piece(log)
    if len(ticks) < 1 / log.period_s:
        raise LogError(
            f"{log.path}: holds less than a second without a new start; record a walk"
            " with `hocklift record`"
        )
    rows = _Rows(ticks)
    neutral_us = _setting(log, "pulse_neutral_us")
    return Readings(
        log.period_s,
        rows.every * log.period_s,
        rows.bridged("battery_mV") / 1000,
        neutral_us * 1e-6,
        _setting(log, "rest_fold_cdeg") * _RAD_PER_CDEG,
        bool((log.hello or log.header.get("board") or {}).get("calibrated_day", 0)),
        {leg: _leg(log, rows, leg, neutral_us) for leg in LEGS},
    )


class _Rows:
    """Ticks put where they belong: a value for every one from the first to the last."""

    def __init__(self, ticks: NDArray[np.void]) -> None:
        self.ticks = ticks
        self.place = ticks["tick"].astype(np.int64) - int(ticks["tick"][0])
        self.every = np.arange(self.place[-1] + 1)
        self.here = np.zeros(len(self.every), np.bool_)
        self.here[self.place] = True
        self._latest = np.searchsorted(self.place, self.every, side="right") - 1

    def bridged(self, name: str) -> Floats:
        """A channel, a straight line where ticks are missing."""
        return np.asarray(np.interp(self.every, self.place, self.ticks[name]), np.float64)

    def kept(self, name: str) -> NDArray[np.int64]:
        """A channel, its latest value where ticks are missing."""
        return np.asarray(self.ticks[name][self._latest], np.int64)


def _leg(log: Log, rows: _Rows, leg: str, neutral_us: int) -> LegReadings:
    good, lean_rad = rows.here.copy(), {}
    for joint in JOINTS:
        count, calibration = rows.kept(f"{leg}_{joint}_count"), f"{leg}_{joint}"
        low, high = (_setting(log, f"{calibration}.{end}_count") for end in ("low", "high"))
        read = (count >= low) & (count <= high)
        good &= read
        read &= rows.here
        if not read.any():
            raise LogError(
                f"{log.path}: the {leg} {joint} never read within its window; mend its sensor,"
                " then record anew"
            )
        angle_rad = _angle_rad(log, calibration, count)
        lean_rad[joint] = np.interp(rows.every, rows.every[read], angle_rad[read])
    smooth_rad = {joint: _smooth(lean_rad[joint]) for joint in JOINTS}
    pulse_us, contacts = rows.kept(f"{leg}_pulse_us"), rows.kept(f"{leg}_contacts")
    return LegReadings(
        lean_rad,
        smooth_rad,
        {joint: last_way(smooth_rad[joint], _TURN_RAD) for joint in JOINTS},
        good,
        {joint: _smooth(lean_rad[joint], log.period_s) for joint in JOINTS},
        np.where(pulse_us > 0, pulse_us, neutral_us) * 1e-6,
        (contacts & 1).astype(np.float64),
        (contacts & 2) > 0,
        rows.kept(f"{leg}_phase"),
    )


def _longest_piece(log: Log) -> NDArray[np.void]:
    """The most ticks in a row, gaps included, between two starts of the board."""
    starts = np.flatnonzero(np.diff(log.ticks["tick"].astype(np.int64)) < 1) + 1
    return max(np.split(log.ticks, starts), key=len)


def _setting(log: Log, name: str) -> int:
    value = log.setting(name)
    return 0 if value is None else value


def _angle_rad(log: Log, calibration: str, count: NDArray[np.int64]) -> Floats:
    """Counts through a calibration table, its first and last line carried on outwards."""
    points = range(CALIBRATION_POINTS)
    counts = np.array([_setting(log, f"{calibration}.count[{i}]") for i in points], np.float64)
    angles = np.array([_setting(log, f"{calibration}.angle_cdeg[{i}]") for i in points], np.float64)
    i = np.clip(np.searchsorted(counts, count, side="left"), 1, CALIBRATION_POINTS - 1)
    slope = (angles[i] - angles[i - 1]) / np.maximum(counts[i] - counts[i - 1], 1)
    return np.asarray((angles[i - 1] + (count - counts[i - 1]) * slope) * _RAD_PER_CDEG)


def _smooth(values: Floats, period_s: float | None = None) -> Floats:
    """Values smoothed; with a period their slope."""
    if period_s is None:
        return np.asarray(savgol_filter(values, _SMOOTH_TICKS, 2))
    return np.asarray(savgol_filter(values, _SMOOTH_TICKS, 2, deriv=1, delta=period_s))
