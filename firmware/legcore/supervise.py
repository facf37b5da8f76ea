"""Which event holds for a leg now, and the phase it leads to."""

import micropython

from legcore.faults import CUT_BITS
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
    phase = leg.phase
    # The legs share one contactor and one wearer: a fault on either acts on both.
    faults = leg.fault_bits | other.fault_bits
    if faults:
        if faults & CUT_BITS:
            return CUT
        # A leg that is releasing already answers it; asked again, it would never have landed.
        if phase != RELEASING:
            return RELEASE
    if rig.arm == 0 and phase != RELEASING:
        return DISARM
    if phase == STANDING:
        if leg.pressed and leg.rearmed and other.phase == STANDING:
            return ASK
        return NOTHING
    if phase == OFF:
        # Both legs leave OFF in the same tick: the second one finds the first standing.
        if rig.arm_ready and leg.pressed == 0 and other.pressed == 0 and other.phase <= STANDING:
            return ARM
        return NOTHING
    if phase == LIFTING or phase == HELD:
        if leg.pressed == 0:
            return LET_GO
        if leg.phase_ticks >= rig.settings.hold_ticks:
            # The switch must be seen open before it may ask again.
            leg.rearmed = 0
            return TIRED
        if phase == HELD:
            return NOTHING
    elif phase == LOWERING and leg.pressed and leg.rearmed and other.phase == STANDING:
        return ASK
    if phase != LIFTING and leg.slack_ticks >= rig.settings.slack_ticks:
        return LANDED
    if leg.setpoint_cdeg_q6 == leg.target_cdeg * 64:
        if abs(leg.fold_cdeg - leg.target_cdeg) <= rig.settings.arrive_cdeg:
            return ARRIVED if phase == LIFTING else LANDED
    return NOTHING


@micropython.native
def supervise(rig):
    """Choose the phase of both legs; the left one first, so a tie has one answer."""
    left = rig.left
    right = rig.right
    advance(left, event_of(left, right, rig))
    advance(right, event_of(right, left, rig))
    if left.phase != OFF or right.phase != OFF:
        rig.contactor = 1
        rig.arm_ready = 0
        return
    rig.contactor = 0
    if rig.arm == 0:
        # Disarming is how a person acknowledges: only now may faults clear.
        left.fault_bits = 0
        right.fault_bits = 0
        rig.arm_ready = 1


@micropython.native
def advance(leg, event):
    """Apply one event to one leg."""
    phase = NEXT_PHASE[leg.phase * EVENT_COUNT + event]
    if phase != leg.phase:
        leg.phase = phase
        leg.phase_ticks = 0
        leg.slack_ticks = 0
    elif leg.phase_ticks < TICKS_MAX:
        leg.phase_ticks += 1
