"""One self-contained page about a drill, and all its cases as CSV."""

import csv
import io
from dataclasses import fields
from itertools import groupby
from math import inf
from pathlib import Path
from typing import Any

from legsim.drill import LIMITS, Outcome
from legsim.tables import PHASES, fault_names

from hocklift.drilling import (
    COLUMNS,
    SAFE_MEANS,
    Campaign,
    Ran,
    bounds,
    row_summaries,
    summaries,
    words_or_dash,
)
from hocklift.files import write_atomically
from hocklift.pages.drawing import drawn
from hocklift.pages.drill_looks import LOOKS_WORDS, looked_at
from hocklift.pages.drill_pictures import plans_of
from hocklift.pages.page import render

PAGE = "drill.html"
CASES = "drill.csv"

# A page that tells more unsafe cases is of no use to a reader.
MOST_TOLD = 50

_CAUTIONS = (
    "A drill is a calculation on a simulated rig. It proves nothing about yours until each"
    " protection has been tried on the stand: provoke the fault, see the power go.",
    "A home-made controller of one channel is no safety function in the sense of any standard."
    " Somebody beside you must be able to cut the power in hardware.",
    "The springs of this rig hold energy that can break fingers, with or without power, and its"
    " links have pinch points: block the legs before you reach in.",
    "A person in it can fall, also where a case here ended safe: the foot is let down, the person"
    " is not held. Use a gantry or helping hands long after it seems to work.",
    "Local codes and licensed practice take precedence over anything on this page.",
)


def write_page(campaign: Campaign, folder: Path) -> Path:
    """Write the cases and the page into `folder`; returns the page's path.

    The cases are written first: a page, once there, is complete.
    """
    page = render(
        "drill.html.j2",
        campaign=campaign,
        limits=[(limit.text, f"{limit.most:g} {limit.unit}") for limit in LIMITS.values()],
        unsafe=[
            (f"seed {ran.case.seed}: {ran.words}", _why(ran), ran.seen_words)
            for ran in campaign.unsafe[:MOST_TOLD]
        ],
        headings=[heading.replace("\n", " ") for heading, _ in COLUMNS],
        families=[
            (family, [(row.trouble, [figure(row) for _, figure in COLUMNS]) for row in rows])
            for family, rows in groupby(summaries(campaign), lambda row: row.trouble.family)
        ],
        joint="leg",
        worst_means="The worst is of the cases in which nothing else was wrong.",
        each="Each trouble in every phase of either leg. The fastest fold is either way.",
        safe_means=SAFE_MEANS,
        rows=[
            (
                row.fault,
                row.cases or "none",
                words_or_dash(row.fastest_s, "s", 2),
                words_or_dash(row.slowest_s, "s", 2),
            )
            for row in row_summaries(campaign)
        ],
        bounds=bounds(campaign),
        pictures=drawn(plans_of(campaign), campaign),
        nearest=[
            (f"{ran.nearness:.2f}", f"seed {ran.case.seed}: {ran.words}; {ran.nearest_words}")
            for ran in campaign.nearest
        ],
        looks=looked_at(campaign),
        looks_words=LOOKS_WORDS,
        cautions=_CAUTIONS,
        cases=CASES,
    )
    write_atomically(folder / CASES, cases_csv(campaign))
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def cases_csv(campaign: Campaign) -> str:
    """One row a case; a column's name ends in its unit, and a time that never came is blank."""
    text = io.StringIO()
    figures = [item.name for item in fields(Outcome) if item.name not in _TOLD_BY_NAME]
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["case", "random", "seed", "phases", "safe", "failures", "faults", *figures])
    for random, rans in ((0, campaign.table), (1, campaign.random)):
        for ran in rans:
            told = [_cell(getattr(ran.outcome, name)) for name in figures]
            writer.writerow([ran.words, random, ran.case.seed, *_verdict_cells(ran), *told])
    return text.getvalue()


# Rows of the fault table are told by their names instead.
_TOLD_BY_NAME = ("fault_bits", "rows_seen_s")


def _verdict_cells(ran: Ran) -> list[Any]:
    seen_s = [
        f"{name} {when_s:.6g} s"
        for bit, when_s in ran.outcome.rows_seen_s.items()
        for name in fault_names(bit)
    ]
    return [
        "; ".join(PHASES[strike.phase].name for strike in ran.case.strikes),
        int(not ran.failures),
        _why(ran),
        "; ".join(seen_s),
    ]


def _why(ran: Ran) -> str:
    """Why a case was not safe."""
    return "; ".join(one.words for one in ran.failures)


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, float):
        return "" if value == inf else f"{value:.6g}"
    return value
