"""What the wearer of a pair of wings does: raise, hold, stop half way, lower, tuck in, let hang."""

from collections.abc import Iterator, Sequence
from itertools import count, islice
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from legsim.wearer import ARM_S
from legsim.wing.loop import WING_LINES
from legsim.wing.rig import WingRig

WINGS = ("left", "right")
# Where a wing is asked to go.
LOWERED, RAISED, HALF = "lowered", "raised", "half way"
# The wearer waits for a moment before the first move, and after each before it counts as held.
BEFORE_S = 0.8
SETTLE_S = 0.6
_ORDER = (LOWERED, RAISED, HALF, RAISED, LOWERED)
_BRIEF_ORDER = (LOWERED, RAISED, HALF, LOWERED)


class Pose(NamedTuple):
    """One move and the hold after it: asked at `start_s`, held from `held_s` to `end_s`.

    A move is `brisk` where the fastest is asked of it, so that its time can be judged.
    """

    where: str
    start_s: float
    held_s: float
    end_s: float
    load_kg: float
    brisk: bool = True


class Played(NamedTuple):
    """What is asked of both wings in every tick, and the moves of each that can be judged."""

    lines: NDArray[np.void]
    moves: dict[str, list[Pose]]


def first_s(rig: WingRig) -> float:
    """When the first wing is moved: the rig is armed by then."""
    return ARM_S + rig.control.arm_time_s + BEFORE_S


def poses(rig: WingRig, seconds: float) -> list[Pose]:
    """The moves of a show: the load is taken up while the wings are lowered, and put down there."""
    found: list[Pose] = []
    # The first show is for looking, the second and all after it carry.
    for turn, pose in enumerate(_moves(rig, _ORDER, rig.wants.load_kg)):
        if pose.end_s > seconds:
            break
        found.append(pose if turn >= len(_ORDER) else pose._replace(load_kg=0.0))
    return found


def once_raised_s(rig: WingRig) -> float:
    """When a show has raised the wings for the first time, and held them up."""
    return list(islice(_moves(rig, _ORDER, 0.0), 2))[-1].end_s


def _moves(rig: WingRig, order: Sequence[str], load_kg: float) -> Iterator[Pose]:
    """One move after another, each as soon as the one before has been held, and so for ever."""
    moved_s = {
        RAISED: rig.wants.raise_s,
        LOWERED: rig.wants.lower_s,
        HALF: rig.wants.lower_s / 2,
    }
    at_s = first_s(rig)
    for turn in count():
        where = order[turn % len(order)]
        held_s = at_s + moved_s[where] + SETTLE_S
        end_s = held_s + rig.wants.hold_s
        yield Pose(where, at_s, held_s, end_s, load_kg)
        at_s = end_s


def whole_show(rig: WingRig, seconds: float) -> Played:
    """The show that a rehearsal and a study have of both wings alike."""
    return Played(show_script(rig, seconds), dict.fromkeys(WINGS, poses(rig, seconds)))


def brief_show(rig: WingRig) -> Played:
    """A show that a search can see thousands of times: one wing with its load, the other empty."""
    moves = {
        name: list(islice(_moves(rig, _BRIEF_ORDER, load_kg), len(_BRIEF_ORDER)))
        for name, load_kg in zip(WINGS, (rig.wants.load_kg, 0.0), strict=True)
    }
    return Played(_lines(rig, moves, moves[WINGS[0]][-1].end_s), moves)


def show_script(rig: WingRig, seconds: float) -> NDArray[np.void]:
    """What is asked of both wings in every tick of a show, an array of `WING_LINES`."""
    return _lines(rig, dict.fromkeys(WINGS, poses(rig, seconds)), seconds)


def _lines(rig: WingRig, moves: dict[str, list[Pose]], seconds: float) -> NDArray[np.void]:
    time_s = np.arange(round(seconds / rig.control.period_s)) * rig.control.period_s
    lines = np.zeros(len(time_s), WING_LINES)
    wing = rig.wing
    angles_rad = {LOWERED: wing.lowered_rad, RAISED: wing.raised_rad, HALF: wing.middle_rad}
    stick = rig.control.command == "stick"
    for name, mine in moves.items():
        command, load_kg = lines[name]["command"], lines[name]["load_kg"]
        at_rad = 0.0
        for pose in mine:
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
    return lines
