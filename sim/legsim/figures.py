"""What a walk amounted to: figures per leg from a trace, and whether they meet the wants."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import degrees
from statistics import median
from typing import Any

import numpy as np
from legcore.phases import HELD, LIFTING, LOWERING, RELEASING
from numpy.typing import NDArray

from legsim.linkage import fold_for_lift_rad
from legsim.rig import Rig
from legsim.stoops import StoopFigures, stoop_figures
from legsim.tables import PHASES, fault_names

_MOVING = (LIFTING, HELD, LOWERING, RELEASING)
# A foot is down from here: a leg that has reached its end may still hang so far over the ground,
# by its rest margin (0.2 deg of the fold) and its calibration (1 deg), at 5 mm for each degree.
# No gain lowers it further; the wearer's weight does, under which the leg sinks by more.
_DOWN_M = 0.006


@dataclass(frozen=True)
class Step:
    """One raised foot; a time that never came is infinite."""

    asked_s: float
    clearance_m: float
    lift_s: float
    lower_s: float


@dataclass(frozen=True)
class LegFigures:
    """A walk of one leg in figures; SI units, overshoots in rad and never negative.

    The drive's travel is all of its changes, up and down; 1 is full drive.
    """

    steps: tuple[Step, ...]
    steps_made: int
    clearance_worst_m: float
    clearance_median_m: float
    lift_worst_s: float
    lower_worst_s: float
    past_target_rad: float
    past_soft_stop_rad: float
    tension_peak_N: float
    current_peak_A: float
    current_mean_A: float
    energy_per_step_J: float
    winding_K: float
    slack_moving_m: float
    slack_standing_m: float
    drive_travel_per_s: float
    phase_s: dict[str, float]
    faults: tuple[str, ...]
    # Of both legs together; None where the walk has none.
    stoop: StoopFigures | None

    @property
    def steps_asked(self) -> int:
        """How many times the wearer raised this foot."""
        return len(self.steps)


def leg_figures(trace: NDArray[np.void], name: str, rig: Rig) -> LegFigures:
    """Work out the figures of the leg called `name`, "left" or "right"."""
    leg = trace[name]
    phases = leg["phase"].copy()  # in one piece: what a trace holds of one channel lies far apart
    steps = _steps(leg, rig)
    clearances = [step.clearance_m for step in steps]
    fold_rad = leg["thigh_rad"] + leg["shank_rad"]
    in_phase = [phases == i for i in range(len(PHASES))]
    moving = np.any([in_phase[i] for i in _MOVING], axis=0)
    target_rad = fold_for_lift_rad(rig.mechanism, rig.wants.clearance_m)
    bits = leg["fault_bits"] | trace["fault_bits"]
    return LegFigures(
        steps=steps,
        steps_made=sum(clearance >= rig.wants.clearance_worst_m for clearance in clearances),
        clearance_worst_m=min(clearances, default=0.0),
        clearance_median_m=median(clearances) if steps else 0.0,
        lift_worst_s=max((step.lift_s for step in steps), default=0.0),
        lower_worst_s=max((step.lower_s for step in steps), default=0.0),
        past_target_rad=_past(fold_rad[moving], target_rad),
        past_soft_stop_rad=_past(fold_rad, rig.mechanism.fold_soft_stop_rad),
        tension_peak_N=float(leg["tension_peak_N"].max(initial=0.0)),
        current_peak_A=float(leg["current_peak_A"].max(initial=0.0)),
        current_mean_A=float(np.abs(leg["current_A"]).mean()),
        energy_per_step_J=float(leg["energy_J"][-1]) / max(1, len(steps)),
        winding_K=float(leg["winding_K"].max(initial=0.0)),
        slack_moving_m=float(leg["slack_m"][moving].max(initial=0.0)),
        slack_standing_m=float(leg["slack_m"][~moving].max(initial=0.0)),
        drive_travel_per_s=float(np.abs(np.diff(leg["drive_permille"])).sum())
        / (1000 * rig.control.period_s * max(1, len(leg) - 1)),
        phase_s={
            phase.name: float(np.count_nonzero(ticks)) * rig.control.period_s
            for phase, ticks in zip(PHASES, in_phase, strict=True)
        },
        faults=fault_names(int(np.bitwise_or.reduce(bits))),
        stoop=stoop_figures(trace, rig),
    )


def _past(values: Any, limit: float) -> float:
    return max(0.0, float(np.max(values, initial=limit)) - limit)


def _steps(leg: Any, rig: Rig) -> tuple[Step, ...]:
    """Cut one leg's trace into raised feet: each lasts until the foot is raised anew."""
    period = rig.control.period_s
    push = leg["push"]
    asked = np.flatnonzero((push[1:] > 0) & (push[:-1] == 0)) + 1
    good_m = rig.wants.clearance_m * (1 - rig.wants.clearance_tolerance)
    steps = []
    for start, end in pairwise([*asked.tolist(), len(leg)]):
        clearance = leg["clearance_m"][start:end]
        let_go = int(np.argmax(np.diff(push[start:end], prepend=0) < 0))
        # Not the first moments: the foot is still on the ground when it lets go early.
        down = clearance[let_go:] <= _DOWN_M
        steps.append(
            Step(
                asked_s=float(start * period),
                clearance_m=float(clearance.max()),
                lift_s=_first(clearance >= good_m) * period,
                lower_s=_first(down) * period,
            )
        )
    return tuple(steps)


def _first(condition: Any) -> float:
    """Index of the first true element; infinite where there is none."""
    return float(np.argmax(condition)) if bool(np.any(condition)) else float("inf")


@dataclass(frozen=True)
class Want:
    """One thing the rig file asks of a walk: how far it is missed, and what to change then.

    `missed` is a share of what is asked: 0 and less is met, more is worse, infinite is never.
    """

    name: str
    missed: Callable[[LegFigures, Rig], float]
    found: Callable[[LegFigures, Rig], str]
    advice: str

    def met(self, leg: LegFigures, rig: Rig) -> bool:
        """Whether the leg's walk gave what the rig file asks."""
        return self.missed(leg, rig) <= 0


def mm_words(metres: float) -> str:
    """A length as people read it."""
    return f"{1000 * metres:.0f} mm"


def seconds_words(seconds: float) -> str:
    """A time as people read it; "never" where it did not come."""
    return "never" if seconds == float("inf") else f"{seconds:.2f} s"


def deg_words(angle_rad: float) -> str:
    """An angle as people read it."""
    return f"{degrees(angle_rad):.1f} deg"


def _of_stoop(name: str, want: str, words: Callable[[float], str], advice: str) -> Want:
    """A want of the stoop, judged only where there is one: at most so much of a figure."""

    def missed(leg: LegFigures, rig: Rig) -> float:
        most = getattr(rig.wants, want)
        return 0.0 if leg.stoop is None else getattr(leg.stoop, name) / most - 1

    def found(leg: LegFigures, rig: Rig) -> str:
        return f"{words(getattr(leg.stoop, name))}, wanted {words(getattr(rig.wants, want))}"

    return Want(STOOP_WORDS[name], missed, found, advice)


# What the figures of a stoop are called.
STOOP_WORDS = {
    "down_s": "stooping, time down",
    "up_s": "stooping, time up",
    "apart_rad": "stooping, one leg against the other",
    "weighed_apart_rad": "stooping, the same where weight folds one",
    "drift_rad": "stooping, drift while held",
    "held_s": "stooping, longest with the stick let go",
    "risen": "stooping, risen by themselves",
}

WANTS = (
    Want(
        "no fault",
        lambda leg, rig: float(len(leg.faults)),
        lambda leg, rig: "raised: " + ", ".join(leg.faults),
        "read the fault's remedy first; the other figures mean little after a fault",
    ),
    Want(
        "steps to judge",
        lambda leg, rig: float(leg.steps_asked == 0 and leg.stoop is None),
        lambda leg, rig: "this foot was never raised",
        "walk longer (--seconds)",
    ),
    Want(
        "every step made",
        lambda leg, rig: (
            (rig.wants.clearance_worst_m - leg.clearance_worst_m) / rig.wants.clearance_m
            if leg.steps_asked
            else 0.0
        ),
        lambda leg, rig: (
            f"{leg.steps_made} of {leg.steps_asked} steps cleared"
            f" {mm_words(rig.wants.clearance_worst_m)}; the worst {mm_words(leg.clearance_worst_m)}"
        ),
        "give the lift more time (wearer.stance_share, wearer.cadence) or speed"
        " (control.lift_speed, drive.gear_ratio)",
    ),
    Want(
        "clearance",
        lambda leg, rig: (
            abs(leg.clearance_median_m / rig.wants.clearance_m - 1) - rig.wants.clearance_tolerance
            if leg.steps_asked
            else 0.0
        ),
        lambda leg, rig: (
            f"median {mm_words(leg.clearance_median_m)}, wanted {mm_words(rig.wants.clearance_m)}"
        ),
        "raise control.kp or control.ki, or lift faster",
    ),
    Want(
        "time to lift",
        lambda leg, rig: leg.lift_worst_s / rig.wants.lift_s - 1,
        lambda leg, rig: (
            f"worst {seconds_words(leg.lift_worst_s)}, wanted {seconds_words(rig.wants.lift_s)}"
        ),
        "raise control.lift_speed or control.accel; when the drive is already at its most,"
        " lower drive.gear_ratio or take a faster motor",
    ),
    Want(
        "time to lower",
        lambda leg, rig: leg.lower_worst_s / rig.wants.lower_s - 1,
        lambda leg, rig: (
            f"worst {seconds_words(leg.lower_worst_s)}, wanted {seconds_words(rig.wants.lower_s)}"
        ),
        "raise control.lower_speed",
    ),
    Want(
        "end stop not passed",
        lambda leg, rig: leg.past_soft_stop_rad / rig.mechanism.fold_soft_stop_rad,
        lambda leg, rig: f"passed by {degrees(leg.past_soft_stop_rad):.1f} deg",
        "lower control.kp or control.lift_speed, or widen control.stop_zone",
    ),
    Want(
        "slack",
        # Over the clearance, since a want of no slack at all is no divisor.
        lambda leg, rig: (leg.slack_moving_m - rig.wants.slack_m) / rig.wants.clearance_m,
        lambda leg, rig: (
            f"{mm_words(leg.slack_moving_m)} loose with the foot up,"
            f" at most {mm_words(rig.wants.slack_m)} wanted"
        ),
        "lower control.lower_speed or control.lag",
    ),
    Want(
        "winding warmth",
        lambda leg, rig: leg.winding_K / rig.drive.winding_limit_K - 1,
        lambda leg, rig: (
            f"{leg.winding_K:.0f} K over the air, at most {rig.drive.winding_limit_K:.0f} K wanted"
        ),
        "walk less, cool the motor, or take a larger one",
    ),
    _of_stoop(
        "down_s",
        "stoop_s",
        seconds_words,
        "raise control.stoop_speed or control.stoop_accel, or hold the stick for longer",
    ),
    _of_stoop("up_s", "stoop_s", seconds_words, "raise control.stoop_speed; put less on one leg"),
    _of_stoop(
        "apart_rad",
        "stoop_apart_rad",
        deg_words,
        "calibrate anew; lower control.stoop_speed or safety.apart",
    ),
    _of_stoop(
        "drift_rad",
        "stoop_drift_rad",
        deg_words,
        "lower control.keep; a speed controller that brakes at neutral (controller.neutral) and"
        " more gear friction hold better: a sensorless one holds nothing at rest",
    ),
    Want(
        "rope strength",
        lambda leg, rig: leg.tension_peak_N * rig.wants.rope_factor / rig.rope.breaking_N - 1,
        lambda leg, rig: (
            f"{leg.tension_peak_N:.0f} N in a line that breaks at {rig.rope.breaking_N:.0f} N"
        ),
        "use a stronger line, more parts, or lift more gently",
    ),
)
