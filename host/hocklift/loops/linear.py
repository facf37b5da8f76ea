"""Linear systems in steps of one period, as far as a control loop needs them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class Steps:
    """x' = A x + B u, y = C x + D u, from one period to the next; one input, one output."""

    A: Floats
    B: Floats
    C: Floats
    D: float

    def at(self, turn_rad: Floats) -> Complexes:
        """Response at some frequencies, each told as the angle that it turns in a period."""
        z = np.exp(1j * turn_rad)[:, None, None]
        count = len(self.A)
        inverse = np.linalg.solve(z * np.eye(count) - self.A, np.broadcast_to(self.B, (count, 1)))
        return np.asarray((self.C @ inverse)[:, 0, 0] + self.D)

    def closed(self, gain: float = 1.0) -> Floats:
        """What becomes of the states when minus `gain` times the output is the input."""
        return np.asarray(self.A - gain / (1 + gain * self.D) * self.B @ self.C)


def series(first: Steps, then: Steps) -> Steps:
    """One after the other."""
    A = np.block([[first.A, np.zeros((len(first.A), len(then.A)))], [then.B @ first.C, then.A]])
    B = np.vstack([first.B, then.B * first.D])
    return Steps(A, B, np.hstack([then.D * first.C, then.C]), first.D * then.D)


def between_periods(A: Floats, B: Floats, C: Floats, period_s: float) -> Steps:
    """A system of differential equations between periods, its input steady in each: exact."""
    count = len(A)
    whole = expm(np.block([[A, B], [np.zeros((1, count + 1))]]) * period_s)
    return Steps(whole[:count, :count], whole[:count, count:], C, 0.0)


def averaging(weights: Floats) -> Steps:
    """The weighted sum of this input and those of periods before."""
    count = len(weights) - 1
    return Steps(
        np.eye(count, k=-1), np.eye(count, 1), np.asarray(weights[None, 1:]), float(weights[0])
    )


def every(system: Steps, periods: int) -> Steps:
    """A system looked at, and its input changed, only once in so many periods: exact.

    Its input must not act on its output within a period.
    """
    assert system.D == 0
    A, B = np.eye(len(system.A)), np.zeros_like(system.B)
    for _ in range(periods):
        A, B = system.A @ A, system.A @ B + system.B
    return Steps(A, B, system.C, 0.0)
