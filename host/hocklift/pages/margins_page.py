"""One self-contained page about a rig's loop margins."""

from pathlib import Path

from hocklift.files import write_atomically
from hocklift.loops.told import HEADINGS, Told, cells, notes
from hocklift.pages.drawing import drawn
from hocklift.pages.margins_pictures import PLANS
from hocklift.pages.page import render
from hocklift.safety.cautions import BEFORE_MOTION

PAGE = "margins.html"


def write_page(found: Told, folder: Path) -> Path:
    """Write the page into `folder`; returns its path."""
    page = render(
        "margins.html.j2",
        found=found,
        headings=HEADINGS,
        rows=[(row.phase, cells(row)) for row in found.rows],
        notes=notes(found),
        pictures=drawn(PLANS, found),
        cautions=BEFORE_MOTION,
    )
    write_atomically(folder / PAGE, page)
    return folder / PAGE
