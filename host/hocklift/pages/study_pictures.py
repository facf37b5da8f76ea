"""Pictures of a study: how many builds meet each want, how near they come, what matters most."""

from collections.abc import Sequence
from math import inf

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from hocklift.pages.drawing import BLUE, DASHED, INK, RED, Plan
from hocklift.studying.study import WANTED, Share, Study
from hocklift.studying.words import key_of, spread_words

_ROW_IN = 0.34
_FRAME_IN = 1.0
_MOST_EFFECTS = 20
# Farther than this from a limit, either way, a build is drawn at the edge.
_EDGE = 100.0


def plans_of(study: Study) -> list[Plan[Study]]:
    """How to draw this study."""
    rows = len(study.wants) + 1
    plans = [
        Plan(
            "How many builds meet each want",
            "The share of all builds, a dot, and between which shares the truth is, 95 % sure, its"
            f" line. The dashed line is the {100 * WANTED:g} % that are wanted; hollow dots do not"
            " reach it.",
            _draw_shares,
            _FRAME_IN + _ROW_IN * rows,
        ),
        Plan(
            "How near builds come to each limit",
            "In percent of what is asked; right of the heavy line the want is missed. Half of all"
            " builds are in the box, its tick is the median, nine in ten are on the line, and the"
            " dot is the worst. A want that is only met or not, with nothing between, is left out;"
            " what never came, or is farther, is drawn at the edge.",
            _draw_margins,
            _FRAME_IN + _ROW_IN * len(_graded(study)),
        ),
    ]
    if study.effects:
        plans.append(
            Plan(
                "Which tolerance matters most",
                "How far the nearest limit moves, in the mean and in percent of what is asked, when"
                " one number goes from one end of its spread to the other; the thin line is its"
                f" 95 % interval. The first {_MOST_EFFECTS}.",
                _draw_effects,
                _FRAME_IN + _ROW_IN * min(_MOST_EFFECTS, len(study.effects)),
            )
        )
    return plans


def _name_rows(ax: Axes, names: Sequence[str]) -> None:
    """Give each row its name, the first row on top."""
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)


def _draw_shares(figure: Figure, study: Study) -> None:
    ax = figure.subplots()
    rows: list[tuple[str, Share]] = [(want.name, share) for want, share in study.wants]
    rows.append(("every want", study.share))
    for i, (_, share) in enumerate(rows):
        enough = share.share >= WANTED
        ax.plot([100 * share.low, 100 * share.high], [i, i], color=INK, lw=1.2)
        ax.plot(100 * share.share, i, "o", ms=7, mec=BLUE, mfc=BLUE if enough else "none", mew=1.4)
    ax.axvline(100 * WANTED, color=INK, lw=0.9, ls=DASHED)
    ax.axhline(len(rows) - 1.5, color=INK, lw=0.6)
    ax.set_xlabel("builds that meet it, %")
    _name_rows(ax, [name for name, _ in rows])


def _graded(study: Study) -> list[tuple[str, list[float]]]:
    """Wants of which a build that meets them has something in hand, in %, by build."""
    columns = zip(*(ran.missed for ran in study.ran), strict=True)
    return [
        (want.name, [100 * missed for missed in column])
        for (want, _), column in zip(study.wants, columns, strict=True)
        if min(column) < 0
    ]


def _draw_margins(figure: Figure, study: Study) -> None:
    ax = figure.subplots()
    rows = _graded(study)
    for i, (_, missed) in enumerate(rows):
        inside = np.clip(missed, -_EDGE, _EDGE)
        ends = np.quantile(inside, (0.05, 0.25, 0.5, 0.75, 0.95))
        ax.plot(ends[[0, 4]], [i, i], color=INK, lw=1.2)
        ax.barh(i, ends[3] - ends[1], 0.46, ends[1], facecolor=BLUE, edgecolor=INK, lw=0.8)
        ax.plot([ends[2], ends[2]], [i - 0.23, i + 0.23], color=INK, lw=2.4)
        ax.plot(inside.max(), i, "o", ms=4, mfc="none", mec=RED, mew=1.2)
        if never := sum(one == inf for one in missed):
            ax.text(_EDGE, i - 0.27, f"{never} never", ha="right", va="bottom", fontsize=8)
    ax.axvline(0, color=INK, lw=2)
    ax.set_xlim(-_EDGE * 1.03, _EDGE * 1.03)
    ax.set_xlabel("from the limit, % of what is asked: left is in hand, right is missed")
    _name_rows(ax, [name for name, _ in rows])


def _draw_effects(figure: Figure, study: Study) -> None:
    ax = figure.subplots()
    effects = study.effects[:_MOST_EFFECTS]
    for i, effect in enumerate(effects):
        ax.barh(i, 100 * effect.nearest, 0.6, facecolor=BLUE, edgecolor=INK, lw=0.6)
        low = max(0.0, effect.nearest - effect.doubt)
        ax.plot([100 * low, 100 * (effect.nearest + effect.doubt)], [i, i], color=INK, lw=1.4)
    ax.set_xlim(left=0)
    ax.set_xlabel("the nearest limit moves by, % of what is asked")
    _name_rows(
        ax,
        [
            f"{key_of(effect.tolerance).path}, {spread_words(effect.tolerance)}"
            for effect in effects
        ],
    )
