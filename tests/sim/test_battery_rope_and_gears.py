"""From battery to rope: what sags, what slips, and what friction takes, by direction."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim.drive import battery_V, tackle_force_N
from legsim.plant import plant_tick, start_state
from legsim.records import rig_record
from legsim.rig import Drive
from rigs import DEMO, FEET, Leg, changed, walk

RECORD = rig_record(DEMO)[0]
CAPACITY_C = DEMO.battery.capacity_C


@given(st.floats(0, CAPACITY_C), st.floats(0, CAPACITY_C))
def test_a_pack_never_gains_voltage_by_giving_charge(one_C, other_C):
    less, more = sorted((one_C, other_C))
    assert battery_V(RECORD, more) <= battery_V(RECORD, less)


def test_a_full_pack_and_an_empty_one_have_the_voltages_of_their_cells():
    # Common practice, no source: lithium-polymer cells are full at 4.2 V, empty at 3.3 V.
    full = rig_record(changed(battery={"charge": 1.0}))[0]
    assert battery_V(full, 0.0) == pytest.approx(6 * 4.2)
    assert battery_V(full, CAPACITY_C) == battery_V(full, 2 * CAPACITY_C) == pytest.approx(6 * 3.3)


def test_a_loaded_pack_sags_by_its_resistance_times_what_both_motors_draw():
    state = start_state(DEMO, 1)
    state["contactor"] = 1
    left, right = state["left"][0], state["right"][0]
    for _ in range(12):
        rest_V = battery_V(RECORD, float(state["used_C"][0]))
        plant_tick(state[0], RECORD, 1700e-6, 1600e-6)
    drawn_A = left["duty"] * left["current_A"] + right["duty"] * right["current_A"]
    assert drawn_A > 1
    assert rest_V - state["bus_V"][0] == pytest.approx(DEMO.battery.resistance_ohm * drawn_A)


def test_a_walk_takes_as_much_charge_as_its_energy_over_its_voltage():
    trace = walk(seconds=10.0)
    energy_J = sum(float(trace[foot]["energy_J"][-1]) for foot in FEET)
    weak = changed(battery={"capacity_C": 40.0})
    sagging_V = walk(weak, seconds=10.0)["bus_V"]
    # The same walk from a pack of 40 C must lose the voltage which that charge stands for.
    standing = slice(-50, None)
    charge_C = energy_J / trace["bus_V"].mean()
    expected_V = battery_V(rig_record(weak)[0], charge_C)
    assert sagging_V[standing].mean() == pytest.approx(expected_V, abs=0.05)
    assert sagging_V[0] - expected_V > 0.5


LINE = st.floats(-0.05, 0.05)
MOTOR = st.floats(-1500, 1500)
LEAN = st.floats(-10, 10)


@given(LINE, MOTOR, LEAN, LEAN)
def test_a_rope_only_pulls_however_leg_and_motor_move(wound_m, motor_radps, thigh, shank):
    leg = Leg().set(wound_m=wound_m, motor_radps=motor_radps, thigh_radps=thigh, shank_radps=shank)
    assert leg.tension_N() >= 0
    assert (leg["slack_m"] > 0) == (wound_m < 0)
    if wound_m <= 0:
        assert leg.tension_N() == 0


def test_loose_line_is_shared_by_the_parts_of_the_tackle():
    leg = Leg().set(wound_m=-0.02)
    leg.tension_N()
    assert leg["slack_m"] == pytest.approx(0.02 / DEMO.rope.parts)


def test_a_taut_line_stretches_by_its_elasticity():
    # Theory: force = EA stretch / length, the line being its lead and its parts.
    leg = Leg().set(wound_m=0.005)
    length_m = DEMO.rope.lead_length_m + DEMO.rope.parts * leg["rope_m"]
    assert leg.tension_N() == pytest.approx(DEMO.rope.line_EA_N * 0.005 / length_m)


def test_a_snapped_rope_bears_nothing_however_far_it_is_wound():
    assert Leg().set(wound_m=0.01).tension_N() > 0
    assert Leg().set(wound_m=0.01, snapped=1.0).tension_N() == 0


def test_a_jammed_drum_does_not_turn_under_full_drive_and_keeps_its_rope_taut():
    jammed = Leg().set(duty=1.0, jammed=1.0, wound_m=0.005)
    held_N = jammed.tension_N()
    jammed.turn(0.5)
    assert jammed["motor_radps"] == 0
    assert jammed.tension_N() == held_N > 0
    # Its motor is at a standstill, so the controller lets through what it starts with.
    assert jammed["current_A"] == DEMO.controller.start_current_A


def test_a_bad_contact_in_the_batterys_lead_takes_its_part_of_the_voltage():
    state = start_state(DEMO, 1)
    plant_tick(state[0], RECORD, 1500e-6, 1500e-6)
    well_V = state["bus_V"][0]
    state["battery_dip_V"] = 3.0
    plant_tick(state[0], RECORD, 1500e-6, 1500e-6)
    assert state["bus_V"][0] == pytest.approx(well_V - 3.0)


def pull_N(motor_radps: float) -> float:
    """Pull of the tackle at 100 N in its lead line, while the motor turns so fast."""
    leg = Leg().set(motor_radps=motor_radps)
    return float(tackle_force_N(leg.leg, leg.rig, 100.0))


def test_sheave_friction_is_against_the_motor_when_hauling_and_with_it_when_letting_out():
    # Theory: each sheave passes on E of the tension behind it, so n parts give
    # E + ... + E^n times the lead line's when hauled, and 1/E + ... + 1/E^n let out.
    e, parts = DEMO.rope.sheave_efficiency, round(DEMO.rope.parts)
    hauled = 100 * sum(e**i for i in range(1, parts + 1))
    let_out = 100 * sum(e**-i for i in range(1, parts + 1))
    assert pull_N(500.0) == pytest.approx(hauled, rel=1e-3)
    assert pull_N(-500.0) == pytest.approx(let_out, rel=1e-3)
    assert hauled < pull_N(0.0) < let_out


@given(st.floats(0.5, 1), st.integers(1, 12))
def test_friction_never_makes_a_tackle_better_than_its_parts(efficiency, parts):
    derived = rig_record(changed(rope={"sheave_efficiency": efficiency, "parts": parts}))["derived"]
    assert derived["advantage_up"] <= parts + 1e-9 <= derived["advantage_down"] + 2e-9


@pytest.mark.parametrize("way", [1, -1], ids=["hauling", "letting out"])
def test_a_geared_motor_in_steady_turning_feels_friction_against_its_motion(way):
    # Theory: a train that drives needs 1/efficiency of the ideal torque, one that is driven
    # passes on only efficiency of it. The motor, at its speed, carries just that.
    drive = Drive(no_load_current_A=0.0)
    leg = Leg(changed(drive={"no_load_current_A": 0.0})).set(duty=0.3 * way)
    tension_N = 150.0
    leg.turn(1.0, tension_N)
    ideal_Nm = tension_N * drive.drum_radius_m / drive.gear_ratio
    carried_Nm = leg["current_A"] / drive.speed_constant_radps_per_V
    efficiency = drive.mesh_efficiency**drive.gear_stages
    assert leg["motor_radps"] * way > 100
    assert carried_Nm == pytest.approx(ideal_Nm * efficiency**-way, rel=0.01)


def test_what_is_wound_is_what_the_drum_took_in():
    leg = Leg().set(duty=0.3)
    turned_rad = 0.0
    for _ in range(200):
        leg.turn(DEMO.control.substep_s, 0.0)
        turned_rad += leg["motor_radps"] * DEMO.control.substep_s
    assert leg["wound_m"] == pytest.approx(
        turned_rad / DEMO.drive.gear_ratio * DEMO.drive.drum_radius_m
    )
