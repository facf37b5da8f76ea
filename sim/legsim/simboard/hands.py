"""Who is at the rig: a wearer who raises feet, and hands that pose a leg on a stand."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim.linkage import leans_under_hip_rad
from legsim.rig import Rig
from legsim.wearer import HAND_S, SCRIPT

FEET = ("left", "right")
# A foot pushes its switch within this time, and weight moves across within that.
_PUSH_S = 0.03
_SHIFT_S = 0.15
# How fast a foot is drawn to where it is to stand, as at the end of a walk.
_FOOT_MPS = 0.5
# How fast a hand turns a leg.
_HAND_RADPS = 0.6


class Hands:
    """What the people at the rig do, in every tick of the plant."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.line = np.zeros(1, SCRIPT)
        self.script: NDArray[np.void] | None = None
        self.at = 0
        self.raised = dict.fromkeys(FEET, False)
        # How far ahead of the hip each foot is to stand.
        self.foot_x_m = dict.fromkeys(FEET, 0.0)
        # Where the wearer leans to: -1 left, 1 right; and how far they have got.
        self.lean = self.leaning = 0.0
        # Where the stick is pushed to: -1 rises, 1 stoops, 0 let go; and how far it has got.
        self.stick = self.stick_at = 0.0
        self.held: dict[str, float | None] = dict.fromkeys(FEET)
        # Where the hand is that holds it.
        self.at_rad: dict[str, float | None] = dict.fromkeys(FEET)
        # A raised leg hangs from the frame, so the wearer leans until the other bears all of it.
        self.hanging = rig.mechanism.leg_mass_kg / rig.mechanism.carried_mass_kg

    def wear(self, lines: NDArray[np.void]) -> None:
        """Obey a wearer's script, a line a tick from now on; its last line stays."""
        self.script, self.at = lines, 0

    def raise_foot(self, foot: str, raised: bool) -> None:
        """Raise a foot, or put it down; this ends a script."""
        self.script = None
        self.raised[foot] = raised

    def act(self) -> NDArray[np.void]:
        """What they do in the next tick, a line of a script."""
        period_s = self.rig.control.period_s
        self.stick_at = _towards(self.stick_at, self.stick, period_s / HAND_S)
        if self.script is not None:
            self.line = self.script[self.at : self.at + 1].copy()
            self.at = min(self.at + 1, len(self.script) - 1)
            # Whoever walks has a hand free for the stick, too.
            self.line["stick"] = np.clip(self.line["stick"] + self.stick_at, -1, 1)
            return self.line
        line = self.line[0]
        line["stick"] = self.stick_at
        line["walk_mps"] = 0.0
        for foot in FEET:
            part, target = line[foot], float(self.raised[foot])
            x_m = _towards(float(part["foot_x_m"]), self.foot_x_m[foot], period_s * _FOOT_MPS)
            part["foot_x_mps"] = (x_m - part["foot_x_m"]) / period_s
            part["foot_x_m"] = x_m
            part["push"] = _towards(float(part["push"]), target, period_s / _PUSH_S)
            part["raised"] = _towards(float(part["raised"]), target, period_s / _SHIFT_S)
        self.leaning = _towards(self.leaning, self.lean, period_s / _SHIFT_S)
        most = 0.5 + self.hanging
        over = float(line["right"]["raised"] - line["left"]["raised"]) * most
        line["left"]["share"] = 0.5 + min(max(over - self.leaning / 2, -most), most)
        line["right"]["share"] = 1 - line["left"]["share"]
        return self.line

    def hold(self, state: Any) -> None:
        """Turn each leg that a hand holds towards where it is wanted, and keep it there."""
        step_rad = _HAND_RADPS * self.rig.control.period_s
        for foot in FEET:
            leg, target = state[foot], self.held[foot]
            if target is None:
                self.at_rad[foot] = None
                continue
            # A hand does not give way to the spring: it goes on from where it was itself.
            at_rad = self.at_rad[foot]
            if at_rad is None:
                at_rad = float(leg["thigh_rad"] + leg["shank_rad"])
            at_rad = self.at_rad[foot] = _towards(at_rad, target, step_rad)
            leg["thigh_rad"], leg["shank_rad"] = leans_under_hip_rad(self.rig.mechanism, at_rad)
            for speed in ("thigh_radps", "shank_radps", "thigh_radps2", "shank_radps2"):
                leg[speed] = 0.0


def _towards(value: float, target: float, step: float) -> float:
    return min(max(target, value - step), value + step)
