"""Both legs, battery and wearer together: one control period of the simulated rig."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

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
from legsim.leg import drift, kick, pose
from legsim.linkage import leans_under_hip_rad
from legsim.records import STATE, rig_record
from legsim.rig import Rig
from legsim.sensors import uniform


def start_state(rig: Rig, seed: int) -> NDArray[np.void]:
    """Both feet down, legs extended, rope just straight, motors at rest; a one-element array."""
    state = np.zeros(1, STATE)
    # Any number may be a seed, but this generator must not start at zero.
    state["random"] = (seed * 0x9E3779B97F4A7C15 + 0x1234567) % 2**64 or 1
    thigh_rad, shank_rad = leans_under_hip_rad(rig.mechanism, rig.mechanism.fold_extended_rad)
    record = rig_record(rig)[0]
    for name in ("left", "right"):
        leg = state[name]
        leg["thigh_rad"] = leg["thigh_play_rad"] = thigh_rad
        leg["shank_rad"] = leg["shank_play_rad"] = shank_rad
        leg["hip_m"] = record["derived"]["standing_hip_m"]
        leg["share"] = 0.5
        leg["resistance_ohm"] = rig.drive.resistance_ohm
        leg["reverse_ready"] = 1.0
    # The two controllers' frames are in step neither with the loop nor with each other.
    state["left"]["frame_s"] = uniform(state[0]) * rig.controller.frame_s
    state["right"]["frame_s"] = uniform(state[0]) * rig.controller.frame_s
    state["bus_V"] = battery_V(record, 0.0)
    return state


@native
def plant_tick(state: Any, rig: Any, left_pulse_s: float, right_pulse_s: float) -> None:
    """Advance the plant by one control period under the two pulses."""
    left, right = state.left, state.right
    period = rig.control.period_s
    substeps = int(rig.derived.substeps)
    dt = period / substeps
    rest_V = battery_V(rig, state.used_C) - state.battery_dip_V
    controller_tick(left, rig, state, left_pulse_s, period)
    controller_tick(right, rig, state, right_pulse_s, period)
    left.tension_peak_N = right.tension_peak_N = 0.0
    left.current_peak_A = right.current_peak_A = 0.0
    for _ in range(substeps):
        left_N = balance_N(left, rig)
        right_N = balance_N(right, rig)
        step_leg(left, rig, state, left_N - right_N, dt)
        step_leg(right, rig, state, right_N - left_N, dt)
        current_A = draw(left, state, dt) + draw(right, state, dt)
        state.used_C += current_A * dt
        state.bus_V = rest_V - rig.battery.resistance_ohm * current_A
    warm(left, rig, period)
    warm(right, rig, period)


@native
def balance_N(leg: Any, rig: Any) -> float:
    """Lift that the wearer's balance gives the hip of a raised leg; the other hip bears it.

    The hip is kept where the extended leg would stand, its foot below the hip or ahead.
    """
    d = rig.derived
    wanted_m = d.standing_hip_m + leg.ground_m - leg.foot_x_m * leg.foot_x_m / (2 * d.standing_m)
    return leg.raised * rig.wearer.balance_N_per_m * (wanted_m - leg.hip_m)


@native
def step_leg(leg: Any, rig: Any, state: Any, hip_N: float, dt: float) -> None:
    """One substep of one leg: half drift, forces, half drift."""
    drift(leg, dt / 2)
    pose(leg, rig)
    tension_N = line_tension_N(leg, rig)
    kick(leg, rig, state, tackle_force_N(leg, rig, tension_N), hip_N, dt)
    turn_motor(leg, rig, state, tension_N, dt)
    drift(leg, dt / 2)
