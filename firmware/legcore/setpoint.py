"""Where the fold should be now: a target by phase, approached within speed and acceleration."""

import micropython

from legcore.model import ANGLE_MAX_CDEG, VISIT_TICKS
from legcore.phases import HELD, LIFTING, LOWERING

_FAR_Q6 = 128 * ANGLE_MAX_CDEG


@micropython.native
def aim(leg, settings):
    """Advance the setpoint of one moving leg by one visit.

    The setpoint's speed changes by at most `accel_step_q6` a visit, whatever the
    target does, so a leg re-aimed in mid-air never sees a jump; twice that on the last
    visit, which ends on the target. The one exception is the slack guard: a foot that
    has met something stops the rope at once.
    """
    phase = leg.phase
    if phase == LIFTING or phase == HELD:
        leg.target_cdeg = settings.lift_fold_cdeg
        most = settings.lift_step_q6
    else:
        leg.target_cdeg = settings.rest_fold_cdeg
        most = settings.lower_step_q6 if phase == LOWERING else settings.release_step_q6

    # Work towards the target: distance >= 0, speed > 0 where the setpoint approaches it.
    setpoint = leg.setpoint_cdeg_q6
    distance = leg.target_cdeg * 64 - setpoint
    sign = 1
    if distance < 0:
        sign = -1
        distance = -distance
    speed = leg.step_cdeg_q6 * sign
    accel = settings.accel_step_q6

    lead = (setpoint - leg.fold_cdeg_q4 * 4) * sign
    if lead > settings.lag_cdeg * 64 and speed >= 0:
        # The leg cannot follow. Upwards the setpoint slows down and waits; downwards
        # more rope would only lie slack, to be taken up with a jerk.
        if sign < 0:
            if leg.slack_ticks < settings.slack_ticks:
                leg.slack_ticks += VISIT_TICKS
            speed = 0
        else:
            speed = max(speed - accel, 0)
    else:
        leg.slack_ticks = 0
        if distance <= accel and -accel <= speed <= accel:
            leg.setpoint_cdeg_q6 = setpoint + distance * sign
            leg.step_cdeg_q6 = 0
            return
        speed = next_speed(speed, distance, most, accel)

    speed *= sign
    setpoint += speed
    leg.setpoint_cdeg_q6 = max(-_FAR_Q6, min(_FAR_Q6, setpoint))
    leg.step_cdeg_q6 = speed


@micropython.native
def next_speed(speed, distance, most, accel):
    """The fastest next speed, all per visit, from which braking still ends within `distance`.

    Braking from v by a each visit covers v + (v-a) + ... = v(v+a)/2a, rounded up here
    so that the last step never passes the target. Budget: 8192 x 8448 = 6.9e7.
    """
    faster = speed + accel
    if faster > most:
        faster = max(speed - accel, most)
    twice = 2 * accel
    if faster <= 0 or (faster * (faster + accel) + twice - 1) // twice <= distance:
        return faster
    if faster > speed and (speed * (speed + accel) + twice - 1) // twice <= distance:
        return speed
    return speed - accel
