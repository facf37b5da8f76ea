"""Motors and winding heat against data sheets and the laws of warming."""

from math import inf, pi

import numpy as np
import pytest
from hocklift.sizing.heat import copper_resistance_ohm, rise_after_K, steady_rise_K
from hocklift.sizing.motors import (
    acceleration_current_A,
    copper_loss_W,
    electrical_power_W,
    mechanical_time_constant_s,
    motor_current_A,
    motor_speed_radps,
    speed_torque_gradient_radps_per_Nm,
    stall_current_A,
    stall_torque_Nm,
    torque_constant_Nm_per_A,
)
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

RPM = 2 * pi / 60

# A published data sheet of a 48 V motor. Its figures have three digits: 1 %.
SHEET_V = 48
SHEET_OHM = 0.365
SHEET_NM_PER_A = 0.123
SHEET_RADPS_PER_V = 77.8 * RPM
SHEET_KGM2 = 1340e-7


def test_data_sheet_torque_constant_follows_from_speed_constant():
    assert torque_constant_Nm_per_A(SHEET_RADPS_PER_V) == pytest.approx(SHEET_NM_PER_A, rel=0.01)


def test_data_sheet_stall_current():
    assert stall_current_A(SHEET_V, SHEET_OHM) == pytest.approx(131, rel=0.01)


def test_data_sheet_stall_torque():
    assert stall_torque_Nm(SHEET_V, SHEET_OHM, SHEET_NM_PER_A) == pytest.approx(16.1, rel=0.01)


def test_data_sheet_gradient():
    gradient = speed_torque_gradient_radps_per_Nm(SHEET_OHM, SHEET_NM_PER_A)
    assert gradient == pytest.approx(0.231 * RPM / 1e-3, rel=0.01)


def test_data_sheet_time_constant():
    time_s = mechanical_time_constant_s(SHEET_KGM2, SHEET_OHM, SHEET_NM_PER_A)
    assert time_s == pytest.approx(3.25e-3, rel=0.01)


def test_data_sheet_free_speed_is_a_little_below_speed_constant_times_voltage():
    # 3670 rpm: friction takes some, and the formula without current knows none.
    ideal_radps = motor_speed_radps(SHEET_V, 0, SHEET_OHM, SHEET_RADPS_PER_V)
    assert 0.97 * ideal_radps < 3670 * RPM < ideal_radps


def test_torque_constant_of_another_data_sheet():
    # A servo motor's sheet: 3.90 V per 1000 rpm beside 0.0373 N m/A. Three figures: 0.5 %.
    speed_constant = 1000 * RPM / 3.90
    assert torque_constant_Nm_per_A(speed_constant) == pytest.approx(0.0373, rel=0.005)


def test_torque_constant_in_the_hobby_trades_units():
    # 60 / (2 pi K) = 9.5493 / K, K in rpm/V; 620 rpm/V make 15.402 mN m/A, by hand.
    assert torque_constant_Nm_per_A(620 * RPM) == pytest.approx(0.015402, rel=1e-4)


def test_hobby_motor_of_the_demo_rig_by_hand():
    # 0.11 N m / 0.015402 + 0.9 A = 8.04 A, as its hand calculation has it: 7 to 8 A.
    current_A = motor_current_A(0.11, 0.015402, 0.9)
    assert current_A == pytest.approx(8.04, abs=0.005)
    # 20 kg mm2 to 10 000 rpm in 0.15 s: 0.1396 N m, 9.07 A.
    assert acceleration_current_A(20e-6, 10_000 * RPM / 0.15, 0.015402) == pytest.approx(
        9.07, abs=0.01
    )
    # 8.04^2 * 0.055 = 3.555 W.
    assert copper_loss_W(current_A, 0.055) == pytest.approx(3.555, abs=0.005)


def test_copper_at_150_degrees():
    # SPRUHJ1I: 10 ohm at 20 degrees C become 15.11 at 150. Four figures: 0.3 %.
    assert copper_resistance_ohm(10, 130) == pytest.approx(15.11, rel=0.003)


def test_steady_rise_with_copper_feedback():
    # 10 W through 4 K/W: 40 K without, 47.46 K with feedback, by hand.
    assert steady_rise_K(10, 4) == pytest.approx(47.46, abs=0.01)


@pytest.mark.parametrize(("time_constants", "share"), [(1, 0.632), (3, 0.950), (5, 0.993)])
def test_a_winding_on_a_cold_block_warms_as_one_body(time_constants, share):
    # 1 - e^(-t/tau): 63.2, 95.0, 99.3 % of the end. A case that never warms, and so little heat
    # that copper keeps its resistance; tau = 10 J/K * 4 K/W. Three decimals.
    rise = rise_after_K(0.01, 0, 40 * time_constants, 10, 1e9, 4, 1e-6)
    assert rise.winding_K / 0.04 == pytest.approx(share, abs=0.0007)
    assert rise.case_K == pytest.approx(0, abs=1e-6)


@given(st.floats(0.1, 20), st.floats(0, 20), st.floats(1, 4000))
def test_two_bodies_warm_as_a_numerical_integration_does(heat_W, iron_W, time_s):
    # The differential equations, written again and integrated by steps: 1e-6.
    def change(_, rise_K):
        winding_K, case_K = rise_K
        flow_W = (winding_K - case_K) / 0.9
        made_W = heat_W * (1 + 0.00393 * winding_K)
        return [(made_W - flow_W) / 17, (iron_W + flow_W - case_K / 5) / 65]

    solution = solve_ivp(change, (0, time_s), [0, 0], rtol=1e-9, atol=1e-9, method="LSODA")
    rise = rise_after_K(heat_W, iron_W, time_s, 17, 65, 0.9, 5)
    np.testing.assert_allclose(rise, solution.y[:, -1], rtol=1e-6, atol=1e-6)


@given(st.floats(0.1, 35))
def test_after_a_day_the_rise_is_the_steady_one(heat_W):
    rise = rise_after_K(heat_W, 0, 86_400, 17, 65, 0.9, 5)
    assert rise.winding_K == pytest.approx(steady_rise_K(heat_W, 5.9), rel=1e-4)
    assert rise.case_K < rise.winding_K


@given(st.floats(1, 300))
def test_at_first_all_heat_stays_in_the_winding(heat_W):
    rise = rise_after_K(heat_W, 0, 0.01, 17, 65, 0.9, 5)
    assert rise.winding_K == pytest.approx(heat_W * 0.01 / 17, rel=0.01)


def test_a_winding_that_runs_away_has_no_steady_rise():
    # 1 / (0.00393 * 5.9 K/W) = 43.1 W, by hand.
    assert steady_rise_K(43.0, 5.9) < inf
    assert steady_rise_K(43.2, 5.9) == inf
    assert rise_after_K(270, 0, 86_400, 17, 65, 0.9, 5) == (inf, inf)


@given(st.floats(0.1, 100), st.floats(1, 60), st.floats(1e-3, 1), st.floats(1, 200))
def test_power_in_is_voltage_times_current(current_A, voltage_V, resistance, speed_constant):
    # The speed at this voltage and current, put back in, must give V I.
    speed_radps = motor_speed_radps(voltage_V, current_A, resistance, speed_constant)
    constant = torque_constant_Nm_per_A(speed_constant)
    power_W = electrical_power_W(current_A, resistance, speed_radps, constant)
    assert power_W == pytest.approx(voltage_V * current_A)


@given(st.floats(1, 60), st.floats(1e-3, 5), st.floats(1, 200))
def test_the_speed_line_ends_at_stall(voltage_V, resistance, speed_constant):
    stall_A = stall_current_A(voltage_V, resistance)
    free_radps = motor_speed_radps(voltage_V, 0, resistance, speed_constant)
    stalled_radps = motor_speed_radps(voltage_V, stall_A, resistance, speed_constant)
    assert stalled_radps == pytest.approx(0, abs=1e-9 * free_radps)
    constant = torque_constant_Nm_per_A(speed_constant)
    gradient = speed_torque_gradient_radps_per_Nm(resistance, constant)
    assert gradient * stall_torque_Nm(voltage_V, resistance, constant) == pytest.approx(free_radps)
