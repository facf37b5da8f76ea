"""One self-contained page about a tuning: before and after, the search, the worst build."""

from pathlib import Path

import numpy as np

from hocklift.commands.tune import CAUTION
from hocklift.files import write_atomically
from hocklift.pages.drawing import drawn
from hocklift.pages.motion import LEGS, motion_of_walk
from hocklift.pages.page import render
from hocklift.pages.tune_pictures import FROM_S, PLANS, walked
from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.tuning.tuning import Tuning, key_rows, smooth_rows, verdict, want_rows

PAGE = "tune.html"


def write_page(tuning: Tuning, folder: Path) -> Path:
    """Write the page into `folder`; returns its path."""
    shown = walked(tuning)
    period_s = tuning.after.control.period_s
    lifted_m = [shown.after[leg]["clearance_m"] for leg in LEGS]
    highest_s = float(np.argmax(np.max(lifted_m, axis=0))) * period_s
    page = render(
        "tune.html.j2",
        tuning=tuning,
        verdict=verdict(tuning),
        keys=key_rows(tuning),
        wants=want_rows(tuning),
        smooth=smooth_rows(tuning),
        pictures=drawn(PLANS, shown),
        motion=motion_of_walk(
            tuning.after, shown.after, highest_s, " These are the gains after.", start_s=FROM_S
        ),
        cautions=(CAUTION, *BEFORE_MOTION),
    )
    write_atomically(folder / PAGE, page)
    return folder / PAGE
