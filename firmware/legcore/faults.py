"""The fault table, and the function that judges one leg against it.

Two actions exist. CUT removes power at once: drive neutral, contactor open; the
spring then turns the unpowered motor and puts the foot down. RELEASE lets the
foot down at limited speed and removes power after: only where the pose can be
trusted. When several faults hold, CUT wins.
"""

import micropython
from micropython import const

from legcore.phases import CUT, RELEASE, STANDING

POT_RANGE = const(1)
STALL = const(2)
END_STOP = const(4)

# (bit, name, what is watched, setting of the limit, setting of the time to trip,
#  action, text for a person, remedy). Every fault latches until the rig is disarmed.
FAULTS = (
    (
        POT_RANGE,
        "pot out of range",
        "either pot's count against its calibrated window",
        "low_count, high_count",
        "pot_ticks",
        CUT,
        "A joint sensor reads outside the travel it was calibrated for.",
        "Look for a broken or loose sensor wire; then calibrate again.",
    ),
    (
        STALL,
        "stall",
        "fold gained under drive",
        "stall_drive_permille, stall_move_cdeg",
        "stall_ticks",
        CUT,
        "The motor was driven and the leg did not move.",
        "Look for a jammed rope, a stripped gear or a weight on the foot.",
    ),
    (
        END_STOP,
        "end stop passed",
        "fold against the soft upper end stop",
        "fold_max_cdeg + stop_margin_cdeg",
        "stop_ticks",
        RELEASE,
        "The leg folded past its soft end stop.",
        "Check the calibration and lower the lift or the speed.",
    ),
)


def _cut_bits():
    """OR the bits of every row that cuts; a row that does not, releases."""
    bits = 0
    for row in FAULTS:
        if row[5] == CUT:
            bits |= row[0]
    return bits


CUT_BITS = _cut_bits()


@micropython.native
def judge(leg, settings):
    """Set the fault bits of one leg; called once a tick after the estimate."""
    ticks = settings.pot_ticks
    if leg.thigh.bad_ticks >= ticks or leg.shank.bad_ticks >= ticks:
        leg.fault_bits |= POT_RANGE
    if leg.phase <= STANDING:
        leg.stall_ticks = 0
        leg.stop_ticks = 0
        return

    # Motion is measured over the whole time, not tick by tick: a rate near zero is all
    # noise. Paying out against a foot that has landed is the slack guard's business, so a
    # stall is counted only where the motor pulls.
    if leg.drive_permille < settings.stall_drive_permille:
        leg.stall_ticks = 0
    elif leg.stall_ticks == 0:
        leg.stall_ticks = 1
        leg.stall_from_cdeg = leg.fold_cdeg
    elif leg.stall_ticks < settings.stall_ticks:
        leg.stall_ticks += 1
    else:
        leg.stall_ticks = 0
        if leg.fold_cdeg - leg.stall_from_cdeg < settings.stall_move_cdeg:
            leg.fault_bits |= STALL

    if leg.fold_cdeg <= settings.fold_max_cdeg + settings.stop_margin_cdeg:
        leg.stop_ticks = 0
    elif leg.stop_ticks < settings.stop_ticks:
        leg.stop_ticks += 1
    else:
        leg.fault_bits |= END_STOP
