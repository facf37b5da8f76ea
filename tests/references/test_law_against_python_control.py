"""The integer PID on two textbook loops, against the same loop worked out by python-control.

Both loops are the same but for rounding: the plant is discretised exactly, the PID has
the very gains that the core's integers stand for. What rounding may do then follows
from linear theory. Each rounded signal is the exact one plus an error within a known
bound, entering the loop at a known place; a bounded error moves the output by at most
its bound times the sum of the absolute impulse response from there to the output.
"""

from dataclasses import dataclass
from math import pi, sqrt

import control
import numpy as np
import pytest
from legcore.law import control as law
from legcore.model import make
from legcore.phases import HELD

TICK_S = 0.02
SECONDS = 20.0
STEP_CDEG = 3000


@dataclass(frozen=True)
class Loop:
    """A textbook plant, and its ultimate gain and period, by Routh's criterion."""

    plant: control.TransferFunction
    ultimate_gain: float
    ultimate_s: float
    # Drive that one unit of the textbook's proportional gain gives per cdeg.
    permille_per_cdeg: float


S = control.tf("s")
LOOPS = {
    # Three equal lags: on the verge at s = i sqrt(3), where (1 + i sqrt(3))^3 = -8.
    "1/(s+1)^3": Loop(1 / (S + 1) ** 3, 8, 2 * pi / sqrt(3), 1 / 20),
    # Ogata, Modern Control Engineering, the chapter on PID: verge at s = i sqrt(5), gain 30.
    "1/(s(s+1)(s+5))": Loop(1 / (S * (S + 1) * (S + 5)), 30, 2 * pi / sqrt(5), 1 / 70),
}


def settings_of(loop: Loop):
    """Ziegler and Nichols' PID (0.6 Ku, Pu/2, Pu/8, Trans. ASME 64, 1942) as the core holds it."""
    gain = 0.6 * loop.ultimate_gain * loop.permille_per_cdeg
    settings = make("Rig").settings
    settings.tick_hz = round(1 / TICK_S)
    settings.kp_q16 = round(gain * 65536)
    settings.ki_q16 = round(gain * TICK_S / (loop.ultimate_s / 2) * 65536)
    settings.kd_q16 = round(gain * loop.ultimate_s / 8 * 65536)
    settings.integral_permille = 1000
    settings.table_step_cdeg = 1000
    return settings


def plant_of(loop: Loop) -> control.StateSpace:
    """The plant between ticks, exactly: permille in, fold in cdeg and its rate in cdeg/s out."""
    scaled = control.ss(loop.plant / loop.permille_per_cdeg)
    with_rate = control.ss(
        scaled.A, scaled.B, np.vstack([scaled.C, scaled.C @ scaled.A]), np.zeros((2, 1))
    )
    exact = control.c2d(with_rate, TICK_S, "zoh")
    return control.ss(exact, inputs=["drive"], outputs=["fold", "rate"])


def by_the_core(loop: Loop, ticks: int) -> np.ndarray:
    """Fold at each tick of a step response, the drive from `legcore.law`."""
    settings, plant = settings_of(loop), plant_of(loop)
    leg = make("Leg")
    leg.phase, leg.law_on = HELD, 1
    leg.setpoint_cdeg_q6 = STEP_CDEG * 64
    x = np.zeros(plant.nstates)
    folds = []
    for _ in range(ticks):
        fold, rate = plant.C @ x
        folds.append(fold)
        leg.fold_cdeg, leg.rate_cdps = round(fold), round(rate)
        law(leg, settings)
        assert abs(leg.wanted_permille) < 1000, "the law must stay linear here"
        # Nothing holds the drive back, so the law sees its own wish as the drive given.
        leg.drive_permille = leg.wanted_permille
        x = plant.A @ x + plant.B[:, 0] * leg.drive_permille
    return np.array(folds)


def exact_loop(loop: Loop) -> control.StateSpace:
    """The same loop in exact numbers, from the setpoint and from each rounding to the fold."""
    settings = settings_of(loop)
    kp, ki, kd = (g / 65536 for g in (settings.kp_q16, settings.ki_q16, settings.kd_q16))
    # The integral takes in this tick's error before it is used; the derivative looks at
    # the measured rate, so a step of the setpoint does not kick.
    pid = control.ss(
        [[1]],
        [[ki, 0]],
        [[1]],
        [[kp + ki, -kd]],
        TICK_S,
        inputs=["error", "measured_rate"],
        outputs=["wanted"],
    )
    return control.interconnect(
        [
            plant_of(loop),
            pid,
            control.summing_junction(["setpoint", "-fold", "-fold_rounding"], "error"),
            control.summing_junction(["rate", "rate_rounding"], "measured_rate"),
            control.summing_junction(["wanted", "drive_rounding"], "drive"),
        ],
        inputs=["setpoint", *ROUNDING],
        outputs=["fold"],
    )


# Fold and rate are rounded to whole numbers, the drive is rounded down to one.
ROUNDING = {"fold_rounding": 0.5, "rate_rounding": 0.5, "drive_rounding": 1.0}


def rounding_bound_cdeg(exact: control.StateSpace, time_s: np.ndarray) -> float:
    """The most by which all roundings together can move the fold."""
    pulse = np.zeros_like(time_s)
    pulse[0] = 1
    return sum(
        bound * abs(control.forced_response(exact["fold", name], time_s, pulse).outputs).sum()
        for name, bound in ROUNDING.items()
    )


@pytest.mark.parametrize("name", LOOPS)
def test_the_law_answers_a_step_as_the_textbook_pid_does_within_rounding(name, record_property):
    loop = LOOPS[name]
    time_s = np.arange(round(SECONDS / TICK_S)) * TICK_S
    exact = exact_loop(loop)
    wanted = control.forced_response(
        exact["fold", "setpoint"], time_s, np.full_like(time_s, STEP_CDEG)
    ).outputs
    bound_cdeg = rounding_bound_cdeg(exact, time_s)
    off_cdeg = abs(by_the_core(loop, len(time_s)) - wanted).max()
    record_property(
        f"PID against python-control, {name}",
        f"{100 * off_cdeg / STEP_CDEG:.2f} % of the step,"
        f" rounding allows {100 * bound_cdeg / STEP_CDEG:.2f} %",
    )
    assert wanted.max() > 1.2 * STEP_CDEG, "a loop tuned so overshoots"
    assert off_cdeg < bound_cdeg < 0.1 * STEP_CDEG


@pytest.mark.parametrize("name", LOOPS)
def test_the_textbook_loops_are_on_the_verge_at_their_ultimate_gain(name):
    # Routh's criterion, as python-control's margins see it.
    loop = LOOPS[name]
    gain, _, crossing_radps, _ = control.margin(loop.plant)
    assert gain == pytest.approx(loop.ultimate_gain, rel=1e-4)
    assert 2 * pi / crossing_radps == pytest.approx(loop.ultimate_s, rel=1e-4)
