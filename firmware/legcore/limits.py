"""What stands between the law and the motor: end stops, drive limit, slew, pulse."""

import micropython

from legcore.model import PULSE_MAX_US, PULSE_MIN_US


@micropython.native
def limit(leg, settings):
    """Turn `wanted_permille` into `drive_permille` of one moving leg.

    An end stop allows less drive the nearer the leg comes, seen a little ahead in
    time, and pushes back when it is passed: it brakes before the limit instead of
    clipping at it.
    """
    wanted = leg.wanted_permille
    most = settings.drive_max_permille
    least = -most
    # Budget: 20000 x 512 = 1.0e7.
    ahead = leg.fold_cdeg + (leg.rate_cdps * settings.stop_ahead_q10 >> 10)
    thigh = leg.thigh.angle_cdeg_q4 >> 4
    shank = leg.shank.angle_cdeg_q4 >> 4
    # The nearest of fold's and both joints' ends counts, in either direction.
    room_up = settings.fold_max_cdeg - ahead
    room = settings.thigh_max_cdeg - thigh
    if room < room_up:
        room_up = room
    room = settings.shank_max_cdeg - shank
    if room < room_up:
        room_up = room
    room_down = ahead - settings.fold_min_cdeg
    room = thigh - settings.thigh_min_cdeg
    if room < room_down:
        room_down = room
    room = shank - settings.shank_min_cdeg
    if room < room_down:
        room_down = room
    # Budget: (36000 + 10000 + 18000) x 8192 = 5.3e8.
    gain = settings.stop_gain_q8
    upper = room_up * gain >> 8
    lower = -(room_down * gain >> 8)
    if lower > 0:
        # Past the lower end the spring has nothing left to give; pulling against
        # it would only heat the motor.
        lower = 0
    if lower > least:
        least = lower
    if upper < most:
        # The upper end wins over the lower one where a bad setting lets them cross.
        most = max(upper, -most)
        least = min(least, most)
    if wanted > most:
        wanted = most
    elif wanted < least:
        wanted = least

    drive = leg.drive_permille
    slew = settings.slew_permille
    if wanted > drive + slew:
        drive += slew
    elif wanted < drive - slew:
        drive -= slew
    else:
        drive = wanted
    # The drive of the last tick may have been changed in memory: never pass on more than this.
    most = settings.drive_max_permille
    if drive > most:
        drive = most
    elif drive < -most:
        drive = -most
    leg.drive_permille = drive


@micropython.native
def pass_on(wing, settings, wanted):
    """Bring a wing's `drive_permille` towards `wanted`, as fast as it may change.

    As `limit` does for a leg, where it is written out for the same reason as in `estimate`.
    """
    drive = wing.drive_permille
    slew = settings.slew_permille
    if wanted > drive + slew:
        drive += slew
    elif wanted < drive - slew:
        drive -= slew
    else:
        drive = wanted
    # The drive of the last visit may have been changed in memory: never pass on more than this.
    most = settings.drive_max_permille
    if drive > most:
        drive = most
    elif drive < -most:
        drive = -most
    wing.drive_permille = drive


@micropython.native
def give_pulse(leg, settings):
    """Set `pulse_us` of one leg: past the controller's deadband at once, 1000 is the whole span."""
    drive = leg.drive_permille
    least = settings.drive_min_permille
    pulse = settings.pulse_neutral_us
    deadband = settings.pulse_deadband_us
    # Less than the least is too little to turn the motor: neutral, where the controller
    # brakes it.
    if drive >= least and drive > 0:
        pulse += deadband + drive * (settings.pulse_span_us - deadband) // 1000
    elif drive <= -least and drive < 0:
        pulse -= deadband - drive * (settings.pulse_span_us - deadband) // 1000
    if pulse > PULSE_MAX_US:
        pulse = PULSE_MAX_US
    elif pulse < PULSE_MIN_US:
        pulse = PULSE_MIN_US
    leg.pulse_us = pulse
