"""The motor against its own theory and one published data sheet; pulses against their convention.

The sheet: 48 V, 0.365 ohm, 77.8 rpm/V, 123 mN m/A, stall 131 A and 16 100 mN m, speed
over torque 0.231 rpm/mN m, rotor 1340 g cm^2, mechanical time constant 3.25 ms. Its
figures are rounded to three places, hence 1 %.
"""

from dataclasses import replace
from math import exp, log, pi

import numpy as np
import pytest
from legsim.drive import demand_of_pulse, motor_current_A, turn_motor
from legsim.plant import start_state
from legsim.records import rig_record
from legsim.rig import Controller, Drive, Rig

RPM = 2 * pi / 60
SHEET_V = 48.0
SHEET = Drive(
    speed_constant_radps_per_V=77.8 * RPM,
    resistance_ohm=0.365,
    rotor_inertia_kgm2=1340e-7,
    no_load_current_A=0,
)
# A controller that puts its duty on the motor, whatever the current, and coasts at neutral.
OPEN = Controller(current_limit_A=1e6, start_current_A=1e6, start_speed_radps=0, neutral="coast")


class Bench:
    """One motor with no rope on it."""

    def __init__(self, drive: Drive = SHEET, volts: float = SHEET_V) -> None:
        rig = replace(Rig(), drive=drive, controller=OPEN)
        self.rig = rig_record(rig)[0]
        self.derived = self.rig["derived"]
        self.state = start_state(rig, 1)[0]
        self.state["contactor"], self.state["bus_V"] = 1, volts
        self.leg = self.state["left"]
        self.leg["duty"] = 1.0

    def turn(self, seconds: float, step_s: float) -> np.ndarray:
        """Speed after each step."""
        speeds = []
        for _ in range(round(seconds / step_s)):
            turn_motor(self.leg, self.rig, self.state, 0.0, step_s)
            speeds.append(float(self.leg["motor_radps"]))
        return np.array(speeds)


def test_torque_constant_is_the_inverse_of_the_speed_constant():
    # Theory: what goes in beyond heat comes out at the shaft, so both are one constant.
    assert Bench().derived["torque_Nm_per_A"] == pytest.approx(0.123, rel=0.01)


def test_a_stalled_motor_takes_voltage_over_resistance():
    bench = Bench()
    stall_A = motor_current_A(bench.leg, bench.rig, bench.state)
    assert stall_A == pytest.approx(131, rel=0.01)
    assert stall_A * bench.derived["torque_Nm_per_A"] == pytest.approx(16.1, rel=0.01)


def test_speed_falls_with_torque_by_resistance_over_the_constant_squared():
    # By the simulated motor: two speeds, the currents at them, the torques of these.
    bench = Bench()
    torques_Nm = []
    for speed_radps in (100.0, 300.0):
        bench.leg["motor_radps"] = speed_radps
        current_A = motor_current_A(bench.leg, bench.rig, bench.state)
        torques_Nm.append(current_A * bench.derived["torque_Nm_per_A"])
    gradient = 200 / RPM / (1000 * (torques_Nm[0] - torques_Nm[1]))
    assert gradient == pytest.approx(0.231, rel=0.01)


def test_a_free_motor_runs_up_with_the_time_constant_of_its_rotor(record_property):
    # Theory: speed = end (1 - exp(-t / tau)), tau = J R / k^2, 3.25 ms by the sheet.
    bench, step_s = Bench(), 2e-6
    end_radps = SHEET_V * SHEET.speed_constant_radps_per_V
    speeds = bench.turn(0.02, step_s)
    tau_s = step_s * (1 + np.argmax(speeds >= end_radps * (1 - exp(-1))))
    record_property("mechanical time constant", f"{1000 * tau_s:.3f} ms, published 3.25 ms")
    assert tau_s == pytest.approx(3.25e-3, rel=0.01)
    time_s = step_s * np.arange(1, len(speeds) + 1)
    exact_s = SHEET.rotor_inertia_kgm2 * SHEET.resistance_ohm * SHEET.speed_constant_radps_per_V**2
    theory = end_radps * (1 - np.exp(-time_s / exact_s))
    assert speeds == pytest.approx(theory, abs=0.001 * end_radps)


def test_even_a_step_of_ten_time_constants_does_not_overshoot():
    # Back-EMF is a stiff damper, and taken implicitly.
    end_radps = SHEET_V * SHEET.speed_constant_radps_per_V
    speeds = Bench().turn(0.4, 0.04)
    assert all(np.diff(speeds) >= 0)
    assert speeds[-1] == pytest.approx(end_radps, rel=1e-3)


def test_a_free_motor_takes_its_no_load_current_at_its_no_load_speed():
    # Theory: kv (V - I0 R), below kv V as friction requires; the demo rig's motor.
    drive = Drive()
    bench = Bench(drive, drive.no_load_V)
    speed_radps = bench.turn(2.0, 1e-3)[-1]
    by_theory = drive.speed_constant_radps_per_V * (
        drive.no_load_V - drive.no_load_current_A * drive.resistance_ohm
    )
    assert speed_radps == pytest.approx(by_theory, rel=1e-3)
    assert bench.leg["current_A"] == pytest.approx(drive.no_load_current_A, rel=1e-2)


def test_a_coasting_motor_runs_down_under_constant_and_growing_friction():
    # Theory: J w' = -M (1 + w / w0) takes (J w0 / M) ln((w0 + from) / (w0 + to)), here with M
    # half the no-load torque and w0 the no-load speed. The shipped step; no current flows.
    drive, step_s = Drive(), Rig().control.substep_s
    bench = Bench(drive)
    bench.leg["duty"], bench.leg["motor_radps"] = 0.0, 500.0
    slower = bench.turn(1.0, step_s) < 200.0
    no_load_radps = float(bench.derived["no_load_radps"])
    half_Nm = bench.derived["torque_Nm_per_A"] * drive.no_load_current_A / 2
    ratio = (no_load_radps + 500) / (no_load_radps + 200)
    by_theory_s = drive.rotor_inertia_kgm2 * no_load_radps / half_Nm * log(ratio)
    assert step_s * np.argmax(slower) == pytest.approx(by_theory_s, rel=0.01)


def test_a_motor_at_its_current_limit_gains_speed_as_that_current_makes_it():
    # Theory: w = k I t / J while voltage would drive more; the shipped step.
    drive, limit_A, step_s = Drive(no_load_current_A=0), 10.0, Rig().control.substep_s
    bench = Bench(drive)
    bench.rig["controller"]["current_limit_A"] = limit_A
    speeds = bench.turn(0.02, step_s)
    gain = bench.derived["torque_Nm_per_A"] * limit_A / drive.rotor_inertia_kgm2
    assert speeds == pytest.approx(gain * step_s * np.arange(1, len(speeds) + 1))


def test_the_charge_through_a_free_motor_is_the_speed_that_it_gained():
    # Theory: J w = k times the integral of I, so that the current which is drawn, heats and
    # is traced is the one that turns; the shipped step, a fifth of the time constant.
    drive, step_s = Drive(no_load_current_A=0), Rig().control.substep_s
    bench, charge_C = Bench(drive), 0.0
    for _ in range(40):
        bench.turn(step_s, step_s)
        charge_C += float(bench.leg["current_A"]) * step_s
    gained_radps = bench.derived["torque_Nm_per_A"] * charge_C / drive.rotor_inertia_kgm2
    assert bench.leg["motor_radps"] == pytest.approx(gained_radps)


@pytest.mark.parametrize(("pulse_us", "duty"), [(1000, -1), (1500, 0), (2000, 1)])
def test_servo_pulses_mean_what_they_mean_by_convention(pulse_us, duty):
    # 1000, 1500, 2000 us for one end, the middle, the other end: the convention of
    # radio-control servos as radio transmitters' open firmware documents it.
    controller = rig_record(Rig())[0]["controller"]
    assert demand_of_pulse(controller, pulse_us * 1e-6) == pytest.approx(duty)
