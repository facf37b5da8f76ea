"""Which event holds for a leg now, and the phase it leads to."""

import micropython

from legcore.faults import CUT_BITS, RELEASE_BITS
from legcore.model import TICKS_MAX
from legcore.phases import (
    ARM,
    ARRIVED,
    ASK,
    CUT,
    DISARM,
    EVENT_COUNT,
    HELD,
    LANDED,
    LET_GO,
    LIFTING,
    LOWERING,
    NEXT_PHASE,
    NOTHING,
    OFF,
    RELEASE,
    RELEASING,
    STANDING,
    TIRED,
)


@micropython.native
def event_of(leg, other, rig):
    """The one event that counts for `leg` in this tick, by precedence."""
    settings = rig.settings
    # The legs share one contactor and one wearer: a fault on either acts on both.
    faults = leg.fault_bits | other.fault_bits
    if faults & CUT_BITS:
        return CUT
    phase = leg.phase
    if phase != RELEASING:
        # Releasing is the answer to both; asked again, they would hide that it has landed.
        if faults & RELEASE_BITS:
            return RELEASE
        if rig.arm == 0:
            return DISARM
    if phase == OFF:
        # Both legs leave OFF in the same tick: the second one finds the first standing.
        if rig.arm_ready and leg.pressed == 0 and other.pressed == 0 and other.phase <= STANDING:
            return ARM
        return NOTHING
    if leg.pressed == 0:
        if phase == LIFTING or phase == HELD:
            return LET_GO
    elif leg.rearmed and other.phase == STANDING and (phase == STANDING or phase == LOWERING):
        return ASK
    if phase == HELD:
        if leg.phase_ticks >= settings.hold_ticks:
            # The switch must be seen open before it may ask again.
            leg.rearmed = 0
            return TIRED
        return NOTHING
    if phase == STANDING:
        return NOTHING
    if phase != LIFTING and leg.slack_ticks >= settings.slack_ticks:
        return LANDED
    if leg.setpoint_cdeg_q6 == leg.target_cdeg * 64:
        if abs(leg.fold_cdeg - leg.target_cdeg) <= settings.arrive_cdeg:
            return ARRIVED if phase == LIFTING else LANDED
    return NOTHING


@micropython.native
def supervise(rig):
    """Choose the phase of both legs; the left one first, so a tie has one answer."""
    left = rig.left
    right = rig.right
    advance(left, event_of(left, right, rig))
    advance(right, event_of(right, left, rig))
    if left.phase == OFF and right.phase == OFF:
        rig.contactor = 0
        if rig.arm == 0:
            # Disarming is how a person acknowledges: only now may faults clear.
            left.fault_bits = 0
            right.fault_bits = 0
            rig.arm_ready = 1
    else:
        rig.contactor = 1
        rig.arm_ready = 0
    # A cut opens the contactor now, even while the other leg still has to follow.
    if (left.fault_bits | right.fault_bits) & CUT_BITS:
        rig.contactor = 0


@micropython.native
def advance(leg, event):
    """Apply one event to one leg."""
    phase = NEXT_PHASE[leg.phase * EVENT_COUNT + event]
    if phase == leg.phase:
        leg.phase_ticks = min(leg.phase_ticks + 1, TICKS_MAX)
    else:
        leg.phase = phase
        leg.phase_ticks = 0
        leg.slack_ticks = 0
