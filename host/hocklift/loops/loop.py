"""The whole loop of one leg, opened at its drive: core, pulse, speed controller, motor, leg.

What only a large motion meets is left out: limits of drive and slew, end stops, deadbands,
play and steps of the sensors. Feed-forward does not depend on where the leg is, so it is not
part of the loop. It steps from one visit of the core to the next. The speed controller takes in
its pulse when its own frame begins, in step with nothing: the loop has what is left of that on
average, each value held for a frame, which delays by half of one.
"""

from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np
from legcore.model import VISIT_TICKS
from legsim.rig import Rig
from legsim.settings import core_rig

from hocklift.loops.linear import Floats, Steps, averaging, between_periods, every, series
from hocklift.loops.plant import NoBalanceError, Plant, plant_at, without_friction

PHASES = ("lifting", "held", "lowering")
_CDEG_PER_RAD = 18000 / pi
# A leg that cannot be moved at the setpoint's speed is looked at in half of it, and so on.
_SLOWEST = 1 / 8


@dataclass(frozen=True)
class Loop:
    """The open loop from a fold's error, by way of the drive, to the fold: minus feeds back."""

    phase: str
    fold_rad: float
    rate_radps: float
    visit_s: float
    plant: Plant
    steps: Steps


def loop_at(rig: Rig, fold_rad: float, phase: str) -> Loop:
    """The loop with the rig's own gains, at a fold in a phase.

    Lifting and lowering are taken at the setpoint's speed, or slower where the motor cannot.
    Raises NoBalanceError where no speed will do.
    """
    plant, rate_radps = _plant(rig, fold_rad, phase)
    settings = core_rig(rig).settings
    return Loop(
        phase,
        fold_rad,
        rate_radps,
        rig.control.period_s * VISIT_TICKS,
        plant,
        series(core_steps(settings), drive_to_fold(rig, plant)),
    )


def ultimate_loop_at(rig: Rig, fold_rad: float, phase: str) -> Loop:
    """The same with a gain alone, of 1 (full drive) a radian: the filter of the angle stays."""
    plant, rate_radps = _plant(rig, fold_rad, phase)
    alpha = core_rig(rig).settings.angle_alpha_q8 / 256
    angle = Steps(np.array([[1 - alpha]]), np.array([[alpha]]), np.array([[1 - alpha]]), alpha)
    return Loop(
        phase,
        fold_rad,
        rate_radps,
        rig.control.period_s * VISIT_TICKS,
        plant,
        series(angle, drive_to_fold(rig, plant)),
    )


def _plant(rig: Rig, fold_rad: float, phase: str) -> tuple[Plant, float]:
    if phase == "held":
        return plant_at(without_friction(rig), fold_rad, 0.0), 0.0
    c = rig.control
    rate_radps = c.lift_speed_radps if phase == "lifting" else -c.lower_speed_radps
    share = 1.0
    while True:
        try:
            plant = plant_at(rig, fold_rad, share * rate_radps)
            if abs(plant.duty) <= c.drive_max:
                return plant, share * rate_radps
        except NoBalanceError:
            if share <= _SLOWEST:
                raise
        if share <= _SLOWEST:
            raise NoBalanceError("control.drive_max is too little to move the leg there")
        share /= 2


def core_steps(settings: Any) -> Steps:
    """Filters and PID of the control core, from the fold in rad to the drive, 1 being full.

    States at each visit: filtered fold, filtered rate, integral.
    """
    alpha, beta = settings.angle_alpha_q8 / 256, settings.rate_alpha_q8 / 256
    hz = settings.visit_hz
    kp, ki, kd = (
        gain / 65536 / 1000 * _CDEG_PER_RAD
        for gain in (settings.kp_q16, settings.ki_q16, settings.kd_q16)
    )
    # The fold is filtered first; rate and integral take in what comes of it at once.
    fold = np.array([1 - alpha, 0.0, 0.0]), alpha
    rate = beta * hz * np.array([-alpha, 0.0, 0.0]) + [0.0, 1 - beta, 0.0], beta * hz * alpha
    integral = ki * fold[0] + [0.0, 0.0, 1.0], ki * alpha
    parts = (fold, rate, integral)
    A = np.vstack([part[0] for part in parts])
    B = np.array([[part[1]] for part in parts])
    take = np.array([[kp, kd, 1.0]])
    return Steps(A, B, take @ A, float((take @ B)[0, 0]))


def drive_to_fold(rig: Rig, plant: Plant) -> Steps:
    """From a drive wanted anew each visit to the fold at the next: frames, then the plant."""
    period_s = rig.control.period_s
    frames = averaging(held_for(max(1.0, rig.controller.frame_s / period_s)))
    moves = between_periods(plant.A, plant.B, plant.C, period_s)
    return every(series(frames, moves), VISIT_TICKS)


def held_for(periods: float) -> Floats:
    """How likely a value is of so many periods ago, if a new one is taken every `periods`.

    Where they are no whole number, it is taken sometimes one period sooner, sometimes later.
    """
    whole = int(periods + 1e-9)
    rest = periods - whole
    shares = [1.0] * whole + ([rest] if rest > 1e-9 else [])
    return np.array(shares) / periods
