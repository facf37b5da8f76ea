"""From counts and contacts to what the leg is doing: fold, rate, pressed."""

import micropython

from legcore.model import ANGLE_MAX_CDEG, CHATTER_MAX, RATE_MAX_CDPS, VISIT_TICKS


@micropython.native
def joint_angle_cdeg(joint, cal, jump, bad_most):
    """Last good count of one joint through the calibration table, in cdeg.

    A count outside the pot's window, or farther from the last good one than any joint
    turns between visits, says nothing of the joint: the last good one stands for it until it
    is a fault. So a spike is left out whole, where a low-pass would smear it over many
    ticks. Straight lines between the table's points, the first and last one carried on
    outwards; floor rounding.
    """
    count = joint.count
    good = joint.good_count
    bad_ticks = joint.bad_ticks
    if cal.low_count <= count <= cal.high_count and -jump <= count - good <= jump:
        joint.good_count = count
        if bad_ticks > 0:
            joint.bad_ticks = bad_ticks - 1
    else:
        count = good
        if bad_ticks < bad_most:
            joint.bad_ticks = bad_ticks + VISIT_TICKS

    # Two comparisons find the segment of five points.
    counts = cal.count
    angles = cal.angle_cdeg
    if count > counts[2]:
        i = 4 if count > counts[3] else 3
    else:
        i = 2 if count > counts[1] else 1
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
    """Start every filter at what is read now: the first tick has no past.

    A wiper that is off its track just then is no start: its return would look like a leap. So
    each visit starts anew until both pots read inside their windows, or are at fault.
    """
    thigh = leg.thigh
    shank = leg.shank
    if thigh_cal.low_count <= thigh.count <= thigh_cal.high_count:
        if shank_cal.low_count <= shank.count <= shank_cal.high_count:
            leg.primed = 1
    thigh.good_count = thigh.mark_count = thigh.count
    shank.good_count = shank.mark_count = shank.count
    thigh.moved = shank.moved = 0
    thigh.angle_cdeg_q4 = joint_angle_cdeg(thigh, thigh_cal, 0, 0) * 16
    shank.angle_cdeg_q4 = joint_angle_cdeg(shank, shank_cal, 0, 0) * 16
    leg.fold_cdeg_q4 = thigh.angle_cdeg_q4 + shank.angle_cdeg_q4
    leg.mark_cdeg = leg.fold_cdeg_q4 >> 4


@micropython.native
def estimate(leg, thigh_cal, shank_cal, settings):
    """Update fold, rate and the debounced switch of one leg."""
    if leg.primed == 0:
        prime(leg, thigh_cal, shank_cal)
    thigh = leg.thigh
    shank = leg.shank
    jump = settings.jump_count
    bad_most = settings.pot_ticks
    # Budget: 2 x 288000 x 256 = 1.5e8.
    alpha = settings.angle_alpha_q8
    angle = thigh.angle_cdeg_q4
    fold_q4 = angle + (
        (joint_angle_cdeg(thigh, thigh_cal, jump, bad_most) * 16 - angle) * alpha >> 8
    )
    thigh.angle_cdeg_q4 = fold_q4
    angle = shank.angle_cdeg_q4
    angle += (joint_angle_cdeg(shank, shank_cal, jump, bad_most) * 16 - angle) * alpha >> 8
    shank.angle_cdeg_q4 = angle
    fold_q4 += angle

    # Budget: 1152000 x 500 Hz would pass 2^30; a fold that jumps by more than the
    # fastest rate in one visit is clamped first, which changes nothing below.
    moved = fold_q4 - leg.fold_cdeg_q4
    leg.fold_cdeg_q4 = fold_q4
    leg.fold_cdeg = fold_q4 >> 4
    hz = settings.visit_hz
    most = RATE_MAX_CDPS * 16 // hz
    if moved > most:
        moved = most
    elif moved < -most:
        moved = -most
    rate = leg.rate_cdps
    leg.rate_cdps = rate + (((moved * hz >> 4) - rate) * settings.rate_alpha_q8 >> 8)

    if leg.switch == leg.pressed:
        if leg.switch_ticks:
            # It moved and came back at once.
            leg.switch_ticks = 0
            chatter(leg, 4)
    else:
        leg.switch_ticks += VISIT_TICKS
        if leg.switch_ticks >= settings.debounce_ticks:
            leg.pressed = leg.switch
            leg.switch_ticks = 0
            chatter(leg, 8)
    if leg.pressed == 0:
        leg.rearmed = 1


@micropython.native
def track(wing, fold_q4, settings):
    """Update fold and rate of a wing that is now at `fold_q4`.

    As `estimate` does for a leg, where it is written out: a call would cost a leg's tick
    what it has not got.
    """
    moved = fold_q4 - wing.fold_cdeg_q4
    wing.fold_cdeg_q4 = fold_q4
    wing.fold_cdeg = fold_q4 >> 4
    hz = settings.visit_hz
    most = RATE_MAX_CDPS * 16 // hz
    if moved > most:
        moved = most
    elif moved < -most:
        moved = -most
    rate = wing.rate_cdps
    wing.rate_cdps = rate + (((moved * hz >> 4) - rate) * settings.rate_alpha_q8 >> 8)


@micropython.native
def chatter(leg, score):
    """Count a change of the foot switch; `watch.watch_contacts` takes one off each round."""
    leg.chatter += score
    if leg.chatter > CHATTER_MAX:
        leg.chatter = CHATTER_MAX
