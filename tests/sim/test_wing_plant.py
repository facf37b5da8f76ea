"""What two ropes on one drum do: play, slack, breaking, and a motor that pulls both ways."""

from math import radians
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim.compiled import native
from legsim.drive import turn_motor
from legsim.wing.motion import beyond_play_m, pull_lines
from legsim.wing.plant import start_wings, wings_tick
from legsim.wing.records import wing_derived, wing_rig_record
from legsim.wing.rig import WingRig
from wing_rigs import DEMO, changed_wings

METRES = st.floats(-0.1, 0.1)


@native
def drive_on(state: Any, rig: Any, pulse_s: float, lifts: Any, motors: Any) -> None:
    """Give both wings one pulse for as many ticks as there is room."""
    for i in range(len(lifts)):
        wings_tick(state, rig, pulse_s, pulse_s)
        lifts[i] = state.left.lift_rad
        motors[i] = state.left.wound_m


def driven(rig: WingRig, state: Any, duty: float, seconds: float) -> tuple[Any, Any]:
    c = rig.controller
    pulse_s = c.neutral_s + np.sign(duty) * c.deadband_s + duty * (c.span_s - c.deadband_s)
    state["contactor"] = 1
    lifts, wound = (np.zeros(round(seconds / rig.control.period_s)) for _ in range(2))
    drive_on(state[0], wing_rig_record(rig)[0], float(pulse_s), lifts, wound)
    return lifts, wound


def pulled(rig: WingRig, lift_rad: float, taken_m: float) -> Any:
    """The left wing's lines where the drum has taken in so much beyond where both pull alike."""
    state = start_wings(rig, 1)
    travel_m = rig.rope.parts * rig.rope.quadrant_m * (lift_rad - rig.wing.middle_rad)
    state["left"]["lift_rad"] = lift_rad
    state["left"]["wound_m"] = travel_m + taken_m
    pull_lines(state["left"][0], wing_rig_record(rig)[0])
    return state["left"][0]


@given(METRES, st.floats(0, 0.05))
def test_within_the_play_of_the_gears_the_drum_feels_nothing(taken_m: float, play_m: float) -> None:
    beyond_m = beyond_play_m(taken_m, play_m)
    assert abs(beyond_m) == pytest.approx(max(0.0, abs(taken_m) - play_m / 2))
    assert beyond_m * taken_m >= 0


@given(METRES, st.floats(radians(-20), radians(80)))
def test_no_line_ever_pushes_and_one_at_least_is_tight(taken_m: float, lift_rad: float) -> None:
    wing = pulled(DEMO, lift_rad, taken_m)
    assert wing["up_N"] >= 0
    assert wing["down_N"] >= 0
    assert max(wing["up_N"], wing["down_N"]) > 0
    # A line is loose only where it does not pull.
    assert wing["up_slack_m"] == 0 or wing["up_N"] == 0
    assert wing["down_slack_m"] == 0 or wing["down_N"] == 0


@given(METRES)
def test_what_one_rope_takes_in_the_other_lets_out(taken_m: float) -> None:
    """Half way up both tackles are equally long, so turning the drum the other way swaps them."""
    one = pulled(DEMO, DEMO.wing.middle_rad, taken_m)
    other = pulled(DEMO, DEMO.wing.middle_rad, -taken_m)
    assert one["up_N"] == pytest.approx(other["down_N"])
    assert one["up_slack_m"] == pytest.approx(other["down_slack_m"])


def test_without_pretension_one_rope_lies_loose_as_soon_as_the_other_pulls() -> None:
    loose = changed_wings(rope={"pretension_N": 0.0, "play_rad": 0.0})
    wing = pulled(loose, 0.5, 0.01)
    assert wing["up_N"] > 0
    assert wing["down_N"] == 0
    assert wing["down_slack_m"] == pytest.approx(0.01 / loose.rope.parts)


def test_pretension_keeps_both_ropes_tight_under_a_small_load() -> None:
    set_m = wing_derived(DEMO)["set_m"]
    play_m = wing_derived(DEMO)["play_m"]
    wing = pulled(DEMO, 0.5, play_m / 2 + set_m / 2)
    assert wing["up_N"] > wing["down_N"] > 0


def test_reversing_the_motor_must_take_up_the_play_before_the_wing_moves() -> None:
    """Between pulling up and pulling down lie the teeth's play and the slack of the eased rope."""
    rig = changed_wings(rope={"play_rad": radians(40), "pretension_N": 0.0})
    state = start_wings(rig, 1)
    driven(rig, state, 0.4, 1.0)
    up_rad, up_m = driven(rig, state, 0.4, 0.5)
    down_rad, down_m = driven(rig, state, -0.4, 1.5)
    play_m = wing_derived(rig)["play_m"]
    # Above hanging weight itself brings the wing down; until the lower rope would be tight the
    # motor has paid out the play besides the wing's own travel.
    travel_m = rig.rope.parts * rig.rope.quadrant_m * (up_rad[-1] - down_rad[-1])
    assert up_m[-1] - down_m[-1] > travel_m - play_m
    still = np.argmax(down_rad < up_rad[-1] - radians(1)) * rig.control.period_s
    assert still > 0.02


@given(
    st.floats(-1500, 1500),
    st.floats(-300, 300),
    st.floats(-1, 1).filter(lambda duty: duty == 0 or abs(duty) > 0.05),
)
def test_a_motor_pulls_down_as_it_pulls_up(speed: float, net_N: float, duty: float) -> None:
    """Gears, losses and current limits know no direction: all turned round, so is the motion."""

    def after(way: int) -> Any:
        state = start_wings(DEMO, 1)
        state["contactor"] = 1
        wing = state["left"]
        wing["motor_radps"], wing["duty"] = way * speed, way * duty
        turn_motor(wing[0], wing_rig_record(DEMO)[0], state[0], way * net_N, 1e-3)
        return wing[0]

    up, down = after(1), after(-1)
    assert up["motor_radps"] == pytest.approx(-down["motor_radps"])
    assert up["current_A"] == pytest.approx(-down["current_A"])


def test_gears_lose_power_whichever_way_it_flows() -> None:
    """A load that resists costs more than its ideal torque, one that drives gives less."""

    def torque_Nm(net_N: float, speed: float) -> float:
        state = start_wings(DEMO, 1)
        wing = state["left"]
        wing["motor_radps"] = speed
        turn_motor(wing[0], wing_rig_record(DEMO)[0], state[0], net_N, 1e-6)
        return float((wing["motor_radps"][0] - speed) / 1e-6 * DEMO.drive.rotor_inertia_kgm2)

    ideal_Nm = 100 * DEMO.drive.drum_radius_m / DEMO.drive.gear_ratio
    efficiency = DEMO.drive.mesh_efficiency**DEMO.drive.gear_stages
    for way in (1, -1):
        free = torque_Nm(0.0, way * 900.0)
        resisting = free - torque_Nm(way * 100.0, way * 900.0)
        driving = free - torque_Nm(-way * 100.0, way * 900.0)
        assert resisting == pytest.approx(way * ideal_Nm / efficiency, rel=1e-3)
        assert driving == pytest.approx(-way * ideal_Nm * efficiency, rel=1e-3)


def test_a_wing_whose_upper_rope_breaks_swings_down_and_comes_to_hang() -> None:
    state = start_wings(DEMO, 1)
    driven(DEMO, state, 0.5, 2.0)
    assert state["left"]["lift_rad"][0] > radians(40)
    state["left"]["up_snapped"] = 1.0
    # Unwound as it falls, the motor would else hold it by the lower rope.
    state["left"]["down_snapped"] = 1.0
    driven(DEMO, state, 0.0, 20.0)
    assert abs(state["left"]["lift_rad"][0]) < radians(6)


def test_a_wing_keeps_between_its_hard_stops_though_the_motor_pulls_on() -> None:
    state = start_wings(DEMO, 1)
    lifts, _ = driven(DEMO, state, 0.9, 4.0)
    # The whole current limit through gears and tackle, and what that yields the stop by.
    drive, rope, d = DEMO.drive, DEMO.rope, wing_derived(DEMO)
    motor_Nm = d["torque_Nm_per_A"] * DEMO.controller.current_limit_A
    line_N = motor_Nm * drive.gear_ratio / d["gear_efficiency"] / drive.drum_radius_m
    most_Nm = line_N * d["advantage_down"] * rope.quadrant_m
    past_rad = most_Nm / DEMO.wing.stop_stiffness_Nm
    assert DEMO.wing.hard_raised_rad < lifts[-1] < DEMO.wing.hard_raised_rad + past_rad
