"""Pictures of a walk as SVG text that sits inside a page.

Drawn so that they follow the page's ink in light and dark, and so that left and right
are told apart by line style as well as by colour.
"""

import io
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import cos, sin
from typing import Any

import matplotlib as mpl
import numpy as np
from legcore.faults import FAULTS
from legcore.phases import PHASES
from legsim.linkage import fold_for_lift_rad
from legsim.rig import Rig
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from hocklift.rehearse import LEGS, Rehearsal

# Matplotlib cannot draw in "the page's colour", so it draws in this one, which is replaced.
_INK = "#010203"
# Vermilion and sky blue differ for every common kind of colour blindness
# (Okabe & Ito, Color Universal Design, 2008).
_COLOUR = {"left": "#0072b2", "right": "#d55e00"}
_LINE = {"left": "-", "right": (0, (4, 1.5))}
_SHADES = ("0.97", "0.88", "#009e73", "#f0e442", "#56b4e9", "#cc79a7")

_STYLE: Any = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 9,
    "text.color": _INK,
    "axes.edgecolor": _INK,
    "axes.labelcolor": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "axes.facecolor": "none",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.alpha": 0.2,
    "grid.color": _INK,
    "legend.frameon": False,
}


@dataclass(frozen=True)
class Picture:
    """One picture: heading, what it tells in words, and its SVG."""

    title: str
    words: str
    svg: str


def pictures(rehearsal: Rehearsal) -> list[Picture]:
    """All pictures of a rehearsal, in reading order."""
    made = []
    for title, words, draw, height_in in _PICTURES:
        with mpl.rc_context(_STYLE), mpl.rc_context({"svg.hashsalt": title}):
            figure = Figure(figsize=(9, height_in), layout="constrained")
            draw(figure, rehearsal)
            made.append(Picture(title, words, _svg(figure, title)))
    return made


def _svg(figure: Figure, title: str) -> str:
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :].replace(_INK, "currentColor")
    # Several pictures share one page, so their identifiers must differ.
    prefix = title.partition(" ")[0].lower()
    for mark in ('id="', 'href="#', "url(#"):
        text = text.replace(mark, f"{mark}{prefix}-")
    return text


def _time_s(rehearsal: Rehearsal) -> NDArray[Any]:
    return np.arange(len(rehearsal.trace)) * rehearsal.rig.control.period_s


def _draw_fold(figure: Figure, rehearsal: Rehearsal) -> None:
    time_s = _time_s(rehearsal)
    rig = rehearsal.rig
    axes = figure.subplots(2, 1, sharex=True, sharey=True)
    for name, ax in zip(LEGS, axes, strict=True):
        leg = rehearsal.trace[name]
        fold_deg = np.degrees(leg["thigh_rad"] + leg["shank_rad"])
        ax.plot(time_s, fold_deg, color=_COLOUR[name], lw=1.5, label="fold")
        moving = np.array([phase[1] for phase in PHASES])[leg["phase"]] == 1
        setpoint_deg = np.where(moving, leg["setpoint_cdeg_q6"] / 6400, np.nan)
        ax.plot(time_s, setpoint_deg, color=_INK, lw=0.9, ls=":", label="setpoint")
        target_deg = np.degrees(fold_for_lift_rad(rig.mechanism, rig.wants.clearance_m))
        ax.axhline(target_deg, color=_INK, lw=0.6, ls="--")
        ax.axhline(np.degrees(rig.mechanism.fold_soft_stop_rad), color=_INK, lw=1.2)
        ax.set_ylabel(f"{name} fold, deg")
        ax.legend(ncols=2, loc="upper right", bbox_to_anchor=(1, 0.9))
        ax.annotate(
            "soft end stop",
            (0, np.degrees(rig.mechanism.fold_soft_stop_rad)),
            xytext=(0, -3),
            textcoords="offset points",
            va="top",
        )
    axes[-1].set_xlabel("time, s")


def _plot_both(ax: Axes, rehearsal: Rehearsal, field: str, scale: float) -> None:
    for name in LEGS:
        values = rehearsal.trace[name][field] * scale
        ax.plot(_time_s(rehearsal), values, color=_COLOUR[name], ls=_LINE[name], lw=1.2, label=name)


def _draw_clearance(figure: Figure, rehearsal: Rehearsal) -> None:
    ax = figure.subplots()
    wants = rehearsal.rig.wants
    _plot_both(ax, rehearsal, "clearance_m", 1000)
    tolerance_m = wants.clearance_m * wants.clearance_tolerance
    ax.axhspan(
        1000 * (wants.clearance_m - tolerance_m),
        1000 * (wants.clearance_m + tolerance_m),
        color=_INK,
        alpha=0.12,
        lw=0,
    )
    ax.set_ylabel("clearance, mm")
    ax.set_xlabel("time, s")
    ax.legend(ncols=2, loc="lower right", bbox_to_anchor=(1, 1))


def _draw_drive(figure: Figure, rehearsal: Rehearsal) -> None:
    axes = figure.subplots(2, 1, sharex=True)
    _plot_both(axes[0], rehearsal, "drive_permille", 0.1)
    axes[0].set_ylabel("drive, %")
    axes[0].legend(ncols=2, loc="lower right", bbox_to_anchor=(1, 1))
    _plot_both(axes[1], rehearsal, "current_A", 1)
    axes[1].set_ylabel("motor current, A")
    axes[1].set_xlabel("time, s")


def _draw_rope(figure: Figure, rehearsal: Rehearsal) -> None:
    axes = figure.subplots(2, 1, sharex=True)
    _plot_both(axes[0], rehearsal, "tension_peak_N", 1)
    axes[0].set_ylabel("lead line, N")
    axes[0].legend(ncols=2, loc="lower right", bbox_to_anchor=(1, 1))
    _plot_both(axes[1], rehearsal, "slack_m", 1000)
    axes[1].set_ylabel("loose rope, mm")
    axes[1].set_xlabel("time, s")


def _draw_phases(figure: Figure, rehearsal: Rehearsal) -> None:
    ax = figure.subplots()
    period_s = rehearsal.rig.control.period_s
    for row, name in enumerate(reversed(LEGS)):
        leg = rehearsal.trace[name]
        changes = np.flatnonzero(np.diff(leg["phase"])) + 1
        edges = [0, *changes.tolist(), len(leg)]
        for i, end in pairwise(edges):
            phase = leg["phase"][i]
            ax.barh(
                row,
                (end - i) * period_s,
                left=i * period_s,
                height=0.7,
                color=_SHADES[phase],
                edgecolor="none",
            )
        for fault in FAULTS:
            faulty = np.flatnonzero(leg["fault_bits"] & fault[0])
            if len(faulty):
                ax.plot(faulty[0] * period_s, row, "x", color="#d00000", ms=10, mew=2)
    ax.set_yticks(range(len(LEGS)), list(reversed(LEGS)))
    ax.set_xlabel("time, s")
    ax.grid(False)
    handles = [
        mpl.patches.Patch(facecolor=shade, edgecolor=_INK, lw=0.4, label=phase[0])
        for shade, phase in zip(_SHADES, PHASES, strict=True)
    ]
    ax.legend(handles=handles, ncols=len(handles), loc="lower right", bbox_to_anchor=(1, 1))


def _draw_moments(figure: Figure, rehearsal: Rehearsal) -> None:
    moments = key_moments(rehearsal)
    axes = np.atleast_1d(figure.subplots(1, len(moments), sharex=True, sharey=True))
    for ax, (words, tick) in zip(axes, moments, strict=True):
        row = rehearsal.trace[tick]
        ax.axhline(0, color=_INK, lw=1.2)
        for name in reversed(LEGS):
            draw_leg(ax, rehearsal.rig, row[name], _COLOUR[name])
        ax.set_title(f"{words}\n{tick * rehearsal.rig.control.period_s:.2f} s", fontsize=9)
        ax.set_aspect("equal")
        ax.set_axis_off()


def key_moments(rehearsal: Rehearsal) -> list[tuple[str, int]]:
    """Moments of the left leg's middle step, as words and tick; just the start without steps."""
    steps = rehearsal.legs["left"].steps
    if not steps:
        return [("standing", 0)]
    period_s = rehearsal.rig.control.period_s
    step = steps[len(steps) // 2]
    start = round(step.asked_s / period_s)
    after = rehearsal.trace["left"][
        start : start + round(2 / rehearsal.rig.wearer.cadence_per_s / period_s)
    ]
    top = start + int(np.argmax(after["clearance_m"]))
    let_go = start + int(np.argmax(np.diff(after["push"], prepend=0) < 0))
    lift = round(min(step.lift_s, 10) / period_s)
    lower = round(min(step.lower_s, 10) / period_s)
    last = len(rehearsal.trace) - 1
    return [
        ("foot raised", start),
        ("lifting", min(start + lift // 2, last)),
        ("highest", top),
        ("lowering", min(let_go + lower // 2, last)),
        ("foot down", min(let_go + lower, last)),
    ]


def draw_leg(ax: Axes, rig: Rig, leg: Any, colour: str) -> None:
    """Draw one leg to scale from the side: both parallelograms, spring and rope, in m."""
    m = rig.mechanism
    hip = np.array([0.0, leg["hip_m"]])
    along_thigh = np.array([-sin(leg["thigh_rad"]), -cos(leg["thigh_rad"])])
    along_shank = np.array([sin(leg["shank_rad"]), -cos(leg["shank_rad"])])
    knee = hip + m.thigh_length_m * along_thigh
    foot = knee + m.shank_length_m * along_shank
    half = np.array([0.035, 0.0])
    for side in (-half, half):
        ax.plot(*np.array([hip + side, knee + side]).T, color=colour, lw=1.6)
        ax.plot(*np.array([knee + side, foot + side]).T, color=colour, lw=1.6)
    ax.plot(*np.array([hip - 2.5 * half, hip + 2.5 * half]).T, color=colour, lw=4)
    ax.plot(*np.array([knee - 1.3 * half, knee + 1.3 * half]).T, color=colour, lw=4)
    ax.plot(*np.array([foot - 2 * half, foot + 3.5 * half]).T, color=colour, lw=4)
    spring = (
        knee - rig.spring.thigh_anchor_m * along_thigh,
        knee + rig.spring.shank_anchor_m * along_shank,
    )
    ax.plot(*_coil(*spring).T, color=colour, lw=0.9)
    rope = (
        knee - rig.rope.thigh_anchor_m * along_thigh,
        knee + rig.rope.shank_anchor_m * along_shank,
    )
    slack = leg["slack_m"] > 0.001
    ax.plot(*np.array(rope).T, color=_INK, lw=0.8, ls=":" if slack else "-")


def _coil(start: NDArray[np.float64], end: NDArray[np.float64]) -> NDArray[np.float64]:
    """A zigzag of eight turns between two points."""
    axis = end - start
    across = np.array([-axis[1], axis[0]]) / np.linalg.norm(axis) * 0.018
    places = np.linspace(0.1, 0.9, 16)
    zigzag = [start + p * axis + (1 if i % 2 else -1) * across for i, p in enumerate(places)]
    return np.array([start, *zigzag, end])


# (title, the same in words, how it is drawn, height in inches)
_PICTURES: tuple[tuple[str, str, Callable[[Figure, Rehearsal], None], float], ...] = (
    (
        "Poses of one step",
        "Both legs from the side, to scale, at five moments of one step of the left leg. The"
        " zigzag is the spring, the thin line the rope (dotted where it is slack).",
        _draw_moments,
        2.9,
    ),
    (
        "Fold and setpoint",
        "Fold of each leg over time. Dotted: the setpoint the controller follows. Dashed: the"
        " fold that gives the wanted clearance. Between steps the fold shows how far the leg"
        " sinks under the weight.",
        _draw_fold,
        4.6,
    ),
    (
        "Clearance",
        "Height of each foot plate over the ground; the band is what the rig file wants.",
        _draw_clearance,
        2.8,
    ),
    (
        "Drive and current",
        "Drive given to the speed controllers, folding upwards, and the current in the motors.",
        _draw_drive,
        4.2,
    ),
    (
        "Rope",
        "Tension in the lead line, and rope lying loose at the tackle. A standing leg sinks under"
        " weight, so its rope is loose; with the foot up it should be tight.",
        _draw_rope,
        4.2,
    ),
    (
        "Phases",
        "The phase of each leg over time; a cross marks a fault.",
        _draw_phases,
        1.9,
    ),
)
