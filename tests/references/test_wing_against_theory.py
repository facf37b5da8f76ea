"""The simulated wing against textbook mechanics, its motor left out or held still.

Theory: a compound pendulum's period is 2 pi sqrt(I / (m g d)) for small swings (any textbook of
mechanics, from memory), and longer by 1 + a^2/16 + 11 a^4/3072 at an amplitude a (the series
of the complete elliptic integral, from memory, checked here against SciPy's integral).
"""

from dataclasses import replace
from math import cos, pi, radians, sin, sqrt
from typing import Any

import numpy as np
import pytest
from legsim.compiled import native
from legsim.linkage import GRAVITY_MPS2
from legsim.wing.motion import step_wing
from legsim.wing.plant import start_wings
from legsim.wing.records import wing_derived, wing_rig_record
from legsim.wing.rig import WingRig
from legsim.wing.statics import carrying_Nm, lines_N
from numpy.typing import NDArray
from scipy.special import ellipk

STEP_S = 0.001
DEMO = WingRig()


def changed(**sections: dict[str, Any]) -> WingRig:
    return replace(
        DEMO, **{name: replace(getattr(DEMO, name), **values) for name, values in sections.items()}
    )


# Nothing takes energy, and the hard stops are far away.
SMOOTH = changed(
    wing={
        "hinge_friction_Nm": 0.0,
        "hinge_damping_Nms": 0.0,
        "lowered_rad": radians(-100),
        "raised_rad": radians(100),
    },
    rope={"line_damping_s": 0.0, "tackle_m": 2.0, "sheave_efficiency": 1.0},
)


@native
def swing_on(state: Any, rig: Any, dt: float, lifts: Any, speeds: Any) -> None:
    """Step the left wing, and note where it is after each step."""
    for i in range(len(lifts)):
        step_wing(state.left, rig, state, dt)
        lifts[i] = state.left.lift_rad
        speeds[i] = state.left.lift_radps


def swung(
    rig: WingRig, lift_rad: float, seconds: float, dt: float = STEP_S, **wing: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.void]]:
    """Let a wing go at an angle; angles, speeds, and the state at the end."""
    state = start_wings(rig, 1)
    state["left"]["lift_rad"] = lift_rad
    for name, value in wing.items():
        state["left"][name] = value
    lifts, speeds = np.zeros(round(seconds / dt)), np.zeros(round(seconds / dt))
    swing_on(state[0], wing_rig_record(rig)[0], dt, lifts, speeds)
    return lifts, speeds, state["left"]


def inertia_and_moment(rig: WingRig, load_kg: float) -> tuple[float, float]:
    wing = rig.wing
    return (
        wing.mass_kg * wing.gyration_m**2 + load_kg * wing.tip_m**2,
        wing.mass_kg * wing.centre_m + load_kg * wing.tip_m,
    )


def period_s(lifts: NDArray[np.float64], dt: float) -> float:
    """Time from one upward pass through hanging to the next, over all there are."""
    up = np.flatnonzero((lifts[:-1] < 0) & (lifts[1:] >= 0))
    at = up - lifts[up] / (lifts[up + 1] - lifts[up])
    return float(np.mean(np.diff(at))) * dt


CUT_OFF = {"up_snapped": 1.0, "down_snapped": 1.0}


@pytest.mark.parametrize("load_kg", [0.0, 2.0])
@pytest.mark.parametrize("amplitude_deg", [2, 60])
def test_a_wing_without_ropes_swings_as_a_compound_pendulum(
    load_kg: float, amplitude_deg: float
) -> None:
    amplitude_rad = radians(amplitude_deg)
    lifts, _, _ = swung(SMOOTH, amplitude_rad, 12, load_kg=load_kg, **CUT_OFF)
    inertia, moment = inertia_and_moment(SMOOTH, load_kg)
    small_s = 2 * pi * sqrt(inertia / (GRAVITY_MPS2 * moment))
    whole_s = small_s * 2 / pi * float(ellipk(sin(amplitude_rad / 2) ** 2))
    series = 1 + amplitude_rad**2 / 16 + 11 * amplitude_rad**4 / 3072
    assert whole_s == pytest.approx(small_s * series, rel=2e-3)
    assert period_s(lifts, STEP_S) == pytest.approx(whole_s, rel=1e-4)


def test_energy_stays_while_a_wing_swings_against_its_own_ropes() -> None:
    """The drum held still, both lines are springs: weight, motion and stretch share one sum."""
    rig = SMOOTH
    lifts, speeds, _ = swung(rig, radians(1.5), 4, dt=2e-4, jammed=1.0, load_kg=2.0)
    inertia, moment = inertia_and_moment(rig, 2.0)
    rope, d = rig.rope, wing_derived(rig)
    travel_m = rope.parts * rope.quadrant_m * lifts
    beyond_m = -travel_m - np.clip(-travel_m, -d["play_m"] / 2, d["play_m"] / 2)
    stretched_J = np.zeros_like(lifts)
    for way in (1, -1):
        stretch_m = np.maximum(0, d["set_m"] + way * beyond_m)
        length_m = rope.lead_length_m + rope.parts * (rope.tackle_m - way * rope.quadrant_m * lifts)
        stretched_J += rope.line_EA_N / length_m * stretch_m**2 / 2
    energy_J = inertia * speeds**2 / 2 - GRAVITY_MPS2 * moment * np.cos(lifts) + stretched_J
    drift = np.ptp(energy_J) / (inertia * np.max(speeds) ** 2 / 2)
    print(f"energy drift of a wing between its ropes: {drift:.1e} of the swing's")
    # The stiffness follows the length; that its slope does no work is left out of the plant.
    assert drift < 0.01


@pytest.mark.parametrize("lift_deg", [-15, 10, 45, 75])
@pytest.mark.parametrize("load_kg", [0.0, 2.0])
def test_a_wing_at_rest_hangs_in_its_ropes_as_statics_tell(lift_deg: float, load_kg: float) -> None:
    rig = changed(wing={"hinge_friction_Nm": 0.0, "hinge_damping_Nms": 20.0})
    rope = rig.rope
    wound_m = rope.parts * rope.quadrant_m * (radians(lift_deg) - rig.wing.middle_rad)
    _, _, wing = swung(rig, radians(lift_deg), 6, jammed=1.0, wound_m=wound_m, load_kg=load_kg)
    assert abs(wing["lift_radps"][0]) < 1e-6
    at_rad = float(wing["lift_rad"][0])
    up_N, down_N = lines_N(rig, at_rad, carrying_Nm(rig, at_rad, load_kg))
    assert wing["up_N"][0] == pytest.approx(up_N, abs=0.05)
    assert wing["down_N"][0] == pytest.approx(down_N, abs=0.05)


def test_statics_by_hand() -> None:
    """2.4 kg at 0.55 m and 2 kg at 1.3 m, level: 9.80665 x 3.92 = 38.44 N m. On a radius of
    0.15 m 256.3 N; through four parts of 96.2 % sheaves, hauled, 3.634 to 1: 70.5 N."""
    level = radians(90)
    torque_Nm = carrying_Nm(DEMO, level, 2.0)
    assert torque_Nm == pytest.approx(38.44, abs=0.01)
    advantage = sum(0.962**i for i in range(1, 5))
    assert advantage == pytest.approx(3.634, abs=0.001)
    up_N, down_N = lines_N(DEMO, level, torque_Nm, 1)
    assert down_N == 0
    assert up_N == pytest.approx(torque_Nm / 0.15 / advantage)


def test_the_lower_rope_carries_where_the_wing_is_tucked_past_hanging() -> None:
    tucked_rad = radians(-20)
    up_N, down_N = lines_N(DEMO, tucked_rad, carrying_Nm(DEMO, tucked_rad, 2.0))
    assert down_N > up_N
    rope = DEMO.rope
    middle = sum(0.962**i + 0.962**-i for i in range(1, 5)) / 2
    pull_Nm = rope.quadrant_m * middle * (up_N - down_N)
    assert pull_Nm == pytest.approx(carrying_Nm(DEMO, tucked_rad, 2.0))


def test_half_the_step_gives_the_same_swing() -> None:
    """Second order: with a quarter of the error, the two differ by less than a hundredth degree."""
    whole, _, _ = swung(DEMO, radians(70), 3, load_kg=2.0, **CUT_OFF)
    half, _, _ = swung(DEMO, radians(70), 3, dt=STEP_S / 2, load_kg=2.0, **CUT_OFF)
    assert np.max(np.abs(whole - half[1::2])) < radians(0.01)


def test_a_fall_ends_with_the_speed_that_height_gives() -> None:
    """From raised to hanging without ropes and friction: I w^2 / 2 = g S (1 - cos a)."""
    lifts, speeds, _ = swung(SMOOTH, radians(80), 3, load_kg=2.0, **CUT_OFF)
    inertia, moment = inertia_and_moment(SMOOTH, 2.0)
    lowest = int(np.argmax(lifts < 0))
    fastest = sqrt(2 * GRAVITY_MPS2 * moment * (1 - cos(radians(80))) / inertia)
    assert -speeds[lowest] == pytest.approx(fastest, rel=2e-3)
