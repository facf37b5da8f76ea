"""When a speed controller takes in its pulses: seen in the battery's voltage.

A controller takes in a pulse when a frame of its own begins. If the pulse has changed by then, the
motor's current jumps, and with it the voltage. These jumps come at whole frames, minute after
minute by the same clock, and so tell how long a frame is, far better than any motion does.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hocklift.fitting.numbers import LEGS
from hocklift.fitting.readings import Readings

Floats = NDArray[np.float64]

# Frames are looked for between these shares of what the rig file says. Twice as many a second
# would be seen at every second jump, too, and half as many not at all.
_LEAST, _MOST = 0.6, 1.7
# Over the spectrum's usual height, so high at least must the line stand that is a clock's.
_CLEAR = 8.0
# A leg alone is driven for so long at least, or nothing is looked for.
_LEAST_TICKS = 250
# A jump is over after so many ticks.
_AFTER_TICKS = 8
_SPECTRUM = 1 << 18
# One share of a frame after another is tried for where frames begin.
_BEGINS = 50


@dataclass(frozen=True)
class Clock:
    """Frames of a controller: how long, and when one of them begins in the recording.

    `error_s` is the standard error of the length.
    """

    frame_s: float
    begin_s: float
    error_s: float


def clocks_of(readings: Readings, frame_s: float) -> dict[str, Clock] | None:
    """The clock of each leg's controller; None where the voltage does not show them.

    `frame_s` is what the rig file says of both.
    """
    found = {leg: _clock(readings, leg, frame_s) for leg in LEGS}
    clocks = {leg: clock for leg, clock in found.items() if clock is not None}
    return clocks if len(clocks) == len(LEGS) else None


def _clock(readings: Readings, leg: str, frame_s: float) -> Clock | None:
    other = LEGS[1 - LEGS.index(leg)]
    alone = _driven(readings, leg) & ~_driven(readings, other)
    if np.count_nonzero(alone) < _LEAST_TICKS:
        return None
    jumps_V = np.abs(np.diff(readings.battery_V, prepend=readings.battery_V[0]))
    jumps_V = np.where(alone, jumps_V - jumps_V[alone].mean(), 0.0)
    spectrum = np.abs(np.fft.rfft(jumps_V, max(_SPECTRUM, len(jumps_V))))
    per_s = np.fft.rfftfreq(max(_SPECTRUM, len(jumps_V)), readings.period_s)
    near = np.flatnonzero((per_s > 1 / (_MOST * frame_s)) & (per_s < 1 / (_LEAST * frame_s)))
    at = near[np.argmax(spectrum[near])]
    clear = float(spectrum[at] / np.median(spectrum[near]))
    if clear < _CLEAR:
        return None
    seconds = float(np.ptp(readings.time_s[alone]))
    # Of a line that lasts so long and stands out so far; a rule for the frequency of a tone in
    # noise (Rife & Boorstyn, 1974, from memory): its error is sqrt(6) / (2 pi T) over the ratio of
    # amplitudes.
    error_per_s = 6**0.5 / (2 * np.pi * seconds * clear)
    best_s, begin_s = _aligned(jumps_V, readings.period_s, 1 / per_s[at], seconds)
    return Clock(best_s, begin_s, float(error_per_s * best_s**2))


def _driven(readings: Readings, leg: str) -> NDArray[np.bool_]:
    """Whether a pulse other than neutral was given a moment ago."""
    asked = np.abs(readings.legs[leg].pulse_s - readings.neutral_s) > 1e-7
    return np.asarray(np.convolve(asked, np.ones(_AFTER_TICKS))[: len(asked)] > 0)


def _aligned(
    jumps_V: Floats, period_s: float, frame_s: float, seconds: float
) -> tuple[float, float]:
    """Length and begin of frames, so that the ticks right after their begins have most jumps."""
    best = (-np.inf, frame_s, 0.0)
    # All that time later, such a difference in length is a share of a frame: a tenth, a fiftieth.
    for share in (0.1, 0.02):
        middle_s = best[1]
        for tried_s in middle_s + share * frame_s**2 / seconds * np.arange(-5, 6):
            frames = np.arange(int((len(jumps_V) - 2) * period_s / tried_s))
            for begin_s in np.arange(_BEGINS) * tried_s / _BEGINS:
                taken = np.ceil((begin_s + tried_s * frames) / period_s - 1e-9)
                sum_V = float(jumps_V[taken.astype(np.int64)].sum())
                if sum_V > best[0]:
                    best = (sum_V, float(tried_s), float(begin_s))
    return best[1], best[2]
