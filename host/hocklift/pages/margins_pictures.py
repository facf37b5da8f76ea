"""Pictures of open loops: gain and phase over frequency, and both at once about minus one."""

from math import degrees, pi
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from hocklift.loops.linear import Complexes, Floats
from hocklift.loops.loop import PHASES, Loop
from hocklift.loops.margins import frequencies
from hocklift.loops.told import PEAK_MOST, Told
from hocklift.pages.drawing import BLUE, DASHED, INK, RED, Plan

_COLOUR = dict(zip(PHASES, (BLUE, INK, RED), strict=True))
_LINE: dict[str, Any] = dict(zip(PHASES, ("-", ":", DASHED), strict=True))
# A picture about minus one shows so much around it.
_AROUND = 3.0


def _responses(found: Told) -> list[tuple[Loop, Floats, Complexes]]:
    made = []
    for row in found.rows:
        if row.loop is not None:
            turn_rad = frequencies(row.loop.steps, row.loop.visit_s)
            made.append((row.loop, turn_rad / row.loop.visit_s, row.loop.steps.at(turn_rad)))
    return made


def _plot(ax: Axes, found: Told, loop: Loop, x: Floats, y: Floats) -> None:
    # One label a phase; its poses share the line's style.
    first = next(row.loop for row in found.rows if row.phase == loop.phase and row.loop)
    ax.plot(
        x,
        y,
        color=_COLOUR[loop.phase],
        ls=_LINE[loop.phase],
        lw=1.0,
        label=loop.phase if loop is first else None,
    )


def _draw_bode(figure: Figure, found: Told) -> None:
    gain, phase = figure.subplots(2, 1, sharex=True)
    for loop, radps, response in _responses(found):
        _plot(gain, found, loop, radps / (2 * pi), np.asarray(abs(response)))
        angle = np.degrees(np.unwrap(np.angle(response)))
        # An integrator twice over begins at half a turn behind.
        angle -= 360 * round((angle[0] + 135) / 360)
        _plot(phase, found, loop, radps / (2 * pi), np.asarray(angle))
    gain.set_xscale("log")
    gain.set_yscale("log")
    gain.axhline(1, color=INK, lw=0.8)
    gain.set_ylabel("gain of the loop")
    gain.legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1))
    phase.axhline(-180, color=INK, lw=0.8)
    phase.set_ylim(-450, 0)
    phase.set_yticks(range(-450, 1, 90))
    phase.set_ylabel("phase, deg")
    phase.set_xlabel("frequency, Hz")


def _draw_nyquist(figure: Figure, found: Told) -> None:
    ax = figure.subplots()
    for loop, _, response in _responses(found):
        _plot(ax, found, loop, np.asarray(response.real), np.asarray(response.imag))
    turn = np.linspace(0, 2 * pi, 200)
    ax.plot(-1 + np.cos(turn) / PEAK_MOST, np.sin(turn) / PEAK_MOST, color=INK, lw=0.6)
    ax.plot([-1], [0], marker="+", ms=12, color=INK)
    ax.annotate("-1", (-1, 0), xytext=(6, 6), textcoords="offset points")
    ax.set_xlim(-_AROUND, 1)
    ax.set_ylim(-_AROUND, 1)
    ax.set_aspect("equal")
    ax.set_xlabel("real part")
    ax.set_ylabel("imaginary part")
    ax.legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1))


def _draw_delay(figure: Figure, found: Told) -> None:
    ax = figure.subplots()
    for phase in PHASES:
        rows = [row for row in found.rows if row.phase == phase and row.margins]
        ax.plot(
            [degrees(row.fold_rad) for row in rows],
            [row.margins.peak for row in rows if row.margins],
            color=_COLOUR[phase],
            ls=_LINE[phase],
            marker="o",
            ms=3,
            label=phase,
        )
    ax.axhline(PEAK_MOST, color=INK, lw=0.8)
    ax.annotate(
        "nervous above", (1, PEAK_MOST), xycoords=("axes fraction", "data"), ha="right", va="bottom"
    )
    ax.set_ylim(bottom=1)
    ax.set_xlabel("fold, deg")
    ax.set_ylabel("peak sensitivity")
    ax.legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1))


PLANS: tuple[Plan[Told], ...] = (
    Plan(
        "Gain and phase of the loop",
        "Each line is one pose. Where the upper picture passes 1, the lower one should still be"
        " well above -180 degrees: what is left is the phase margin. Where the lower one passes"
        " -180 degrees, the gain should be well below 1.",
        _draw_bode,
        5.0,
    ),
    Plan(
        "How near the loop comes to minus one",
        "Gain and phase in one line, from slow (far out) to fast (the middle). Where it runs"
        " through the cross or round its far side, the leg swings by itself; where it keeps out"
        f" of the circle, peak sensitivity is below {PEAK_MOST:g}.",
        _draw_nyquist,
        5.5,
    ),
    Plan(
        "Peak sensitivity over the fold",
        "How many times stronger feedback makes a disturbance at the worst frequency, in each"
        " phase over the pose; 1 is no worse than without feedback.",
        _draw_delay,
        3.0,
    ),
)
