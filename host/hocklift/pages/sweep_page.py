"""One self-contained page about a sweep, and all its combinations as CSV."""

import csv
import io
from pathlib import Path

from hocklift.files import write_atomically
from hocklift.pages.drawing import drawn
from hocklift.pages.page import render
from hocklift.pages.sweep_pictures import plans_of
from hocklift.rigfile.units import show
from hocklift.sizing.axes import Axis, sign_of
from hocklift.sizing.loads import Loads
from hocklift.sizing.result import cautions
from hocklift.sizing.sweep import HEADLINES, Sweep, figure_words, margin_words, summary

PAGE = "sweep.html"
TABLE = "sweep.csv"

# A page with more rows than these, the best, is of no use to a reader.
_MOST_ROWS = 250


def write_page(swept: Sweep, folder: Path) -> Path:
    """Write the table and the page into `folder`; returns the page's path.

    The table is written first: a page, once there, is complete.
    """
    many = len(swept.combinations) > _MOST_ROWS
    rows = swept.best_first[:_MOST_ROWS] if many else swept.combinations
    page = render(
        "sweep.html.j2",
        swept=swept,
        summary=summary(swept),
        headlines=HEADLINES,
        rows=[
            (one, list(map(Axis.number, swept.axes, one.values)), figure_words(one)) for one in rows
        ],
        margin_words=margin_words,
        pictures=drawn(plans_of(swept), swept),
        cautions=cautions(Loads(swept.rig)),
        table=TABLE,
    )
    write_atomically(folder / TABLE, sweep_csv(swept))
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def sweep_csv(swept: Sweep) -> str:
    """Every combination: its values in the units asked for, to the bit, and its figures in SI."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        [axis.path + (f" ({sign})" if (sign := sign_of(axis.unit)) else "") for axis in swept.axes]
        + [headline.name for headline in HEADLINES]
        + ["worst_margin", "failing", "verdict", "why"]
    )
    for one in swept.combinations:
        figures = [*map(repr, one.figures), repr(one.margin), one.failing]
        writer.writerow(
            [show(value, axis.unit) for axis, value in zip(swept.axes, one.values, strict=True)]
            + ([""] * len(figures) if one.verdict == "no rig" else figures)
            + [one.verdict, one.why]
        )
    return text.getvalue()
