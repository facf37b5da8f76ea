"""Pictures of a tuning: the search's progress, the room left, and the build that fares worst."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from legsim.perturb import built, draws
from legsim.tables import PHASES
from legsim.trial import trial_walk, unhurried
from matplotlib.figure import Figure
from numpy.typing import NDArray

from hocklift.pages.drawing import BLUE, DASHED, INK, RED, TIME, Plan
from hocklift.tuning.kinds import WALK_S
from hocklift.tuning.tuning import Tuning
from hocklift.wearerfile import built_in_gait

_MOST_SHOWN = 1.0
# From the first step on, two of each leg.
FROM_S, _TO_S = 2.5, 10.0


@dataclass(frozen=True)
class Walked:
    """A tuning, and how the build that limits it most moves with the gains before and after."""

    tuning: Tuning
    before: NDArray[np.void]
    after: NDArray[np.void]


def walked(tuning: Tuning) -> Walked:
    """Walk the build that limits the tuned rig most, with the gains before and after."""
    seed = tuning.limits[0].seed
    return Walked(tuning, _trace(tuning.before, seed), _trace(tuning.after, seed))


def _trace(rig: Any, seed: int) -> NDArray[np.void]:
    made = unhurried(built(rig, draws(seed)))
    return trial_walk(rig, made, seed, WALK_S, built_in_gait()).run()


def _draw_progress(figure: Figure, walked: Walked) -> None:
    ax = figure.subplots()
    progress = walked.tuning.progress
    share = [100 * best.met / len(best.fleet) for best in progress]
    ax.step([best.tried for best in progress], share, BLUE, where="post")
    for before, after in pairwise(progress):
        if len(after.fleet) > len(before.fleet):
            ax.axvline(after.tried, color=INK, lw=0.6, ls="--")
            ax.text(after.tried, 2, f" now on {len(after.fleet)} builds", fontsize=8)
    ax.set_ylim(0, None)
    ax.set_ylabel("builds that meet every want, %")
    ax.set_xlabel("sets of gains tried")


def _draw_room(figure: Figure, walked: Walked) -> None:
    tuning = walked.tuning
    scale = tuning.fleet_after[0].scale
    axes = figure.subplots(1, len(scale.room), sharey=True)
    fleets = (
        ("before", tuning.fleet_before, RED, DASHED),
        ("after", tuning.fleet_after, BLUE, "-"),
    )
    for ax, (name, room) in zip(axes, scale.room.items(), strict=True):
        i = next(i for i, want in enumerate(scale.wants) if want.name == name)
        for label, fleet, colour, line in fleets:
            missed = np.sort([max(ran.missed[i], -_MOST_SHOWN) for ran in fleet])
            share = np.arange(1, len(missed) + 1) / len(missed)
            shown = np.minimum(100 * missed, 100 * room)
            ax.plot(shown, 100 * share, color=colour, ls=line, lw=1.3, label=label)
        ax.axvline(0, color=INK, lw=0.8)
        ax.set_title(name.replace(" ", "\n"), fontsize=8)
        ax.tick_params(labelsize=7)
    axes[0].set_ylabel("builds, %")
    handles = axes[0].get_legend_handles_labels()[0]
    figure.legend(handles=handles, loc="outside upper left", ncols=2)
    figure.supxlabel("missed by, % of what is asked (left of 0 is met)", fontsize=8)


def _draw_worst(figure: Figure, walked: Walked) -> None:
    axes = figure.subplots(3, 2, sharex=True, sharey="row")
    period_s = walked.tuning.before.control.period_s
    wants: Any = walked.tuning.before.wants
    name = walked.tuning.limits[0].found.split()[0]
    for column, (title, trace) in enumerate((("before", walked.before), ("after", walked.after))):
        part = slice(round(FROM_S / period_s), round(_TO_S / period_s))
        leg = trace[name][part]
        time_s = (np.arange(len(trace)) * period_s)[part]
        fold, clearance, drive = axes[:, column]
        fold.set_title(f"{name} leg, {title}", fontsize=9)
        fold.plot(time_s, leg["fold_cdeg"] / 100, color=BLUE, lw=1.3, label="fold, as sensed")
        fold.plot(time_s, _setpoint_deg(leg), color=INK, lw=0.9, ls=":", label="setpoint")
        clearance.plot(time_s, 1000 * leg["clearance_m"], color=BLUE, lw=1.3)
        tolerance_m = wants.clearance_m * wants.clearance_tolerance
        clearance.axhspan(
            1000 * (wants.clearance_m - tolerance_m),
            1000 * (wants.clearance_m + tolerance_m),
            color=INK,
            alpha=0.12,
            lw=0,
        )
        drive.plot(time_s, leg["drive_permille"] / 10, color=BLUE, lw=0.9)
        drive.set_xlabel(TIME)
    handles = axes[0][0].get_legend_handles_labels()[0]
    figure.legend(handles=handles, loc="outside upper left", ncols=2)
    for ax, label in zip(axes[:, 0], ("fold, deg", "clearance, mm", "drive, %"), strict=True):
        ax.set_ylabel(label)


def _setpoint_deg(leg: NDArray[np.void]) -> NDArray[Any]:
    moving = np.array([phase.moves for phase in PHASES])[leg["phase"]] == 1
    return np.where(moving, leg["setpoint_cdeg_q6"] / 6400, np.nan)


PLANS = (
    Plan(
        "The search",
        "How many of the builds searched on met every want under the best gains so far. Once all"
        " do, more builds join; where all of these do, too, the search only looks for more room.",
        _draw_progress,
        2.6,
    ),
    Plan(
        "Room in every build",
        "For each want, the share of unseen builds that miss it by no more than so much. A curve"
        " that has reached 100 % left of the upright line: every build meets the want. Solid is"
        " after, dashed before.",
        _draw_room,
        2.9,
    ),
    Plan(
        "The build that limits these gains most",
        "The same steps of the same build with the gains before and after. Grey is the clearance"
        " wanted.",
        _draw_worst,
        5.4,
    ),
)
