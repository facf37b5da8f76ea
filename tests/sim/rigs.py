"""Rigs, walks and one leg's plant, as several tests here need them."""

from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from typing import Any

import numpy as np
from legsim.drive import controller_tick, line_tension_N, motor_current_A, turn_motor
from legsim.leg import pose
from legsim.plant import start_state
from legsim.records import rig_record
from legsim.rig import Rig
from legsim.run import Walk
from legsim.wearer import Gait, Raise, first_s, gait_raises, script
from numpy.typing import NDArray

DEMO = Rig()
PERIOD_S = DEMO.control.period_s
FEET = ("left", "right")
LEFT, RIGHT = 0, 1
# When the demo rig is armed and its wearer ready for the first step.
READY_S = first_s(DEMO)


def changed(rig: Rig = DEMO, **sections: dict[str, Any]) -> Rig:
    """The rig with some numbers changed, given by section."""
    parts = {name: replace(getattr(rig, name), **new) for name, new in sections.items()}
    return replace(rig, **parts)


# On the spot, for feet that are raised otherwise than in walking: they would have no place
# to go forward to, and the other foot would be left behind.
MARCHING = changed(wearer={"step_length_m": 0.0})


def built_in_gait() -> Gait:
    """The recorded gait that hocklift ships."""
    with resources.as_file(resources.files("hocklift") / "data/gait-healthy-adult.csv") as path:
        return Gait(*np.loadtxt(path, delimiter=",", skiprows=1).T)


def gait_of(rig: Rig, seconds: float) -> list[Raise]:
    """Feet raised as in the recorded gait."""
    return gait_raises(rig, built_in_gait(), seconds)


def walk(
    rig: Rig = DEMO, seconds: float = 20.0, seed: int = 1, raises: list[Raise] | None = None
) -> NDArray[np.void]:
    """Trace of a walk; without `raises` under the recorded gait."""
    if raises is None:
        raises = gait_of(rig, seconds)
    return Walk(rig, script(rig, raises, seconds, seed), seed).run()


def struck(walk: Walk, *strikes: tuple[float, Callable[[Walk], None]]) -> NDArray[np.void]:
    """Trace of a walk to which something is done at some times."""
    due = {round(at_s / PERIOD_S): strike for at_s, strike in strikes}
    for done in walk.ticks(1):
        if done in due:
            due[done](walk)
    return walk.trace


def raised(leg: int, start_s: float, end_s: float) -> Raise:
    """A foot pushed from one time to another, and on the ground when lowering may take."""
    return Raise(leg, start_s, end_s, end_s + DEMO.wants.lower_s)


class Leg:
    """The left leg's drive alone: what a bench would show of it, its pose fixed."""

    def __init__(self, rig: Rig = DEMO) -> None:
        self.rig = rig_record(rig)[0]
        self.state = start_state(rig, 1)[0]
        self.state["contactor"] = 1
        self.leg = self.state["left"]
        self.leg["frame_s"] = 0.0
        pose(self.leg, self.rig)

    def __getitem__(self, name: str) -> float:
        return float(self.leg[name])

    def set(self, **values: float) -> "Leg":
        """Put the leg's memory into a state; returns the leg."""
        for name, value in values.items():
            self.leg[name] = value
        return self

    def pulse(self, pulse_us: float, ticks: int = 1) -> float:
        """Hold a pulse for some ticks; returns the duty that the controller then gives."""
        for _ in range(ticks):
            controller_tick(self.leg, self.rig, self.state, pulse_us * 1e-6, PERIOD_S)
        return self["duty"]

    def current_A(self) -> float:
        """Motor current now."""
        return float(motor_current_A(self.leg, self.rig, self.state))

    def tension_N(self) -> float:
        """Tension of the lead line now."""
        return float(line_tension_N(self.leg, self.rig))

    def turn(self, seconds: float, tension_N: float | None = None) -> None:
        """Let the motor turn under a tension, or under what the line has."""
        step_s = DEMO.control.substep_s
        for _ in range(round(seconds / step_s)):
            now_N = self.tension_N() if tension_N is None else tension_N
            turn_motor(self.leg, self.rig, self.state, now_N, step_s)
