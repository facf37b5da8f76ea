"""Where a wing is and where it should be now: its pot, its command, and the setpoint between."""

import micropython

from legcore.estimate import joint_angle_cdeg, track
from legcore.model import ANGLE_MAX_CDEG
from legcore.setpoint import next_speed
from legcore.wing_model import STICK_COMMAND
from legcore.wing_phases import RELEASING

_FAR_Q6 = 128 * ANGLE_MAX_CDEG
# A command may leap from one end to the other between two visits: a hand is quicker than a wing.
_ANY_COUNT = 4095


@micropython.native
def estimate_wing(wing, cal, command_cal, settings):
    """Update pose, rate and command of one wing."""
    bad_most = settings.pot_ticks
    pot = wing.pot
    command = wing.command
    if wing.primed == 0:
        # The first visit has no past, and a wiper off its track is no start, as with a leg.
        if cal.low_count <= pot.count <= cal.high_count:
            if command_cal.low_count <= command.count <= command_cal.high_count:
                wing.primed = 1
        pot.good_count = pot.count
        command.good_count = command.count
        wing.fold_cdeg_q4 = joint_angle_cdeg(pot, cal, 0, 0) * 16
    # Budget: 576000 x 256 = 1.5e8.
    fold_q4 = wing.fold_cdeg_q4
    angle_q4 = joint_angle_cdeg(pot, cal, settings.jump_count, bad_most) * 16
    track(wing, fold_q4 + ((angle_q4 - fold_q4) * settings.angle_alpha_q8 >> 8), settings)
    # What an error in memory has made of the last good count must not pass for a command.
    command.good_count = max(0, min(_ANY_COUNT, command.good_count))
    # A wiper that leaves its track for a moment leaves the command where it was.
    wing.asked = joint_angle_cdeg(command, command_cal, _ANY_COUNT, settings.stick_ticks)


@micropython.native
def called(wing, settings):
    """1 if the command asks for another pose than rest, which is for motion where it is a stick."""
    if settings.command_kind == STICK_COMMAND:
        return 1 if wing.asked else 0
    return 1 if abs(wing.asked - settings.rest_fold_cdeg) > settings.call_cdeg else 0


@micropython.native
def aim_wing(wing, settings):
    """Choose the target of one moving wing, and advance its setpoint by one visit.

    A stick asks for a speed, towards either end; let go, it leaves the wing where it can
    stop. A pot asks for a pose.
    """
    most = settings.follow_step_q6
    asked = wing.asked
    if wing.phase == RELEASING:
        wing.target_cdeg = settings.rest_fold_cdeg
        most = settings.release_step_q6
    elif settings.command_kind == STICK_COMMAND:
        if asked > 0:
            wing.target_cdeg = settings.raised_cdeg
        elif asked < 0:
            wing.target_cdeg = settings.lowered_cdeg
        # Budget: 18000 x 64 = 1.2e6.
        most = min(most, abs(asked) * 64 // settings.visit_hz)
    else:
        wing.target_cdeg = max(settings.lowered_cdeg, min(settings.raised_cdeg, asked))
    approach(wing, settings, most)


@micropython.native
def approach(wing, settings, most):
    """Bring the setpoint nearer to its target, within speed and acceleration.

    It waits for a wing that cannot follow, whichever way it goes: both its ropes pull.
    """
    # Work towards the target: distance >= 0, speed > 0 where the setpoint approaches it.
    setpoint = wing.setpoint_cdeg_q6
    distance = wing.target_cdeg * 64 - setpoint
    sign = 1
    if distance < 0:
        sign = -1
        distance = -distance
    speed = wing.step_cdeg_q6 * sign
    accel = settings.accel_step_q6
    lead = (setpoint - wing.fold_cdeg_q4 * 4) * sign
    if lead > settings.lag_cdeg * 64 and speed >= 0:
        speed = max(speed - accel, 0)
    elif most > 0 and distance <= accel and -accel <= speed <= accel:
        wing.setpoint_cdeg_q6 = setpoint + distance * sign
        wing.step_cdeg_q6 = 0
        return
    else:
        speed = next_speed(speed, distance, most, accel)
    speed *= sign
    setpoint += speed
    wing.setpoint_cdeg_q6 = max(-_FAR_Q6, min(_FAR_Q6, setpoint))
    wing.step_cdeg_q6 = speed


@micropython.native
def settled(wing, settings):
    """1 if nothing is asked of a wing and it is where its weight alone keeps it."""
    if called(wing, settings) or wing.step_cdeg_q6:
        return 0
    near = settings.arrive_cdeg
    rest = settings.rest_fold_cdeg
    away = (wing.setpoint_cdeg_q6 >> 6) - rest
    if away > near or away < -near:
        return 0
    away = wing.fold_cdeg - rest
    return 1 if -near <= away <= near else 0
