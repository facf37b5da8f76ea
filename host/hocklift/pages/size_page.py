"""One self-contained page about a sized rig."""

from itertools import groupby
from pathlib import Path

from legsim.wing.rig import WingRig

from hocklift.files import write_atomically
from hocklift.pages.drawing import drawn
from hocklift.pages.page import render
from hocklift.pages.size_pictures import PLANS
from hocklift.pages.wing_size_pictures import WING_PLANS
from hocklift.sizing.checks.check import TIGHT, Row
from hocklift.sizing.result import Sizing, cautions, margin_shown, shown
from hocklift.sizing.sources import SOURCES

PAGE = "size.html"

# A margin's bar goes no farther.
_BAR_END = 3.0


def write_page(sizing: Sizing, folder: Path) -> Path:
    """Write the page into `folder`; returns its path."""
    page = render(
        "size.html.j2",
        sizing=sizing,
        tight_below=TIGHT,
        parts=[(part, list(rows)) for part, rows in groupby(sizing.rows, lambda r: r.check.part)],
        shown=shown,
        margin_shown=margin_shown,
        bar=bar,
        facts=sizing.facts,
        pictures=drawn(WING_PLANS if isinstance(sizing.rig, WingRig) else PLANS, sizing),
        cautions=cautions(sizing.loads),
        sources=SOURCES,
        rest_on=_rest_on(sizing.rows),
    )
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def bar(margin: float) -> float:
    """How much of its full length a margin's bar has, 0 to 1."""
    return max(0.0, min(margin, _BAR_END)) / _BAR_END


def _rest_on(rows: list[Row]) -> dict[str, list[str]]:
    """Return by source the parts whose checks rest on it."""
    parts: dict[str, list[str]] = {}
    for row in rows:
        resting = parts.setdefault(row.check.source, [])
        if row.check.part not in resting:
            resting.append(row.check.part)
    return parts
