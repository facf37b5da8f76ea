"""How both wings moved, for a page to show."""

from typing import Any

import numpy as np
from legsim.wing.rig import WingRig
from legsim.wing.tables import WING_PHASES
from numpy.typing import NDArray

from hocklift.pages.motion import LEGS, Motion, data_of, sparse_words, times_of_poses_s

# Looser than this the lower rope is drawn loose.
_LOOSE_m = 0.0001
_HOW = (
    "Both wings from behind, to scale but for the frame between them. At each hinge the arc goes"
    " from the lower to the upper hard stop; the short dashes are the ends that the controller"
    " keeps to. Circle: the quadrant; thin lines: both tackles, the lower one dotted where it lies"
    " loose; disc: the load at the tip. Drag the slider, use its arrow keys, or click into a trace."
)


def wing_shape(rig: WingRig) -> dict[str, Any]:
    """Lengths in m and ends in rad of which a page draws a wing."""
    w = rig.wing
    return {
        "tip_m": w.tip_m,
        "quadrant_m": rig.rope.quadrant_m,
        "tackle_m": rig.rope.tackle_m,
        "lowered_rad": w.lowered_rad,
        "raised_rad": w.raised_rad,
        "hard_lowered_rad": w.hard_lowered_rad,
        "hard_raised_rad": w.hard_raised_rad,
    }


def motion_of_show(
    rig: WingRig,
    trace: NDArray[np.void],
    shown_s: float,
    start_s: float = 0.0,
    zero_s: float = 0.0,
    title: str = "The wings as they moved",
) -> Motion:
    """Return how a show went from `start_s` on; `shown_s` is the moment shown first.

    All times are from `zero_s` of the trace on.
    """
    period_s = rig.control.period_s
    time_s = np.arange(len(trace)) * period_s - zero_s
    times_s = times_of_poses_s(time_s[time_s >= start_s - period_s / 2], period_s)
    rows = np.round((times_s + zero_s) / period_s).astype(int)
    columns = []
    for name in LEGS:
        wing = trace[name][rows]
        columns.append(
            {
                "lift_ddeg": 10 * np.degrees(wing["lift_rad"]),
                "load_g": 1000 * wing["load_kg"],
                "phase": wing["phase"],
                "easy": wing["down_slack_m"] > _LOOSE_m,
                "here": np.ones(len(rows)),
            }
        )
    return Motion(
        data_of("wings", wing_shape(rig), WING_PHASES, times_s, columns, shown_s),
        _HOW + sparse_words(times_s),
        title=title,
        headings=("phase", "angle", "load"),
    )
