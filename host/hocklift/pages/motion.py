"""How legs or wings moved, for a page to show: poses as an eye can follow, in plain numbers."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from legcore.phases import OFF, STANDING
from legsim.linkage import height_m, leans_under_hip_rad
from legsim.rig import Rig
from legsim.tables import PHASES, Phase
from numpy.typing import NDArray

from hocklift.log import Log

LEGS = ("left", "right")
# Poses that a page has of a second: as many as a film has (common practice, no source).
_RATE_HZ = 25
# And in all; of a longer recording, fewer a second.
_MOST = 12_000
# Looser than this a rope is drawn loose; nearer than this to the ground a foot is drawn on it.
LOOSE_m, DOWN_m = 0.001, 0.0005

_HOW = (
    "Both legs from the side, to scale, forward to the right. At each knee the arc goes from the"
    " extended to the folded hard stop; the short dashes are the soft stop. Zigzag: the spring;"
    " thin line: the rope, dotted where it is loose. Drag the slider, use its arrow keys, or click"
    " into a trace."
)
_UNDER_HIP = " A recording has the fold alone, so each foot is drawn straight below its hip."


@dataclass(frozen=True)
class Motion:
    """What a page needs to show what moved: in words, and `data` to be written as JSON.

    A joint's columns hold, pose by pose, the difference from the pose before. Of a leg: leans in
    tenths of a degree, the foot's height in mm, its phase, and 0 or 1 for sole (on the ground),
    easy (rope loose) and here (recorded at all). Of a wing: its angle in tenths of a degree, the
    load at its tip in g, its phase, easy (lower rope loose) and here.
    """

    data: dict[str, Any]
    words: str
    names: tuple[str, ...] = LEGS
    title: str = "The legs as they moved"
    headings: tuple[str, ...] = ("phase", "fold", "foot up")

    @property
    def kind(self) -> str:
        """What moved: legs or wings."""
        return str(self.data["kind"])


def shape(rig: Rig) -> dict[str, Any]:
    """Lengths in m and stops in rad of which a page draws a leg."""
    m = rig.mechanism
    return {
        "thigh_m": m.thigh_length_m,
        "shank_m": m.shank_length_m,
        "extended_rad": m.fold_extended_rad,
        "soft_rad": m.fold_soft_stop_rad,
        "hard_rad": m.fold_hard_stop_rad,
        "spring_m": (rig.spring.thigh_anchor_m, rig.spring.shank_anchor_m),
        "rope_m": (rig.rope.thigh_anchor_m, rig.rope.shank_anchor_m),
    }


def motion_of_walk(
    rig: Rig,
    trace: NDArray[np.void],
    shown_s: float,
    what: str = "",
    start_s: float = 0.0,
    zero_s: float = 0.0,
    title: str = Motion.title,
) -> Motion:
    """Return how a simulated walk went from `start_s` on; `shown_s` is the moment shown first.

    All times are from `zero_s` of the trace on.
    """
    period_s = rig.control.period_s
    time_s = np.arange(len(trace)) * period_s - zero_s
    times_s = times_of_poses_s(time_s[time_s >= start_s - period_s / 2], period_s)
    rows = np.round((times_s + zero_s) / period_s).astype(int)
    columns = []
    for name in LEGS:
        leg = trace[name][rows]
        columns.append(
            {
                "thigh_ddeg": 10 * np.degrees(leg["thigh_rad"]),
                "shank_ddeg": 10 * np.degrees(leg["shank_rad"]),
                "up_mm": 1000 * np.maximum(0, leg["clearance_m"]),  # the ground gives way a little
                "phase": leg["phase"],
                "sole": leg["clearance_m"] < DOWN_m,
                "easy": leg["slack_m"] > LOOSE_m,
                "here": np.ones(len(rows)),
            }
        )
    words = _HOW + what + sparse_words(times_s)
    return Motion(_legs(rig, times_s, columns, shown_s), words, title=title)


def motion_of_log(rig: Rig, log: Log, shown_s: float) -> Motion:
    """Return how the legs of a recording moved: by its folds, each foot straight below its hip."""
    m = rig.mechanism
    times_s = times_of_poses_s(log.time_s, log.period_s)
    rows = np.searchsorted(log.time_s, times_s + log.period_s / 2) - 1
    here = times_s - log.time_s[rows] < 2 * log.period_s
    standing_m = height_m(m, m.fold_extended_rad)
    columns = []
    for name in LEGS:
        fold_rad = np.radians(log.ticks[f"{name}_fold_cdeg"][rows] / 100)
        leans_rad = np.array([leans_under_hip_rad(m, fold) for fold in fold_rad])
        shorter_m = standing_m - np.array([height_m(m, fold) for fold in fold_rad])
        sole = log.ticks[f"{name}_contacts"][rows] >> 1 & 1
        phase = np.minimum(log.ticks[f"{name}_phase"][rows], len(PHASES) - 1)
        columns.append(
            {
                "thigh_ddeg": 10 * np.degrees(leans_rad[:, 0]),
                "shank_ddeg": 10 * np.degrees(leans_rad[:, 1]),
                "up_mm": 1000 * np.where(sole, 0, np.maximum(0, shorter_m)),
                "phase": phase,
                "sole": sole,
                "easy": np.isin(phase, (OFF, STANDING)),
                "here": here,
            }
        )
    words = _HOW + _UNDER_HIP + sparse_words(times_s)
    return Motion(_legs(rig, times_s, columns, shown_s), words)


def times_of_poses_s(time_s: NDArray[Any], period_s: float) -> NDArray[np.float64]:
    """Moments of the poses, whole periods apart."""
    start_s, end_s = float(time_s[0]), float(time_s[-1])
    step = max(1, round(1 / (_RATE_HZ * period_s)), int((end_s - start_s) / period_s / _MOST) + 1)
    count = int((end_s - start_s) / (step * period_s) + 1e-6) + 1
    return np.asarray(start_s + np.arange(count) * (step * period_s), np.float64)


def sparse_words(times_s: NDArray[Any]) -> str:
    """What a reader must know of a long recording: that not every motion is here."""
    if len(times_s) < 2 or times_s[1] - times_s[0] < 1.5 / _RATE_HZ:
        return ""
    return (
        f" Of one so long this page has a pose every {times_s[1] - times_s[0]:.2f} s, joined by"
        " straight lines: what is quicker shows in the traces alone."
    )


def _legs(
    rig: Rig, times_s: NDArray[Any], columns: Iterable[dict[str, NDArray[Any]]], shown_s: float
) -> dict[str, Any]:
    return data_of("legs", shape(rig), PHASES, times_s, columns, shown_s)


def data_of(
    kind: str,
    form: dict[str, Any],
    phases: Iterable[Phase],
    times_s: NDArray[Any],
    columns: Iterable[dict[str, NDArray[Any]]],
    shown_s: float,
) -> dict[str, Any]:
    """What a page's script is given: `form` is what it draws a joint from."""
    step_s = times_s[1] - times_s[0] if len(times_s) > 1 else 1.0
    return {
        "kind": kind,
        "names": LEGS,
        "phases": [phase.name for phase in phases],
        "shape": form,
        "start_s": round(float(times_s[0]), 6),
        "step_s": round(float(step_s), 6),
        "shown_s": round(float(shown_s), 6),
        "joints": [
            {
                name: np.diff(np.round(column).astype(int), prepend=0).tolist()
                for name, column in joint.items()
            }
            for joint in columns
        ],
    }
