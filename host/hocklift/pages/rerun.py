"""A case of a drill that was run again to be looked at: its trace around the strike, drawn."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from legsim.tables import Fault, fault_names
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from hocklift.pages.drawing import COLOUR, DASHED, INK, LINE, PAPER, TIME

HEIGHT_IN = 2.6
# Share of the time after the strike that is shown before it: room for the trouble's name.
_BEFORE = 0.3
_AFTER_S = 0.7
_LONGEST_S = 6.0
_LABEL = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}


@dataclass(frozen=True)
class Rerun:
    """The trace of a case, and times from its first strike; `joint` is what its angle is called.

    `strikes_s` are the troubles and when each struck; `seen` is what the fault table saw first.
    """

    joint: str
    trace: NDArray[np.void]
    time_s: NDArray[Any]
    strikes_s: tuple[tuple[str, float], ...]
    begin_s: float
    end_s: float
    seen_s: float
    seen: str

    @property
    def zero_s(self) -> float:
        """When the first strike was, from the start of the trace."""
        return -float(self.time_s[0])

    @property
    def troubles(self) -> str:
        """What struck, in words."""
        return ", ".join(name for name, _ in self.strikes_s)


def rerun_of(
    joint: str,
    trace: NDArray[np.void],
    period_s: float,
    struck: Sequence[tuple[str, int]],
    outcome: Any,
    faults: tuple[Fault, ...],
) -> Rerun:
    """Cut a trace to what is to be looked at; `struck` has each trouble's tick, 0 for none."""
    ticks = [tick for _, tick in struck if tick > 0]
    time_s = (np.arange(len(trace)) - (min(ticks) - 1)) * period_s
    events_s = [when for when in (outcome.seen_s, outcome.safe_s, outcome.off_s) if when < inf]
    end_s = min(max([*events_s, _AFTER_S]) + _AFTER_S, _LONGEST_S)
    shown = time_s <= end_s
    bits = sum(bit for bit, when in outcome.rows_seen_s.items() if when == outcome.seen_s)
    return Rerun(
        joint,
        trace[shown],
        time_s[shown],
        tuple((name, float(time_s[tick - 1])) for name, tick in struck if tick > 0),
        max(-_BEFORE * end_s, float(time_s[0])),
        end_s,
        outcome.seen_s,
        ", ".join(fault_names(bits, faults)),
    )


def draw_rerun(
    figure: Figure,
    rerun: Rerun,
    angles_deg: dict[str, NDArray[Any]],
    setpoints_deg: dict[str, NDArray[Any]],
) -> None:
    """Draw both joints' angles and setpoints, the strike, the first sight, and a bar of power."""
    ax = figure.subplots()
    shown = rerun.time_s >= rerun.begin_s
    time_s = rerun.time_s[shown]
    ax.set_xlim(rerun.begin_s, rerun.end_s)
    for name, angle_deg in angles_deg.items():
        ax.plot(time_s, angle_deg[shown], color=COLOUR[name], ls=LINE[name])
        ax.plot(time_s, setpoints_deg[name][shown], color=INK, lw=0.9, ls=":")
    power = rerun.trace["contactor"][shown] != 0
    ax.fill_between(
        time_s,
        0,
        0.06,
        where=power.tolist(),
        transform=ax.get_xaxis_transform(),
        color=INK,
        alpha=0.45,
        lw=0,
    )
    low_deg, high_deg = ax.get_ylim()
    # Room for words above and the bar below.
    room_deg = (high_deg - low_deg) / 4
    ax.set_ylim(low_deg - room_deg / 2, high_deg + room_deg)
    for i, (name, when_s) in enumerate(rerun.strikes_s):
        _mark(ax, when_s, name, "right", i)
    if rerun.seen_s < inf:
        # Where there is no room on its right, its words have the left to themselves.
        aligned = "left" if rerun.seen_s < rerun.end_s / 2 else "right"
        _mark(ax, rerun.seen_s, f"seen: {rerun.seen}", aligned, 0)
    ax.set_ylabel(f"{rerun.joint}, deg")
    ax.set_xlabel(TIME)
    figure.legend(handles=_handles(rerun.joint), loc="outside upper left", ncols=4)


def _handles(joint: str) -> list[Any]:
    return [
        Line2D([], [], color=COLOUR["left"], label=f"left {joint}"),
        Line2D([], [], color=COLOUR["right"], ls=DASHED, label=f"right {joint}"),
        Line2D([], [], color=INK, lw=0.9, ls=":", label="setpoint"),
        Patch(facecolor=INK, alpha=0.45, lw=0, label="power on"),
    ]


def _mark(ax: Axes, time_s: float, words: str, aligned: str, line: int) -> None:
    """An upright line, and words beside its top, so many lines of text lower."""
    low_s, high_s = ax.get_xlim()
    if not low_s <= time_s <= high_s:
        return
    ax.axvline(time_s, color=INK, lw=0.9)
    ax.annotate(
        words,
        (time_s, 1),
        xycoords=("data", "axes fraction"),
        xytext=(-3 if aligned == "right" else 3, -1 - 11 * line),
        textcoords="offset points",
        ha=aligned,
        va="top",
        fontsize=8,
        bbox=_LABEL,
    )
