"""One self-contained page about a tuning: before and after, the search, the worst build."""

from pathlib import Path
from typing import Any

import numpy as np
from legsim.wing.rig import WingRig

from hocklift.files import write_atomically
from hocklift.pages.drawing import drawn
from hocklift.pages.motion import LEGS, motion_of_walk
from hocklift.pages.page import render
from hocklift.pages.tune_pictures import FROM_S, PLANS, walked
from hocklift.pages.wing_motion import motion_of_show
from hocklift.pages.wing_tune_pictures import WING_PLANS, carried, carried_s
from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.tuning.told import SMOOTH_WORDS, caution
from hocklift.tuning.tuning import Tuning, key_rows, smooth_rows, verdict, want_rows

PAGE = "tune.html"


def write_page(tuning: Tuning, folder: Path) -> Path:
    """Write the page into `folder`; returns its path."""
    page = render(
        "tune.html.j2",
        tuning=tuning,
        verdict=verdict(tuning),
        keys=key_rows(tuning),
        wants=want_rows(tuning),
        smooth=smooth_rows(tuning),
        cautions=(caution(tuning), *BEFORE_MOTION),
        **(_of_wings if isinstance(tuning.after, WingRig) else _of_legs)(tuning),
    )
    write_atomically(folder / PAGE, page)
    return folder / PAGE


_AFTER = " These are the gains after."


def _of_legs(tuning: Tuning) -> dict[str, Any]:
    """What a page shows of legs: pictures, and how they moved."""
    rig: Any = tuning.after
    shown = walked(tuning)
    lifted_m = [shown.after[leg]["clearance_m"] for leg in LEGS]
    highest_s = float(np.argmax(np.max(lifted_m, axis=0))) * rig.control.period_s
    return {
        "smooth_words": SMOOTH_WORDS["leg"],
        "pictures": drawn(PLANS, shown),
        "motion": motion_of_walk(rig, shown.after, highest_s, _AFTER, start_s=FROM_S),
    }


def _of_wings(tuning: Tuning) -> dict[str, Any]:
    """The same of wings."""
    rig: Any = tuning.after
    shown = carried(tuning)
    start_s, end_s = carried_s(rig)
    middle_s = start_s + (end_s - start_s) / 4
    return {
        "smooth_words": SMOOTH_WORDS["wing"],
        "pictures": drawn(WING_PLANS, shown),
        "motion": motion_of_show(rig, shown.after, middle_s),
    }
