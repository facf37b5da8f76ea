"""The loop of a leg and its margins against python-control.

It puts the same loop together by its own means, and reads its margins by its own search.
"""

from dataclasses import replace
from math import inf, pi

import control
import numpy as np
import pytest
from hocklift.loops.first import first_gains
from hocklift.loops.linear import Steps
from hocklift.loops.loop import PHASES, Loop, loop_at, ultimate_loop_at
from hocklift.loops.margins import (
    Margins,
    folds_rad,
    margins_of,
    margins_of_steps,
    rig_ultimate,
)
from hocklift.loops.rules import Ultimate
from legsim.rig import Rig
from legsim.settings import core_rig

DEMO = Rig()
# Gains near the edge of what the core can hold, an integral that matters, slow filters and a
# slow frame: a loop of which all margins are small.
NERVOUS = replace(
    DEMO,
    control=replace(
        DEMO.control,
        kp_per_rad=5.0,
        ki_per_rad_s=30.0,
        kd_s_per_rad=0.05,
        angle_filter_s=0.06,
        rate_filter_s=0.03,
    ),
    controller=replace(DEMO.controller, frame_s=0.05),
    rope=replace(DEMO.rope, parts=2.0),
    drive=replace(DEMO.drive, gear_ratio=12.0),
    spring=replace(DEMO.spring, rate_N_per_m=8e3, force_extended_N=100.0),
)
RIGS = {"demo": DEMO, "nervous": NERVOUS}


def core_by_control(rig: Rig) -> control.TransferFunction:
    """Filters and PID by their difference equations, written as fractions in z."""
    s = core_rig(rig).settings
    visit_s = 2 * rig.control.period_s
    z = control.tf("z")
    z.dt = visit_s
    alpha, beta = s.angle_alpha_q8 / 256, s.rate_alpha_q8 / 256
    kp, ki, kd = (g / 65536 / 1000 * 18000 / pi for g in (s.kp_q16, s.ki_q16, s.kd_q16))
    angle = alpha * z / (z - (1 - alpha))
    rate = angle * (z - 1) / (z * visit_s) * beta * z / (z - (1 - beta))
    return control.minreal(kp * angle + ki * z / (z - 1) * angle + kd * rate, 1e-9, verbose=False)


def plant_by_control(rig: Rig, loop: Loop) -> control.StateSpace:
    """The plant sampled by `c2d` at the period, behind the frames' average; then every second one.

    Within a visit of two periods the drive stays, so the frames see each drive twice.
    """
    period_s = rig.control.period_s
    fast = control.c2d(control.ss(loop.plant.A, loop.plant.B, loop.plant.C, 0), period_s, "zoh")
    frames = round(rig.controller.frame_s / period_s)
    if frames * period_s == pytest.approx(rig.controller.frame_s):
        weights = [1 / frames] * frames
    else:
        whole = int(rig.controller.frame_s / period_s)
        weights = [period_s / rig.controller.frame_s] * whole
        weights.append(1 - sum(weights))
    hold = control.ss(control.tf(weights, [1, *[0] * (len(weights) - 1)], period_s))
    both = control.series(hold, fast)
    A, B = both.A, both.B
    return control.ss(A @ A, A @ B + B, both.C, 0, 2 * period_s)


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("phase", PHASES)
def test_margins_agree_with_python_control_on_the_same_loop(name, phase, record_property):
    rig = RIGS[name]
    loop = loop_at(rig, folds_rad(rig)[1], phase)
    mine = margins_of(loop)
    theirs = control.series(control.ss(core_by_control(rig)), plant_by_control(rig, loop))
    # By its search over frequencies; the polynomials of so many lags are ill-conditioned.
    gains, phases_deg, _, gain_radps, phase_radps, _ = control.stability_margins(
        theirs, returnall=True, method="frd"
    )
    turn = np.geomspace(1e-3, pi, 20_000) / loop.visit_s
    peak = float(abs(1 / (1 + theirs(np.exp(1j * turn * loop.visit_s)))).max())
    gain = min((g, w) for g, w in zip(gains, gain_radps, strict=True) if g > 1)
    angle = min(zip(phases_deg, phase_radps, strict=True), key=lambda one: abs(one[0]))
    found = {
        "gain margin": (mine.gain, gain[0]),
        "at rad/s": (mine.gain_radps, gain[1]),
        "phase margin, deg": (np.degrees(mine.phase_rad), angle[0]),
        "crossover, rad/s": (mine.phase_radps, angle[1]),
        "delay margin, s": (mine.delay_s, float(min(np.radians(phases_deg) / phase_radps))),
        "peak sensitivity": (mine.peak, peak),
    }
    for what, (ours, reference) in found.items():
        record_property(f"{what}, {name}, {phase}", f"{ours:.5g} against {reference:.5g}")
        assert ours == pytest.approx(reference, rel=0.01), what
    closed = control.feedback(theirs, 1)
    assert mine.stable == bool(abs(closed.poles()).max() < 1)


def steps_of(plant: control.TransferFunction, period_s: float) -> Steps:
    """A plant in steps so short that its margins are those of the plant itself."""
    made = control.ss(control.c2d(control.ss(plant), period_s, "zoh"))
    return Steps(made.A, made.B, made.C, float(made.D[0, 0]))


def test_margins_of_a_published_plant():
    # MathWorks, page of allmargin: 25/(s^3+10s^2+10s+10).
    plant = control.tf([25], [1, 10, 10, 10])
    period_s = 1e-4
    found = margins_of_steps(steps_of(plant, period_s), period_s)
    # A step held delays by half of it.
    assert found.gain == pytest.approx(3.6, rel=1e-3)
    assert found.gain_radps == pytest.approx(3.1623, rel=1e-3)
    assert np.degrees(found.phase_rad) == pytest.approx(29.1104, rel=1e-3)
    assert found.phase_radps == pytest.approx(1.7844, rel=1e-3)
    assert found.delay_s == pytest.approx(0.2847, rel=1e-3)


def test_nearness_to_minus_one_of_a_published_plant():
    # python-control, margin_test.py: 1/(s^3+2s^2+3s+4) has gain margin 2, distance to -1 .4170.
    period_s = 1e-3
    found = margins_of_steps(steps_of(control.tf([1], [1, 2, 3, 4]), period_s), period_s)
    assert found.gain == pytest.approx(2.0, rel=2e-3)
    assert 1 / found.peak == pytest.approx(0.4170, rel=2e-3)


def test_a_loop_past_its_ultimate_gain_is_told_unstable():
    # Three equal lags swing at gain 8, by Routh's criterion.
    plant = 1 / (control.tf("s") + 1) ** 3
    period_s = 1e-3
    assert margins_of_steps(steps_of(7.9 * plant, period_s), period_s).stable
    past = margins_of_steps(steps_of(8.1 * plant, period_s), period_s)
    assert not past.stable
    assert past.gain_less == pytest.approx(8 / 8.1, rel=1e-2)


def test_a_loop_that_never_turns_far_enough_has_no_end_of_gain():
    period_s = 1e-2
    lag = steps_of(0.5 / (control.tf("s") + 1), period_s)
    found = margins_of_steps(Steps(lag.A, lag.B, lag.C, 0.0), period_s)
    # One lag below 1 everywhere: no crossover, so neither phase nor delay runs out.
    assert (found.phase_rad, found.delay_s, found.gain_less) == (inf, inf, 0.0)


@pytest.mark.parametrize("phase", PHASES)
def test_margins_obey_what_peak_sensitivity_promises(phase):
    # Analytic: gain margin >= Ms/(Ms-1), phase margin >= 2 asin(1/(2 Ms)).
    for fold in folds_rad(NERVOUS):
        found: Margins = margins_of(loop_at(NERVOUS, fold, phase))
        assert found.gain >= found.peak / (found.peak - 1) * (1 - 1e-6)
        assert found.phase_rad >= 2 * np.arcsin(1 / (2 * found.peak)) * (1 - 1e-6)


def test_a_gain_alone_at_its_ultimate_is_on_the_verge():
    loop = ultimate_loop_at(DEMO, folds_rad(DEMO)[0], "held")
    gain = margins_of(loop).gain
    for share, stable in ((0.99, True), (1.01, False)):
        poles = np.linalg.eigvals(loop.steps.closed(share * gain))
        assert bool(abs(poles).max() < 1) == stable


def test_first_gains_are_the_rules_own_where_the_rig_file_can_hold_them():
    # Tyreus and Luyben's PI as T. Co quotes it: Ku/3.2, 2.2 Pu.
    first = {one.rule.name: one for one in first_gains(Ultimate(16.0, 0.5))}["Tyreus-Luyben PI"]
    assert first.share == 1
    assert first.rig(DEMO).control.kp_per_rad == pytest.approx(5.0)
    assert first.rig(DEMO).control.ki_per_rad_s == pytest.approx(5.0 / 1.1)
    assert first.rig(DEMO).control.kd_s_per_rad == 0


def test_gains_that_the_core_cannot_hold_are_all_cut_alike_so_that_their_times_stay():
    for first in first_gains(rig_ultimate(DEMO)):
        assert first.share < 1, "the demo rig would swing only far past what the core can hold"
        kp, ki, kd = first.values
        assert kp / first.gains.integral_s == pytest.approx(ki)
        assert kp * first.gains.derivative_s == pytest.approx(kd)
        core_rig(first.rig(DEMO))
