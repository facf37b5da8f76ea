"""Pins, holes and shafts against textbooks on the strength of materials."""

from math import cbrt

import pytest
from hocklift.sizing.pins import (
    bearing_stress_Pa,
    bending_stress_Pa,
    double_shear_stress_Pa,
    pin_bending_moment_Nm,
    shaft_torsion_stress_Pa,
    timber_embedment_Pa,
)
from hypothesis import given
from hypothesis import strategies as st

INCH = 0.0254
LBF = 4.4482216
PSI = 6894.757


@pytest.mark.parametrize(
    ("force_N", "diameter_m", "stress_Pa"),
    [
        # Hibbeler, Mechanics of Materials, problem 1-61: 18 mm pins in double shear at 60 MPa,
        # 15.268 kN in each of the two planes.
        (2 * 15_268, 0.018, 60e6),
        # MecMovies 1.5: 88.46 kN, 50 MPa, 33.6 mm.
        (88_460, 0.0336, 50e6),
        # gauthmath.com: a 15 mm shear pin of 385 MPa fails at 136 kN.
        (136_000, 0.015, 385e6),
        # mathgpt.today: 25 mm under 80 kN, 81.47 MPa.
        (80_000, 0.025, 81.47e6),
        # machinecalcs.com, clevis pin: 18 mm under 10 kN, 19.65 MPa.
        (10_000, 0.018, 19.65e6),
    ],
)
def test_pins_in_double_shear(force_N, diameter_m, stress_Pa):
    # Three figures in the coarsest: 0.3 %.
    assert double_shear_stress_Pa(force_N, diameter_m) == pytest.approx(stress_Pa, rel=0.003)


def test_bending_of_a_clevis_pin():
    # machinecalcs.com: 10 kN in the middle of a 24 mm span, 18 mm pin: 60 000 N mm, 104.8 MPa.
    moment_Nm = pin_bending_moment_Nm(10_000, 0.024, 0)
    assert moment_Nm == pytest.approx(60)
    assert bending_stress_Pa(moment_Nm, 0.018) == pytest.approx(104.8e6, rel=0.001)


def test_a_load_spread_over_the_whole_span_bends_half_as_much():
    # Beam tables: F L / 4 for a load in the middle, F L / 8 for one spread evenly.
    assert pin_bending_moment_Nm(1000, 0.080, 0) == pytest.approx(20)
    assert pin_bending_moment_Nm(1000, 0.080, 0.080) == pytest.approx(10)


def test_pin_loose_in_fork_and_rod():
    # Roloff/Matek, F (t_rod + 2 t_fork) / 8, from memory: 1000 N, rod 25 mm, fork plates 3 mm, so
    # 28 mm between their middles: 3.875 N m.
    assert pin_bending_moment_Nm(1000, 0.028, 0.025) == pytest.approx(3.875)


def test_a_round_pole_in_bending():
    # Gere, problem 5.9-1: 32 400 lb in, 1900 psi: diameter cubed 173.7 in3. Four figures: 0.1 %.
    stress_Pa = bending_stress_Pa(32_400 * LBF * INCH, cbrt(173.7) * INCH)
    assert stress_Pa == pytest.approx(1900 * PSI, rel=0.001)


def test_a_round_shaft_in_torsion():
    # tutorsglobe.com: 400 mm, 50 N/mm2: 628.3 kN m.
    assert shaft_torsion_stress_Pa(628.3e3, 0.400) == pytest.approx(50e6, rel=0.001)


def test_bearing_pressure_is_force_over_projected_area():
    # By hand: 2 kN on 8 mm by 25 mm: 10 MPa.
    assert bearing_stress_Pa(2000, 0.008, 0.025) == pytest.approx(10e6)


@pytest.mark.parametrize(
    ("diameter_mm", "density", "strength_MPa"),
    # Eurocode 5, equation 8.32, by hand: C24 (350 kg/m3) with 12 mm and 20 mm, GL28h (425) with 16.
    [(12, 350, 25.256), (20, 350, 22.96), (16, 425, 29.274)],
)
def test_timber_under_a_bolt(diameter_mm, density, strength_MPa):
    strength_Pa = timber_embedment_Pa(diameter_mm / 1000, density)
    assert strength_Pa == pytest.approx(strength_MPa * 1e6, rel=1e-4)


@given(st.floats(1, 1e5), st.floats(0.001, 0.05))
def test_doubling_a_pin_quarters_shear_and_eighths_bending(force_N, diameter_m):
    assert double_shear_stress_Pa(force_N, 2 * diameter_m) == pytest.approx(
        double_shear_stress_Pa(force_N, diameter_m) / 4
    )
    assert bending_stress_Pa(force_N, 2 * diameter_m) == pytest.approx(
        bending_stress_Pa(force_N, diameter_m) / 8
    )


@given(st.floats(1, 1e4), st.floats(0.002, 0.1))
def test_torsion_is_half_of_bending_for_the_same_moment(moment_Nm, diameter_m):
    assert shaft_torsion_stress_Pa(moment_Nm, diameter_m) == pytest.approx(
        bending_stress_Pa(moment_Nm, diameter_m) / 2
    )


@given(st.floats(0, 0.05), st.floats(0, 0.05))
def test_a_wider_middle_bends_the_pin_less(one_m, other_m):
    narrow_m, wide_m = sorted([one_m, other_m])
    narrow_Nm = pin_bending_moment_Nm(1000, 0.050, narrow_m)
    assert pin_bending_moment_Nm(1000, 0.050, wide_m) <= narrow_Nm


def test_pins_that_cannot_be_are_told():
    with pytest.raises(ValueError, match="thicker than the pin's span"):
        pin_bending_moment_Nm(1000, 0.020, 0.025)
    with pytest.raises(ValueError, match="ends at 30 mm"):
        timber_embedment_Pa(0.0301, 350)
