"""What a wearer does, as data: one act after another, each with a few numbers, made a script.

`ACTS` holds what there is to do; the reader of script files, its messages and the manual take
names, numbers and ranges from there.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from legsim.rig import Rig
from legsim.wearer import (
    HAND_S,
    Floats,
    Gait,
    Raise,
    first_s,
    gait_raises,
    metronome_raises,
    ramp,
    rise,
    script,
)

# A wearer shifts weight, takes up a load, and brings both feet together in this time.
SHIFT_S = 0.6
# How a stumble comes and goes.
_TRIP_S = 0.05
AFTER_S = 1.0
LEGS = ("left", "right")


class ActError(ValueError):
    """An act that cannot be played: which key of it, why, and once known, which act it is."""

    def __init__(self, key: str, why: str) -> None:
        super().__init__(why)
        self.key = key
        self.index = 0


class Number(NamedTuple):
    """A number of an act: SI default (None: it must be given) and range, unit for people."""

    name: str
    unit: str
    low: float
    high: float
    default: float | None
    meaning: str


class Word(NamedTuple):
    """A word of an act, out of a few (default None: it must be given)."""

    name: str
    words: tuple[str, ...]
    meaning: str
    default: str | None = None


@dataclass(frozen=True)
class Act:
    """One thing that the wearer does: its kind by name, and the value of each of its keys."""

    kind: str
    values: dict[str, Any]


@dataclass
class Stage:
    """Where acts are played: the script as far as it is made, and who walks in it."""

    rig: Rig
    seed: int
    gait: Gait | None
    time_s: Floats
    lines: NDArray[np.void]


def _stand(stage: Stage, start_s: float, act: dict[str, Any]) -> None:
    """Do nothing."""


def _walk(stage: Stage, start_s: float, act: dict[str, Any]) -> None:
    rig, begin_s = stage.rig, first_s(stage.rig)
    until_s = begin_s + act["time"]
    if stage.gait is None:
        raises = metronome_raises(rig, until_s)
    else:
        raises = gait_raises(rig, stage.gait, until_s)
    if not raises:
        raise ActError("time", "is too short for one whole step")
    _add_walk(stage, [_later(one, start_s - begin_s) for one in raises])


def _later(one: Raise, by_s: float) -> Raise:
    return replace(
        one, start_s=one.start_s + by_s, end_s=one.end_s + by_s, down_s=one.down_s + by_s
    )


def _add_walk(stage: Stage, raises: list[Raise]) -> None:
    """Add one walk to the script; after it the ground stays, and the feet come together."""
    lines, time_s = stage.lines, stage.time_s
    part = script(stage.rig, raises, len(lines) * stage.rig.control.period_s, stage.seed)
    walking = 1 - ramp(time_s, raises[-1].down_s, SHIFT_S)
    since = time_s >= raises[0].start_s
    for name in LEGS:
        own, leg = lines[name], part[name]
        own["push"] += leg["push"]
        own["raised"] += leg["raised"]
        own["share"] += leg["share"] - 0.5
        own["foot_x_m"] += leg["foot_x_m"] * walking
        own["ground_m"][since] = leg["ground_m"][since]
    lines["walk_mps"] += part["walk_mps"] * walking


def _push_stick(place: float) -> Callable[[Stage, float, dict[str, Any]], None]:
    def play(stage: Stage, start_s: float, act: dict[str, Any]) -> None:
        end_s = start_s + act["time"] - HAND_S
        push = np.zeros(len(stage.lines))
        rise(push, stage.time_s, start_s, end_s, HAND_S)
        stage.lines["stick"] += place * act["stick"] * push

    return play


def _lean(stage: Stage, start_s: float, act: dict[str, Any]) -> None:
    lean = np.zeros(len(stage.lines))
    rise(lean, stage.time_s, start_s, start_s + act["time"] - SHIFT_S, SHIFT_S)
    onto = LEGS.index(act["leg"])
    stage.lines[LEGS[onto]]["share"] += (act["share"] - 0.5) * lean
    stage.lines[LEGS[1 - onto]]["share"] -= (act["share"] - 0.5) * lean


def _stumble(stage: Stage, start_s: float, act: dict[str, Any]) -> None:
    end_s = start_s + act["time"] - _TRIP_S
    rise(stage.lines[act["leg"]]["stumble"], stage.time_s, start_s, end_s, _TRIP_S)


def _load(stage: Stage, start_s: float, act: dict[str, Any]) -> None:
    before_kg = stage.lines["load_kg"].copy()
    taken = ramp(stage.time_s, start_s, SHIFT_S)
    stage.lines["load_kg"] = before_kg + (act["mass"] - before_kg) * taken


class Kind(NamedTuple):
    """A kind of act: what it is, its keys, and how it is played from `start_s` on."""

    name: str
    meaning: str
    keys: tuple[Number | Word, ...]
    play: Callable[[Any, float, dict[str, Any]], None]


def lasting(default: float | None, least_s: float = 0.1) -> Number:
    """The key that says how long an act takes."""
    return Number("time", "s", least_s, 3600, default, "how long")


_STICK = Number("stick", "percent", 0.05, 1, 1.0, "how far the stick is pushed, of its throw")
_LEG = Word("leg", LEGS, "which leg")

ACTS = (
    Kind("stand", "stand, or stay stooped, with the stick let go", (lasting(None),), _stand),
    Kind("walk", "walk, step by step; whole steps only", (lasting(None, 1),), _walk),
    Kind("stoop", "push the stick: both legs fold", (lasting(None, 0.4), _STICK), _push_stick(1)),
    Kind("rise", "pull the stick: both legs rise", (lasting(None, 0.4), _STICK), _push_stick(-1)),
    Kind(
        "lean",
        "put more of the weight on one leg, and back",
        (
            lasting(None, 1.5),
            _LEG,
            Number("share", "percent", 0.5, 1, 0.8, "of the carried weight that it bears then"),
        ),
        _lean,
    ),
    Kind("stumble", "all weight falls on one leg", (lasting(0.8), _LEG), _stumble),
    Kind(
        "load",
        "from here on the frame carries so much more; 0 kg puts it down",
        (lasting(1.0), Number("mass", "kg", 0, 100, None, "what it carries besides")),
        _load,
    ),
)


def seconds_of(rig: Rig, acts: list[Act]) -> float:
    """How long it takes to arm, to do all acts, and to stand a moment."""
    return float(first_s(rig) + sum(act.values["time"] for act in acts) + AFTER_S)


def play(rig: Rig, acts: list[Act], gait: Gait | None, seed: int) -> NDArray[np.void]:
    """The script of acts, one after another: an array of `wearer.SCRIPT`.

    Whoever walks does so as in `gait`, or to a metronome without one. Raises ActError with the
    index of the act that cannot be played, and GaitError.
    """
    lines = script(rig, [], seconds_of(rig, acts))
    time_s = np.arange(len(lines)) * rig.control.period_s
    kinds = {kind.name: kind for kind in ACTS}
    start_s = first_s(rig)
    for i, act in enumerate(acts):
        # Each walk meets a ground of its own.
        stage = Stage(rig, seed + i, gait, time_s, lines)
        try:
            kinds[act.kind].play(stage, start_s, act.values)
        except ActError as error:
            error.index = i
            raise
        start_s += act.values["time"]
    for name in LEGS:
        lines[name]["foot_x_mps"] = np.gradient(lines[name]["foot_x_m"], rig.control.period_s)
    return lines
