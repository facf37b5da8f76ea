"""Pictures of a drill, for its page."""

from math import degrees, inf, log10

import matplotlib as mpl
import numpy as np
from legsim.drill import LIMITS, Outcome
from legsim.tables import FAULTS, PHASES
from legsim.troubles import TROUBLES, Trouble
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from hocklift.drilling import Campaign, Ran, due_rows, row_sights
from hocklift.pages.drawing import BLUE, INK, Plan

_ROW_IN = 0.2


def plans_of(campaign: Campaign) -> list[Plan[Campaign]]:
    """How to draw this drill."""
    return [
        Plan(
            "Time to safe, by trouble and phase",
            "The slower leg's time in seconds from the strike until the rig is safe; columns are"
            " the phases in which the trouble strikes. The darker, the longer. A frame marks where"
            " the trouble must be seen. A dash: nothing saw it; unless it says unsafe, nothing"
            " came of it. Long times are of troubles that lie hidden until the leg does what shows"
            " them.",
            _draw_times,
            _ROW_IN * len(TROUBLES) + 0.5,
        ),
        Plan(
            "Hardest foot falls and fastest folds",
            "Every case of the table as a dot, by trouble. Thick line: the limit, which holds"
            " unless a trouble makes more unavoidable; then a short mark in its row is its own"
            " bound. Dashed line: the fastest fold of a walk without trouble, as one leg gives"
            " way to the other. The fault table watches only a leg that the motor moves, which"
            f" may go at {degrees(campaign.rig.safety.rate_radps):.0f} deg/s.",
            _draw_hardest,
            _ROW_IN * len(TROUBLES) + 0.9,
        ),
        Plan(
            "What each row of the fault table saw",
            "Each row's first sights of the troubles of the table, by the time since the strike."
            " Filled: the trouble had to be seen there. Hollow: it had not, and lay hidden until"
            " the leg did what shows it. The number on the right is of all cases, random ones"
            " included, in which the row saw something.",
            _draw_rows,
            _ROW_IN * len(FAULTS) + 0.6,
        ),
    ]


# Time to safe: a map of troubles and phases.

# Times span from one tick to many seconds; the shade goes by their logarithm.
_SOONEST_S, _LATEST_S = 0.02, 20.0
_DARKEST = 0.5


def _draw_times(figure: Figure, campaign: Campaign) -> None:
    ax = figure.subplots()
    for row, trouble in enumerate(TROUBLES):
        for phase in range(len(PHASES)):
            rans = [
                ran
                for ran in campaign.table
                if ran.case.strikes[0].trouble is trouble and ran.case.strikes[0].phase == phase
            ]
            _draw_cell(ax, phase, row, rans)
    _name_rows(ax, [trouble.name for trouble in TROUBLES])
    ax.set_xlim(-0.5, len(PHASES) - 0.5)
    ax.set_xticks(range(len(PHASES)), [phase.name for phase in PHASES])
    ax.xaxis.tick_top()
    ax.tick_params(length=0)
    ax.spines[:].set_visible(False)
    ax.grid(False)


def _draw_cell(ax: Axes, phase: int, row: int, rans: list[Ran]) -> None:
    outcomes = [ran.outcome for ran in rans if ran.outcome.struck]
    safe_s = max((one.safe_s for one in outcomes if one.fault_bits), default=inf)
    corner = (phase - 0.46, row - 0.42)
    if safe_s < inf:
        grey = (*mpl.colors.to_rgb(INK), _DARKEST * _share_of_log(safe_s))
        ax.add_patch(Rectangle(corner, 0.92, 0.84, facecolor=grey, lw=0))
    if any(due_rows(ran.case.strikes[0]) for ran in rans):
        ax.add_patch(Rectangle(corner, 0.92, 0.84, facecolor="none", edgecolor=INK, lw=0.8))
    words = "-" if safe_s == inf else f"{safe_s:.2f}" if safe_s < 10 else f"{safe_s:.1f}"
    unsafe = any(ran.failures for ran in rans)
    ax.text(
        phase,
        row,
        f"{words} unsafe" if unsafe else words,
        ha="center",
        va="center_baseline",
        fontsize=8,
        weight="bold" if unsafe else "normal",
    )


def _share_of_log(time_s: float) -> float:
    """Where a time is between the soonest and the latest, 0 to 1."""
    inside_s = min(max(time_s, _SOONEST_S), _LATEST_S)
    return log10(inside_s / _SOONEST_S) / log10(_LATEST_S / _SOONEST_S)


def _name_rows(ax: Axes, names: list[str]) -> None:
    """Give each row its name, the first row on top."""
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.5)


# Foot falls and folds: dots by trouble.

# Its walk is one without any trouble.
_WELL = "never rests"
_FOLD_TICKS_DEGPS = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)


def _draw_hardest(figure: Figure, campaign: Campaign) -> None:
    falls, folds = figure.subplots(1, 2, sharey=True)
    for row, trouble in enumerate(TROUBLES):
        outcomes = [ran.outcome for ran in campaign.table if ran.case.strikes[0].trouble is trouble]
        _dots(falls, row, [one.landing_mps for one in outcomes])
        _dots(folds, row, [_fastest_degps(one) for one in outcomes])
        _mark_bound(falls, row, trouble)
    falls.axvline(LIMITS["landing_mps"].most, color=INK, lw=1.8)
    falls.set_xlim(left=0)
    falls.set_xlabel("hardest foot fall, m/s")
    well = [
        _fastest_degps(ran.outcome)
        for ran in campaign.table
        if ran.case.strikes[0].trouble.name == _WELL
    ]
    if well:
        folds.axvline(max(well), color=INK, lw=0.9, ls="--")
    folds.set_xscale("log")
    low_degps, high_degps = folds.get_xlim()
    ticks_degps = [tick for tick in _FOLD_TICKS_DEGPS if low_degps <= tick <= high_degps]
    folds.set_xticks(ticks_degps, [f"{tick:g}" for tick in ticks_degps])
    folds.minorticks_off()
    folds.set_xlabel("fastest fold, either way, deg/s")
    _name_rows(falls, [trouble.name for trouble in TROUBLES])


def _fastest_degps(outcome: Outcome) -> float:
    return max(outcome.rate_up_degps, outcome.rate_down_degps)


def _dots(ax: Axes, row: int, values: list[float]) -> None:
    ax.plot(values, [row] * len(values), "o", ms=4, mfc="none", mec=BLUE, mew=0.9)


def _mark_bound(ax: Axes, row: int, trouble: Trouble) -> None:
    for measure, most, _ in trouble.spared:
        if measure == "landing_mps":
            ax.plot([most, most], [row - 0.4, row + 0.4], color=INK, lw=1.8)


# What each row of the fault table saw.

_TICKS_S = (0.01, 0.1, 1, 10)


def _draw_rows(figure: Figure, campaign: Campaign) -> None:
    ax = figure.subplots()
    tick_s = campaign.rig.control.period_s
    for row, fault in enumerate(FAULTS):
        for due, face in ((False, "none"), (True, BLUE)):
            times_s = [when for when, was_due in row_sights(campaign, fault) if was_due == due]
            # No logarithm goes to the tick of the strike itself.
            inside_s = np.maximum(times_s, tick_s)
            ax.plot(inside_s, [row] * len(times_s), "o", ms=4, mfc=face, mec=BLUE, mew=0.9)
        saw = sum(bool(ran.outcome.fault_bits & fault.bit) for ran in campaign.ran)
        ax.annotate(
            str(saw) if saw else "none",
            (1, row),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center_baseline",
        )
    ax.set_xscale("log")
    ax.set_xticks([tick_s, *_TICKS_S], ["at once", *(f"{when_s:g}" for when_s in _TICKS_S)])
    ax.set_xlabel("time from the strike to the sight, s")
    ax.set_title("cases", loc="right", fontsize=9)
    _name_rows(ax, [fault.name for fault in FAULTS])
