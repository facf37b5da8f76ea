"""What a relay experiment says: the swing it made, and the ultimate point behind it."""

from dataclasses import dataclass
from itertools import pairwise
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from hocklift.loops.rules import Ultimate

Floats = NDArray[np.float64]

# A swing settles within the first few; of the rest at least so many must be there.
_SETTLING = 3
_LEAST_CYCLES = 4
# Of its mean, how far single swings may differ, and how uneven the two ways may be, before the
# figures say little (common practice, no source).
SPREAD_MOST = 0.2
UNEVEN_MOST = 0.25


@dataclass(frozen=True)
class Swing:
    """A swing under a relay: `push` either way (drive, 1 being full), turning `band_rad` late.

    `up_share` is the share of a period in which it pushed up; spreads are standard deviations
    over means.
    """

    push: float
    band_rad: float
    cycles: int
    amplitude_rad: float
    amplitude_spread: float
    period_s: float
    period_spread: float
    up_share: float

    @property
    def ultimate(self) -> Ultimate:
        """Gain 4 d / (pi sqrt(a^2 - e^2)) a radian, and the period.

        d push, a amplitude, e band: describing function of a relay with hysteresis. Without
        one it is Astrom and Hagglund's, Automatica 20 (1984), from memory.
        """
        inner = sqrt(max(self.amplitude_rad**2 - self.band_rad**2, 1e-12))
        return Ultimate(4 * self.push / (pi * inner), self.period_s)

    @property
    def doubts(self) -> list[str]:
        """Why these figures say little; empty where the swing is regular."""
        found = []
        if self.period_spread > SPREAD_MOST or self.amplitude_spread > SPREAD_MOST:
            found.append(
                f"swings differ by {100 * self.period_spread:.0f} % in time and"
                f" {100 * self.amplitude_spread:.0f} % in size: look for play, a rope that sticks"
                " or a foot that touches something"
            )
        if abs(self.up_share - 0.5) > UNEVEN_MOST / 2:
            found.append(
                f"it is pushed up for {100 * self.up_share:.0f} % of the time: what the"
                " feed-forward holds the leg with does not fit this leg"
            )
        if self.amplitude_rad < 1.2 * self.band_rad:
            found.append("it hardly swings farther than the band in which it turns round")
        return found


def swing_of(
    time_s: Floats, fold_rad: Floats, drive: Floats, push: float, band_rad: float
) -> Swing | None:
    """The swing in a record of the experiment; None where there are too few turns.

    Arrays of one length: time, fold, and drive with 1 being full.
    """
    if len(time_s) < 2:
        return None
    middle = (drive.max() + drive.min()) / 2
    rises = _passes(time_s, drive, middle, up=True)
    falls = _passes(time_s, drive, middle, up=False)
    rises = rises[_SETTLING:]
    if len(rises) <= _LEAST_CYCLES:
        return None
    periods = np.diff(rises)
    bounds = np.searchsorted(time_s, rises)
    sizes = np.array([np.ptp(fold_rad[a:b]) / 2 for a, b in pairwise(bounds)])
    ends = np.array([falls[falls > rise][0] for rise in rises[:-1]])
    return Swing(
        push,
        band_rad,
        len(periods),
        float(sizes.mean()),
        float(sizes.std() / sizes.mean()),
        float(periods.mean()),
        float(periods.std() / periods.mean()),
        float(((ends - rises[:-1]) / periods).mean()),
    )


def _passes(time_s: Floats, values: Floats, level: float, *, up: bool) -> Floats:
    """When values pass a level one way, interpolated."""
    above = values - level if up else level - values
    i = np.flatnonzero((above[:-1] <= 0) & (above[1:] > 0))
    share = above[i] / (above[i] - above[i + 1])
    return np.asarray(time_s[i] + share * (time_s[i + 1] - time_s[i]))
