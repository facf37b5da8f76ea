"""What all pictures share: inks, style, and a leg from the side; SVG text to sit inside a page.

Drawn so that they follow the page's ink in light and dark, and so that nothing is told by
colour alone.
"""

import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from math import cos, sin
from typing import Any, Generic, NamedTuple, TypeVar

import matplotlib as mpl
import numpy as np
from legsim.rig import Rig
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

# Matplotlib cannot draw in "the page's colour", so it draws in these, which are replaced.
INK = "#010203"
PAPER = "#fdfcfb"
# Blue and vermilion differ for every common kind of colour blindness
# (Okabe & Ito, Color Universal Design, 2008).
BLUE = "#0072b2"
RED = "#d55e00"
BAD = "#a00102"
_THEME = {
    INK: "currentColor",
    PAPER: "var(--paper)",
    BLUE: "var(--blue)",
    RED: "var(--red)",
    BAD: "var(--bad)",
}
DASHED = (0, (4, 1.5))
# Ink and line of each leg, wherever a picture has both: the line is the second cue.
COLOUR = {"left": BLUE, "right": RED}
LINE: dict[str, Any] = {"left": "-", "right": DASHED}
# What an axis of time is labelled with: the line that goes with the moving legs goes there.
TIME = "time, s"

# Narrow, so that a phone shows it at a size that people can read.
_WIDTH_IN = 7.0
_STYLE: Any = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 9,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.color": INK,
    "hatch.linewidth": 0.5,
    "patch.edgecolor": INK,
    "axes.facecolor": "none",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.formatter.useoffset": False,
    "grid.alpha": 0.2,
    "grid.color": INK,
    "legend.frameon": False,
}

Subject = TypeVar("Subject")


class Track(NamedTuple):
    """Where a picture has time: its box in the units of the SVG, and the seconds at both sides."""

    left: float
    top: float
    right: float
    bottom: float
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Picture:
    """One picture: heading, what it tells in words, its SVG, and where in it is time."""

    title: str
    words: str
    svg: str
    tracks: tuple[Track, ...] = ()


@dataclass(frozen=True)
class Plan(Generic[Subject]):
    """How to make one picture of a subject: heading, the same in words, and who draws it."""

    title: str
    words: str
    draw: Callable[[Figure, Subject], None]
    height_in: float


class Pose(NamedTuple):
    """A leg from the side: its hip's place in m, its links' leans, and whether its rope is slack.

    x is forward, the knee behind; the height is over the ground.
    """

    hip_m: float
    thigh_rad: float
    shank_rad: float
    x_m: float = 0.0
    slack: bool = False


def drawn(plans: Iterable[Plan[Subject]], subject: Subject) -> list[Picture]:
    """Make all pictures of a subject, in reading order."""
    made = []
    for plan in plans:
        with mpl.rc_context(_STYLE), mpl.rc_context({"svg.hashsalt": plan.title}):
            figure = Figure(figsize=(_WIDTH_IN, plan.height_in), layout="constrained")
            plan.draw(figure, subject)
            svg = _svg(figure, plan.title)
            # Only once it is drawn do its axes have their places.
            made.append(Picture(plan.title, plan.words, svg, tuple(_tracks(figure))))
    return made


def _tracks(figure: Figure) -> Iterator[Track]:
    width, height = 72 * figure.get_size_inches()
    timed = [ax for ax in figure.axes if ax.get_xlabel() == TIME]
    for ax in figure.axes:
        if any(ax is one or ax.get_shared_x_axes().joined(ax, one) for one in timed):
            box = ax.get_position()
            top, bottom = height * (1 - box.y1), height * (1 - box.y0)
            edges = (width * box.x0, top, width * box.x1, bottom, *ax.get_xlim())
            yield Track(*(round(float(edge), 3) for edge in edges))


def _svg(figure: Figure, title: str) -> str:
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    # What only a file of its own needs; its style would reach over the whole page.
    for unwanted in (r"<metadata>.*?</metadata>", r"<style.*?</style>", r'\sxmlns(:\w+)?="[^"]*"'):
        text = re.sub(unwanted, "", text, flags=re.DOTALL)
    for ink, themed in _THEME.items():
        text = text.replace(ink, themed)
    # Several pictures share one page, so their identifiers must differ.
    prefix = re.sub(r"\W+", "-", title.lower())
    for mark in ('id="', 'href="#', "url(#"):
        text = text.replace(mark, f"{mark}{prefix}-")
    return text.replace(">", f"><title>{escape(title)}</title>", 1)


def joints_m(rig: Rig, pose: Pose) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Return where hip, knee and foot are."""
    m = rig.mechanism
    hip = np.array([pose.x_m, pose.hip_m])
    knee = hip - m.thigh_length_m * _up_thigh(pose)
    return hip, knee, knee + m.shank_length_m * _down_shank(pose)


def _up_thigh(pose: Pose) -> NDArray[Any]:
    return np.array([sin(pose.thigh_rad), cos(pose.thigh_rad)])


def _down_shank(pose: Pose) -> NDArray[Any]:
    return np.array([sin(pose.shank_rad), -cos(pose.shank_rad)])


def draw_leg(ax: Axes, rig: Rig, pose: Pose, colour: str, links: Any = "-") -> None:
    """Draw one leg to scale from the side: both parallelograms, spring and rope, in m.

    `links` is the line style of the links.
    """
    hip, knee, foot = joints_m(rig, pose)
    half = np.array([0.035, 0.0])
    for side in (-half, half):
        _line(ax, (hip + side, knee + side, foot + side), color=colour, lw=1.6, ls=links)
    for middle, behind, ahead in ((hip, 2.5, 2.5), (knee, 1.3, 1.3), (foot, 2, 3.5)):
        _line(ax, (middle - behind * half, middle + ahead * half), color=colour, lw=4)
    up, down = _up_thigh(pose), _down_shank(pose)
    spring, rope = rig.spring, rig.rope
    _line(
        ax,
        _coil(knee + spring.thigh_anchor_m * up, knee + spring.shank_anchor_m * down),
        color=colour,
        lw=0.9,
    )
    _line(
        ax,
        (knee + rope.thigh_anchor_m * up, knee + rope.shank_anchor_m * down),
        color=INK,
        lw=0.8,
        ls=":" if pose.slack else "-",
    )


def draw_poses(figure: Figure, rig: Rig, moments: Sequence[tuple[str, Mapping[str, Pose]]]) -> None:
    """Draw both legs at some moments side by side, each under its words."""
    axes = np.atleast_1d(figure.subplots(1, len(moments), sharex=True, sharey=True))
    for ax, (words, poses) in zip(axes, moments, strict=True):
        ax.axhline(0, color=INK, lw=1.2)
        for name in reversed(COLOUR):
            draw_leg(ax, rig, poses[name], COLOUR[name], LINE[name])
        ax.set_title(words, fontsize=9)
        ax.set_aspect("equal")
        ax.set_axis_off()


def _line(ax: Axes, points: Iterable[NDArray[Any]], **how: Any) -> None:
    ax.plot(*np.array(list(points)).T, **how)


def _coil(start: NDArray[Any], end: NDArray[Any]) -> list[NDArray[Any]]:
    """A zigzag of eight turns between two points."""
    axis = end - start
    across = np.array([-axis[1], axis[0]]) / np.linalg.norm(axis) * 0.018
    places = np.linspace(0.1, 0.9, 16)
    zigzag = [start + p * axis + (1 if i % 2 else -1) * across for i, p in enumerate(places)]
    return [start, *zigzag, end]
