"""What limits a rig: which want, in which build, and which of its tolerances weighs most there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hocklift.rigfile.keys import AnyRig, Key, keys_of
from hocklift.rigfile.units import show, with_unit
from hocklift.tuning.kinds import kind_of
from hocklift.tuning.score import Ran

# As many as a person will act on.
_MOST_LIMITS = 3
# More than this says no more about a build that misses a want.
_MISSED_MOST = 1.0
# Standard errors of a slope that chance hardly makes.
_SURE = 3.0


@dataclass(frozen=True)
class Limit:
    """One want where it is nearest to being missed, or missed most: in this build, and why."""

    want: str
    seed: int
    missed: float
    found: str
    tolerance: str
    advice: str

    @property
    def words(self) -> str:
        """The limit as people read it."""
        there = f"; there {self.tolerance}" if self.tolerance else ""
        return f"{self.want}, build {self.seed}: {self.found}{there}"


def limits(rig: AnyRig, fleet: Sequence[Ran], seconds: float) -> list[Limit]:
    """The wants that leave least room, the worst first, each in the build that is worst for it."""
    worst = []
    for i, room in enumerate(fleet[0].scale.rooms):
        ran = max(fleet, key=lambda ran, i=i: (ran.missed[i], -ran.seed))  # type: ignore[misc]
        if room or ran.missed[i] > 0:
            worst.append((ran.missed[i] / room if room else ran.missed[i], i, ran))
    worst.sort(key=lambda one: (-one[0], one[1]))
    return [_limit(rig, fleet, i, ran, seconds) for _, i, ran in worst[:_MOST_LIMITS]]


def _limit(rig: AnyRig, fleet: Sequence[Ran], i: int, ran: Ran, seconds: float) -> Limit:
    want, kind = ran.scale.wants[i], kind_of(rig)
    made = kind.built(rig, ran.seed)
    joints = kind.trial(rig, ran.seed, seconds).joints
    name, joint = max(joints.items(), key=lambda one: want.missed(one[1], made))
    return Limit(
        want.name,
        ran.seed,
        ran.missed[i],
        f"{name} {kind.joint}, {want.found(joint, made)}",
        _blamed(rig, made, fleet, i, ran),
        want.advice,
    )


def _blamed(rig: AnyRig, made: AnyRig, fleet: Sequence[Ran], i: int, ran: Ran) -> str:
    """The tolerance that, by a straight line through all builds, moves this want most here.

    Empty where chance alone may look as much: of some fifty lines one has a slope of two and a
    half standard errors.
    """
    kind = kind_of(rig)
    drawn = np.array([kind.draws(one.seed) for one in fleet])
    missed = np.clip([one.missed[i] for one in fleet], -1, _MISSED_MOST)
    off = drawn - drawn.mean(axis=0)
    spread = np.maximum((off**2).sum(axis=0), 1e-12)
    slopes = off.T @ (missed - missed.mean()) / spread
    sure = np.abs(slopes) > _SURE * missed.std() / np.sqrt(spread)
    weights = np.where(sure, slopes * np.array(kind.draws(ran.seed)), 0.0)
    most = int(np.argmax(weights))
    if weights[most] <= 0:
        return ""
    section, field = kind.tolerances[most].key.split(".")
    key = next(key for key in keys_of(rig)[section].values() if key.field == field)
    return f"{key.path} is {_words(key, made)}, not {_words(key, rig)}"


def _words(key: Key, rig: AnyRig) -> str:
    return with_unit(show(key.of(rig), key.unit, 3), key.unit)
