"""Rates, frequencies and sprung axes against worked examples and statics."""

from math import pi, radians, sin

import pytest
from hocklift.sizing.suspension import (
    bush_angle_rad,
    bush_preload_N,
    bush_spring_rate_N_per_m,
    bush_stiffness_Nm_per_rad,
    foot_force_N,
    foot_rate_N_per_m,
    hip_stiffness_Nm_per_rad,
    natural_frequency_Hz,
    sink_m,
)
from hypothesis import given
from hypothesis import strategies as st

GRAVITY = 9.80665  # CGPM 1901


def test_worked_example_of_a_wheel_rate_calculator():
    # machinecalcs.com: 50 N/mm at a motion ratio of 0.75 makes 28.1 N/mm, under 350 kg 1.43 Hz.
    # Three figures: 0.3 %.
    rate = foot_rate_N_per_m(50e3, 0.75)
    assert rate == pytest.approx(28.1e3, rel=0.003)
    assert natural_frequency_Hz(rate, 350) == pytest.approx(1.43, rel=0.003)


def test_a_quarter_of_a_small_car_sinks_250_mm():
    # "Springs and Natural Frequencies", 2007 (autospeed.com): 250 kg on 1 kgf/mm.
    assert sink_m(250 * GRAVITY, 0, GRAVITY * 1000) == pytest.approx(0.250)


def test_frequency_follows_from_sink_alone():
    # sqrt(g / sink) / (2 pi), by hand: 250 mm makes 0.99681 Hz.
    assert natural_frequency_Hz(GRAVITY * 1000, 250) == pytest.approx(0.99681, abs=1e-5)


def test_the_demo_rig_sinks_27_mm_on_one_leg():
    # Its hand calculation: 62 N/mm and 900 N at a lever ratio of about 0.25, 34 kg: about 27 mm.
    # The ratio has two figures: 5 %.
    load_N, preload_N = 34 * GRAVITY, foot_force_N(900, 0.25)
    assert sink_m(load_N, preload_N, foot_rate_N_per_m(62e3, 0.25)) == pytest.approx(
        0.027, rel=0.05
    )
    assert sink_m(load_N / 2, preload_N, foot_rate_N_per_m(62e3, 0.25)) == 0


def test_moment_of_a_tipped_weight_is_that_of_robervals_balance():
    # W L sin(angle): 100 N, 0.30 m, 60 degrees make 25.981 N m; here 40 of lean and 20 of tipping.
    angle_rad = radians(20)
    stiffness = hip_stiffness_Nm_per_rad(100 / GRAVITY, 0.30, angle_rad, radians(40))
    assert stiffness * angle_rad == pytest.approx(25.981, abs=0.001)


def test_two_side_springs_by_hand():
    # 2 * 25 N/mm * (80 mm)^2 = 320 N m/rad; 32 N m turn it by 0.1 rad; 25 N/mm * 8 mm = 200 N.
    assert bush_stiffness_Nm_per_rad(25e3, 0.080) == pytest.approx(320)
    assert bush_angle_rad(32, 320) == pytest.approx(0.1)
    assert bush_preload_N(25e3, 0.080, 0.1) == pytest.approx(200)


@given(st.floats(1, 200), st.floats(0.05, 2))
def test_an_axis_softer_than_m_g_h_cannot_stand_upright(mass_kg, height_m):
    # The inverted pendulum's limit, for an angle that goes to zero without lean.
    stiffness = hip_stiffness_Nm_per_rad(mass_kg, height_m, 1e-4, 0)
    assert stiffness == pytest.approx(mass_kg * GRAVITY * height_m, rel=1e-6)


@given(st.floats(0.01, 0.7), st.floats(0.01, 0.7), st.floats(0, 0.8))
def test_a_smaller_angle_asks_for_a_stiffer_axis(one_rad, other_rad, lean_rad):
    small_rad, large_rad = sorted([one_rad, other_rad])
    small = hip_stiffness_Nm_per_rad(40, 0.35, small_rad, lean_rad)
    assert small >= hip_stiffness_Nm_per_rad(40, 0.35, large_rad, lean_rad) * (1 - 1e-12)


@given(st.floats(1, 1e5), st.floats(0.01, 0.5))
def test_spring_rate_and_bush_stiffness_are_inverse(stiffness, radius_m):
    rate = bush_spring_rate_N_per_m(stiffness, radius_m)
    assert bush_stiffness_Nm_per_rad(rate, radius_m) == pytest.approx(stiffness)


@given(st.floats(0.05, 2), st.floats(1e2, 1e6), st.floats(0, 0.1))
def test_lever_keeps_energy(ratio, spring_rate, foot_travel_m):
    # k_foot x^2 = k_spring (i x)^2: nothing is won at a lever.
    spring_travel_m = ratio * foot_travel_m
    foot = foot_rate_N_per_m(spring_rate, ratio) * foot_travel_m**2
    assert foot == pytest.approx(spring_rate * spring_travel_m**2)


@given(st.floats(0.1, 100), st.floats(1, 1e3))
def test_frequency_is_that_of_a_mass_on_a_spring(frequency_Hz, mass_kg):
    rate = mass_kg * (2 * pi * frequency_Hz) ** 2
    assert natural_frequency_Hz(rate, mass_kg) == pytest.approx(frequency_Hz)


def test_a_stiff_axis_needs_an_angle_to_give_way_by():
    with pytest.raises(ValueError, match="angle above zero"):
        hip_stiffness_Nm_per_rad(40, 0.35, 0, 0.1)


def test_balance_holds_at_the_angle_asked_for():
    angle_rad, lean_rad = radians(6), radians(10)
    stiffness = hip_stiffness_Nm_per_rad(41.5, 0.35, angle_rad, lean_rad)
    weight_Nm = 41.5 * GRAVITY * 0.35 * sin(angle_rad + lean_rad)
    assert bush_angle_rad(weight_Nm, stiffness) == pytest.approx(angle_rad)
