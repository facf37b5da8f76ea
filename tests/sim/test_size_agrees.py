"""Sizing's statics against the simulator: a raised leg hauled slowly up on its stand.

Sizing knows forces, currents and speeds by closed formulas; the simulator integrates motion.
Slowly, with nothing to speed up and little to damp, they must tell the same.
"""

from bisect import bisect_left
from math import ceil, pi, radians
from typing import Any

import numpy as np
import pytest
from hocklift.sizing.loads import Loads
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from legsim.compiled import native
from legsim.plant import plant_tick, start_state
from legsim.records import rig_record
from legsim.rig import Rig
from legsim.stiffness import coarsest_substep_s
from rigs import PERIOD_S, changed

WITHIN = 0.03
# From where the line is straight and everything turns, to just below the top.
WINDOW = (0.3, 0.9)
# How long the way up should take: slow, but not so slow that friction is smoothed away.
SLOW_S = 3.0


@native
def haul(state: Any, rig: Any, pulse_s: float, folds: Any, lines_N: Any, currents_A: Any) -> None:
    """Hold one pulse and note fold, tension and current of each tick."""
    for i in range(len(folds)):
        plant_tick(state, rig, pulse_s, rig.controller.neutral_s)
        folds[i] = state.left.thigh_rad + state.left.shank_rad
        lines_N[i] = state.left.tension_N
        currents_A[i] = state.left.current_A


def hauled(rig: Rig, duty: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A leg on its stand, foot clear of the ground, folded at a constant duty."""
    state = start_state(rig, 1)
    state["stand"] = state["contactor"] = 1
    state["left"]["hip_m"] += 1.0
    state["left"]["share"] = 0.0
    c = rig.controller
    pulse_s = c.neutral_s + c.deadband_s + duty * (c.span_s - c.deadband_s)
    ticks = [np.zeros(round(4 * SLOW_S / PERIOD_S)) for _ in range(3)]
    haul(state[0], rig_record(rig)[0], pulse_s, *ticks)
    return tuple(ticks)


def lengths(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high)


@st.composite
def feasible_rigs(draw: st.DrawFn) -> Rig:
    """Draw rigs of all proportions whose motor can haul the leg."""
    thigh_m, shank_m = draw(lengths(0.3, 0.6)), draw(lengths(0.3, 0.6))
    extended = draw(st.floats(radians(40), radians(75)))
    travel = draw(st.floats(radians(20), radians(40)))
    spring_m = draw(lengths(0.07, 0.15))
    rig = changed(
        mechanism={
            "thigh_length_m": thigh_m,
            "shank_length_m": shank_m,
            "fold_extended_rad": extended,
            "fold_soft_stop_rad": extended + travel,
            "fold_hard_stop_rad": extended + travel + radians(6),
            "thigh_min_rad": radians(-60),
            "thigh_max_rad": radians(88),
            "shank_min_rad": radians(-60),
            "shank_max_rad": radians(88),
            "thigh_links_mass_kg": draw(st.floats(0.5, 2.5)),
            "knee_block_mass_kg": draw(st.floats(0.2, 1.5)),
            "shank_links_mass_kg": draw(st.floats(0.5, 2.5)),
            "foot_plate_mass_kg": draw(st.floats(0.2, 2.0)),
            "hinge_friction_Nm": draw(st.floats(0, 2)),
            "hinge_damping_Nms": draw(st.floats(0, 0.5)),
        },
        spring={
            "thigh_anchor_m": spring_m,
            "shank_anchor_m": spring_m * draw(st.floats(0.8, 1.25)),
            "rate_N_per_m": draw(st.floats(20e3, 90e3)),
            "force_extended_N": draw(st.floats(300, 1500)),
        },
        gas_spring={"force_extended_N": draw(st.sampled_from([0, 0, 250])), "stroke_m": 0.3},
        rope={
            "thigh_anchor_m": thigh_m * draw(st.floats(0.6, 0.95)),
            "shank_anchor_m": shank_m * draw(st.floats(0.6, 0.95)),
            "parts": draw(st.sampled_from([2, 3, 4, 5, 6])),
            "sheave_efficiency": draw(st.floats(0.88, 0.98)),
            "line_EA_N": draw(st.floats(10e3, 60e3)),
        },
        drive={
            "drum_radius_m": draw(lengths(0.008, 0.018)),
            "gear_ratio": draw(st.floats(12, 40)),
            "gear_stages": draw(st.sampled_from([2, 3])),
            "mesh_efficiency": draw(st.floats(0.92, 0.98)),
            "speed_constant_radps_per_V": draw(st.floats(300, 900)) * 2 * pi / 60,
            "resistance_ohm": draw(st.floats(0.03, 0.12)),
            "no_load_current_A": draw(st.floats(0.3, 1.5)),
        },
        # Every width is told apart, and position sensors start it at any duty.
        controller={"resolution_s": 0.0, "start_speed_radps": 0.0},
        # Sizing takes the foot to be straight below the hip: a firm foot in the stirrup.
        wearer={"stirrup_N_per_m": 5e4, "stirrup_Ns_per_m": 200},
    )
    return changed(rig, control={"substep_s": fine_substep_s(rig)})


def fine_substep_s(rig: Rig) -> float:
    """The longest step that divides the period and still follows the rope."""
    return PERIOD_S / ceil(PERIOD_S / coarsest_substep_s(rig))


def slow_duty(loads: Loads, low_rad: float, high_rad: float) -> float:
    """Duty at which the way from one fold to the other takes about `SLOW_S`."""
    duties = np.linspace(0.02, 0.9, 89)
    assume(loads.lift_time_s(float(duties[-1]), low_rad, high_rad) < SLOW_S)
    # More drive is never slower.
    first = bisect_left(duties, -SLOW_S, key=lambda d: -loads.lift_time_s(d, low_rad, high_rad))
    return float(duties[first])


@settings(max_examples=200)
@given(feasible_rigs())
@example(changed(controller={"resolution_s": 0.0, "start_speed_radps": 0.0}))
def test_force_current_and_time_of_a_slow_lift_are_the_simulators(rig: Rig) -> None:
    loads = Loads(rig)
    m = rig.mechanism
    travel = m.fold_soft_stop_rad - m.fold_extended_rad
    low_rad, high_rad = (m.fold_extended_rad + share * travel for share in WINDOW)
    duty = slow_duty(loads, low_rad, high_rad)
    top = loads.lift_point(high_rad, duty)
    assume(top.current_A < 0.9 * rig.controller.current_limit_A)
    # Fast enough that friction in gears and sheaves has its full size in the simulator.
    assume(top.speed_radps > 60)
    # Not close to a stall, where a percent of force is many of speed.
    assume(top.current_A * rig.drive.resistance_ohm < 0.5 * duty * top.bus_V)
    assume(top.speed_radps * rig.drive.drum_radius_m / rig.drive.gear_ratio > 0.05)
    # A spring so weak that the leg hangs past its stop is no leg.
    assume(loads.tackle_N(m.fold_extended_rad) > 20)

    folds, lines_N, currents_A = hauled(rig, duty)
    assume(bool(folds.max() > high_rad))
    first = int(np.argmax(folds > low_rad))
    last = int(np.argmax(folds > high_rad))
    took_s = (last - first) * PERIOD_S
    assert took_s == pytest.approx(loads.lift_time_s(duty, low_rad, high_rad), rel=WITHIN)
    for tick in np.linspace(first, last, 8).astype(int):
        fold = float(folds[tick])
        line_N = loads.line_N(loads.tackle_N(fold))
        assert lines_N[tick] == pytest.approx(line_N, rel=WITHIN)
        assert currents_A[tick] == pytest.approx(loads.lift_point(fold, duty).current_A, rel=WITHIN)
