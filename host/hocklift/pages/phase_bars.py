"""The phases of both legs over time, as bars."""

from collections.abc import Iterable
from typing import Any, NamedTuple

import matplotlib as mpl
from legsim.tables import PHASES
from matplotlib.axes import Axes

from hocklift.pages.drawing import BAD, INK, TIME

LEGS = ("left", "right")
# Phase by phase a colour of Okabe and Ito (Color Universal Design, 2008) and a hatch: neither is
# needed to tell two phases apart.
_FACES: tuple[tuple[Any, str], ...] = (
    ("none", ""),
    ((INK, 0.15), ""),
    ("#009e73", "///"),
    ("#f0e442", ""),
    ("#56b4e9", "\\\\\\"),
    ("#cc79a7", "xxx"),
    ("#e69f00", "..."),
)


class Bar(NamedTuple):
    """One phase of one leg, from when and for how long."""

    leg: str
    phase: int
    start_s: float
    seconds: float


def _face(phase: int) -> dict[str, Any]:
    colour, hatch = _FACES[phase]
    return {"facecolor": colour, "hatch": hatch, "edgecolor": INK, "lw": 0.4}


def draw_phases(ax: Axes, bars: Iterable[Bar], faults: Iterable[tuple[str, float]]) -> None:
    """Draw bars, and a cross for each (leg, time) of a fault."""
    rows = {name: row for row, name in enumerate(reversed(LEGS))}
    for bar in bars:
        ax.barh(
            rows[bar.leg],
            bar.seconds,
            left=bar.start_s,
            height=0.7,
            **_face(bar.phase),
        )
    for leg, time_s in faults:
        ax.plot(time_s, rows[leg], "x", color=BAD, ms=10, mew=2)
    ax.set_yticks(range(len(LEGS)), list(reversed(LEGS)))
    ax.set_xlabel(TIME)
    ax.grid(False)
    handles = [mpl.patches.Patch(**_face(i), label=phase.name) for i, phase in enumerate(PHASES)]
    # In two rows: in one, it would be wider than the picture.
    columns = -(-len(handles) // 2)
    ax.legend(handles=handles, ncols=columns, loc="lower left", bbox_to_anchor=(0, 1))
