"""One self-contained page about a rehearsal, and its full trace as CSV."""

import csv
import io
from pathlib import Path
from typing import Any

from hocklift.files import write_atomically
from hocklift.pages.drawing import drawn
from hocklift.pages.motion import motion_of_walk
from hocklift.pages.page import render
from hocklift.pages.rehearsal_pictures import PLANS, key_moments
from hocklift.rehearsal import LEGS, Rehearsal, rows_of, verdict
from hocklift.wing_rehearsal import WingRehearsal

PAGE = "rehearsal.html"
TRACE = "trace.csv"

_CAUTIONS = (
    "A rehearsal is a calculation. It does not know your joints' real friction, your glue, your"
    " rope's knots or your balance.",
    "The springs of this rig hold energy that can break fingers, and its links have pinch points:"
    " block the legs before you reach in, and keep hands out of the links.",
    "A person in it can fall: try everything on a stand first, and have somebody hold you on a"
    " gantry or by hand long after it seems to work.",
    "Where local codes or a licensed practitioner say otherwise, they are right.",
)


def write_page(rehearsal: Rehearsal, folder: Path) -> Path:
    """Write the page and the trace into `folder`; returns the page's path.

    The trace is written first: a page, once there, is complete.
    """
    left, right = (rehearsal.legs[name] for name in LEGS)
    page = render(
        "rehearsal.html.j2",
        rehearsal=rehearsal,
        told=(
            f"{rehearsal.seconds:g} s of {rehearsal.what}, worn by {rehearsal.wearer_name},"
            f" seed {rehearsal.seed}"
        ),
        joint="leg",
        verdict=verdict(rehearsal),
        rows=[
            (what, figure(left), figure(right), want(rehearsal.rig))
            for what, figure, want in rows_of(rehearsal)
        ],
        phases=[(name, left.phase_s[name], right.phase_s[name]) for name in left.phase_s],
        pictures=drawn(PLANS, rehearsal),
        motion=motion_of_walk(rehearsal.rig, rehearsal.trace, _shown_s(rehearsal)),
        cautions=_CAUTIONS,
        trace=TRACE,
    )
    write_atomically(folder / TRACE, trace_csv(rehearsal))
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def _shown_s(rehearsal: Rehearsal) -> float:
    """The moment to show first: the second one of the step that is drawn, the leg on its way."""
    moments = key_moments(rehearsal)
    return moments[min(1, len(moments) - 1)][1] * rehearsal.rig.control.period_s


def trace_csv(rehearsal: Rehearsal | WingRehearsal) -> str:
    """Every channel of every tick; a column's name ends in its unit, `left_` or `right_` first."""
    trace = rehearsal.trace
    columns: dict[str, Any] = {
        name: trace[name] for name in ("arm", "bus_V", "stick") if name in (trace.dtype.names or ())
    }
    for name in LEGS:
        for field in trace.dtype[name].names or ():
            columns[f"{name}_{field}"] = trace[name][field]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["time_s", *columns])
    period_s = rehearsal.rig.control.period_s
    lists = [column.tolist() for column in columns.values()]
    for i, values in enumerate(zip(*lists, strict=True)):
        writer.writerow(
            [f"{i * period_s:.6g}"]
            + [f"{value:.6g}" if isinstance(value, float) else value for value in values]
        )
    return text.getvalue()
