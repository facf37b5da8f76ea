"""From counts and contacts to what the leg is doing: fold, rate, pressed."""

import micropython

from legcore.model import ANGLE_MAX_CDEG, BAD_TICKS_MAX, CALIBRATION_POINTS, RATE_MAX_CDPS

_LAST = CALIBRATION_POINTS - 1


@micropython.native
def joint_angle_cdeg(joint, cal):
    """Median of the last three good counts, through the calibration table, in cdeg.

    Straight lines between the table's points, the first and last one carried on
    outwards; floor rounding. The median takes out a single spike whole, where a
    low-pass alone would smear it over many ticks. A count outside the pot's window
    says nothing of the joint: the last good one stands for it until it is a fault.
    """
    low = joint.count
    if cal.low_count <= low <= cal.high_count:
        joint.bad_ticks = 0
    else:
        low = joint.older_count
        if joint.bad_ticks < BAD_TICKS_MAX:
            joint.bad_ticks += 1
    high = joint.older_count
    count = joint.oldest_count
    joint.oldest_count = high
    joint.older_count = low
    if low > high:
        low, high = high, low
    if count < low:
        count = low
    elif count > high:
        count = high

    counts = cal.count
    angles = cal.angle_cdeg
    i = 1
    while i < _LAST and count > counts[i]:
        i += 1
    first = counts[i - 1]
    span = counts[i] - first
    if span < 1:
        span = 1
    start = angles[i - 1]
    # Budget: 4095 counts x 36000 cdeg = 1.5e8.
    angle = start + (count - first) * (angles[i] - start) // span
    if angle > ANGLE_MAX_CDEG:
        return ANGLE_MAX_CDEG
    if angle < -ANGLE_MAX_CDEG:
        return -ANGLE_MAX_CDEG
    return angle


@micropython.native
def prime(leg, thigh_cal, shank_cal):
    """Start every filter at what is read now: the first tick has no past."""
    leg.primed = 1
    thigh = leg.thigh
    shank = leg.shank
    thigh.older_count = thigh.oldest_count = thigh.count
    shank.older_count = shank.oldest_count = shank.count
    thigh.angle_cdeg_q4 = joint_angle_cdeg(thigh, thigh_cal) * 16
    shank.angle_cdeg_q4 = joint_angle_cdeg(shank, shank_cal) * 16
    leg.fold_cdeg_q4 = thigh.angle_cdeg_q4 + shank.angle_cdeg_q4


@micropython.native
def estimate(leg, thigh_cal, shank_cal, settings):
    """Update fold, rate and the debounced switch of one leg."""
    if leg.primed == 0:
        prime(leg, thigh_cal, shank_cal)
    thigh = leg.thigh
    shank = leg.shank
    # Budget: 2 x 288000 x 256 = 1.5e8.
    alpha = settings.angle_alpha_q8
    angle = thigh.angle_cdeg_q4
    fold_q4 = angle + ((joint_angle_cdeg(thigh, thigh_cal) * 16 - angle) * alpha >> 8)
    thigh.angle_cdeg_q4 = fold_q4
    angle = shank.angle_cdeg_q4
    angle += (joint_angle_cdeg(shank, shank_cal) * 16 - angle) * alpha >> 8
    shank.angle_cdeg_q4 = angle
    fold_q4 += angle

    # Budget: 1152000 x 1000 Hz would pass 2^30; a fold that jumps by more than the
    # fastest rate in one tick is clamped first, which changes nothing below.
    moved = fold_q4 - leg.fold_cdeg_q4
    leg.fold_cdeg_q4 = fold_q4
    leg.fold_cdeg = fold_q4 >> 4
    hz = settings.tick_hz
    most = RATE_MAX_CDPS * 16 // hz
    if moved > most:
        moved = most
    elif moved < -most:
        moved = -most
    rate = leg.rate_cdps
    leg.rate_cdps = rate + (((moved * hz >> 4) - rate) * settings.rate_alpha_q8 >> 8)

    if leg.switch == leg.pressed:
        leg.switch_ticks = 0
    else:
        leg.switch_ticks += 1
        if leg.switch_ticks >= settings.debounce_ticks:
            leg.pressed = leg.switch
            leg.switch_ticks = 0
    if leg.pressed == 0:
        leg.rearmed = 1
