"""What stands between the law and the motor: end stops, drive limit, slew, pulse."""

import micropython

from legcore.phases import OFF


@micropython.native
def limit(leg, settings):
    """Turn `wanted_permille` into `drive_permille` and `pulse_us` of one leg.

    An end stop allows less drive the nearer the leg comes, seen a little ahead in
    time, and pushes back when it is passed: it brakes before the limit instead of
    clipping at it.
    """
    if leg.phase == OFF:
        # A cut is not slewed.
        leg.drive_permille = 0
        leg.pulse_us = settings.pulse_neutral_us
        return
    wanted = leg.wanted_permille
    most = settings.drive_max_permille
    least = -most
    # Budget: 20000 x 512 = 1.0e7.
    ahead = leg.fold_cdeg + (leg.rate_cdps * settings.stop_ahead_q10 >> 10)
    thigh = leg.thigh.angle_cdeg_q4 >> 4
    shank = leg.shank.angle_cdeg_q4 >> 4
    room_up = min(
        settings.fold_max_cdeg - ahead,
        settings.thigh_max_cdeg - thigh,
        settings.shank_max_cdeg - shank,
    )
    room_down = min(
        ahead - settings.fold_min_cdeg,
        thigh - settings.thigh_min_cdeg,
        shank - settings.shank_min_cdeg,
    )
    # Budget: (36000 + 10000 + 18000) x 8192 = 5.3e8.
    upper = room_up * settings.stop_gain_q8 >> 8
    lower = -(room_down * settings.stop_gain_q8 >> 8)
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
    leg.drive_permille = drive

    if -settings.drive_min_permille < drive < settings.drive_min_permille:
        # Too little to turn the motor: neutral, where the controller brakes it.
        drive = 0
    pulse = settings.pulse_neutral_us
    if drive > 0:
        pulse += pulse_offset_us(drive, settings)
    elif drive < 0:
        pulse -= pulse_offset_us(-drive, settings)
    leg.pulse_us = pulse


@micropython.native
def pulse_offset_us(drive, settings):
    """Width to add for `drive` permille, deadband included: 1000 gives the whole span."""
    deadband = settings.pulse_deadband_us
    return deadband + drive * (settings.pulse_span_us - deadband) // 1000
