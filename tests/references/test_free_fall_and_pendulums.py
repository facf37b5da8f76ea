"""The leg's equations of motion, reduced to what every textbook solves."""

from dataclasses import replace
from math import pi, radians, sin, sqrt

import by_hand
import numpy as np
import pytest
from by_hand import G_MPS2
from legsim.rig import Mechanism
from scipy.special import ellipk
from swing import DEMO, HIGH_M, NEXT_TO_NOTHING_KG, NO_SPRING, SOFT_SPRING, bare, swing


@pytest.mark.parametrize(("thigh_deg", "shank_deg"), [(0, 0), (30, 40), (70, 10)])
def test_an_unsupported_hip_and_leg_fall_as_one_body(thigh_deg, shank_deg):
    # Theory: g t^2 / 2; all parts fall alike, so no joint turns.
    rig = bare(replace(DEMO, spring=NO_SPRING))
    fall = swing(rig, radians(thigh_deg), radians(shank_deg), 1.0, hip_m=HIGH_M)
    assert HIGH_M - fall.hip_m == pytest.approx(G_MPS2 * fall.time_s**2 / 2, abs=1e-9)
    assert fall.thigh_rad == pytest.approx(radians(thigh_deg), abs=1e-9)
    assert fall.shank_rad == pytest.approx(radians(shank_deg), abs=1e-9)


def test_the_mass_centre_falls_freely_while_the_spring_throws_the_leg_about():
    # Theory: forces inside a body do not move its mass centre.
    rig = bare(replace(DEMO, spring=SOFT_SPRING))
    fall = swing(rig, radians(50), radians(45), 1.0, hip_m=HIGH_M)
    m = rig.mechanism
    leg_kg = (
        m.thigh_links_mass_kg + m.knee_block_mass_kg + m.shank_links_mass_kg + m.foot_plate_mass_kg
    )
    hip_kg = m.carried_mass_kg / 2
    leg_J = by_hand.weight_energy_J(rig, fall.thigh_rad, fall.shank_rad, fall.hip_m)
    centre_m = (leg_J / G_MPS2 + hip_kg * fall.hip_m) / (leg_kg + hip_kg)
    assert np.ptp(fall.shank_rad) > radians(60)
    assert centre_m[0] - centre_m == pytest.approx(G_MPS2 * fall.time_s**2 / 2, abs=2e-4)


ALONE = {
    "thigh_links_mass_kg": NEXT_TO_NOTHING_KG,
    "knee_block_mass_kg": NEXT_TO_NOTHING_KG,
    "shank_links_mass_kg": NEXT_TO_NOTHING_KG,
    "foot_plate_mass_kg": NEXT_TO_NOTHING_KG,
}
DEMO_M = Mechanism()
# What swings, and the length of the simple pendulum of the same period: the sum of m l^2
# over the sum of m l, a uniform link's being m l^2 / 3 and m l / 2.
PENDULUMS = {
    "the thigh link": (ALONE | {"thigh_links_mass_kg": 1.1}, "thigh_rad", 2 / 3 * 0.44),
    "the thigh link and a knee block that stays level": (
        ALONE | {"thigh_links_mass_kg": 1.1, "knee_block_mass_kg": 0.7},
        "thigh_rad",
        (1.1 / 3 + 0.7) / (1.1 / 2 + 0.7) * 0.44,
    ),
    "the shank and the foot plate, below a thigh too heavy to be moved": (
        ALONE | {"thigh_links_mass_kg": 1e9, "shank_links_mass_kg": 1.2, "foot_plate_mass_kg": 0.9},
        "shank_rad",
        (1.2 / 3 + 0.9) / (1.2 / 2 + 0.9) * 0.48,
    ),
}
# Period over that of a small swing: table at calculatorlib.com, and 2/pi K(sin^2(a/2)).
LONGER = {10: 1.001907, 30: 1.017409, 60: 1.073182, 90: 1.180341}


@pytest.mark.parametrize("name", PENDULUMS)
@pytest.mark.parametrize("amplitude_deg", LONGER)
def test_each_link_swings_as_the_compound_pendulum_that_it_is(name, amplitude_deg):
    masses, lean, length_m = PENDULUMS[name]
    start = {"thigh_rad": 0.0, "shank_rad": 0.0} | {lean: radians(amplitude_deg)}
    motion = swing(bare(replace(DEMO, spring=NO_SPRING), **masses), seconds=12.0, **start)
    small_s = 2 * pi * sqrt(length_m / G_MPS2)
    longer = 2 / pi * ellipk(sin(radians(amplitude_deg) / 2) ** 2)
    assert longer == pytest.approx(LONGER[amplitude_deg], abs=1e-6)
    assert period_s(motion.time_s, getattr(motion, lean)) / small_s == pytest.approx(
        longer, rel=1e-5
    )


def period_s(time_s, lean_rad):
    """Mean time between crossings of the vertical in the same direction."""
    i = np.flatnonzero((lean_rad[:-1] < 0) & (lean_rad[1:] >= 0))
    step_s = time_s[1] - time_s[0]
    at_s = time_s[i] - lean_rad[i] * step_s / (lean_rad[i + 1] - lean_rad[i])
    return (at_s[-1] - at_s[0]) / (len(at_s) - 1)
