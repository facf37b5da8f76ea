"""One self-contained page about a recording, and its full trace as CSV and Parquet."""

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np
from legwire.messages import TICK_FLAGS

from hocklift.errors import OutputError
from hocklift.files import write_atomically
from hocklift.log import Log, flag, rig_of
from hocklift.logfigures import BOARD_ROWS, LEG_ROWS, Figures, board_figures
from hocklift.pages.drawing import drawn
from hocklift.pages.log_pictures import plans_of
from hocklift.pages.motion import motion_of_log
from hocklift.pages.page import render

PAGE = "report.html"
CSV = "trace.csv"
PARQUET = "trace.parquet"

_CAUTIONS = (
    "Folds are what the board worked out from its joint sensors: where these were wrong, so is the"
    " picture.",
    "Drive is what was asked of the speed controllers, not what the motors did.",
    "That nothing went wrong here does not mean that nothing will: keep somebody at the emergency"
    " stop.",
)


def write_page(figures: Figures, folder: Path, *, parquet: bool) -> Path:
    """Write the page and the trace into `folder`; returns the page's path.

    The trace is written first: a page, once there, is complete.
    """
    log = figures.log
    rig, board = rig_of(log), board_figures(log)
    legs = figures.legs.values()
    page = render(
        "log.html.j2",
        name=log.path.name,
        figures=figures,
        header=log.header,
        board=log.hello or log.header.get("board"),
        ended=log.ended,
        leg_rows=[(what, *map(words, legs)) for what, words in LEG_ROWS],
        board_rows=[(what, words(board)) for what, words in BOARD_ROWS],
        pictures=drawn(plans_of(figures), figures),
        motion=rig and motion_of_log(rig, log, figures.moment_s),
        cautions=_CAUTIONS,
        traces=[CSV, *([PARQUET] if parquet else [])],
    )
    columns = trace_columns(log)
    write_atomically(folder / CSV, _csv(columns))
    if parquet:
        write_atomically(folder / PARQUET, parquet_bytes(columns))
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def trace_columns(log: Log) -> dict[str, Any]:
    """Every field of every tick, bits apart; a column's name ends in its unit."""
    columns: dict[str, Any] = {"time_s": np.round(log.time_s, 6)}
    for name in (log.ticks.dtype.names or ())[2:]:
        if name == "flags":
            columns |= {each: flag(log.ticks, each) for each in TICK_FLAGS}
        elif name.endswith("_contacts"):
            leg = name.removesuffix("_contacts")
            columns |= {f"{leg}_switch": log.ticks[name] & 1, f"{leg}_sole": log.ticks[name] >> 1}
        else:
            columns[name] = log.ticks[name]
    marks = [""] * len(log.ticks)
    for mark in log.marks:
        if marks:
            row = min(mark.row, len(marks) - 1)
            marks[row] = "; ".join(filter(None, (marks[row], mark.text)))
    columns["mark"] = marks
    return columns


def _csv(columns: dict[str, Any]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    lists = [each if isinstance(each, list) else each.tolist() for each in columns.values()]
    writer.writerows(zip(*lists, strict=True))
    return text.getvalue()


def parquet_bytes(columns: dict[str, Any]) -> bytes:
    """The columns as a Parquet file; OutputError where the package for it is missing."""
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError as error:
        raise OutputError(
            "--parquet: the package pyarrow, which writes such files, is not installed; install"
            " it with: pip install 'hocklift[parquet]'"
        ) from error
    buffer = io.BytesIO()
    parquet.write_table(pyarrow.table(columns), buffer)
    return buffer.getvalue()
