"""The core's own relay makes textbook plants swing as published, and the figures follow from it."""

from math import pi, radians, sqrt

import control
import numpy as np
import pytest
from hocklift.loops.relay import swing_of
from legcore.law import control as law
from legcore.model import make
from legcore.phases import HELD
from legcore.stages import STAND

TICK_S = 0.004
SECONDS = 80.0
PUSH_PERMILLE = 500
# One unit of the textbook's output, so that its swings are of many hundredths of a degree.
UNIT_CDEG = 4000
SETPOINT_CDEG = 9000

S = control.tf("s")
# Amplitude, period and ultimate gain under a relay of 1 without hysteresis: worked out with
# python-control and SciPy. By Routh the ultimate gains are 8 and 4: the describing function
# leaves the harmonics out, which is why the relay finds a little less.
PUBLISHED = {
    "1/(s+1)^3": (1 / (S + 1) ** 3, 0.1631, 3.680, 7.81, 8.0),
    "1/(s+1)^4": (1 / (S + 1) ** 4, 0.3242, 6.328, 3.93, 4.0),
}


def swing(plant: control.TransferFunction, band_cdeg: int = 0):
    """The swing of a plant under the core's relay, from fold and drive as a board tells them."""
    exact = control.c2d(control.ss(plant), TICK_S, "zoh")
    settings = make("Settings")
    settings.stage = STAND
    settings.table_step_cdeg = 1000
    settings.relay_permille, settings.relay_cdeg = PUSH_PERMILLE, band_cdeg
    settings.relay_ticks = 2000
    leg = make("Leg")
    leg.phase = HELD
    leg.setpoint_cdeg_q6 = 64 * SETPOINT_CDEG
    x = np.zeros(exact.nstates)
    rows = []
    for _ in range(round(SECONDS / TICK_S)):
        leg.fold_cdeg = SETPOINT_CDEG + round(UNIT_CDEG * (exact.C @ x).item())
        law(leg, settings)
        drive = leg.wanted_permille / PUSH_PERMILLE
        rows.append((leg.fold_cdeg, drive))
        x = exact.A @ x + exact.B[:, 0] * drive
    assert leg.fault_bits == 0
    folds, drives = np.array(rows).T
    time_s = np.arange(len(rows)) * TICK_S
    return swing_of(time_s, folds / UNIT_CDEG, drives, 1.0, band_cdeg / UNIT_CDEG)


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_relay_finds_the_published_swing_of_equal_lags(name, record_property):
    plant, amplitude, period_s, gain, routh = PUBLISHED[name]
    found = swing(plant)
    record_property(
        f"relay on {name}",
        f"a {found.amplitude_rad:.4f}, T {found.period_s:.3f}, Ku {found.ultimate.gain:.3f}",
    )
    assert found.amplitude_rad == pytest.approx(amplitude, rel=0.03)
    assert found.period_s == pytest.approx(period_s, rel=0.03)
    assert found.ultimate.gain == pytest.approx(gain, rel=0.03)
    assert found.ultimate.gain == pytest.approx(routh, rel=0.05)
    assert found.doubts == []


def test_hysteresis_makes_the_swing_larger_and_slower_as_the_describing_function_says():
    # -1/N(a) = -pi (sqrt(a^2 - e^2) + i e) / (4 d): the swing is where the plant's curve
    # crosses that line, found here from the plant alone (Astrom and Hagglund 1984, from memory).
    band = 0.1
    plant = PUBLISHED["1/(s+1)^3"][0]
    radps = np.geomspace(0.5, 2.5, 20_001)
    curve = plant(1j * radps)
    at = int(np.argmin(abs(curve.imag + pi * band / 4)))
    amplitude = sqrt((4 * curve[at].real / pi) ** 2 + band**2)
    found = swing(plant, round(band * UNIT_CDEG))
    assert found.period_s == pytest.approx(2 * pi / radps[at], rel=0.05)
    assert found.amplitude_rad == pytest.approx(amplitude, rel=0.05)
    # Seen through the formula, what it finds is the gain that holds this slower swing.
    assert found.ultimate.gain == pytest.approx(-1 / curve[at].real, rel=0.06)


TIME_S = np.arange(0, 8, 0.004)


def square(period_s: float, share: float = 0.5) -> np.ndarray:
    return np.where((TIME_S / period_s) % 1 < share, 0.2, -0.1)


def test_a_leg_that_turns_round_too_seldom_gives_no_figures():
    assert swing_of(TIME_S, np.zeros_like(TIME_S), square(2.0), 0.15, 0.0) is None
    assert swing_of(TIME_S[:1], TIME_S[:1], TIME_S[:1], 0.15, 0.0) is None
    assert swing_of(TIME_S, np.zeros_like(TIME_S), np.full_like(TIME_S, 0.1), 0.15, 0.0) is None


def test_an_even_swing_is_not_doubted():
    fold = radians(1) * np.sin(2 * pi * TIME_S / 0.4)
    found = swing_of(TIME_S, fold, square(0.4), 0.15, radians(0.2))
    assert found.doubts == []
    assert found.period_s == pytest.approx(0.4, rel=1e-3)
    assert found.amplitude_rad == pytest.approx(radians(1), rel=1e-2)


@pytest.mark.parametrize(
    ("fold", "drive", "word"),
    [
        # Every other swing twice as large: as a rope that sticks has it.
        (np.sin(2 * pi * TIME_S / 0.4) * (1 + (TIME_S / 0.4 % 2 < 1)), square(0.4), "size"),
        (np.sin(2 * pi * TIME_S / 0.4), square(0.4, 0.8), "feed-forward"),
        (0.21 * np.sin(2 * pi * TIME_S / 0.4), square(0.4), "band"),
    ],
)
def test_a_swing_that_says_little_is_doubted(fold, drive, word):
    found = swing_of(TIME_S, radians(1) * fold, drive, 0.15, radians(0.2))
    assert any(word in doubt for doubt in found.doubts)
