"""One self-contained page about a drill of wings, and all its cases as CSV."""

import csv
import io
from functools import partial
from itertools import groupby
from pathlib import Path

import numpy as np
from legsim.wing.drill import WING_LIMITS, WingDrill
from legsim.wing.script import WINGS
from legsim.wing.tables import WING_FAULTS, WING_PHASES
from legsim.wing.troubles import HELD, LET_DOWN, RISING
from matplotlib.figure import Figure

from hocklift.drilling import words_or_dash
from hocklift.files import write_atomically
from hocklift.pages.drawing import Picture
from hocklift.pages.drill_looks import MOST_UNSAFE, Look, picture_of
from hocklift.pages.drill_page import CASES, MOST_TOLD, PAGE
from hocklift.pages.motion import Motion
from hocklift.pages.page import render
from hocklift.pages.rerun import Rerun, draw_rerun, rerun_of
from hocklift.pages.wing_motion import motion_of_show
from hocklift.wing_drill_rows import (
    WING_COLUMNS,
    WING_SAFE_MEANS,
    by_trouble,
    figures_of,
    wing_bounds,
    wing_sights,
)
from hocklift.wing_drilling import WingCampaign, WingRan

_CAUTIONS = (
    "A drill is a calculation on a simulated rig. It proves nothing about yours until each"
    " protection has been tried without anybody near: provoke the fault, see the power go.",
    "A home-made controller of one channel is no safety function in the sense of any standard."
    " Somebody beside you must be able to cut the power in hardware.",
    "A wing that loses its rope or its power swings down: keep everybody out of the reach of its"
    " tip, and block it before you reach in.",
    "Local codes and licensed practice take precedence over anything on this page.",
)
_LOOKS_WORDS = (
    "The unsafe cases, one a trouble, and the instructive ones. Time is from the strike. In each"
    " trace: angle of both wings, the setpoint of a driven wing dotted. Upright lines mark the"
    " strike and the first sight, with the rows of the fault table that saw it. The grey bar below"
    " is there while the contactor gives power."
)
# (trouble, moment, why it is worth a look)
_INSTRUCTIVE = (
    ("pot open", RISING, "no angle to be trusted: power off, and the wing swings down"),
    ("upper rope snaps", HELD, "no controller can hold what the rope held"),
    ("motor reversed", RISING, "the wing goes the other way: power off at once"),
    ("drum jams", LET_DOWN, "a wing that is being let down stays where it is"),
    ("program hangs", HELD, "the watchdog opens the contactor; told after the restart"),
)
_MOVING = [i for i, phase in enumerate(WING_PHASES) if phase.moves]


def write_page(campaign: WingCampaign, folder: Path) -> Path:
    """Write the cases and the page into `folder`, the cases first; returns the page's path."""
    rows = by_trouble(campaign)
    page = render(
        "drill.html.j2",
        campaign=campaign,
        limits=[(limit.text, f"{limit.most:g} {limit.unit}") for limit in WING_LIMITS.values()],
        unsafe=[
            (f"seed {ran.case.seed}: {ran.words}", "; ".join(ran.failures), ran.seen_words)
            for ran in campaign.unsafe[:MOST_TOLD]
        ],
        headings=[heading.replace("\n", " ") for heading, _ in WING_COLUMNS],
        joint="wing",
        worst_means="The worst is of the cases in which nothing else was wrong.",
        each="Each trouble at every moment of either wing's show.",
        families=[
            (family, [(trouble, _cells(rans)) for trouble, rans in group])
            for family, group in groupby(rows, lambda row: row[0].family)
        ],
        safe_means=WING_SAFE_MEANS,
        rows=[
            (
                fault,
                cases or "none",
                words_or_dash(min(seen_s, default=None), "s", 2),
                words_or_dash(max(seen_s, default=None), "s", 2),
            )
            for fault, cases, seen_s in wing_sights(campaign)
        ],
        bounds=wing_bounds(campaign),
        pictures=[],
        nearest=[ran.nearest_words.split(", ", 1) for ran in campaign.nearest],
        looks=_looked_at(campaign),
        looks_words=_LOOKS_WORDS,
        cautions=_CAUTIONS,
        cases=CASES,
    )
    write_atomically(folder / CASES, cases_csv(campaign))
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def _cells(rans: list[WingRan]) -> list[str]:
    return [figure(rans) for _, figure in WING_COLUMNS]


def cases_csv(campaign: WingCampaign) -> str:
    """Every figure of every case, one row a case."""
    rows = [figures_of(ran) for ran in (*campaign.table, *campaign.random)]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        row["failures"] = "; ".join(row["failures"])
        row["rows_seen_s"] = "; ".join(f"{name} {s:.3f}" for name, s in row["rows_seen_s"].items())
        writer.writerow(row)
    return text.getvalue()


def wing_looks_of(campaign: WingCampaign) -> list[Look]:
    """Unsafe cases, one a trouble, then the instructive ones; none where nothing could strike."""
    first: dict[str, WingRan] = {}
    for ran in campaign.unsafe:
        first.setdefault(ran.case.strikes[0].trouble.name, ran)
    unsafe = [Look(ran, f"unsafe: {ran.failures[0]}") for ran in list(first.values())[:MOST_UNSAFE]]
    instructive = [
        Look(ran, why)
        for name, moment, why in _INSTRUCTIVE
        for ran in campaign.table
        for strike in ran.case.strikes
        if (strike.trouble.name, strike.moment, strike.wing) == (name, moment, 0)
        and not ran.failures
    ]
    return [look for look in unsafe + instructive if look.ran.outcome.struck]


def _looked_at(campaign: WingCampaign) -> list[tuple[Picture, Motion]]:
    bench = WingDrill(campaign.rig)
    shown = []
    for look in wing_looks_of(campaign):
        rerun = _again(bench, look.ran)
        motion = motion_of_show(
            campaign.rig,
            rerun.trace,
            0.0,
            start_s=rerun.begin_s,
            zero_s=rerun.zero_s,
            title=f"The wings: {rerun.troubles}",
        )
        shown.append((picture_of(look, partial(_draw, rerun=rerun)), motion))
    return shown


def _again(bench: WingDrill, ran: WingRan) -> Rerun:
    show = bench.show(ran.case)
    trace = show.run()
    names = [strike.trouble.name for strike in ran.case.strikes]
    struck = list(zip(names, show.troubles["struck_tick"].tolist(), strict=True))
    return rerun_of("angle", trace, bench.period_s, struck, ran.outcome, WING_FAULTS)


def _draw(figure: Figure, rerun: Rerun) -> None:
    angles_deg, setpoints_deg = {}, {}
    for name in WINGS:
        wing = rerun.trace[name]
        angles_deg[name] = np.degrees(wing["lift_rad"])
        setpoint_deg = wing["setpoint_cdeg_q6"] / 6400
        # A setpoint may be anything once memory changes; only angles set the axis.
        told = np.isin(wing["phase"], _MOVING) & (np.abs(setpoint_deg) < 180)
        setpoints_deg[name] = np.where(told, setpoint_deg, np.nan)
    draw_rerun(figure, rerun, angles_deg, setpoints_deg)
