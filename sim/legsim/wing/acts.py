"""What a wearer does with a pair of wings, act by act, as `legsim.acts` has it for legs.

With a stick an act pushes it; with a pot a hand turns that as fast as the stick would have
moved the wing, so that one script serves both.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim.acts import AFTER_S, SHIFT_S, Act, ActError, Kind, Number, Word, lasting
from legsim.wearer import HAND_S, Floats, ramp, rise
from legsim.wing.loop import WING_LINES
from legsim.wing.plant import COMMAND_HIGH, COMMAND_LOW
from legsim.wing.rig import WingRig
from legsim.wing.script import HALF, LOWERED, RAISED, SETTLE_S, WINGS, Played, Pose, first_s

# A hand that pushes less than this lets go; one that pushes more than that asks for the fastest.
_LETS_GO, _BRISK = 0.01, 0.99
# So near to an end is at it.
_NEAR_RAD = 0.02


@dataclass
class WingStage:
    """Where acts are played: how each stick is pushed, -1 to 1, what hangs at each tip, and when
    that changes."""

    rig: WingRig
    time_s: Floats
    push: dict[str, NDArray[np.float64]]
    load_kg: dict[str, NDArray[np.float64]]
    loading_s: dict[str, list[tuple[float, float]]]


def _wings(act: dict[str, Any]) -> tuple[str, ...]:
    return WINGS if act["wing"] == "both" else (act["wing"],)


def _hold(stage: WingStage, start_s: float, act: dict[str, Any]) -> None:
    """Do nothing."""


def _push(way: float) -> Callable[[WingStage, float, dict[str, Any]], None]:
    def play(stage: WingStage, start_s: float, act: dict[str, Any]) -> None:
        for name in _wings(act):
            _add_push(stage, name, start_s, act["time"], way * act["stick"])

    return play


def _add_push(stage: WingStage, name: str, start_s: float, length_s: float, place: float) -> None:
    pushed = np.zeros(len(stage.time_s))
    rise(pushed, stage.time_s, start_s, start_s + length_s - HAND_S, HAND_S)
    stage.push[name] += place * pushed


def _wave(stage: WingStage, start_s: float, act: dict[str, Any]) -> None:
    waves = int(act["time"] / act["every"] + 1e-9)
    if not waves:
        raise ActError("time", f"is too short for one wave of {act['every']:g} s")
    half_s = act["every"] / 2
    for name in _wings(act):
        path_rad = asked_path_rad(stage.rig, stage.push[name])
        at_rad = path_rad[min(int(stage.time_s.searchsorted(start_s)), len(path_rad) - 1)]
        # Upward first, but where it is up already.
        way = act["stick"] if at_rad < stage.rig.wing.middle_rad else -act["stick"]
        for i in range(2 * waves):
            _add_push(stage, name, start_s + i * half_s, half_s, way * (-1) ** i)


def _load(stage: WingStage, start_s: float, act: dict[str, Any]) -> None:
    taken = ramp(stage.time_s, start_s, SHIFT_S)
    for name in _wings(act):
        before_kg = stage.load_kg[name].copy()
        stage.load_kg[name] = before_kg + (act["mass"] - before_kg) * taken
        stage.loading_s[name].append((start_s, start_s + act["time"]))


_STICK = Number("stick", "percent", 0.05, 1, 1.0, "how far the stick is pushed, of its throw")
_WING = Word("wing", ("both", *WINGS), "which wing", "both")

WING_ACTS = (
    Kind("hold", "let go of the stick: the wings stay where they are", (lasting(None),), _hold),
    Kind("raise", "push the stick up", (lasting(None, 0.4), _STICK, _WING), _push(1)),
    Kind("lower", "push the stick down", (lasting(None, 0.4), _STICK, _WING), _push(-1)),
    Kind(
        "wave",
        "up and down, again and again",
        (
            lasting(None, 0.8),
            Number("every", "s", 0.8, 60, 2.0, "how long one wave takes, up and down"),
            _STICK,
            _WING,
        ),
        _wave,
    ),
    Kind(
        "load",
        "from here on so much hangs at the tip; 0 kg takes it off",
        (lasting(1.0), Number("mass", "kg", 0, 200, None, "what hangs there"), _WING),
        _load,
    ),
)


def wing_seconds_of(rig: WingRig, acts: list[Act]) -> float:
    """How long it takes to arm, to do all acts, and to hold a moment."""
    return float(first_s(rig) + sum(act.values["time"] for act in acts) + AFTER_S)


def play_wings(rig: WingRig, acts: list[Act]) -> Played:
    """The script of acts, one after another, and what of it can be judged.

    Raises ActError with the index of the act that cannot be played.
    """
    ticks = round(wing_seconds_of(rig, acts) / rig.control.period_s)
    time_s = np.arange(ticks) * rig.control.period_s
    push, load_kg = ({name: np.zeros(len(time_s)) for name in WINGS} for _ in range(2))
    stage = WingStage(rig, time_s, push, load_kg, {name: [] for name in WINGS})
    kinds = {kind.name: kind for kind in WING_ACTS}
    start_s = first_s(rig)
    for i, act in enumerate(acts):
        try:
            kinds[act.kind].play(stage, start_s, act.values)
        except ActError as error:
            error.index = i
            raise
        start_s += act.values["time"]
    lines = np.zeros(len(time_s), WING_LINES)
    moves = {}
    for name in WINGS:
        path_rad = asked_path_rad(rig, stage.push[name])
        by_stick = rig.control.command == "stick"
        lines[name]["command"] = stage.push[name] if by_stick else path_rad
        lines[name]["load_kg"] = stage.load_kg[name]
        moves[name] = list(_judged(stage, name, path_rad))
    return Played(lines, moves)


def asked_path_rad(rig: WingRig, push: Floats) -> Floats:
    """Where pushes of a stick mean a wing to be, tick by tick, hanging at the start."""
    control, sensors = rig.control, rig.sensors
    share = np.abs(push)
    if control.command == "stick":
        rest, zone = sensors.stick_rest, rig.safety.stick_zone
        room = np.where(push > 0, COMMAND_HIGH - rest, rest - COMMAND_LOW)
        share = np.maximum(0, share * room - zone) / (room - zone)
    steps_rad = np.sign(push) * share * control.follow_speed_radps * control.period_s
    low_rad, high_rad, at_rad = rig.wing.lowered_rad, rig.wing.raised_rad, 0.0
    path_rad = []
    for step_rad in steps_rad.tolist():
        at_rad = min(max(at_rad + step_rad, low_rad), high_rad)
        path_rad.append(at_rad)
    return np.array(path_rad)


def _judged(stage: WingStage, name: str, path_rad: Floats) -> list[Pose]:
    """The moves of one wing, each with the hold after it; a load taken up begins a new hold."""
    wing, time_s, period_s = stage.rig.wing, stage.time_s, stage.rig.control.period_s
    push = np.abs(stage.push[name])
    edges = np.flatnonzero(np.diff(push > _LETS_GO, prepend=False, append=False)).tolist()
    spans = list(zip(edges[::2], edges[1::2], strict=True))
    found = []
    for k, (start, end) in enumerate(spans):
        at_rad = path_rad[end - 1]
        where = HALF
        if at_rad > wing.raised_rad - _NEAR_RAD:
            where = RAISED
        elif at_rad < wing.lowered_rad + _NEAR_RAD:
            where = LOWERED
        until = spans[k + 1][0] if k + 1 < len(spans) else len(time_s)
        holds_s = _holds_s(end * period_s + SETTLE_S, until * period_s, stage.loading_s[name])
        # A move that another one follows at once may be cut short.
        brisk = bool(push[start:end].max() > _BRISK) and holds_s[0][0] < holds_s[0][1]
        for held_s, end_s in holds_s:
            load_kg = stage.load_kg[name][min(round(held_s / period_s), len(time_s) - 1)]
            found.append(Pose(where, start * period_s, held_s, end_s, float(load_kg), brisk))
    return found


def _holds_s(
    from_s: float, until_s: float, loading_s: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Parts of a hold in which nothing is taken up or put down, each as its start and its end."""
    held_s, ends_s = [from_s], []
    for begun_s, done_s in loading_s:
        if held_s[-1] <= begun_s < until_s:
            ends_s.append(begun_s)
            held_s.append(done_s + SETTLE_S)
    return list(zip(held_s, [*ends_s, until_s], strict=True))
