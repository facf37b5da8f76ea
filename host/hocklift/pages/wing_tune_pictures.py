"""Pictures of a tuning of wings: as of legs, but for the build that fares worst."""

from typing import Any

import numpy as np
from legsim.wing.script import RAISED, poses, whole_show
from legsim.wing.tables import WING_PHASES
from legsim.wing.trial import trial_show
from matplotlib.figure import Figure
from numpy.typing import NDArray

from hocklift.pages.drawing import BLUE, INK, TIME, Plan
from hocklift.pages.tune_pictures import PLANS, Walked
from hocklift.tuning.kinds import WINGS
from hocklift.tuning.tuning import Tuning


def carried(tuning: Tuning) -> Walked:
    """Run the build that limits the tuned rig most, with the gains before and after."""
    seed = tuning.limits[0].seed
    return Walked(tuning, _trace(tuning.before, seed), _trace(tuning.after, seed))


def _trace(rig: Any, seed: int) -> NDArray[np.void]:
    made = WINGS.built(rig, seed)
    return trial_show(rig, made, seed, whole_show(made, WINGS.compare_s)).run()


def carried_s(rig: Any) -> tuple[float, float]:
    """From before the load is raised for the first time until it is held there."""
    for pose in poses(rig, WINGS.compare_s):
        if pose.where == RAISED and pose.load_kg > 0:
            return pose.start_s - 1, pose.end_s
    return 0.0, WINGS.compare_s


def _draw_worst(figure: Figure, walked: Walked) -> None:
    axes = figure.subplots(3, 2, sharex=True, sharey="row")
    rig = walked.tuning.before
    period_s = rig.control.period_s
    part = slice(*(round(at_s / period_s) for at_s in carried_s(rig)))
    name = walked.tuning.limits[0].found.split()[0]
    moves = np.array([phase.moves for phase in WING_PHASES])
    for column, (title, trace) in enumerate((("before", walked.before), ("after", walked.after))):
        wing = trace[name][part]
        time_s = (np.arange(len(trace)) * period_s)[part]
        setpoint_deg = np.where(moves[wing["phase"]] == 1, wing["setpoint_cdeg_q6"] / 6400, np.nan)
        lift_deg = np.degrees(wing["lift_rad"])
        angle, off, drive = axes[:, column]
        angle.set_title(f"{name} wing, {title}", fontsize=9)
        angle.plot(time_s, lift_deg, color=BLUE, lw=1.3, label="wing")
        angle.plot(time_s, setpoint_deg, color=INK, lw=0.9, ls=":", label="setpoint")
        off.plot(time_s, lift_deg - setpoint_deg, color=BLUE, lw=0.9)
        off.axhline(0, color=INK, lw=0.6)
        drive.plot(time_s, wing["drive_permille"] / 10, color=BLUE, lw=0.9)
        drive.set_xlabel(TIME)
    handles = axes[0][0].get_legend_handles_labels()[0]
    figure.legend(handles=handles, loc="outside upper left", ncols=2)
    for ax, label in zip(axes[:, 0], ("angle, deg", "off setpoint, deg", "drive, %"), strict=True):
        ax.set_ylabel(label)


# The search and the room left are drawn as of legs.
WING_PLANS = (
    *PLANS[:-1],
    Plan(
        "The build that limits these gains most",
        "The same build raises its load with the gains before and after, and holds it.",
        _draw_worst,
        5.4,
    ),
)
