"""Who walks in the rig: from a recorded gait, or a metronome, to what each leg feels.

A recorded knee angle says when a foot is raised: while the knee is bent beyond a level
that it exceeds for just the share of a stride in which the rig should be lifting. The
record is stretched to the rig's cadence and repeated, stride by stride, with the
person's own unevenness kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from random import Random
from statistics import fmean
from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim.rig import Rig

Floats = NDArray[np.floating[Any]]

# One leg's part in a script: each an array with one value per tick.
LEG_SCRIPT = np.dtype(
    [
        (name, np.float64)
        for name in (
            *("share", "push", "raised", "foot_x_m", "foot_x_mps", "ground_m"),
            "stumble",  # share of all weight that falls on this leg, whatever is meant
        )
    ]
)
SCRIPT = np.dtype(
    [
        ("left", LEG_SCRIPT),
        ("right", LEG_SCRIPT),
        ("walk_mps", np.float64),
        ("load_kg", np.float64),  # what the frame carries besides
        ("stick", np.float64),  # -1 rises, 1 stoops, as fast as it can
    ]
)

# A foot pushes its switch within this time, and lets go of it as fast.
_PUSH_S = 0.03
# A hand moves the stick from its middle to an end, and lets it spring back, in this time.
HAND_S = 0.15
# The arm input stays open for so long, as a person's hand would leave it.
ARM_S = 0.2
# The wearer stands for a moment before the first step and after the last.
_BEFORE_S = 0.8
_AFTER_S = 0.5
# A foot leaves the ground so long after it is asked to, and is back so long before it must be.
_LEAVE_S, _LAND_S = 0.1, 0.15


class GaitError(ValueError):
    """A gait record that cannot drive a walk, and why."""


@dataclass(frozen=True)
class Gait:
    """Knee flexion of both legs against time; 0 is straight."""

    time_s: Floats
    left_deg: Floats
    right_deg: Floats


@dataclass(frozen=True)
class Raise:
    """One raised foot: pushed from `start_s` to `end_s`, back on the ground by `down_s`."""

    leg: int
    start_s: float
    end_s: float
    down_s: float


@dataclass(frozen=True)
class Push:
    """The stick held at `place`, -1 to 1, from `start_s` to `end_s`."""

    start_s: float
    end_s: float
    place: float


def first_s(rig: Rig) -> float:
    """When the first foot is raised: the rig is armed by then."""
    return ARM_S + rig.control.arm_time_s + _BEFORE_S


def pressed_share(rig: Rig) -> float:
    """Share of a stride that a foot is held against its switch.

    A swing is lifting, then lowering; the foot lets go when lowering is to begin.
    """
    stride_s = 2 / rig.wearer.cadence_per_s
    return 1 - rig.wearer.stance_share - rig.wants.lower_s / stride_s


def gait_raises(rig: Rig, gait: Gait, seconds: float) -> list[Raise]:
    """When each foot is raised, from recorded knee angles stretched to the rig's cadence."""
    stride_s = 2 / rig.wearer.cadence_per_s
    per_leg = [_pressed(gait.time_s, angle, rig) for angle in (gait.left_deg, gait.right_deg)]
    starts = [start for presses in per_leg for start, _ in presses]
    recorded_s = _recorded_stride_s(per_leg)
    stretch = stride_s / recorded_s
    earliest_s = min(starts)
    # The part of the record that repeats: whole strides, as many as it holds for both legs.
    whole = min(len(presses) for presses in per_leg)
    loop_s = whole * recorded_s
    raises = []
    for leg, presses in enumerate(per_leg):
        for turn in range(int(seconds / (loop_s * stretch)) + 1):
            for start, end in presses[:whole]:
                begin = first_s(rig) + (start - earliest_s + turn * loop_s) * stretch
                raises.append(_raise(rig, leg, begin, begin + (end - start) * stretch))
    return _whole_steps(raises, seconds)


def metronome_raises(rig: Rig, seconds: float) -> list[Raise]:
    """When each foot is raised by somebody who walks like clockwork."""
    step_s = 1 / rig.wearer.cadence_per_s
    press_s = pressed_share(rig) * 2 * step_s
    starts = [first_s(rig) + i * step_s for i in range(int(seconds / step_s) + 1)]
    return _whole_steps(
        [_raise(rig, i % 2, start, start + press_s) for i, start in enumerate(starts)], seconds
    )


def _whole_steps(raises: list[Raise], seconds: float) -> list[Raise]:
    """In order of time, without those that the end of the walk would cut short."""
    return sorted(
        (one for one in raises if one.down_s + _AFTER_S <= seconds), key=lambda one: one.start_s
    )


def _raise(rig: Rig, leg: int, start_s: float, end_s: float) -> Raise:
    return Raise(leg, start_s, end_s, end_s + rig.wants.lower_s)


def _pressed(time_s: Floats, angle_deg: Floats, rig: Rig) -> list[tuple[float, float]]:
    """Intervals in which a knee is bent beyond the level that gives the wanted share."""
    # A study does this for thousands of wearers: the few points of interest as plain numbers.
    plain_s, plain_deg = time_s.tolist(), angle_deg.tolist()

    def beyond(level_deg: float) -> list[tuple[float, float]]:
        # A knee that also gives a little in stance does so for far shorter than it swings.
        bent = angle_deg > level_deg
        crossed = np.flatnonzero(bent[:-1] != bent[1:]).tolist()
        found = _between(plain_s, plain_deg, level_deg, crossed)
        longest_s = max((end - start for start, end in found), default=0.0)
        return [(start, end) for start, end in found if end - start > longest_s / 2]

    def share(level_deg: float) -> float:
        presses = beyond(level_deg)
        stride_s = _recorded_stride_s([presses])
        return fmean([end - start for start, end in presses]) / stride_s

    # Near the bottom every small bend of stance counts, near the top hardly a swing does;
    # between these shares of its range a knee in level walking bends once a stride.
    low, high = float(np.quantile(angle_deg, 0.5)), 0.95 * float(angle_deg.max())
    wanted = pressed_share(rig)
    if not share(high) <= wanted <= share(low):
        raise GaitError(
            f"the knee is never bent beyond one level for {100 * wanted:.0f} % of a stride"
        )
    for _ in range(40):
        middle = (low + high) / 2
        if share(middle) > wanted:
            low = middle
        else:
            high = middle
    return beyond((low + high) / 2)


def _between(
    time_s: list[float], angle_deg: list[float], level_deg: float, crossed: list[int]
) -> list[tuple[float, float]]:
    """Whole intervals above a level that is crossed after each of `crossed`, interpolated."""
    at = []
    for i in crossed:
        before, after = angle_deg[i] - level_deg, angle_deg[i + 1] - level_deg
        at.append(time_s[i] + (time_s[i + 1] - time_s[i]) * before / (before - after))
    # A record may begin in mid-swing.
    first = int(len(at) > 0 and angle_deg[crossed[0]] > level_deg)
    return list(zip(at[first::2], at[first + 1 :: 2], strict=False))


def _recorded_stride_s(per_leg: list[list[tuple[float, float]]]) -> float:
    """Mean time between raises of the same foot."""
    gaps = [later[0] - earlier[0] for presses in per_leg for earlier, later in pairwise(presses)]
    if not gaps:
        raise GaitError("no foot is raised twice in it; it must hold two strides or more")
    return fmean(gaps)


def script(
    rig: Rig,
    raises: list[Raise],
    seconds: float,
    seed: int = 1,
    pushes: Sequence[Push] = (),
) -> NDArray[np.void]:
    """What the wearer does to both legs and the stick in every tick, an array of `SCRIPT`.

    From `seed` follow the heights of the ground that the feet come down on.
    """
    period = rig.control.period_s
    count = round(seconds / period)
    time_s = np.arange(count) * period
    lines = np.zeros(count, SCRIPT)
    # Python's own generator, whose numbers stay the same from version to version.
    chance = Random(seed)
    bumps_m = {one: chance.random() * rig.ground.bump_m for one in raises}
    for leg, name in enumerate(("left", "right")):
        mine = [one for one in raises if one.leg == leg]
        for one in mine:
            rise(lines[name]["push"], time_s, one.start_s, one.end_s, _PUSH_S)
            # The ground changes under a foot in mid-swing, when it is farthest from it.
            middle = time_s.searchsorted((one.start_s + one.down_s) / 2)
            lines[name]["ground_m"][middle:] = bumps_m[one]
        lines[name]["raised"] = _raised(rig, mine, time_s)
        lines[name]["foot_x_m"] = _foot_x_m(rig, mine, time_s)
        lines[name]["foot_x_mps"] = np.gradient(lines[name]["foot_x_m"], period)
    left, right = lines["left"]["raised"], lines["right"]["raised"]
    # A raised leg hangs from the frame, so the wearer leans until the other bears all of it.
    hanging = rig.mechanism.leg_mass_kg / rig.mechanism.carried_mass_kg
    lines["left"]["share"] = 0.5 + (right - left) * (0.5 + hanging)
    lines["right"]["share"] = 1 - lines["left"]["share"]
    for push in pushes:
        stick = np.zeros(count)
        rise(stick, time_s, push.start_s, push.end_s, HAND_S)
        lines["stick"] += push.place * stick
    if raises:
        walk = ramp(time_s, raises[0].start_s, 0.5)
        lines["walk_mps"] = walk * rig.wearer.cadence_per_s * rig.wearer.step_length_m
    return lines


def ramp(time_s: Floats, start_s: float, length_s: float) -> Floats:
    """From 0 to 1 over `length_s`, smooth at both ends."""
    # A script has dozens; np.clip would take longer than all the rest.
    x = np.minimum(np.maximum((time_s - start_s) / length_s, 0), 1)
    return np.asarray(x * x * (3 - 2 * x))


def rise(values: Floats, time_s: Floats, up_s: float, down_s: float, length_s: float) -> None:
    """Add to `values` a ramp up and a later ramp down, each `length_s` long."""
    # Only where it is not zero: a long walk has many.
    part = slice(time_s.searchsorted(up_s), time_s.searchsorted(down_s + length_s))
    values[part] += ramp(time_s[part], up_s, length_s) - ramp(time_s[part], down_s, length_s)


def _raised(rig: Rig, mine: list[Raise], time_s: Floats) -> Floats:
    """1 while this leg bears nothing; weight moves across while both feet are down."""
    stride_s = 2 / rig.wearer.cadence_per_s
    across_s = max(0.05, (rig.wearer.stance_share - 0.5) * stride_s)
    raised = np.zeros_like(time_s)
    for one in mine:
        rise(raised, time_s, one.start_s - across_s, one.down_s, across_s)
    return np.asarray(np.clip(raised, 0, 1))


def _foot_x_m(rig: Rig, mine: list[Raise], time_s: Floats) -> Floats:
    """Where the wearer's foot is, ahead of the hip: back with the ground, forward when raised."""
    speed = rig.wearer.cadence_per_s * rig.wearer.step_length_m
    on_ground_s = rig.wearer.stance_share * 2 / rig.wearer.cadence_per_s + _LEAVE_S + _LAND_S
    reach_m = speed * on_ground_s / 2
    if not mine:
        return np.zeros_like(time_s)
    # Knots: where the foot leaves the ground and where it meets it again.
    knots_s, knots_m = [mine[0].start_s - 1.0], [0.0]
    for one in mine:
        knots_s += [one.start_s + _LEAVE_S, one.down_s - _LAND_S]
        knots_m += [max(-reach_m, knots_m[-1] - speed * (one.start_s - knots_s[-3])), reach_m]
    x_m = np.interp(time_s, knots_s, knots_m)
    for k in range(1, len(knots_s) - 1, 2):
        forward = slice(*time_s.searchsorted(knots_s[k : k + 2]))
        x_m[forward] = knots_m[k] + (knots_m[k + 1] - knots_m[k]) * ramp(
            time_s[forward], knots_s[k], knots_s[k + 1] - knots_s[k]
        )
    return np.asarray(x_m)
