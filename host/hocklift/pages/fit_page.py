"""One self-contained page about a fit: numbers, the recording beside both rigs, one walk."""

from pathlib import Path

from hocklift.files import write_atomically
from hocklift.fitting.fitting import Fit
from hocklift.fitting.told import (
    HEADINGS,
    NOTES,
    WALK_HEADINGS,
    lacking_words,
    table_rows,
    verdict,
    walk_rows,
)
from hocklift.pages.drawing import drawn
from hocklift.pages.fit_pictures import PLANS
from hocklift.pages.page import render
from hocklift.safety.cautions import BEFORE_MOTION

PAGE = "fit.html"


def write_page(found: Fit, folder: Path) -> Path:
    """Write the page into `folder`; returns its path."""
    page = render(
        "fit.html.j2",
        found=found,
        verdict=verdict(found),
        headings=HEADINGS,
        rows=table_rows(found),
        lacking=lacking_words(found),
        walk_headings=WALK_HEADINGS,
        walk=walk_rows(found),
        notes=NOTES,
        pictures=drawn(PLANS, found),
        cautions=BEFORE_MOTION,
    )
    write_atomically(folder / PAGE, page)
    return folder / PAGE
