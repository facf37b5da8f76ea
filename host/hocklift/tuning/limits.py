"""What limits a rig: which want, in which build, and which of its tolerances weighs most there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from legsim.figures import WANTS
from legsim.perturb import TOLERANCES, built, draws
from legsim.rig import Rig
from legsim.trial import trial
from legsim.wearer import Gait

from hocklift.rigfile.keys import KEYS, Key
from hocklift.rigfile.units import show, with_unit
from hocklift.tuning.score import ROOM, Ran

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


def limits(rig: Rig, fleet: Sequence[Ran], seconds: float, gait: Gait) -> list[Limit]:
    """The wants that leave least room, the worst first, each in the build that is worst for it."""
    worst = []
    for i, want in enumerate(WANTS):
        ran = max(fleet, key=lambda ran, i=i: (ran.missed[i], -ran.seed))  # type: ignore[misc]
        room = ROOM.get(want.name, 0.0)
        if room or ran.missed[i] > 0:
            worst.append((ran.missed[i] / room if room else ran.missed[i], i, ran))
    worst.sort(key=lambda one: (-one[0], one[1]))
    return [_limit(rig, fleet, i, ran, seconds, gait) for _, i, ran in worst[:_MOST_LIMITS]]


def _limit(rig: Rig, fleet: Sequence[Ran], i: int, ran: Ran, seconds: float, gait: Gait) -> Limit:
    want = WANTS[i]
    made = built(rig, draws(ran.seed))
    legs = trial(rig, ran.seed, seconds, gait).legs
    name, leg = max(legs.items(), key=lambda one: want.missed(one[1], made))
    return Limit(
        want.name,
        ran.seed,
        ran.missed[i],
        f"{name} leg, {want.found(leg, made)}",
        _blamed(rig, made, fleet, i, ran),
        want.advice,
    )


def _blamed(rig: Rig, made: Rig, fleet: Sequence[Ran], i: int, ran: Ran) -> str:
    """The tolerance that, by a straight line through all builds, moves this want most here.

    Empty where chance alone may look as much: of some fifty lines one has a slope of two and a
    half standard errors.
    """
    drawn = np.array([draws(one.seed) for one in fleet])
    missed = np.clip([one.missed[i] for one in fleet], -1, _MISSED_MOST)
    off = drawn - drawn.mean(axis=0)
    spread = np.maximum((off**2).sum(axis=0), 1e-12)
    slopes = off.T @ (missed - missed.mean()) / spread
    sure = np.abs(slopes) > _SURE * missed.std() / np.sqrt(spread)
    weights = np.where(sure, slopes * np.array(draws(ran.seed)), 0.0)
    most = int(np.argmax(weights))
    if weights[most] <= 0:
        return ""
    section, field = TOLERANCES[most].key.split(".")
    key = next(key for key in KEYS[section].values() if key.field == field)
    return f"{key.path} is {_words(key, made)}, not {_words(key, rig)}"


def _words(key: Key, rig: Rig) -> str:
    return with_unit(show(key.of(rig), key.unit, 3), key.unit)
