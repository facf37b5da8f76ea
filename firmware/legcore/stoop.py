"""Both legs fold and rise together: one setpoint serves both, and waits for either."""

import micropython

from legcore.law import control
from legcore.model import ANGLE_MAX_CDEG
from legcore.setpoint import next_speed
from legcore.stages import GANTRY

_FAR_Q6 = 128 * ANGLE_MAX_CDEG


@micropython.native
def stoop(rig, leg, settings):
    """Drive one stooping leg to the setpoint that both share; the left one's visit moves it on."""
    if rig.turn & 1 == 0:
        move_on(rig, settings)
    setpoint = rig.stoop_cdeg_q6
    fold = leg.fold_cdeg
    if (
        fold * 64 - setpoint > settings.apart_cdeg * 64
        and fold <= settings.rest_fold_cdeg + settings.sunk_cdeg
    ):
        # More weight than its spring carries here: the rope is loose. The drum turns on at the
        # speed of the setpoint, so that no more rope comes to lie loose, nor less when it folds.
        setpoint = leg.fold_cdeg_q4 * 4
    leg.setpoint_cdeg_q6 = setpoint
    leg.step_cdeg_q6 = rig.stoop_step_q6
    if rig.stoop_still and abs(fold * 64 - setpoint) <= settings.apart_cdeg * 64:
        keep(leg, settings)
    else:
        control(leg, settings)


@micropython.native
def move_on(rig, settings):
    """Advance the shared setpoint by one visit, softly at both ends; it waits for either leg."""
    asked = rig.stick_step_q6
    if rig.stick_ready == 0:
        asked = -settings.stoop_step_q6
    elif asked > 0 and settings.stage >= GANTRY and (rig.left.sole == 0 or rig.right.sole == 0):
        asked = 0
    setpoint = rig.stoop_cdeg_q6
    speed = rig.stoop_step_q6
    low = rig.left.fold_cdeg
    high = rig.right.fold_cdeg
    if low > high:
        low, high = high, low
    # Work towards the end that it is asked to; let go, towards the one that it moves to.
    if asked < 0 or (asked == 0 and speed < 0):
        sign = -1
        distance = setpoint - settings.rest_fold_cdeg * 64
        behind = high * 64 - setpoint
        if high <= settings.rest_fold_cdeg + settings.sunk_cdeg:
            # Weight may fold a leg so far: it need not rise any more.
            behind = 0
    else:
        sign = 1
        distance = settings.stoop_fold_cdeg * 64 - setpoint
        behind = setpoint - low * 64
    speed *= sign
    accel = settings.stoop_accel_q6
    still = 1
    if behind > settings.apart_cdeg * 64 and speed >= 0:
        speed = max(speed - accel, 0)
        still = 0
    elif 0 <= distance <= accel and -accel <= speed <= accel:
        speed = 0
        setpoint += distance * sign
    else:
        speed = next_speed(speed, distance, asked * sign, accel)
    if speed == 0 and asked == 0 and rig.stoop_step_q6 != 0:
        # Let go, and at rest: legs that came a little farther stay there.
        setpoint = max(setpoint, low * 64)
    rig.stoop_still = still if speed == 0 else 0
    speed *= sign
    rig.stoop_step_q6 = speed
    rig.stoop_cdeg_q6 = max(-_FAR_Q6, min(_FAR_Q6, setpoint + speed))


@micropython.native
def keep(leg, settings):
    """Hold one leg whose setpoint stands still, with what a drive without sensors has for it.

    At neutral, gears and a braking controller let the leg rise slowly; where it has risen by
    `keep_cdeg`, a drive that grows until the leg folds again brings it back. Between these
    pulses nothing warms the motor.
    """
    wanted = leg.wanted_permille
    error = (leg.setpoint_cdeg_q6 >> 6) - leg.fold_cdeg
    # What the law had found out so far was of a leg that moved.
    leg.integral_q16 = 0
    if error <= 0 or wanted < 0:
        wanted = 0
    elif wanted > 0:
        if leg.rate_cdps <= 0:
            wanted += 1 + (wanted >> 5)
    elif error > settings.keep_cdeg:
        wanted = settings.keep_permille
    leg.wanted_permille = min(wanted, 1000)
