"""What the wearer of a pair of wings does: raise, hold, stop half way, lower, tuck in, let hang."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from legsim.wearer import ARM_S
from legsim.wing.loop import WING_LINES
from legsim.wing.rig import WingRig

# Where a wing is asked to go.
LOWERED, RAISED, HALF = "lowered", "raised", "half way"
# The wearer waits for a moment before the first move, and after each before it counts as held.
BEFORE_S = 0.8
SETTLE_S = 0.6


class Pose(NamedTuple):
    """One move and the hold after it: asked at `start_s`, held from `held_s` to `end_s`."""

    where: str
    start_s: float
    held_s: float
    end_s: float
    load_kg: float


def first_s(rig: WingRig) -> float:
    """When the first wing is moved: the rig is armed by then."""
    return ARM_S + rig.control.arm_time_s + BEFORE_S


def poses(rig: WingRig, seconds: float) -> list[Pose]:
    """The moves of a show: the load is taken up while the wings are lowered, and put down there."""
    moved_s = {
        RAISED: rig.wants.raise_s,
        LOWERED: rig.wants.lower_s,
        HALF: rig.wants.lower_s / 2,
    }
    found: list[Pose] = []
    at_s, turn = first_s(rig), 0
    order = (LOWERED, RAISED, HALF, RAISED, LOWERED)
    loads_kg = (0.0, 0.0, 0.0, 0.0, 0.0) + (rig.wants.load_kg,) * 5
    while True:
        where = order[turn % 5]
        held_s = at_s + moved_s[where] + SETTLE_S
        end_s = held_s + rig.wants.hold_s
        if end_s > seconds:
            return found
        # The first show is for looking, the second and all after it carry.
        found.append(Pose(where, at_s, held_s, end_s, loads_kg[min(turn, 9)]))
        at_s = end_s
        turn += 1


def show_script(rig: WingRig, seconds: float) -> NDArray[np.void]:
    """What is asked of both wings in every tick of a show, an array of `WING_LINES`."""
    time_s = np.arange(round(seconds / rig.control.period_s)) * rig.control.period_s
    lines = np.zeros(len(time_s), WING_LINES)
    wing = rig.wing
    angles_rad = {LOWERED: wing.lowered_rad, RAISED: wing.raised_rad, HALF: wing.middle_rad}
    stick = rig.control.command == "stick"
    command, load_kg = np.zeros(len(time_s)), np.zeros(len(time_s))
    at_rad = 0.0
    for pose in poses(rig, seconds):
        to_rad = angles_rad[pose.where]
        load_kg[time_s >= pose.start_s] = pose.load_kg
        if stick:
            # At an end the stick is held a little longer; half way the wearer lets it go there.
            full_s = abs(to_rad - at_rad) / rig.control.follow_speed_radps
            more_s = 0.0 if pose.where == HALF else 0.5
            pushed = (time_s >= pose.start_s) & (time_s < pose.start_s + full_s + more_s)
            command[pushed] = np.sign(to_rad - at_rad)
        else:
            command[time_s >= pose.start_s] = to_rad
        at_rad = to_rad
    for name in ("left", "right"):
        lines[name]["command"], lines[name]["load_kg"] = command, load_kg
    return lines
