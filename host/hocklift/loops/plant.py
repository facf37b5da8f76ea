"""One leg in the air, made linear about a pose and a speed: from duty to fold.

The equations are the simulator's own, compiled: they are only differentiated here, by central
differences. Forces that change their sign with the motion are taken as they are on the way up
or down; of a leg at rest they are left out, since there a linear model would call them a huge
damping. It is then the leg that swings most easily.
"""

from dataclasses import dataclass, replace
from math import pi
from typing import Any

import numpy as np
from legsim.drive import battery_V, line_tension_N, motor_current_A, tackle_force_N, turn_motor
from legsim.leg import kick, pose
from legsim.linkage import leans_under_hip_rad
from legsim.plant import start_state
from legsim.records import rig_record
from legsim.rig import Rig
from numpy.typing import NDArray
from scipy.optimize import brentq, root

Floats = NDArray[np.float64]

STATES = ("thigh_rad", "shank_rad", "thigh_radps", "shank_radps", "motor_radps", "wound_m")
# Small against each state's range, large against rounding.
_STEPS = np.array([1e-6, 1e-6, 1e-4, 1e-4, 1e-2, 1e-8])
_DUTY_STEP = 1e-6
# Forces and torques are read off a step so short that nothing else changes in it.
_INSTANT_S = 1e-9
# The pack's voltage sags under the motor's current, which follows the voltage: each round of
# working out both leaves a third of the error or less.
_ROUNDS = 20


class NoBalanceError(ValueError):
    """The motor cannot carry the leg in this pose at this speed."""


@dataclass(frozen=True)
class Plant:
    """x' = A x + B duty, fold = C x, about the states and the duty of balance."""

    A: Floats
    B: Floats
    C: Floats
    state: Floats
    duty: float


def without_friction(rig: Rig) -> Rig:
    """The rig with nothing that rubs, and a motor that its controller turns from rest."""
    return replace(
        rig,
        mechanism=replace(rig.mechanism, hinge_friction_Nm=0.0),
        gas_spring=replace(rig.gas_spring, friction_N=0.0),
        rope=replace(rig.rope, sheave_efficiency=1.0),
        drive=replace(rig.drive, mesh_efficiency=1.0, no_load_current_A=0.0),
        controller=replace(rig.controller, start_speed_radps=0.0, start_duty=0.0),
    )


class _Leg:
    """The left leg on a stand, of which any state can be asked for its derivative."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig_record(rig)[0]
        self.whole = start_state(rig, 1)[0]
        self.whole["contactor"] = self.whole["stand"] = 1.0
        self.leg = self.whole["left"]
        # Far from any ground.
        self.leg["hip_m"] = 10.0
        self.rest_V = battery_V(self.rig, 0.0)

    def rates(self, state: Floats, duty: float) -> Floats:
        """Time derivative of the states under a duty."""
        leg: Any = self.leg
        for name, value in zip(STATES, state, strict=True):
            leg[name] = value
        leg["thigh_radps2"] = leg["shank_radps2"] = 0.0
        leg["duty"] = duty
        self.whole["bus_V"] = self.rest_V
        for _ in range(_ROUNDS):
            current_A = motor_current_A(leg, self.rig, self.whole)
            sag_V = self.rig["battery"]["resistance_ohm"] * duty * current_A
            self.whole["bus_V"] = self.rest_V - sag_V
        pose(leg, self.rig)
        tension_N = line_tension_N(leg, self.rig)
        kick(leg, self.rig, self.whole, tackle_force_N(leg, self.rig, tension_N), 0.0, _INSTANT_S)
        turn_motor(leg, self.rig, self.whole, tension_N, _INSTANT_S)
        motor_radps2 = (leg["motor_radps"] - state[4]) / _INSTANT_S
        line_mps = state[4] * self.rig["drive"]["drum_radius_m"] / self.rig["drive"]["gear_ratio"]
        return np.array(
            [state[2], state[3], leg["thigh_radps2"], leg["shank_radps2"], motor_radps2, line_mps]
        )


def plant_at(rig: Rig, fold_rad: float, rate_radps: float) -> Plant:
    """One leg's plant as it passes a fold at a steady rate; NoBalanceError where it cannot."""
    leg = _Leg(rig)
    state, duty = _balance(leg, rig, fold_rad, rate_radps)
    count = len(STATES)
    A = np.zeros((count, count))
    for i, step in enumerate(_STEPS):
        off = np.zeros(count)
        off[i] = step
        A[:, i] = (leg.rates(state + off, duty) - leg.rates(state - off, duty)) / (2 * step)
    B = (leg.rates(state, duty + _DUTY_STEP) - leg.rates(state, duty - _DUTY_STEP)) / (
        2 * _DUTY_STEP
    )
    C = np.zeros((1, count))
    C[0, :2] = 1.0
    return Plant(A, B[:, None], C, state, duty)


def _balance(leg: _Leg, rig: Rig, fold_rad: float, rate_radps: float) -> tuple[Floats, float]:
    """The states in which nothing speeds up, and the duty that keeps it so."""
    thigh_rad, shank_rad = leans_under_hip_rad(rig.mechanism, fold_rad)
    near_rad = 1e-4
    share = (leans_under_hip_rad(rig.mechanism, fold_rad + near_rad)[0] - thigh_rad) / near_rad
    thigh_radps = share * rate_radps
    rope, drive = rig.rope, rig.drive
    for name, value in zip(STATES[:2], (thigh_rad, shank_rad), strict=True):
        leg.leg[name] = value
    pose(leg.leg, leg.rig)
    taken_m = rope.parts * (float(leg.rig["derived"]["rope_extended_m"]) - leg.leg["rope_m"])
    line_mps = -rope.parts * leg.leg["rope_per_fold_m"] * rate_radps
    motor_radps = line_mps * drive.gear_ratio / drive.drum_radius_m

    def state_of(skew_rad: float, stretch_m: float) -> Floats:
        return np.array(
            [
                *(thigh_rad + skew_rad, shank_rad - skew_rad),
                *(thigh_radps, rate_radps - thigh_radps),
                *(motor_radps, taken_m + stretch_m),
            ]
        )

    # Where the foot hangs and how far the line is stretched: neither lean speeds up. Scaled,
    # for a stretch of millimetres goes with a skew of tenths of a radian.
    found = root(lambda x: leg.rates(state_of(x[0], 0.01 * x[1]), 0.0)[2:4], (0.0, 2.0))
    state = state_of(found.x[0], 0.01 * found.x[1])
    if not found.success or found.x[1] <= 0:
        raise NoBalanceError(f"the line is slack at {fold_rad * 180 / pi:.0f} deg")

    def speeding(duty: float) -> float:
        return float(leg.rates(state, duty)[4])

    if speeding(-1.0) >= 0 or speeding(1.0) <= 0:
        raise NoBalanceError(f"the motor cannot carry {fold_rad * 180 / pi:.0f} deg")
    return state, float(brentq(speeding, -1.0, 1.0, xtol=1e-12))
