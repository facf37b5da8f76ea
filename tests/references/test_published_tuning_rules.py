"""Named tuning rules give their published numbers on published plants.

Frequency responses are python-control's.
"""

from math import atan, inf, pi, sqrt

import control
import numpy as np
import pytest
from hocklift.loops.rules import (
    RULES,
    Gains,
    Model,
    Ultimate,
    amigo,
    by_name,
    from_series,
    half_rule,
    integrating,
    simc,
    steady,
)

S = control.tf("s")
W = np.logspace(-3, 3, 6_001)


def pid(gains: Gains) -> control.TransferFunction:
    return gains.gain * (1 + 1 / (gains.integral_s * S) + gains.derivative_s * S)


def pid_at(gains: Gains, w: np.ndarray) -> np.ndarray:
    return gains.gain + gains.per_second / (1j * w) + gains.seconds * 1j * w


def margins(loop: np.ndarray) -> tuple[float, float, float]:
    """Gain margin, phase margin in deg and peak sensitivity by python-control, dead time exact."""
    gain, phase_deg, *_ = control.stability_margins(control.frd(loop, W))
    return gain, phase_deg, float(abs(1 / (1 + loop)).max())


def peak(loop: control.TransferFunction) -> float:
    return float(abs(1 / (1 + loop(1j * W))).max())


def ultimate_of(plant: control.TransferFunction) -> Ultimate:
    gain, _, crossing_radps, _ = control.margin(plant)
    return Ultimate(gain, 2 * pi / crossing_radps)


def test_ziegler_and_nichols_on_ogatas_third_order_plant():
    # Ogata, Modern Control Engineering, the chapter on PID: 1/(s(s+1)(s+5)); from memory,
    # and worked out anew by python-control.
    plant = 1 / (S * (S + 1) * (S + 5))
    ultimate = ultimate_of(plant)
    assert (ultimate.gain, ultimate.period_s) == pytest.approx((30, 2.8099), rel=1e-4)
    gains = by_name("Ziegler-Nichols PID").gains(ultimate)
    assert (gains.gain, gains.integral_s, gains.derivative_s) == pytest.approx(
        (18, 1.405, 0.35124), rel=1e-3
    )
    _, y = control.step_response(control.feedback(control.minreal(pid(gains) * plant, 1e-6), 1))
    assert 100 * (y.max() - 1) == pytest.approx(62, abs=1)


# Three equal lags, worked out by python-control: gains, peak sensitivity, phase margin.
THREE_LAGS = {
    "Ziegler-Nichols PID": ((4.8, 1.814, 0.4534), 2.13, 30.6),
    "Tyreus-Luyben PID": ((3.636, 7.981, 0.5758), 1.475, 56.3),
}


@pytest.mark.parametrize("name", THREE_LAGS)
def test_rules_by_the_ultimate_point_on_three_equal_lags(name):
    plant = 1 / (S + 1) ** 3
    ultimate = ultimate_of(plant)
    assert (ultimate.gain, ultimate.period_s) == pytest.approx((8, 2 * pi / sqrt(3)), rel=1e-4)
    gains = by_name(name).gains(ultimate)
    published, ms, phase_deg = THREE_LAGS[name]
    assert (gains.gain, gains.integral_s, gains.derivative_s) == pytest.approx(published, rel=1e-3)
    loop = pid_at(gains, W) * plant(1j * W)
    _, found_deg, found_ms = margins(loop)
    assert (found_ms, found_deg) == pytest.approx((ms, phase_deg), rel=5e-3)


def test_pi_of_ziegler_and_nichols_leaves_little_margin_on_the_textbook_inverse_response():
    # Skogestad and Postlethwaite, Multivariable Feedback Control, examples 2.2 to 2.4: from
    # memory and worked out anew; the plant as in the repository Skogestad-Python.
    plant = 3 * (1 - 2 * S) / ((10 * S + 1) * (5 * S + 1))
    ultimate = ultimate_of(plant)
    assert (ultimate.gain, ultimate.period_s) == pytest.approx((2.5, 15.24), rel=2e-3)
    gains = by_name("Ziegler-Nichols PI").gains(ultimate)
    assert (gains.gain, gains.integral_s) == pytest.approx((1.136, 12.7), rel=2e-3)
    loop = pid_at(gains, W) * plant(1j * W)
    gain, phase_deg, ms = margins(loop)
    assert (gain, phase_deg, ms) == pytest.approx((1.63, 19.4, 3.92), rel=5e-3)
    assert abs(loop / (1 + loop)).max() == pytest.approx(3.35, rel=5e-3)


def test_pi_of_ziegler_and_nichols_is_what_two_sources_say():
    # T. Co has Ku/2.2; Astrom and Murray, Feedback Systems, errata: 0.45 Ku, Tu/1.2.
    gains = by_name("Ziegler-Nichols PI").gains(Ultimate(1, 1))
    assert gains == Gains(1 / 2.2, 1 / 1.2)
    assert gains.gain == pytest.approx(0.45, rel=0.02)


# Margins that the rule's author states for its tight choice; from memory and worked out anew.
SIMC_MARGINS = {
    "one lag": (steady(1.0, 1.0, 0.2), (3.14, 61.4, 1.59)),
    "integrating": (Model(1.0, inf, 1.0), (2.96, 46.9, 1.70)),
}


@pytest.mark.parametrize("name", SIMC_MARGINS)
def test_simc_gives_the_margins_that_its_author_states(name):
    model, published = SIMC_MARGINS[name]
    s = 1j * W
    plant = model.rate_gain * np.exp(-model.dead_s * s) / (s + 1 / model.lag_s)
    assert margins(pid_at(simc(model), W) * plant) == pytest.approx(published, rel=5e-3)


def test_the_half_rule_reduces_its_authors_first_example():
    # Skogestad 2003, example E1, from memory and worked out anew:
    # (-.3s+1)(.08s+1)/((2s+1)(s+1)(.4s+1)(.2s+1)(.05s+1)^3). The zero at .08 shortens the lag
    # of .2 to .12; the one that turns the wrong way delays by .3.
    lags_s, dead_s = (2, 1, 0.4, 0.2 - 0.08, 0.05, 0.05, 0.05), 0.3
    one = half_rule(lags_s, dead_s, 1)
    assert (one.dead_s, one.lag_s, one.gain) == pytest.approx((1.47, 2.5, 1))
    gains = simc(one)
    assert (gains.gain, gains.integral_s, gains.derivative_s) == pytest.approx(
        (0.85, 2.5, 0), rel=5e-3
    )
    two = half_rule(lags_s, dead_s, 2)
    assert (two.dead_s, two.lag_s, two.lag2_s) == pytest.approx((0.77, 2, 1.2))
    series, gains = from_series(1.30, 2, 1.2), simc(two)
    assert (gains.gain, gains.integral_s, gains.derivative_s) == pytest.approx(
        (series.gain, series.integral_s, series.derivative_s), rel=5e-3
    )


@pytest.mark.parametrize(
    ("lag_s", "dead_s", "published"),
    # Astrom and Hagglund 2004, their examples (s+1)^-4 and e^-s/(.05s+1)^2: from memory; the
    # models by python-control.
    [(2.9, 1.42, (1.12, 2.40, 0.619)), (0.093, 1.01, (0.242, 0.474, 0.119))],
)
def test_amigo_gives_its_published_gains(lag_s, dead_s, published):
    gains = amigo(steady(1.0, lag_s, dead_s))
    assert (gains.gain, gains.integral_s, gains.derivative_s) == pytest.approx(published, rel=5e-3)


def test_amigo_keeps_its_promise_of_peak_sensitivity_on_four_equal_lags():
    # The rule was made for 1.4 and their example has 1.62; derivative unfiltered.
    gains = amigo(steady(1.0, 2.9, 1.42))
    assert peak(pid(gains) / (S + 1) ** 4) == pytest.approx(1.62, rel=0.01)


def test_amigo_goes_over_into_what_integrates_as_the_lag_grows():
    # The limits of its formulas: K = .45/(k L), Ti = 8 L, Td = L/2.
    gains = amigo(Model(2.0, inf, 0.3))
    assert (gains.gain, gains.integral_s, gains.derivative_s) == pytest.approx((0.75, 2.4, 0.15))
    assert amigo(Model(2.0, 1e9, 0.3)).gain == pytest.approx(0.75)


def test_the_series_form_is_the_ideal_one_in_other_numbers():
    gains = from_series(2.0, 3.0, 0.5)
    series = 2.0 * (1 + 1 / (3.0 * S)) * (1 + 0.5 * S)
    assert pid(gains)(0.7j) == pytest.approx(series(0.7j))


def test_what_integrates_has_the_ultimate_point_that_it_was_made_from():
    model = integrating(Ultimate(3.0, 0.8))
    w = 2 * pi / 0.8
    at = model.rate_gain * np.exp(-1j * w * model.dead_s) / (1j * w)
    assert 3.0 * at == pytest.approx(-1)
    assert atan(at.imag / at.real) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_every_rule_names_its_source_and_keeps_its_own_process_stable(rule):
    assert rule.source
    ultimate = Ultimate(2.0, 0.5)
    model, gains = integrating(ultimate), rule.gains(ultimate)
    plant = model.rate_gain * np.exp(-1j * W * model.dead_s) / (1j * W)
    gain, phase_deg, ms = margins(pid_at(gains, W) * plant)
    assert gain > 1.2 and phase_deg > 10 and ms < 6
