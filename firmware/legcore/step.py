"""One tick of the control core, in order."""

import micropython

from legcore.estimate import estimate
from legcore.faults import judge
from legcore.law import control
from legcore.limits import give_pulse, limit
from legcore.phases import STANDING
from legcore.setpoint import aim
from legcore.supervise import supervise


@micropython.native
def step(rig):
    """Run one tick for both legs: inputs are fields of `rig`, and so are outputs.

    Allocates nothing, raises nothing, knows no clock: it is called once a period.
    """
    settings = rig.settings
    left = rig.left
    right = rig.right
    estimate(left, settings.left_thigh, settings.left_shank, settings)
    estimate(right, settings.right_thigh, settings.right_shank, settings)
    judge(left, settings)
    judge(right, settings)
    supervise(rig)
    drive(left, settings)
    drive(right, settings)


@micropython.native
def drive(leg, settings):
    """From the phase of one leg to its pulse."""
    if leg.phase <= STANDING:
        rest(leg, settings)
        return
    aim(leg, settings)
    control(leg, settings)
    limit(leg, settings)
    give_pulse(leg, settings)


@micropython.native
def rest(leg, settings):
    """Neutral at once, not slewed; the next move will start from where the leg is."""
    leg.setpoint_cdeg_q6 = leg.fold_cdeg_q4 * 4
    leg.step_cdeg_q6 = 0
    leg.law_on = 0
    leg.integral_q16 = 0
    leg.wanted_permille = 0
    leg.drive_permille = 0
    leg.pulse_us = settings.pulse_neutral_us
