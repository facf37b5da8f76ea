"""One tick of the control core, in order."""

import micropython

from legcore.estimate import estimate
from legcore.law import control
from legcore.limits import give_pulse, limit
from legcore.phases import STANDING, STOOPING
from legcore.setpoint import aim
from legcore.stoop import stoop
from legcore.supervise import supervise
from legcore.watch import judge


@micropython.native
def step(rig):
    """Run one tick: inputs are fields of `rig`, and so are outputs.

    Each tick visits one leg, left and right in turn; what concerns both, it looks at every
    time. Allocates nothing, raises nothing, knows no clock: it is called once a period.
    """
    settings = rig.settings
    turn = rig.turn + 1 & 31
    rig.turn = turn
    if turn & 1:
        leg = rig.right
        other = rig.left
        thigh_cal = settings.right_thigh
        shank_cal = settings.right_shank
    else:
        leg = rig.left
        other = rig.right
        thigh_cal = settings.left_thigh
        shank_cal = settings.left_shank
    estimate(leg, thigh_cal, shank_cal, settings)
    judge(rig, leg, other, thigh_cal, shank_cal)
    supervise(rig, leg, other)
    if leg.phase <= STANDING:
        rest(leg, settings)
    else:
        if leg.phase == STOOPING:
            stoop(rig, leg, settings)
        else:
            aim(leg, settings)
            control(leg, settings)
        limit(leg, settings)
        give_pulse(leg, settings)
    # A cut does not wait for the other leg's turn.
    if other.phase <= STANDING and other.drive_permille:
        rest(other, settings)


@micropython.native
def rest(leg, settings):
    """Neutral at once, not slewed; the next move will start from where the leg is."""
    leg.setpoint_cdeg_q6 = leg.fold_cdeg_q4 * 4
    leg.step_cdeg_q6 = 0
    leg.law_on = 0
    leg.integral_q16 = 0
    leg.wanted_permille = 0
    leg.drive_permille = 0
    give_pulse(leg, settings)
