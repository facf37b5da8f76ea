"""Pictures of a sweep: lines over one key, or a map over two; no picture shows three."""

from collections.abc import Iterable
from itertools import groupby
from math import nan
from textwrap import wrap
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle
from numpy.typing import NDArray

from hocklift.pages.drawing import BLUE, INK, PAPER, Plan
from hocklift.rigfile.keys import value_at
from hocklift.rigfile.units import unit_of
from hocklift.sizing.axes import Axis
from hocklift.sizing.checks.check import TIGHT
from hocklift.sizing.sweep import HEADLINES, Combination, Sweep

_HATCHES = ("//", "..", "\\\\", "xx", "--", "oo", "||", "++")
# Above so many values a line has no dot at each.
_MOST_DOTS = 25
_MOST_TICKS = 9
# A reason gets its letter into the picture if it has more than this share of all values.
_LETTER_SHARE = 0.02
_FAILING_SHADE = 0.12
_NO_RIG_SHADE = 0.45
_LABEL = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.5}
_LEGEND_WIDTH = 88
_LEGEND_LINE_IN = 0.19


def plans_of(swept: Sweep) -> list[Plan[Sweep]]:
    """How to draw this sweep: one plan, or none for three keys."""
    legend_in = _LEGEND_LINE_IN * sum(
        label.count("\n") + 1 for label in map(str, (h.get_label() for h in _legend(swept)))
    )
    if len(swept.axes) == 1:
        return [
            Plan(
                f"Figures over {swept.axes[0].path}",
                "The headline figures and the worst margin over the values of the key. A hatched"
                " stretch fails, by the check that its letter stands for; a grey one is no"
                " possible rig. The dashed line is the rig's own value.",
                _draw_lines,
                7.2 + legend_in,
            )
        ]
    if len(swept.axes) == 2:
        return [
            Plan(
                f"Worst margin over {swept.axes[0].path} and {swept.axes[1].path}",
                "Colour is the worst margin where every check passes. What is hatched fails, by"
                " the check that its letter stands for, the greyer the further; what is grey"
                " without a hatch is no possible rig. The ring is the best, the cross the rig's"
                " own values.",
                _draw_map,
                5.4 + legend_in,
            )
        ]
    return []


# What both have in common: places in people's units, and marks of what does not pass.


def _in_unit(axis: Axis, value: float) -> float:
    return value / float(unit_of(axis.unit).factor)


def _edges(axis: Axis) -> NDArray[Any]:
    """Ends of the stretch of each value, half way to its neighbours."""
    places = np.array([_in_unit(axis, value) for value in axis.values])
    half = (places[1] - places[0]) / 2
    return np.append(places - half, places[-1] + half)


def _ticks(axis: Axis) -> list[float] | None:
    """The very values, where there is room to name them all; None leaves ticks as they come."""
    if len(axis.values) > _MOST_TICKS:
        return None
    return [_in_unit(axis, value) for value in axis.values]


def _hatch(swept: Sweep, one: Combination) -> str:
    """Return the hatch of a combination that fails; none for what is no rig."""
    if one.verdict == "no rig":
        return ""
    return _HATCHES[list(swept.marks).index(one.why) % len(_HATCHES)]


def _shade(one: Combination) -> float:
    """How grey a combination is that does not pass: the further off, the greyer, in tenths."""
    if one.verdict == "no rig":
        return _NO_RIG_SHADE
    return 0.05 + 0.3 * round(1 - max(0.0, one.margin), 1)


def _cover(
    ax: Axes, swept: Sweep, one: Combination, box: tuple[float, float, float, float], shade: float
) -> None:
    """Shade and hatch a box (left, bottom, width, height), in two, since a hatch is not grey."""
    left, bottom, width, height = box
    grey = (*mpl.colors.to_rgb(INK), shade)
    ax.add_patch(Rectangle((left, bottom), width, height, facecolor=grey, lw=0))
    ax.add_patch(
        Rectangle(
            (left, bottom),
            width,
            height,
            facecolor="none",
            edgecolor=INK,
            lw=0,
            hatch=_hatch(swept, one),
        )
    )


def _legend(swept: Sweep) -> list[Patch]:
    """One patch for each reason not to pass, with its letter and words."""
    failing = {one.why: one for one in reversed(swept.combinations) if one.verdict != "passes"}
    return [
        Patch(
            facecolor="0.6" if one.verdict == "no rig" else "none",
            edgecolor=INK,
            lw=0.4,
            hatch=_hatch(swept, one),
            label="\n".join(wrap(f"{mark}  {why}", _LEGEND_WIDTH)),
        )
        for why, mark in swept.marks.items()
        if (one := failing.get(why)) is not None
    ]


def _add_legend(figure: Figure, swept: Sweep) -> None:
    handles = _legend(swept)
    if handles:
        figure.legend(
            handles=handles, loc="outside lower left", fontsize=8, handlelength=3, handleheight=1.4
        )


# One key.


def _draw_lines(figure: Figure, swept: Sweep) -> None:
    (axis,) = swept.axes
    places = [_in_unit(axis, value) for value in axis.values]
    own = _in_unit(axis, value_at(swept.rig, axis.path))
    curves = [
        (
            f"{headline.short}, {headline.unit}",
            np.array([one.figures[i] for one in swept.combinations])
            / float(unit_of(headline.unit).factor),
        )
        for i, headline in enumerate(HEADLINES)
    ]
    curves.append(("worst margin", np.array([one.margin for one in swept.combinations])))
    axes = figure.subplots(len(curves), 1, sharex=True)
    for ax, (label, values) in zip(axes, curves, strict=True):
        drawable = np.where(np.isfinite(values), values, nan)
        dot = "o" if len(places) <= _MOST_DOTS else ""
        ax.plot(places, drawable, color=BLUE, marker=dot, ms=3.5)
        ax.set_ylabel(label)
        if places[0] <= own <= places[-1]:
            ax.axvline(own, color=INK, lw=0.8, ls="--")
    axes[-1].axhline(1, color=INK, lw=1.2)
    axes[-1].set_xlabel(axis.label)
    axes[-1].set_xlim(_edges(axis)[0], _edges(axis)[-1])
    figure.align_ylabels(axes)
    _draw_stretches(list(axes), swept)
    _add_legend(figure, swept)


def _draw_stretches(axes: list[Axes], swept: Sweep) -> None:
    """Cover each stretch of values that do not pass for one reason, and put its letter on top."""
    edges = _edges(swept.axes[0])
    end = 0
    for (why, verdict), group in groupby(swept.combinations, lambda one: (one.why, one.verdict)):
        members = list(group)
        start, end = end, end + len(members)
        if verdict == "passes":
            continue
        shade = _NO_RIG_SHADE if verdict == "no rig" else _FAILING_SHADE
        for ax in axes:
            low, high = ax.get_ylim()
            ax.set_ylim(low, high)
            box = (edges[start], low, edges[end] - edges[start], high - low)
            _cover(ax, swept, members[0], box, shade)
        if len(members) / len(swept.combinations) > _LETTER_SHARE:
            axes[0].annotate(
                swept.marks[why],
                ((edges[start] + edges[end]) / 2, 1),
                xycoords=("data", "axes fraction"),
                xytext=(0, 3),
                textcoords="offset points",
                ha="center",
                weight="bold",
            )


# Two keys.


def _draw_map(figure: Figure, swept: Sweep) -> None:
    ax = figure.subplots()
    x_axis, y_axis = swept.axes
    x_edges, y_edges = (_edges(axis) for axis in swept.axes)
    columns = [
        swept.combinations[i : i + len(y_axis.values)]
        for i in range(0, len(swept.combinations), len(y_axis.values))
    ]
    _fill_passing(figure, ax, swept, columns)
    for i, column in enumerate(columns):
        _cover_column(ax, swept, column, (x_edges[i], x_edges[i + 1]), y_edges)
    _put_letters(ax, swept)
    best = swept.best_first[0]
    if best.verdict != "no rig":
        _mark(ax, swept, best.values, "o", 9)
    _mark(ax, swept, [value_at(swept.rig, axis.path) for axis in swept.axes], "P", 8)
    ax.set_xlim(x_edges[0], x_edges[-1])
    ax.set_ylim(y_edges[0], y_edges[-1])
    ax.set_xlabel(x_axis.label)
    ax.set_ylabel(y_axis.label)
    for axis, on in zip(swept.axes, (ax.set_xticks, ax.set_yticks), strict=True):
        if ticks := _ticks(axis):
            on(ticks, [f"{tick:.4g}" for tick in ticks])
    ax.grid(False)
    _add_legend(figure, swept)


def _fill_passing(figure: Figure, ax: Axes, swept: Sweep, columns: list[list[Combination]]) -> None:
    """Colour what passes by its worst margin."""
    if not swept.met:
        return
    margins = np.array(
        [[one.margin if one.verdict == "passes" else nan for one in column] for column in columns]
    ).T
    # Edges of their own colour close the seams that a renderer leaves between cells.
    mesh = ax.pcolormesh(
        *map(_edges, swept.axes),
        np.ma.masked_invalid(margins),
        cmap="cividis",
        vmin=1,
        vmax=max(TIGHT, float(np.nanmax(margins))),
        edgecolor="face",
        lw=0.5,
    )
    figure.colorbar(mesh, ax=ax, label="worst margin, where every check passes")


def _cover_column(
    ax: Axes,
    swept: Sweep,
    column: list[Combination],
    ends: tuple[float, float],
    edges: NDArray[Any],
) -> None:
    """Cover what does not pass in one column, neighbours of one reason and grey in one piece."""
    end = 0
    for _, group in groupby(column, lambda one: (one.why, one.verdict, _shade(one))):
        members = list(group)
        start, end = end, end + len(members)
        if members[0].verdict != "passes":
            box = (ends[0], edges[start], ends[1] - ends[0], edges[end] - edges[start])
            _cover(ax, swept, members[0], box, _shade(members[0]))


def _put_letters(ax: Axes, swept: Sweep) -> None:
    """Put each letter into the middle of its area, or at the cell of it that is nearest."""
    for why, mark in swept.marks.items():
        places = _places(
            swept, [one for one in swept.combinations if one.why == why and one.verdict != "passes"]
        )
        if len(places) / len(swept.combinations) <= _LETTER_SHARE:
            continue
        # Each key's whole stretch counts the same.
        scaled = (places - places.mean(axis=0)) / np.ptp(_places(swept, swept.combinations), axis=0)
        at = places[np.argmin(np.hypot(*scaled.T))]
        ax.text(at[0], at[1], mark, ha="center", va="center", weight="bold", bbox=_LABEL)


def _places(swept: Sweep, combinations: list[Combination]) -> NDArray[Any]:
    return np.array(
        [
            [_in_unit(axis, value) for axis, value in zip(swept.axes, one.values, strict=True)]
            for one in combinations
        ]
    )


def _mark(ax: Axes, swept: Sweep, values: Iterable[float], mark: str, size: float) -> None:
    """Mark a combination, if it is inside."""
    if all(
        axis.values[0] <= value <= axis.values[-1]
        for axis, value in zip(swept.axes, values, strict=True)
    ):
        at = [_in_unit(axis, value) for axis, value in zip(swept.axes, values, strict=True)]
        ax.plot(*at, mark, ms=size, markerfacecolor=PAPER, markeredgecolor=INK)
