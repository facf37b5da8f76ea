"""Pictures of a walk, for the page of a rehearsal."""

from itertools import pairwise
from typing import Any

import numpy as np
from legsim.linkage import fold_for_lift_rad
from legsim.tables import PHASES
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from hocklift.pages.drawing import COLOUR, INK, LINE, TIME, Plan, Pose, draw_poses
from hocklift.pages.motion import LOOSE_m
from hocklift.pages.phase_bars import Bar, draw_phases
from hocklift.rehearsal import LEGS, Rehearsal


def _time_s(rehearsal: Rehearsal) -> NDArray[Any]:
    return np.arange(len(rehearsal.trace)) * rehearsal.rig.control.period_s


def _draw_fold(figure: Figure, rehearsal: Rehearsal) -> None:
    time_s = _time_s(rehearsal)
    rig = rehearsal.rig
    axes = figure.subplots(2, 1, sharex=True, sharey=True)
    for name, ax in zip(LEGS, axes, strict=True):
        leg = rehearsal.trace[name]
        fold_deg = np.degrees(leg["thigh_rad"] + leg["shank_rad"])
        ax.plot(time_s, fold_deg, color=COLOUR[name], lw=1.5, label="fold")
        moving = np.array([phase.moves for phase in PHASES])[leg["phase"]] == 1
        setpoint_deg = np.where(moving, leg["setpoint_cdeg_q6"] / 6400, np.nan)
        ax.plot(time_s, setpoint_deg, color=INK, lw=0.9, ls=":", label="setpoint")
        target_deg = np.degrees(fold_for_lift_rad(rig.mechanism, rig.wants.clearance_m))
        ax.axhline(target_deg, color=INK, lw=0.6, ls="--")
        ax.axhline(np.degrees(rig.mechanism.fold_soft_stop_rad), color=INK, lw=1.2)
        ax.set_ylabel(f"{name} fold, deg")
        ax.legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))
        ax.annotate(
            "soft end stop",
            (0, np.degrees(rig.mechanism.fold_soft_stop_rad)),
            xytext=(0, -3),
            textcoords="offset points",
            va="top",
        )
    axes[-1].set_xlabel(TIME)


def _plot_both(ax: Axes, rehearsal: Rehearsal, field: str, scale: float) -> None:
    for name in LEGS:
        values = rehearsal.trace[name][field] * scale
        ax.plot(_time_s(rehearsal), values, color=COLOUR[name], ls=LINE[name], lw=1.2, label=name)


def _draw_clearance(figure: Figure, rehearsal: Rehearsal) -> None:
    ax = figure.subplots()
    wants = rehearsal.rig.wants
    _plot_both(ax, rehearsal, "clearance_m", 1000)
    tolerance_m = wants.clearance_m * wants.clearance_tolerance
    ax.axhspan(
        1000 * (wants.clearance_m - tolerance_m),
        1000 * (wants.clearance_m + tolerance_m),
        color=INK,
        alpha=0.12,
        lw=0,
    )
    ax.set_ylabel("clearance, mm")
    ax.set_xlabel(TIME)
    ax.legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))


def _draw_drive(figure: Figure, rehearsal: Rehearsal) -> None:
    axes = figure.subplots(2, 1, sharex=True)
    _plot_both(axes[0], rehearsal, "drive_permille", 0.1)
    axes[0].set_ylabel("drive, %")
    axes[0].legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))
    _plot_both(axes[1], rehearsal, "current_A", 1)
    axes[1].set_ylabel("motor current, A")
    axes[1].set_xlabel(TIME)


def _draw_rope(figure: Figure, rehearsal: Rehearsal) -> None:
    axes = figure.subplots(2, 1, sharex=True)
    _plot_both(axes[0], rehearsal, "tension_peak_N", 1)
    axes[0].set_ylabel("lead line, N")
    axes[0].legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))
    _plot_both(axes[1], rehearsal, "slack_m", 1000)
    axes[1].set_ylabel("loose rope, mm")
    axes[1].set_xlabel(TIME)


def _draw_phases(figure: Figure, rehearsal: Rehearsal) -> None:
    period_s = rehearsal.rig.control.period_s
    bars, faults = [], []
    for name in LEGS:
        leg = rehearsal.trace[name]
        changes = np.flatnonzero(np.diff(leg["phase"])) + 1
        for i, end in pairwise([0, *changes.tolist(), len(leg)]):
            bars.append(Bar(name, int(leg["phase"][i]), i * period_s, (end - i) * period_s))
        bits = leg["fault_bits"] | rehearsal.trace["fault_bits"]
        faults += [(name, tick * period_s) for tick in np.flatnonzero(np.diff(bits, prepend=0) > 0)]
    draw_phases(figure.subplots(), bars, faults)


def _draw_moments(figure: Figure, rehearsal: Rehearsal) -> None:
    period_s = rehearsal.rig.control.period_s
    moments = [
        (
            f"{words}\n{tick * period_s:.2f} s",
            {name: _pose(rehearsal.trace[tick][name]) for name in LEGS},
        )
        for words, tick in key_moments(rehearsal)
    ]
    draw_poses(figure, rehearsal.rig, moments)


def _pose(leg: np.void) -> Pose:
    return Pose(leg["hip_m"], leg["thigh_rad"], leg["shank_rad"], slack=leg["slack_m"] > LOOSE_m)


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


PLANS: tuple[Plan[Rehearsal], ...] = (
    Plan(
        "Poses of one step",
        "Both legs from the side, to scale, at five moments of one step of the left leg; the right"
        " leg's links are dashed. The zigzag is the spring, the thin line the rope (dotted where"
        " it is slack).",
        _draw_moments,
        2.3,
    ),
    Plan(
        "Fold and setpoint",
        "Fold of each leg over time. Dotted: the setpoint the controller follows. Dashed: the"
        " fold that gives the wanted clearance. Between steps the fold shows how far the leg"
        " sinks under the weight.",
        _draw_fold,
        4.6,
    ),
    Plan(
        "Clearance",
        "Height of each foot plate over the ground; the band is what the rig file wants.",
        _draw_clearance,
        2.8,
    ),
    Plan(
        "Drive and current",
        "Drive given to the speed controllers, folding upwards, and the current in the motors.",
        _draw_drive,
        4.2,
    ),
    Plan(
        "Rope",
        "Tension in the lead line, and rope lying loose at the tackle. A standing leg sinks under"
        " weight, so its rope is loose; with the foot up it should be tight.",
        _draw_rope,
        4.2,
    ),
    Plan(
        "Phases",
        "The phase of each leg over time; a cross marks a fault.",
        _draw_phases,
        2.2,
    ),
)
