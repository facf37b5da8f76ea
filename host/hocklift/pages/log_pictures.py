"""Pictures of a recording, for its page."""

from typing import Any

import numpy as np
from legcore.phases import OFF, STANDING
from legsim.linkage import height_m, leans_under_hip_rad
from legsim.rig import Rig
from legsim.tables import PHASES
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from hocklift.log import Log, rig_of
from hocklift.logfigures import BOTH, LEGS, Figures, phase_spells, time_of
from hocklift.pages.drawing import BLUE, COLOUR, INK, LINE, RED, TIME, Plan, Pose, draw_poses
from hocklift.pages.phase_bars import Bar, draw_phases

# A moment in seconds that a picture is limited to, or none.
Near = float | None

# A curve has no more points than this: wider than any screen.
_POINTS = 4000
# So long before and after a moment that is looked at closely.
_BEFORE_S, _AFTER_S = 1.0, 2.5
# Since that moment: when both legs are drawn.
_POSES_S = (-0.4, 0.0, 0.4, 0.8, 1.2)
_FOLDS = (("lift_fold_cdeg", "--"), ("fold_max_cdeg", "-"))


def _thinned(
    time_s: NDArray[Any], values: NDArray[Any]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A curve that looks the same with fewer points: of each part its least and its most."""
    size = max(1, len(values) // (_POINTS // 2))
    if size <= 2:
        return time_s, values
    count = len(values) // size
    parts = values[: count * size].reshape(count, size)
    with np.errstate(invalid="ignore"):
        ends = np.stack([np.fmin.reduce(parts, axis=1), np.fmax.reduce(parts, axis=1)], axis=1)
    return np.repeat(time_s[: count * size : size], 2), ends.ravel()


def _plot(ax: Axes, log: Log, values: NDArray[Any], near: Near = None, **how: Any) -> None:
    """Draw a curve, all of it or what is near a moment, broken where ticks are missing."""
    values = np.insert(values.astype(float), log.breaks, np.nan)
    time_s = np.insert(log.time_s, log.breaks, log.time_s[log.breaks])
    if near is not None:
        inside = (time_s >= near - _BEFORE_S) & (time_s <= near + _AFTER_S)
        time_s, values = time_s[inside], values[inside]
    ax.plot(*_thinned(time_s, values), **how)


def _plot_drive(ax: Axes, log: Log, near: Near = None) -> None:
    for leg in LEGS:
        drive = log.ticks[f"{leg}_drive_permille"] / 10
        _plot(ax, log, drive, near, color=COLOUR[leg], ls=LINE[leg], lw=1.2, label=leg)
    ax.set_ylabel("drive, %")
    ax.set_xlabel(TIME)
    _legend(ax)


def _legend(ax: Axes) -> None:
    ax.legend(ncols=4, loc="lower left", bbox_to_anchor=(0, 1))


def _plot_fold(ax: Axes, log: Log, leg: str, near: Near = None) -> None:
    fold_deg = log.ticks[f"{leg}_fold_cdeg"] / 100
    _plot(ax, log, fold_deg, near, color=COLOUR[leg], lw=1.5, label="fold")
    moves = np.array([phase.moves for phase in PHASES])
    phase = np.minimum(log.ticks[f"{leg}_phase"], len(PHASES) - 1)
    setpoint_deg = np.where(moves[phase], log.ticks[f"{leg}_setpoint_cdeg_q6"] / 6400, np.nan)
    _plot(ax, log, setpoint_deg, near, color=INK, lw=0.9, ls=":", label="setpoint")
    for name, style in _FOLDS:
        if (setting := log.setting(name)) is not None:
            ax.axhline(setting / 100, color=INK, lw=0.7, ls=style)
    ax.set_ylabel(f"{leg} fold, deg")
    _legend(ax)


def _draw_fold(figure: Figure, figures: Figures) -> None:
    axes = figure.subplots(2, 1, sharex=True, sharey=True)
    for leg, ax in zip(LEGS, axes, strict=True):
        _plot_fold(ax, figures.log, leg)
    axes[-1].set_xlabel(TIME)


def _draw_drive(figure: Figure, figures: Figures) -> None:
    _plot_drive(figure.subplots(), figures.log)


def _draw_moment(figure: Figure, figures: Figures) -> None:
    axes = figure.subplots(3, 1, sharex=True)
    near = figures.moment_s
    for leg, ax in zip(LEGS, axes, strict=False):
        _plot_fold(ax, figures.log, leg, near)
    _plot_drive(axes[-1], figures.log, near)
    for ax in axes:
        ax.axvline(near, color=INK, lw=0.8, ls="-.")


def _draw_poses(figure: Figure, figures: Figures) -> None:
    log = figures.log
    rig = rig_of(log)
    if rig is None:
        return
    moments = []
    for since_s in _POSES_S:
        at_s = figures.moment_s + since_s
        row = int(np.clip(np.searchsorted(log.time_s, at_s), 0, len(log.ticks) - 1))
        poses = {leg: _pose(rig, log.ticks[row], leg) for leg in LEGS}
        moments.append((f"{log.time_s[row]:.2f} s", poses))
    draw_poses(figure, rig, moments)


def _pose(rig: Rig, tick: np.void, leg: str) -> Pose:
    """By the fold alone: the foot below the hip, on the ground where its sole bears."""
    m = rig.mechanism
    fold_rad = np.radians(tick[f"{leg}_fold_cdeg"] / 100)
    height = height_m(m, fold_rad)
    if not tick[f"{leg}_contacts"] >> 1 & 1:
        height = max(height, height_m(m, m.fold_extended_rad))
    slack = tick[f"{leg}_phase"] in (OFF, STANDING)
    return Pose(height, *leans_under_hip_rad(m, fold_rad), slack=slack)


def _draw_phases(figure: Figure, figures: Figures) -> None:
    log = figures.log
    ax = figure.subplots()
    bars = [
        Bar(leg, phase, float(log.time_s[start]), (end - start) * log.period_s)
        for leg in LEGS
        for phase, start, end in phase_spells(log, leg)
        if phase < len(PHASES)
    ]
    faults = [
        (leg, seen.start_s) for seen in figures.faults for leg in LEGS if seen.leg in (leg, BOTH)
    ]
    draw_phases(ax, bars, faults)
    for mark in log.marks:
        ax.axvline(time_of(log, mark.row), color=INK, lw=0.8, ls=":")
        ax.annotate(mark.text, (time_of(log, mark.row), 1.5), rotation=90, va="top", fontsize=8)


def _draw_volts(figure: Figure, figures: Figures) -> None:
    log = figures.log
    axes = figure.subplots(2, 1, sharex=True)
    rows = (("battery_mV", "battery_least_mV"), ("supply_mV", "supply_least_mV"))
    for ax, (field, least) in zip(axes, rows, strict=True):
        _plot(ax, log, log.ticks[field] / 1000, color=BLUE, lw=1.2)
        if (setting := log.setting(least)) is not None:
            ax.axhline(setting / 1000, color=INK, lw=0.7, ls="--")
        ax.set_ylabel(f"{field.removesuffix('_mV')}, V")
    axes[-1].set_xlabel(TIME)


def _draw_loop(figure: Figure, figures: Figures) -> None:
    log = figures.log
    axes = figure.subplots(2, 1, sharex=True)
    _plot(axes[0], log, log.ticks["loop_us"] / 1000, color=BLUE, lw=1)
    axes[0].axhline(log.period_s * 1000, color=INK, lw=0.7, ls="--")
    axes[0].set_ylabel("a tick took, ms")
    steps = np.diff(log.ticks["tick"].astype(np.int64), prepend=int(log.ticks["tick"][0]))
    _plot(axes[1], log, log.ticks["missed_ticks"], color=RED, lw=1.2, label="missed by the loop")
    gaps = np.flatnonzero(steps > 1)
    axes[1].plot(log.time_s[gaps], steps[gaps] - 1, "x", color=INK, label="missing in this log")
    axes[1].set_ylabel("ticks")
    axes[0].set_ylim(bottom=0)
    axes[1].set_ylim(-0.1, 1.1 * max(1, log.ticks["missed_ticks"].max(), steps.max() - 1))
    axes[1].set_xlabel(TIME)
    _legend(axes[1])


_POSES: Plan[Figures] = Plan(
    "Poses",
    "Both legs from the side, to scale, at five moments around the first fault; where there was no"
    " fault, around the start of the slowest lift, or else of the longest stoop. The right leg's"
    " links are dashed. The zigzag is the spring, the thin line the rope, dotted where it may be"
    " loose. A recording has the fold alone, so each foot is drawn straight below its hip.",
    _draw_poses,
    2.3,
)
_PLANS: tuple[Plan[Figures], ...] = (
    Plan(
        "A closer look",
        "Folds, setpoints and drive around the first fault, which is at the dash-dotted line;"
        " where there was no fault, around the slowest lift, or else the longest stoop, which"
        " begins there.",
        _draw_moment,
        5.6,
    ),
    Plan(
        "Fold and setpoint",
        "Fold of each leg over time, as the board worked it out. Dotted: the setpoint that the"
        " controller followed. Dashed: the fold that a lift aims at. Line: the soft end stop.",
        _draw_fold,
        4.6,
    ),
    Plan(
        "Drive",
        "Drive given to the speed controllers, folding upwards.",
        _draw_drive,
        2.6,
    ),
    Plan(
        "Phases",
        "The phase of each leg over time; a cross marks a fault, a dotted line a mark that"
        " somebody put there.",
        _draw_phases,
        2.4,
    ),
    Plan(
        "Battery and supply",
        "Voltage of the battery and of the board's own supply; dashed, where each is a fault.",
        _draw_volts,
        3.6,
    ),
    Plan(
        "Loop and losses",
        "Time that each tick took, against the period that it must fit into (dashed); periods that"
        " the loop missed; and ticks that are missing in this recording.",
        _draw_loop,
        3.6,
    ),
)


def plans_of(figures: Figures) -> list[Plan[Figures]]:
    """Pictures of a recording; of its legs only where it says which rig they are of."""
    return [*([_POSES] if rig_of(figures.log) else []), *_PLANS]
