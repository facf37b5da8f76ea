"""What a show amounted to: figures per wing from a trace, and whether they meet the wants."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import degrees, inf, pi, radians
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from legsim.figures import mm_words, seconds_words
from legsim.tables import fault_names
from legsim.wing.rig import WingRig
from legsim.wing.script import LOWERED, RAISED, Pose
from legsim.wing.tables import MOVING, WING_FAULTS, WING_PHASES

# A move has arrived when it is this near to its end.
_NEAR_RAD = 2 * pi / 180
# A rise is steady this near to the speed asked for; over so few ticks no mean tells.
_STEADY_SHARE, _STEADY_TICKS = 0.08, 10
_STEADY_RAD = radians(10)


@dataclass(frozen=True)
class WingFigures:
    """A show of one wing in figures; SI units. A time that never came is infinite.

    `up_raise_N` is the upper line's mean tension while the whole load goes up at steady speed
    through `steady_rad`. The drive's travel is all of its changes; 1 is full drive.
    """

    moves_asked: int
    moves_made: int
    raise_worst_s: float
    lower_worst_s: float
    track_worst_rad: float
    hold_worst_rad: float
    holds: int
    past_end_rad: float
    up_peak_N: float
    down_peak_N: float
    up_raise_N: float
    up_hold_N: float
    slack_worst_m: float
    slack_reversing_m: float
    current_peak_A: float
    current_mean_A: float
    current_hold_A: float
    energy_J: float
    winding_K: float
    drive_travel_per_s: float
    phase_s: dict[str, float]
    faults: tuple[str, ...]

    @property
    def tension_peak_N(self) -> float:
        """Of either lead line."""
        return max(self.up_peak_N, self.down_peak_N)


def wing_figures(
    trace: NDArray[np.void], name: str, rig: WingRig, poses: list[Pose]
) -> WingFigures:
    """Work out the figures of the wing called `name`, "left" or "right"."""
    wing, period_s = trace[name], rig.control.period_s
    moving = np.isin(wing["phase"], MOVING)
    kept = [pose for pose in poses if pose.held_s < pose.end_s]
    held = [slice(round(pose.held_s / period_s), round(pose.end_s / period_s)) for pose in kept]
    raises_s, lowers_s = _move_times_s(wing, rig, poses)
    # Whole moves only, since half a way is no time of its own.
    times_s = raises_s + lowers_s
    setpoint_rad = np.radians(wing["setpoint_cdeg_q6"] / 6400)
    slack_m = np.maximum(wing["up_slack_m"], wing["down_slack_m"])
    loaded = [part for part, pose in zip(held, kept, strict=True) if pose.where == RAISED]
    bits = wing["fault_bits"] | trace["fault_bits"]
    low_rad, high_rad = rig.wing.lowered_rad, rig.wing.raised_rad
    return WingFigures(
        moves_asked=len(times_s),
        moves_made=sum(time_s < inf for time_s in times_s),
        raise_worst_s=max(raises_s, default=0.0),
        lower_worst_s=max(lowers_s, default=0.0),
        track_worst_rad=_most(np.abs(setpoint_rad - wing["lift_rad"])[moving]),
        hold_worst_rad=max((float(np.ptp(wing["lift_rad"][part])) for part in held), default=0.0),
        holds=len(held),
        past_end_rad=max(_most(wing["lift_rad"] - high_rad), _most(low_rad - wing["lift_rad"])),
        up_peak_N=_most(wing["up_peak_N"]),
        down_peak_N=_most(wing["down_peak_N"]),
        up_raise_N=_steady_N(wing, rig),
        up_hold_N=max((float(wing["up_N"][part].mean()) for part in loaded), default=0.0),
        slack_worst_m=_most(slack_m[moving]),
        slack_reversing_m=_most(slack_m[_reversing(wing, moving)]),
        current_peak_A=_most(wing["current_peak_A"]),
        current_mean_A=float(np.abs(wing["current_A"]).mean()),
        current_hold_A=max(
            (float(np.abs(wing["current_A"][part]).mean()) for part in loaded), default=0.0
        ),
        energy_J=float(wing["energy_J"][-1]),
        winding_K=_most(wing["winding_K"]),
        drive_travel_per_s=float(np.abs(np.diff(wing["drive_permille"])).sum())
        / (1000 * period_s * max(1, len(wing) - 1)),
        phase_s={
            phase.name: float((wing["phase"] == i).sum()) * period_s
            for i, phase in enumerate(WING_PHASES)
        },
        faults=fault_names(int(np.bitwise_or.reduce(bits)), WING_FAULTS),
    )


def _most(values: Any) -> float:
    return max(0.0, float(np.max(values, initial=0.0)))


def _steady_N(wing: Any, rig: WingRig) -> float:
    """The upper line's mean tension while the load goes up through `steady_rad`; 0 if never."""
    speed_radps = rig.control.follow_speed_radps
    low_rad, high_rad = steady_rad(rig)
    rising = np.abs(wing["lift_radps"] - speed_radps) < _STEADY_SHARE * speed_radps
    rising &= (wing["lift_rad"] > low_rad) & (wing["lift_rad"] < high_rad)
    rising &= wing["load_kg"] >= rig.wants.load_kg
    up_N = wing["up_N"][rising]
    return float(up_N.mean()) if len(up_N) >= _STEADY_TICKS else 0.0


def steady_rad(rig: WingRig) -> tuple[float, float]:
    """Between these angles, ten degrees apart, a wing on its way up is about to brake."""
    control = rig.control
    high_rad = rig.wing.raised_rad - control.follow_speed_radps**2 / (2 * control.accel_radps2)
    return high_rad - _STEADY_RAD, high_rad


def _reversing(wing: Any, moving: Any) -> Any:
    """Where the motor has just turned round: a tenth of a second after its speed changes sign."""
    turned = np.diff(np.sign(wing["motor_radps"]), prepend=0) != 0
    spread = np.convolve(turned, np.ones(25), "full")[: len(turned)] > 0
    return spread & moving


def _move_times_s(wing: Any, rig: WingRig, poses: list[Pose]) -> tuple[list[float], list[float]]:
    """How long each whole move up and each whole move down took."""
    period_s = rig.control.period_s
    raises_s, lowers_s = [], []
    for before, pose in pairwise(poses):
        part = wing["lift_rad"][round(pose.start_s / period_s) : round(pose.end_s / period_s)]
        if not pose.brisk:
            continue
        if pose.where == RAISED and before.where == LOWERED:
            raises_s.append(_first(part > rig.wing.raised_rad - _NEAR_RAD) * period_s)
        elif pose.where == LOWERED and before.where == RAISED:
            lowers_s.append(_first(part < rig.wing.lowered_rad + _NEAR_RAD) * period_s)
    return raises_s, lowers_s


def _first(condition: Any) -> float:
    """Index of the first true element; infinite where there is none."""
    return float(np.argmax(condition)) if bool(np.any(condition)) else inf


class WingWant(NamedTuple):
    """One thing the rig file asks of a show, as `legsim.figures.Want` is of a walk."""

    name: str
    missed: Callable[[WingFigures, WingRig], float]
    found: Callable[[WingFigures, WingRig], str]
    advice: str

    def met(self, wing: WingFigures, rig: WingRig) -> bool:
        """Whether the wing's show gave what the rig file asks."""
        return self.missed(wing, rig) <= 0


def degrees_words(angle_rad: float) -> str:
    """An angle as people read it."""
    return f"{degrees(angle_rad):.1f}°"


WING_WANTS = (
    WingWant(
        "no fault",
        lambda wing, rig: float(len(wing.faults)),
        lambda wing, rig: "raised: " + ", ".join(wing.faults),
        "read the fault's remedy first; the other figures mean little after a fault",
    ),
    WingWant(
        "moves to judge",
        lambda wing, rig: float(wing.moves_asked == 0 and wing.holds == 0),
        lambda wing, rig: "this wing was never raised, and never held",
        "rehearse for longer (--seconds), or let it be held in the script",
    ),
    WingWant(
        "time to raise",
        lambda wing, rig: wing.raise_worst_s / rig.wants.raise_s - 1,
        lambda wing, rig: (
            f"worst {seconds_words(wing.raise_worst_s)}, wanted {seconds_words(rig.wants.raise_s)}"
        ),
        "raise control.follow_speed or control.accel; when the drive is already at its most,"
        " lower drive.gear_ratio or take a faster motor",
    ),
    WingWant(
        "time to lower",
        lambda wing, rig: wing.lower_worst_s / rig.wants.lower_s - 1,
        lambda wing, rig: (
            f"worst {seconds_words(wing.lower_worst_s)}, wanted {seconds_words(rig.wants.lower_s)}"
        ),
        "raise control.follow_speed or control.accel",
    ),
    WingWant(
        "tracking",
        lambda wing, rig: wing.track_worst_rad / rig.wants.track_rad - 1,
        lambda wing, rig: (
            f"{degrees_words(wing.track_worst_rad)} off its setpoint,"
            f" at most {degrees_words(rig.wants.track_rad)} wanted"
        ),
        "raise control.kp, or take a line that stretches less",
    ),
    WingWant(
        "holding",
        lambda wing, rig: wing.hold_worst_rad / rig.wants.drift_rad - 1,
        lambda wing, rig: (
            f"drifted by {degrees_words(wing.hold_worst_rad)} in {rig.wants.hold_s:g} s,"
            f" at most {degrees_words(rig.wants.drift_rad)} wanted"
        ),
        "lower control.kp or control.ki if it swings, raise them if it sinks; a controller without"
        " position sensors cannot hold at rest",
    ),
    WingWant(
        "end stops not passed",
        lambda wing, rig: wing.past_end_rad / (rig.wing.beyond_rad / 2) - 1,
        lambda wing, rig: f"passed by {degrees_words(wing.past_end_rad)}",
        "lower control.kp or control.follow_speed, or widen wing.beyond",
    ),
    WingWant(
        "slack",
        # Over the quadrant, since a want of no slack at all is no divisor.
        lambda wing, rig: (wing.slack_worst_m - rig.wants.slack_m) / rig.rope.quadrant_m,
        lambda wing, rig: (
            f"{mm_words(wing.slack_worst_m)} loose, at most {mm_words(rig.wants.slack_m)} wanted"
        ),
        "raise rope.pretension, or take a line that stretches less",
    ),
    WingWant(
        "winding warmth",
        lambda wing, rig: wing.winding_K / rig.drive.winding_limit_K - 1,
        lambda wing, rig: (
            f"{wing.winding_K:.0f} K over the air, at most {rig.drive.winding_limit_K:.0f} K wanted"
        ),
        "hold less, cool the motor, or take a larger one",
    ),
    WingWant(
        "rope strength",
        lambda wing, rig: wing.tension_peak_N * rig.wants.rope_factor / rig.rope.breaking_N - 1,
        lambda wing, rig: (
            f"{wing.tension_peak_N:.0f} N in a line that breaks at {rig.rope.breaking_N:.0f} N"
        ),
        "use a stronger line, more parts, or move more gently",
    ),
)
