"""From poses of a joint to its calibration: a line through them, and the core's table of it.

Pure figures: nothing here talks to a person or a board. A pose is a lean that a person has
measured and the count that the board read there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, pi

import numpy as np
from legcore.model import ANGLE_MAX_CDEG, CALIBRATION_POINTS
from legsim.rig import Rig
from legsim.sensors import FULL_SCALE
from numpy.typing import NDArray

# A reading nearer than this to either end of the converter may be one that went past it.
CLIPPED_COUNT = 20
# More than this is more than the demo rig's filters were made for.
NOISY_COUNT = 4.0
# A wiper that leaps more often is worn, or its plug is loose.
LEAPS_SHARE = 0.02
# A pot that turns with its joint shows most of what the rig file expects of it.
HARDLY_SHARE = 0.25
# A line this far off a pose, or a stop this far off the rig file, is worth a second look.
RESIDUAL_DEG = 1.0
STOP_DEG = 2.0
# Turn for turn, a pot's travel is known that well from its data sheet (common practice, no source).
GAIN_SHARE = 0.2

_CDEG_PER_RAD = 18000 / pi


class FitError(ValueError):
    """Poses through which no usable line goes, and why."""


@dataclass(frozen=True)
class Pose:
    """One joint in one pose: the lean that was measured, the median count, its rms noise.

    `leaps` is the share of readings that lay far off; they are no part of the noise.
    """

    lean_rad: float
    count: float
    noise_count: float = 0.0
    leaps: float = 0.0


@dataclass(frozen=True)
class Fit:
    """The line of a pot: lean = `zero_rad` + `rad_per_count` * count; how far each pose is off."""

    zero_rad: float
    rad_per_count: float
    off_rad: tuple[float, ...]

    def lean_rad(self, count: float) -> float:
        """Lean at a count."""
        return self.zero_rad + self.rad_per_count * count

    def count(self, lean_rad: float) -> float:
        """Count at a lean."""
        return (lean_rad - self.zero_rad) / self.rad_per_count

    @property
    def reversed(self) -> bool:
        """Whether the count falls as the lean rises."""
        return self.rad_per_count < 0

    @property
    def residual_rad(self) -> float:
        """Root of the mean square of what the poses are off the line."""
        return float(np.sqrt(np.mean(np.square(self.off_rad))))

    @property
    def nonlinearity(self) -> float:
        """The most that a pose is off the line, as a share of the pot's supply."""
        return max(map(abs, self.off_rad)) / abs(self.rad_per_count) / FULL_SCALE


@dataclass(frozen=True)
class Table:
    """One calibration as the core holds it: points in rising order of count, and the window."""

    counts: tuple[int, ...]
    angles_cdeg: tuple[int, ...]
    low_count: int
    high_count: int

    @property
    def words(self) -> list[int]:
        """Its integers, in the order of the core's record."""
        return [*self.counts, *self.angles_cdeg, self.low_count, self.high_count]


def pose(lean_rad: float, counts: Sequence[int] | NDArray[np.int64], leap_count: float) -> Pose:
    """A pose of many readings; one that is over `leap_count` off the median is a leap.

    A wiper loses its track for a moment now and then, which says nothing of the noise.
    """
    read = np.asarray(counts, float)
    median = float(np.median(read))
    near = read[np.abs(read - median) <= leap_count]
    return Pose(
        lean_rad,
        median,
        float(np.sqrt(np.mean((near - near.mean()) ** 2))) if len(near) else 0.0,
        1 - len(near) / len(read),
    )


def fit(poses: Sequence[Pose]) -> Fit:
    """Least squares of lean over count: what is uncertain is the lean that a person measured."""
    counts = np.array([pose.count for pose in poses], float)
    leans = np.array([pose.lean_rad for pose in poses], float)
    if len(poses) < 2 or np.ptp(counts) < 1:
        raise FitError("the count is the same in every pose")
    middle = counts.mean()
    away = counts - middle
    slope = float(away @ leans / (away @ away))
    if slope == 0:
        raise FitError("the lean is the same in every pose")
    zero = float(leans.mean() - slope * middle)
    return Fit(zero, slope, tuple(float(off) for off in leans - zero - slope * counts))


def table(line: Fit, low_rad: float, high_rad: float, margin_rad: float) -> Table:
    """Points over a joint's travel, and the window that `margin_rad` leaves around it.

    Raises FitError where the converter cannot tell five points of that travel apart.
    """
    ends = sorted((line.count(low_rad), line.count(high_rad)))
    margin = margin_rad / abs(line.rad_per_count)
    low, high = max(1.0, ends[0]), min(FULL_SCALE - 1.0, ends[1])
    counts = [round(count) for count in np.linspace(low, high, CALIBRATION_POINTS)]
    angles = [round(line.lean_rad(count) * _CDEG_PER_RAD) for count in counts]
    if min(np.diff(counts)) < 1 or len(set(angles)) < len(angles):
        raise FitError("the joint's whole travel makes no more than a few counts")
    if max(map(abs, angles)) > ANGLE_MAX_CDEG:
        raise FitError("the line gives leans of more than half a turn")
    return Table(
        tuple(counts),
        tuple(angles),
        max(0, min(counts[0], round(ends[0] - margin))),
        min(FULL_SCALE, max(counts[-1], round(ends[1] + margin))),
    )


@dataclass(frozen=True)
class Remark:
    """Something about a joint that a person should know; `stops` where it cannot be used so."""

    words: str
    stops: bool = False
    # Only to be known: nothing is wrong.
    harmless: bool = False


def remarks(poses: Sequence[Pose], line: Fit | None, rig: Rig) -> list[Remark]:
    """What is wrong or unusual with one joint's sensor: found, expected, what to do next."""
    return [*_reading_remarks(poses, rig), *(_line_remarks(line, rig) if line else [])]


def _reading_remarks(poses: Sequence[Pose], rig: Rig) -> list[Remark]:
    found = []
    counts = [pose.count for pose in poses]
    ends = [c for c in counts if not CLIPPED_COUNT <= c <= FULL_SCALE - CLIPPED_COUNT]
    if ends:
        found.append(
            Remark(
                f"reads {ends[0]:.0f}, at the end of what the converter can tell (0 to"
                f" {FULL_SCALE}): turn the pot on its shaft so that the joint's travel lies in its"
                " middle, and look for an open or shorted wire",
                stops=True,
            )
        )
    noisiest = max(pose.noise_count for pose in poses)
    if noisiest > NOISY_COUNT:
        found.append(
            Remark(
                f"is noisy: {noisiest:.1f} counts rms, expected at most {NOISY_COUNT:g}: look for"
                " a worn track, a loose plug, and sensor wires beside the motor's"
            )
        )
    leaps = max(pose.leaps for pose in poses)
    if leaps > LEAPS_SHARE:
        found.append(
            Remark(
                f"leaps: {100 * leaps:.0f} % of its readings lie far from the others, expected at"
                f" most {100 * LEAPS_SHARE:.0f} %: look for a loose plug or a worn track"
            )
        )
    leans = [pose.lean_rad for pose in poses]
    expected = (max(leans) - min(leans)) / abs(rig.sensors.pot_travel_rad) * FULL_SCALE
    moved = max(counts) - min(counts)
    if moved < max(CALIBRATION_POINTS, HARDLY_SHARE * expected):
        found.append(
            Remark(
                f"hardly moves: {moved:.0f} counts between the stops, expected about"
                f" {expected:.0f}: fasten the pot's shaft to its joint, and see that it is this"
                " joint's wire",
                stops=True,
            )
        )
    return found


def _line_remarks(line: Fit, rig: Rig) -> list[Remark]:
    found = []
    if line.reversed:
        found.append(
            Remark(
                "counts down as the lean rises; the table takes that in, nothing needs rewiring",
                harmless=True,
            )
        )
    worst_deg = max(degrees(abs(off)) for off in line.off_rad)
    if worst_deg > RESIDUAL_DEG:
        found.append(
            Remark(
                f"is up to {worst_deg:.1f} deg off a straight line, expected at most"
                f" {RESIDUAL_DEG:g}: measure the leans again; then look for a slipping or bad pot"
            )
        )
    travel_rad = abs(line.rad_per_count) * FULL_SCALE
    expected_rad = abs(rig.sensors.pot_travel_rad)
    if abs(travel_rad / expected_rad - 1) > GAIN_SHARE:
        found.append(
            Remark(
                f"makes a full scale of {degrees(travel_rad):.0f} deg, rig key"
                f" sensors.pot_travel says {degrees(expected_rad):.0f}: correct the key, or look"
                " at the leans that were typed"
            )
        )
    return found


def window_remarks(made: Table) -> list[Remark]:
    """Whether an open or shorted pot will lie outside the window."""
    if made.low_count >= CLIPPED_COUNT and made.high_count <= FULL_SCALE - CLIPPED_COUNT:
        return []
    return [
        Remark(
            f"would use counts {made.low_count} to {made.high_count} of 0 to {FULL_SCALE}, which"
            " leaves no room to see an open or shorted wire: turn the pot on its shaft so that"
            " the joint's travel lies in its middle",
            stops=True,
        )
    ]


def stop_remark(name: str, fold_rad: float, expected_rad: float) -> Remark | None:
    """Whether a stop is where the rig file has it."""
    if abs(fold_rad - expected_rad) <= np.radians(STOP_DEG):
        return None
    return Remark(
        f"{name}: thigh and shank lean add up to {degrees(fold_rad):.1f} deg, the rig file has"
        f" this stop at {degrees(expected_rad):.1f}: measure again, or correct the rig file"
    )
