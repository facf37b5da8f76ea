"""Pictures of a fit: each number beside its tolerance, and the recording beside both rigs."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from hocklift.fitting.compiled import RAISED, STOOPED, SWINGING
from hocklift.fitting.fitting import Fit
from hocklift.fitting.model import Floats, Would
from hocklift.fitting.numbers import EVEN
from hocklift.fitting.pieces import Piece
from hocklift.fitting.told import ordered
from hocklift.pages.drawing import BLUE, DASHED, INK, RED, Plan

_INTO = "time into it, s"


def _draw_numbers(figure: Figure, found: Fit) -> None:
    ax = figure.subplots()
    rows = [row for row in ordered(found) if row.told]
    for i, row in enumerate(reversed(rows)):
        number = row.number
        per = number.per_u(0.0)
        at, error = (row.value - row.was) / per, row.error / per
        middle = (number.centre - row.was) / per
        ax.plot([middle - EVEN, middle + EVEN], [i, i], color=INK, lw=5, alpha=0.15)
        ax.errorbar([at], [i], xerr=[2 * error], color=BLUE, marker="o", ms=4, capsize=3)
    ax.set_yticks(range(len(rows)), [row.number.name for row in reversed(rows)])
    ax.axvline(0, color=INK, lw=0.8)
    ax.set_xlabel("found less the file, in standard deviations of the tolerance")
    ax.set_ylim(-0.7, len(rows) - 0.3)


def _first(found: Fit, kind: int) -> Piece | None:
    pieces = [piece for piece in found.pieces if piece.kind == kind]
    return pieces[0] if pieces else None


def _drawn_deg(lean_rad: dict[str, Floats], piece: Piece) -> Floats:
    """What a piece is told by: its fold, or how far a leg that hangs has swung."""
    way = -1 if piece.kind == SWINGING else 1
    return np.degrees(lean_rad["shank"] + way * lean_rad["thigh"])[piece.start : piece.end]


def _both(found: Fit) -> list[tuple[Would, dict[str, Any]]]:
    """What either rig would have done, and how it is drawn."""
    return [
        (found.before, {"color": RED, "ls": DASHED, "lw": 1.2, "label": "the file's rig"}),
        (found.after, {"color": BLUE, "ls": "-", "lw": 1.2, "label": "the rig as found"}),
    ]


def _draw_moves(figure: Figure, found: Fit) -> None:
    kinds = [(RAISED, "lift"), (STOOPED, "stoop"), (SWINGING, "swing")]
    shown = [(piece, words) for kind, words in kinds if (piece := _first(found, kind))]
    axes = np.atleast_1d(figure.subplots(len(shown), 1))
    for ax, (piece, words) in zip(axes, shown, strict=True):
        _draw_move(ax, found, piece, words)
    axes[0].legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1))
    axes[-1].set_xlabel(_INTO)


def _draw_move(ax: Axes, found: Fit, piece: Piece, words: str) -> None:
    leg = found.readings.legs[piece.leg]
    time_s = np.arange(piece.end - piece.start) * found.readings.period_s
    good = leg.good[piece.start : piece.end]
    recorded_deg = _drawn_deg(leg.lean_rad, piece)
    ax.plot(time_s[good], recorded_deg[good], color=INK, lw=0, marker=".", ms=2, label="recorded")
    for would, style in _both(found):
        ax.plot(time_s, _drawn_deg(would.lean_rad[piece.leg], piece), **style)
    what = "shank less thigh" if piece.kind == SWINGING else "fold"
    ax.set_ylabel(f"{what}, deg")
    ax.set_title(f"{piece.leg} leg, first {words}", fontsize=9, loc="right")


def _draw_battery(figure: Figure, found: Fit) -> None:
    ax = figure.subplots()
    piece = next(piece for piece in found.pieces if piece in found.after.battery_V)
    time_s = np.arange(piece.end - piece.start) * found.readings.period_s
    volts = found.readings.battery_V[piece.start : piece.end]
    ax.plot(time_s, volts, color=INK, lw=0, marker=".", ms=2, label="recorded")
    for would, style in _both(found):
        ax.plot(time_s, would.battery_V[piece], **style)
    ax.set_ylabel("battery as read, V")
    ax.set_xlabel(_INTO)
    ax.legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1))


PLANS: tuple[Plan[Fit], ...] = (
    Plan(
        "What differs from the file",
        "Each number that is told, as far from the file as its tolerance counts: the grey bar is"
        " the tolerance, the thin one two standard errors either way. Where a thin bar keeps off"
        " the upright line, the rig is not as the file has it.",
        _draw_numbers,
        5.5,
    ),
    Plan(
        "Recorded motion beside both rigs",
        "The same pulses, given to the rig of the file and to the rig as found. The nearer the"
        " full line lies to the dots, the better is the rig known.",
        _draw_moves,
        6.0,
    ),
    Plan(
        "Recorded voltage beside both rigs",
        "The battery sinks with what the motors draw, and so tells of it: there is no meter of"
        " current on the board.",
        _draw_battery,
        3.0,
    ),
)
