"""The speed controller between board and motor: what it does to pulses, and when."""

from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim.drive import demand_of_pulse
from legsim.records import DRIVE_ILLS, rig_record
from rigs import DEMO, PERIOD_S, Leg, changed, walk

CONTROLLER = rig_record(DEMO)[0]["controller"]
NEUTRAL_US, FULL_US, BACK_US = 1500, 2000, 1000
FRAME_TICKS = round(DEMO.controller.frame_s / PERIOD_S)
# No ramp, so that a demand is at once a duty.
PROMPT = changed(controller={"ramp_s": 0.0})
pulses_us = st.floats(900, 2100)


@given(st.floats(-25, 25))
def test_near_neutral_it_stays_at_rest_so_that_a_drifting_pulse_moves_nothing(off_us):
    assert demand_of_pulse(CONTROLLER, (NEUTRAL_US + off_us) * 1e-6) == 0


def test_it_starts_softly_at_the_edge_of_the_deadband():
    first = demand_of_pulse(CONTROLLER, (NEUTRAL_US + 26) * 1e-6)
    assert 0 < first < 0.003


@given(pulses_us, pulses_us)
def test_a_wider_pulse_never_asks_for_less(one_us, other_us):
    low, high = sorted((one_us, other_us))
    assert demand_of_pulse(CONTROLLER, low * 1e-6) <= demand_of_pulse(CONTROLLER, high * 1e-6)


def test_it_does_not_tell_apart_pulses_within_its_resolution():
    coarse = rig_record(changed(controller={"resolution_s": 8e-6}))[0]["controller"]
    asked = {demand_of_pulse(coarse, (1600 + i) * 1e-6) for i in range(80)}
    assert len(asked) in (10, 11)


def test_the_boards_pulses_ask_for_the_drive_that_the_core_meant():
    # Board and controller agree on neutral, deadband and span; a microsecond is what is lost.
    leg = walk(seconds=6.0)["right"]
    drive, least = leg["drive_permille"] / 1000, DEMO.control.drive_min
    meant = np.where(abs(drive) < least, 0, drive)
    asked = [demand_of_pulse(CONTROLLER, pulse_us * 1e-6) for pulse_us in leg["pulse_us"]]
    microsecond = 1e-6 / (DEMO.controller.span_s - DEMO.controller.deadband_s)
    assert np.ptp(drive) > 1
    assert asked == pytest.approx(meant, abs=microsecond)


@given(st.floats(0, DEMO.controller.frame_s, exclude_max=True))
def test_a_pulse_waits_for_its_frame_and_no_longer_than_one(phase_s):
    # A servo pulse comes once a frame, out of step with the loop: 0 to 20 ms of delay.
    leg = Leg(PROMPT).set(frame_s=phase_s)
    duties = [leg.pulse(FULL_US) for _ in range(FRAME_TICKS)]
    taken_in_s = (duties.index(1.0) + 1) * PERIOD_S
    left_s = DEMO.controller.frame_s - phase_s
    assert left_s - 1e-9 <= taken_in_s < left_s + PERIOD_S


def test_between_frames_it_sees_no_pulse_at_all():
    leg = Leg(PROMPT)
    leg.pulse(FULL_US, FRAME_TICKS)
    assert leg.pulse(NEUTRAL_US, FRAME_TICKS - 1) == 1
    assert leg.pulse(NEUTRAL_US) == 0


def test_frames_keep_their_own_rate_where_it_does_not_fit_the_loops():
    # 18 ms frames in a 4 ms loop: not every 20 ms, which rounding up would make of it.
    leg = Leg(changed(controller={"frame_s": 0.018, "ramp_s": 0.0}))
    taken_in, before = 0, 0.0
    for i in range(9000):
        now = leg.pulse(FULL_US - i % 400)
        taken_in += now != before
        before = now
    assert taken_in == pytest.approx(9000 * PERIOD_S / 0.018, abs=1)


def test_duty_rises_no_faster_than_the_ramp_but_neutral_is_taken_at_once():
    leg = Leg().set(frame_s=DEMO.controller.frame_s)
    duties = [leg.pulse(FULL_US) for _ in range(40)]
    assert np.diff([0.0, *duties]).max() <= PERIOD_S / DEMO.controller.ramp_s + 1e-12
    assert duties.index(1.0) + 1 == pytest.approx(DEMO.controller.ramp_s / PERIOD_S, abs=1)
    assert leg.pulse(NEUTRAL_US, FRAME_TICKS) == 0


def test_at_neutral_a_brake_shorts_the_motor_and_coasting_leaves_it_alone():
    # Theory: shorted through its own resistance, w / (kv R) flows against the motion.
    speed_radps = 100.0
    d = DEMO.drive
    short_A = speed_radps / d.speed_constant_radps_per_V / d.resistance_ohm
    brake, coast = Leg(), Leg(changed(controller={"neutral": "coast"}))
    assert brake.set(motor_radps=speed_radps).current_A() == pytest.approx(
        -min(short_A, DEMO.controller.current_limit_A)
    )
    assert coast.set(motor_radps=speed_radps).current_A() == 0


@pytest.mark.parametrize("way", [1, -1])
def test_the_motor_current_never_passes_its_limit_either_way(way):
    leg = Leg().set(duty=way, motor_radps=-way * 1000.0)
    assert leg.current_A() == way * DEMO.controller.current_limit_A


def test_an_open_contactor_leaves_no_current_not_even_to_brake():
    leg = Leg().set(duty=1.0, motor_radps=100.0)
    leg.state["contactor"] = 0
    assert leg.current_A() == 0
    assert leg.set(duty=0.0).current_A() == 0


def test_brake_first_reverse_drives_back_only_after_neutral_was_seen():
    # Made for cars, whose wheels must stop first: the first pulse back only brakes.
    leg = Leg(changed(controller={"reverse": "brake first", "ramp_s": 0.0}))
    assert leg.pulse(FULL_US, FRAME_TICKS) == 1
    assert leg.pulse(BACK_US, 10 * FRAME_TICKS) == 0
    assert leg.set(motor_radps=50.0).current_A() < 0
    leg.pulse(NEUTRAL_US, FRAME_TICKS)
    assert leg.pulse(BACK_US, FRAME_TICKS) == -1


def test_direct_reverse_drives_back_at_once():
    leg = Leg(PROMPT)
    assert leg.pulse(FULL_US, FRAME_TICKS) == 1
    assert leg.pulse(BACK_US, FRAME_TICKS) == -1


def test_a_low_battery_ends_the_drive_until_neutral_was_seen():
    leg = Leg(PROMPT)
    leg.pulse(FULL_US, FRAME_TICKS)
    leg.state["bus_V"] = DEMO.controller.low_voltage_cut_V - 0.1
    assert leg.pulse(FULL_US) == 0
    # The voltage recovers as soon as nothing is drawn; driving on would only cut again.
    leg.state["bus_V"] = DEMO.controller.low_voltage_cut_V + 2
    assert leg.pulse(FULL_US, 3 * FRAME_TICKS) == 0
    leg.pulse(NEUTRAL_US, FRAME_TICKS)
    assert leg.pulse(FULL_US, FRAME_TICKS) == 1


def test_a_low_battery_cuts_nothing_at_rest():
    leg = Leg(PROMPT)
    leg.state["bus_V"] = DEMO.controller.low_voltage_cut_V - 0.1
    leg.pulse(NEUTRAL_US, FRAME_TICKS)
    assert leg["cut"] == 0


def test_without_sensors_it_starts_a_standing_motor_with_less_current():
    # It only guesses where the rotor is, until that turns fast enough to be heard.
    c = DEMO.controller
    leg = Leg().set(duty=1.0)
    assert leg.current_A() == c.start_current_A
    assert leg.set(motor_radps=c.start_speed_radps + 1).current_A() == c.current_limit_A
    with_sensors = Leg(changed(controller={"start_speed_radps": 0.0})).set(duty=1.0)
    assert with_sensors.current_A() == c.current_limit_A


def test_without_sensors_too_little_duty_does_not_start_a_motor():
    little = 0.9 * DEMO.controller.start_duty
    assert Leg().set(duty=little).current_A() == 0
    with_sensors = Leg(changed(controller={"start_speed_radps": 0.0})).set(duty=little)
    assert with_sensors.current_A() > 0


def test_a_loaded_line_creeps_back_because_a_standing_motor_holds_no_torque():
    # Theory: shorted, the motor lets go at w = M R / k^2, M what the gears pass back of the
    # line's pull; constant friction and the motor's own loss take their part of it.
    d, tension_N = DEMO.drive, 200.0
    leg = Leg(changed(drive={"no_load_current_A": 0.0})).set(wound_m=0.05)
    leg.turn(2.0, tension_N)
    passed_Nm = tension_N * d.drum_radius_m / d.gear_ratio * d.mesh_efficiency**d.gear_stages
    creep_radps = passed_Nm * d.resistance_ohm * d.speed_constant_radps_per_V**2
    assert leg["motor_radps"] == pytest.approx(-creep_radps, rel=0.15)
    assert creep_radps * 60 / (2 * pi) > 50
    assert leg["wound_m"] < 0.05 - 0.8 * 2.0 * creep_radps * d.drum_radius_m / d.gear_ratio


def ill(name: str) -> Leg:
    """A leg whose controller has been driving in full when it falls ill."""
    leg = Leg(PROMPT)
    leg.pulse(FULL_US, FRAME_TICKS)
    return leg.set(drive_ill=DRIVE_ILLS.index(name), motor_radps=300.0)


def test_a_dead_controller_lets_the_motor_coast():
    dead = ill("dead")
    assert dead.pulse(FULL_US, FRAME_TICKS) == 0
    assert dead.current_A() == 0
    assert dead.set(duty=0.5).current_A() == 0


@pytest.mark.parametrize(("name", "duty"), [("full up", 1), ("full down", -1)])
def test_a_controller_that_runs_away_drives_in_full_whatever_its_pulse_says(name, duty):
    leg = ill(name)
    for pulse_us in (NEUTRAL_US, BACK_US, FULL_US):
        assert leg.pulse(pulse_us, FRAME_TICKS) == duty


def test_a_controller_that_runs_away_stops_once_it_has_no_power():
    leg = ill("full up")
    leg.pulse(NEUTRAL_US, FRAME_TICKS)
    leg.state["contactor"] = 0
    assert leg.current_A() == 0


def test_a_controller_that_holds_its_last_pulse_does_not_see_neutral():
    leg = ill("holds its last")
    assert leg.pulse(NEUTRAL_US, 10 * FRAME_TICKS) == 1


def test_two_motor_wires_swapped_turn_the_motor_the_other_way():
    leg = ill("reversed")
    assert leg.pulse(FULL_US, FRAME_TICKS) == -1
    assert leg.pulse(BACK_US, FRAME_TICKS) == 1
    assert leg.pulse(NEUTRAL_US, FRAME_TICKS) == 0
