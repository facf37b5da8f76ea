"""Winding heat: copper warms, and warm copper heats more."""

from math import inf
from typing import NamedTuple

import numpy as np
from legsim.heat import COPPER_PER_K


class Rise(NamedTuple):
    """How much warmer than the air winding and case are."""

    winding_K: float
    case_K: float


def copper_resistance_ohm(cold_ohm: float, rise_K: float) -> float:
    """Resistance of a warm winding, R (1 + alpha T) [copper].

    R resistance at 20 degrees C, alpha 0.00393 per kelvin, T rise over 20 degrees C; from -50
    to 200 degrees C.
    """
    return cold_ohm * (1 + COPPER_PER_K * rise_K)


def steady_rise_K(cold_heat_W: float, resistance_K_per_W: float) -> float:
    """Rise of a winding at the end, with copper's feedback, P R / (1 - alpha P R) [copper].

    P heat that the current would make in a winding as cold as the air, taken as 20 degrees C; R
    thermal resistance from winding to air. Infinite where the winding runs away: its heat then
    grows faster than the heat that leaves.
    """
    rise_K = cold_heat_W * resistance_K_per_W
    feedback = COPPER_PER_K * rise_K
    return rise_K / (1 - feedback) if feedback < 1 else inf


def rise_after_K(
    cold_heat_W: float,
    iron_heat_W: float,
    time_s: float,
    winding_J_per_K: float,
    case_J_per_K: float,
    winding_to_case_K_per_W: float,
    case_to_air_K_per_W: float,
) -> Rise:
    """Rise of winding and case after a time of steady work, from cold: common practice, no source.

    Two bodies, each of one temperature, with copper's feedback [copper]; the exact solution,
    by eigenvalues. P as for `steady_rise_K`, iron loss straight into the case, both averaged
    over a step: N steps take N over the cadence. A step's own ripple of winding temperature
    is left out. Infinite, or beyond any copper, where the winding runs away.
    """
    leak = 1 / winding_to_case_K_per_W
    rates_per_s = np.array(
        [
            [(COPPER_PER_K * cold_heat_W - leak) / winding_J_per_K, leak / winding_J_per_K],
            [leak / case_J_per_K, -(leak + 1 / case_to_air_K_per_W) / case_J_per_K],
        ]
    )
    heats_K_per_s = np.array([cold_heat_W / winding_J_per_K, iron_heat_W / case_J_per_K])
    # Two bodies that only exchange heat do not swing, so all of this is real; some versions
    # of NumPy say so in complex numbers.
    values, vectors = (np.real(part) for part in np.linalg.eig(rates_per_s))
    heating = np.linalg.solve(vectors, heats_K_per_s)
    with np.errstate(over="ignore"):
        winding_K, case_K = vectors @ (heating * np.expm1(values * time_s) / values)
    return Rise(float(winding_K), float(case_K))
