"""The closed loop with SciPy's `solve_ivp` for the mechanism: same equations, same core.

The right-hand side is legsim's own compiled functions, so only the integrator differs: SciPy's
chooses its steps within each control period, legsim's are fixed. Controller, sensors, wearer
and heat act once a period in both; the core is plain Python. Left out in SciPy's favour: the
battery's voltage follows the current once a period, not all the time.
"""

from typing import Any

import numpy as np
from legsim.board import sense
from legsim.compiled import native
from legsim.drive import (
    battery_V,
    controller_tick,
    draw,
    line_tension_N,
    tackle_force_N,
    turn_motor,
)
from legsim.heat import warm
from legsim.leg import kick, pose
from legsim.loop import obey
from legsim.plant import balance_N
from legsim.rig import Rig
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from benchmarks.plain_loop import PlainLoop

# The quicker of SciPy's methods here, at its usual tolerances.
METHOD = "LSODA"
# Of one leg: three positions, their speeds, the bristle, the motor's speed, the line wound.
_OF_LEG = 9
# The plant's functions make a step; over one so short they tell a rate.
_INSTANT_S = 1e-9


@native
def put(leg: Any, y: Any, at: int) -> None:
    """Write one leg's part of `y` into the plant."""
    leg.thigh_rad, leg.shank_rad, leg.hip_m = y[at], y[at + 1], y[at + 2]
    leg.thigh_radps, leg.shank_radps, leg.hip_mps = y[at + 3], y[at + 4], y[at + 5]
    leg.bristle_m, leg.motor_radps, leg.wound_m = y[at + 6], y[at + 7], y[at + 8]


@native
def take(leg: Any, y: Any, at: int) -> None:
    """Read one leg's part of `y` out of the plant."""
    y[at], y[at + 1], y[at + 2] = leg.thigh_rad, leg.shank_rad, leg.hip_m
    y[at + 3], y[at + 4], y[at + 5] = leg.thigh_radps, leg.shank_radps, leg.hip_mps
    y[at + 6], y[at + 7], y[at + 8] = leg.bristle_m, leg.motor_radps, leg.wound_m


@native
def leg_rates(leg: Any, rig: Any, state: Any, hip_N: float, dy: Any, at: int) -> None:
    """Time derivatives of one leg's part."""
    dy[at], dy[at + 1], dy[at + 2] = leg.thigh_radps, leg.shank_radps, leg.hip_mps
    leg.thigh_radps2 = leg.shank_radps2 = leg.hip_mps2 = 0.0
    bristle_m, motor_radps = leg.bristle_m, leg.motor_radps
    m = rig.mechanism
    pose(leg, rig)
    slip_mps = (
        m.shank_length_m * leg.cos_shank * leg.shank_radps
        - m.thigh_length_m * leg.cos_thigh * leg.thigh_radps
        + state.walk_mps
    )
    tension_N = line_tension_N(leg, rig)
    kick(leg, rig, state, tackle_force_N(leg, rig, tension_N), hip_N, _INSTANT_S)
    dy[at + 3], dy[at + 4], dy[at + 5] = leg.thigh_radps2, leg.shank_radps2, leg.hip_mps2
    # A bristle bent to its most stays so while the foot slips on.
    slips = abs(bristle_m) > abs(leg.bristle_m) and bristle_m * slip_mps > 0
    dy[at + 6] = 0.0 if slips else slip_mps
    turn_motor(leg, rig, state, tension_N, _INSTANT_S)
    dy[at + 7] = (leg.motor_radps - motor_radps) / _INSTANT_S
    dy[at + 8] = motor_radps * rig.drive.drum_radius_m / rig.drive.gear_ratio


@native
def rates(state: Any, rig: Any, y: Any, dy: Any) -> None:
    """Time derivatives of both legs."""
    s, r = state[0], rig[0]
    put(s.left, y, 0)
    put(s.right, y, _OF_LEG)
    left_N, right_N = balance_N(s.left, r), balance_N(s.right, r)
    leg_rates(s.left, r, s, left_N - right_N, dy, 0)
    leg_rates(s.right, r, s, right_N - left_N, dy, _OF_LEG)


@native
def begin_tick(state: Any, rig: Any, core_rig: Any, lines: Any, i: int, y: Any) -> None:
    """Wearer and controllers, once a tick."""
    s, r, c = state[0], rig[0], core_rig[0]
    obey(s, lines[i])
    s.contactor = c.contactor
    controller_tick(s.left, r, s, c.left.pulse_us * 1e-6, r.control.period_s)
    controller_tick(s.right, r, s, c.right.pulse_us * 1e-6, r.control.period_s)
    s.left.tension_peak_N = s.right.tension_peak_N = 0.0
    s.left.current_peak_A = s.right.current_peak_A = 0.0
    take(s.left, y, 0)
    take(s.right, y, _OF_LEG)


@native
def end_tick(state: Any, rig: Any, core_rig: Any, y: Any, dy: Any) -> None:
    """Battery, heat and readings, once the legs have moved."""
    s, r = state[0], rig[0]
    period_s = r.control.period_s
    s.left.copper_J = s.left.iron_J = s.right.copper_J = s.right.iron_J = 0.0
    rates(state, rig, y, dy)
    s.left.copper_J = s.left.current_A**2 * s.left.resistance_ohm * period_s
    s.right.copper_J = s.right.current_A**2 * s.right.resistance_ohm * period_s
    current_A = draw(s.left, s, period_s) + draw(s.right, s, period_s)
    s.used_C += current_A * period_s
    s.bus_V = battery_V(r, s.used_C) - r.battery.resistance_ohm * current_A
    warm(s.left, r, period_s)
    warm(s.right, r, period_s)
    put(s.left, y, 0)
    put(s.right, y, _OF_LEG)
    sense(s, r, core_rig[0])


class ScipyLoop(PlainLoop):
    """The plain loop, the legs in it moved by `solve_ivp`."""

    def __init__(self, rig: Rig, lines: NDArray[np.void], seed: int) -> None:
        super().__init__(rig, lines, seed)
        self.period_s = rig.control.period_s
        self.y = np.zeros(2 * _OF_LEG)

    def rates(self, _: float, y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Right-hand side as SciPy calls it."""
        dy = np.empty_like(y)
        rates(self.walk.state, self.walk.rig, y, dy)
        return dy

    def solve(self, seconds: float) -> None:
        """Move both legs on in one call."""
        self.y = solve_ivp(self.rates, (0.0, seconds), self.y, METHOD).y[:, -1].copy()

    def move(self, i: int) -> None:
        """Move the plant on by one tick, between outputs and readings."""
        walk = self.walk
        begin_tick(walk.state, walk.rig, walk.core, walk.lines, i, self.y)
        self.solve(self.period_s)
        end_tick(walk.state, walk.rig, walk.core, self.y, np.empty_like(self.y))
