"""One self-contained page about a rehearsal of wings, and its full trace as CSV."""

from pathlib import Path

import numpy as np
from legsim.wing.script import WINGS
from legsim.wing.tables import WING_PHASES
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from hocklift.files import write_atomically
from hocklift.pages.drawing import COLOUR, INK, LINE, TIME, Plan, drawn
from hocklift.pages.page import render
from hocklift.pages.rehearsal_page import PAGE, TRACE, trace_csv
from hocklift.pages.wing_motion import motion_of_show
from hocklift.wing_rehearsal import WING_ROWS, WingRehearsal

_CAUTIONS = (
    "A rehearsal is a calculation. It does not know your hinge's real friction, your glue, your"
    " ropes' knots or the wind.",
    "A wing that loses its rope or its power swings down: keep everybody out of the reach of its"
    " tip, and block it before you reach in.",
    "Ropes, drum and quadrant draw fingers in: guard them, and try everything without a load"
    " first, somebody beside you who can cut the power in hardware.",
    "Where local codes or a licensed practitioner say otherwise, they are right.",
)


def _plot(ax: Axes, rehearsal: WingRehearsal, field: str, scale: float, label: str) -> None:
    time_s = np.arange(len(rehearsal.trace)) * rehearsal.rig.control.period_s
    for name in WINGS:
        values = rehearsal.trace[name][field] * scale
        ax.plot(time_s, values, color=COLOUR[name], ls=LINE[name], lw=1.2, label=name)
    ax.set_ylabel(label)


def _draw_lift(figure: Figure, rehearsal: WingRehearsal) -> None:
    rig = rehearsal.rig
    time_s = np.arange(len(rehearsal.trace)) * rig.control.period_s
    ax, load = figure.subplots(2, 1, sharex=True, height_ratios=(4, 1))
    _plot(ax, rehearsal, "lift_rad", 180 / np.pi, "angle, deg")
    wing = rehearsal.trace["left"]
    moving = np.array([phase.moves for phase in WING_PHASES])[wing["phase"]] == 1
    setpoint_deg = np.where(moving, wing["setpoint_cdeg_q6"] / 6400, np.nan)
    ax.plot(time_s, setpoint_deg, color=INK, lw=0.9, ls=":", label="setpoint, left")
    for end_rad in (rig.wing.lowered_rad, rig.wing.raised_rad):
        ax.axhline(np.degrees(end_rad), color=INK, lw=0.6, ls="--")
    ax.legend(ncols=3, loc="lower left", bbox_to_anchor=(0, 1))
    _plot(load, rehearsal, "load_kg", 1, "load, kg")
    load.set_xlabel(TIME)


def _draw_ropes(figure: Figure, rehearsal: WingRehearsal) -> None:
    axes = figure.subplots(3, 1, sharex=True)
    _plot(axes[0], rehearsal, "up_peak_N", 1, "upper line, N")
    axes[0].legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))
    _plot(axes[1], rehearsal, "down_peak_N", 1, "lower line, N")
    _plot(axes[2], rehearsal, "down_slack_m", 1000, "lower loose, mm")
    axes[-1].set_xlabel(TIME)


def _draw_drive(figure: Figure, rehearsal: WingRehearsal) -> None:
    axes = figure.subplots(2, 1, sharex=True)
    _plot(axes[0], rehearsal, "drive_permille", 0.1, "drive, %")
    axes[0].legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))
    _plot(axes[1], rehearsal, "current_A", 1, "motor current, A")
    axes[-1].set_xlabel(TIME)


PLANS: tuple[Plan[WingRehearsal], ...] = (
    Plan(
        "Angle",
        "Both wings from hanging straight down (0), the setpoint dotted while a wing is driven; the"
        " dashed lines are its ends. Below, what hangs at each tip.",
        _draw_lift,
        4.6,
    ),
    Plan(
        "Ropes",
        "Tension of both lead lines. While the upper one carries, the lower one is eased, until it"
        " lies loose.",
        _draw_ropes,
        5.2,
    ),
    Plan(
        "Drive and current",
        "What the controller is given, and what the motor draws. A held wing creeps down while the"
        " motor only brakes, and is driven back up in short pushes.",
        _draw_drive,
        4.2,
    ),
)


def write_page(rehearsal: WingRehearsal, folder: Path) -> Path:
    """Write the page and the trace into `folder`, the trace first; returns the page's path."""
    left, right = rehearsal.wings.values()
    page = render(
        "rehearsal.html.j2",
        rehearsal=rehearsal,
        told=rehearsal.told,
        joint="wing",
        verdict=rehearsal.verdict,
        rows=[
            (what, figure(left), figure(right), want(rehearsal.rig))
            for what, figure, want in WING_ROWS
        ],
        phases=[(name, left.phase_s[name], right.phase_s[name]) for name in left.phase_s],
        pictures=drawn(PLANS, rehearsal),
        motion=motion_of_show(rehearsal.rig, rehearsal.trace, _shown_s(rehearsal)),
        cautions=_CAUTIONS,
        trace=TRACE,
    )
    write_atomically(folder / TRACE, trace_csv(rehearsal))
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def _shown_s(rehearsal: WingRehearsal) -> float:
    """The moment shown first: half way up, the first time that a wing is raised."""
    wing, lift_rad = rehearsal.rig.wing, rehearsal.trace["left"]["lift_rad"]
    return float(np.argmax(lift_rad > wing.middle_rad)) * rehearsal.rig.control.period_s
