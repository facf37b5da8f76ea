"""The phases of both legs over time, as bars."""

from collections.abc import Iterable
from typing import NamedTuple

import matplotlib as mpl
from legsim.tables import PHASES
from matplotlib.axes import Axes

from hocklift.pages.drawing import INK

LEGS = ("left", "right")
_SHADES = ("0.97", "0.88", "#009e73", "#f0e442", "#56b4e9", "#cc79a7")
_FAULT = "#d00000"


class Bar(NamedTuple):
    """One phase of one leg, from when and for how long."""

    leg: str
    phase: int
    start_s: float
    seconds: float


def draw_phases(ax: Axes, bars: Iterable[Bar], faults: Iterable[tuple[str, float]]) -> None:
    """Draw bars, and a cross for each (leg, time) of a fault."""
    rows = {name: row for row, name in enumerate(reversed(LEGS))}
    for bar in bars:
        ax.barh(
            rows[bar.leg],
            bar.seconds,
            left=bar.start_s,
            height=0.7,
            color=_SHADES[bar.phase],
            edgecolor="none",
        )
    for leg, time_s in faults:
        ax.plot(time_s, rows[leg], "x", color=_FAULT, ms=10, mew=2)
    ax.set_yticks(range(len(LEGS)), list(reversed(LEGS)))
    ax.set_xlabel("time, s")
    ax.grid(False)
    handles = [
        mpl.patches.Patch(facecolor=shade, edgecolor=INK, lw=0.4, label=phase.name)
        for shade, phase in zip(_SHADES, PHASES, strict=True)
    ]
    ax.legend(handles=handles, ncols=len(handles), loc="lower left", bbox_to_anchor=(0, 1))
