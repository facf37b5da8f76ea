"""Moves, battery and controller against motion guides and plain arithmetic."""

import pytest
from hocklift.sizing.battery import (
    drawn_energy_J,
    loaded_voltage_V,
    usable_energy_J,
    walks_per_charge,
)
from hocklift.sizing.controllers import (
    current_margin,
    duty_per_pulse_step,
    foot_speed_per_pulse_step_mps,
    foot_travel_per_pulse_step_m,
)
from hocklift.sizing.profile import (
    move_time_s,
    needed_acceleration_mps2,
    peak_over_mean,
    peak_speed_mps,
)
from hypothesis import given
from hypothesis import strategies as st


def test_a_move_in_thirds_peaks_at_one_and_a_half_times_its_mean():
    # Motion guides (linearmotiontips.com, industrialmonitordirect.com): mean two thirds of peak,
    # peak 1.5 s/t, acceleration 4.5 s/t^2. Here 80 mm in 0.6 s: 0.2 m/s, 1.0 m/s2.
    assert peak_speed_mps(0.080, 0.6, 1.0) == pytest.approx(0.2)
    assert needed_acceleration_mps2(0.080, 0.6, 0.2) == pytest.approx(1.0)
    assert peak_over_mean(0.080, 0.6, 0.2) == pytest.approx(1.5)
    assert move_time_s(0.080, 0.2, 1.0) == pytest.approx(0.6)


def test_a_triangle_peaks_at_twice_its_mean():
    # linearmotiontips.com: maximum velocity is twice the average. 1 m in 2 s at 1 m/s2: 1 m/s.
    assert peak_speed_mps(1, 2, 1) == pytest.approx(1)
    assert move_time_s(1, 5, 1) == pytest.approx(2)
    assert needed_acceleration_mps2(1, 2, 1) == pytest.approx(1)


@given(st.floats(0.001, 10), st.floats(0.01, 10))
def test_rounding_does_not_forbid_a_triangle(distance_m, time_s):
    # The least acceleration that does it, 4 s/t^2, with the square root of rounding in the speed.
    acceleration = 4 * distance_m / time_s**2
    speed_mps = peak_speed_mps(distance_m, time_s, acceleration)
    assert speed_mps == pytest.approx(2 * distance_m / time_s, rel=1e-6)


def test_move_of_a_motion_control_forum():
    # 10 000 counts in 20 s are 500 a second if speeding up took no time; at 1000 counts/s2 the
    # textbook root is 513.167.
    assert peak_speed_mps(10_000, 20, 1000) == pytest.approx(513.167, abs=0.001)
    assert peak_speed_mps(10_000, 20, 1e9) == pytest.approx(500, rel=1e-6)


def test_pack_of_six_cells_by_hand():
    # 22.2 V and 5 Ah are 111 Wh, as printed on such packs; four fifths of it 88.8 Wh.
    assert usable_energy_J(5 * 3600, 22.2, 1) == pytest.approx(111 * 3600)
    assert usable_energy_J(5 * 3600, 22.2, 0.8) == pytest.approx(88.8 * 3600)
    # 25.2 V less 40 A through 18 milliohm: 24.48 V.
    assert loaded_voltage_V(25.2, 40, 0.018) == pytest.approx(24.48)
    # 60 J of work at 60 % take 100 J; 320 kJ are 3200 steps of it, four walks of 800.
    assert drawn_energy_J(60, 0.60) == pytest.approx(100)
    assert walks_per_charge(320e3, 100, 800) == pytest.approx(4)


def test_servo_pulse_in_steps_of_a_microsecond():
    # Servo pulses are 1000 to 2000 us about 1500, every 20 ms (open-txu.org): 500 steps either way.
    step = duty_per_pulse_step(1e-6, 500e-6, 0)
    assert step == pytest.approx(0.002)
    # With 25 us of deadband 475 are left.
    assert duty_per_pulse_step(1e-6, 500e-6, 25e-6) == pytest.approx(1 / 475)
    # 0.2 m/s at full duty: 0.4 mm/s a step, 8 um in a frame of 20 ms.
    speed_mps = foot_speed_per_pulse_step_mps(step, 0.2)
    assert speed_mps == pytest.approx(0.4e-3)
    assert foot_travel_per_pulse_step_m(speed_mps, 0.020) == pytest.approx(8e-6)


def test_controller_of_40_A_under_16_A_by_hand():
    assert current_margin(40, 16) == pytest.approx(2.5)


@given(st.floats(0.001, 10), st.floats(0.01, 10), st.floats(1.0001, 100))
def test_time_and_peak_speed_are_inverse(distance_m, time_s, spare):
    # The least acceleration that does it at all is 4 s/t^2; `spare` is how much more there is.
    acceleration = 4 * distance_m / time_s**2 * spare
    speed_mps = peak_speed_mps(distance_m, time_s, acceleration)
    assert move_time_s(distance_m, speed_mps, acceleration) == pytest.approx(time_s)
    assert 1 < peak_over_mean(distance_m, time_s, speed_mps) < 2


@given(st.floats(0.001, 10), st.floats(0.01, 10), st.floats(1.01, 2))
def test_acceleration_and_peak_speed_are_inverse(distance_m, time_s, ratio):
    speed_mps = ratio * distance_m / time_s
    acceleration = needed_acceleration_mps2(distance_m, time_s, speed_mps)
    # Towards the triangle the root is a square root of rounding.
    again_mps = peak_speed_mps(distance_m, time_s, acceleration)
    assert again_mps == pytest.approx(speed_mps, rel=1e-6)


@given(st.floats(0.001, 10), st.floats(0.01, 5), st.floats(0.01, 50))
def test_more_speed_or_acceleration_never_takes_longer(distance_m, speed_mps, acceleration):
    time_s = move_time_s(distance_m, speed_mps, acceleration)
    assert move_time_s(distance_m, speed_mps * 1.1, acceleration) <= time_s * (1 + 1e-12)
    assert move_time_s(distance_m, speed_mps, acceleration * 1.1) <= time_s * (1 + 1e-12)
    assert time_s >= distance_m / speed_mps


def test_moves_that_cannot_be_are_told():
    with pytest.raises(ValueError, match="longer than the time given"):
        peak_speed_mps(1, 1, 3.9)
    with pytest.raises(ValueError, match="one to two times its mean"):
        needed_acceleration_mps2(1, 1, 1)
    with pytest.raises(ValueError, match="one to two times its mean"):
        needed_acceleration_mps2(1, 1, 2.1)
    with pytest.raises(ValueError, match="deadband"):
        duty_per_pulse_step(1e-6, 500e-6, 500e-6)
