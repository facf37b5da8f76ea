"""What the stoops of a walk amounted to: how deep, how soon, how level, how steady."""

from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Any

import numpy as np
from legcore.phases import STANDING, STOOPING
from numpy.typing import NDArray

from legsim.rig import Rig

# This near to a fold a leg is there; sensors may be out by as much.
_NEAR_RAD = np.radians(1.5)
# Let go, a stoop comes to rest in this time, and what is held is judged over the next.
_REST_S, _HELD_S = 0.6, 5.0
# A rope this loose holds nothing: then weight holds the fold, and no drive can change it.
_LOOSE_M = 0.001
LEGS = ("left", "right")


@dataclass(frozen=True)
class StoopFigures:
    """All stoops of a walk in figures, SI units; a time that was not asked for is 0.

    `down_s` is from the stick pushed to both legs stooped, `up_s` from the stick pulled to both
    standing, infinite where it never came; `apart_rad` is one fold against the other while both
    ropes are tight, `weighed_apart_rad` while one is loose, since weight alone folds its leg
    farther; `drift_rad` what a fold changed within five seconds after the stick was let go;
    `held_s` the longest time that legs stooped with the stick let go; `risen` how many times
    they rose by themselves, though it was not pulled.
    """

    count: int
    deepest_rad: float
    down_s: float
    up_s: float
    apart_rad: float
    weighed_apart_rad: float
    drift_rad: float
    held_s: float
    risen: int


def stoop_figures(trace: NDArray[np.void], rig: Rig) -> StoopFigures | None:
    """Work out the figures of all stoops; None where there was none."""
    stooping = trace["left"]["phase"] == STOOPING
    standing = trace["left"]["phase"] == STANDING
    if not stooping.any():
        return None
    period_s = rig.control.period_s
    folds = np.array([trace[name]["thigh_rad"] + trace[name]["shank_rad"] for name in LEGS])
    tight = np.all([trace[name]["slack_m"] < _LOOSE_M for name in LEGS], 0)
    apart = np.abs(folds[0] - folds[1])
    stick = np.sign(np.round(trace["stick"], 1))
    down_s, up_s, drift_rad, held_s, risen = 0.0, 0.0, 0.0, 0.0, 0
    for start, end in _spans(stick):
        since = slice(start, len(trace))
        # A push that ends before the way does is not judged by it.
        if stick[start] > 0:
            there = folds[:, since].min(0) >= rig.wants.stoop_fold_rad - _NEAR_RAD
            took_s = _first(there) * period_s
            if end - start >= rig.wants.stoop_s / period_s:
                down_s = max(down_s, took_s)
        elif stick[start] < 0 and stooping[start]:
            up_s = max(up_s, _first(~stooping[since]) * period_s)
        if stick[start] >= 0:
            # Too long stooped, or too warm. A pull that ends just before the legs stand is none.
            stood = np.flatnonzero(stooping[start : end - 1] & standing[start + 1 : end])
            risen += int(np.count_nonzero(stood > _REST_S / period_s))
        if stick[start] == 0 and stooping[start]:
            kept = start + int(min(_first(~stooping[start:end]), end - start))
            rest = start + round(_REST_S / period_s)
            held = folds[:, rest : min(kept, rest + round(_HELD_S / period_s))]
            if held.shape[1]:
                drift_rad = max(drift_rad, float(np.abs(held - held[:, :1]).max()))
                held_s = max(held_s, (kept - start) * period_s)
    return StoopFigures(
        count=int(np.count_nonzero(np.diff(stooping.astype(np.int8), prepend=0) > 0)),
        deepest_rad=float(folds[:, stooping].min(0).max()),
        down_s=down_s,
        up_s=up_s,
        apart_rad=float(apart[stooping & tight].max(initial=0.0)),
        weighed_apart_rad=float(apart[stooping & ~tight].max(initial=0.0)),
        drift_rad=drift_rad,
        held_s=held_s,
        risen=risen,
    )


def _spans(values: Any) -> list[tuple[int, int]]:
    """Start and end of each run of equal values."""
    edges = [0, *(np.flatnonzero(np.diff(values)) + 1).tolist(), len(values)]
    return list(pairwise(edges))


def _first(condition: Any) -> float:
    """Index of the first true element; infinite where there is none."""
    return float(np.argmax(condition)) if bool(np.any(condition)) else inf
