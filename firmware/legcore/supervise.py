"""Which event holds for a leg now, and the phase it leads to."""

import micropython

from legcore.arming import arming_blocks
from legcore.faults import CUT_BITS, LASTING_BITS, MEMORY
from legcore.model import LIFTS_MAX, TICKS_MAX, VISIT_TICKS
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
    STOOP,
    STOOPING,
    TIRED,
)
from legcore.stages import GANTRY


@micropython.native
def event_of(leg, other, rig, faults):
    """The one event that counts for `leg` in this tick, by precedence."""
    phase = leg.phase
    # A leg that is releasing already answers a fault; asked again, it would never have landed.
    if faults and phase != RELEASING:
        return RELEASE
    if rig.arm == 0 and phase != RELEASING:
        return DISARM
    if phase == OFF:
        # The time may have been changed in memory; that nothing is in the way is seen anew.
        if rig.arm_ticks >= rig.settings.arm_ticks and rig.arm_blocks == 0:
            return ARM
        return NOTHING
    if other.phase == OFF and phase != RELEASING:
        # The arm input was open for a tick, and that tick was the other leg's.
        return DISARM
    settings = rig.settings
    if phase == STANDING:
        if rig.stick_step_q6 > 0 and rig.stick_ready and may_stoop(leg, other, settings):
            return STOOP
        return asked(leg, other, settings)
    if phase == STOOPING:
        return risen(leg, other, rig)
    if phase == LIFTING or phase == HELD:
        if leg.pressed == 0:
            return LET_GO
        if leg.phase_ticks >= settings.hold_ticks:
            # The switch must be seen open before it may ask again.
            leg.rearmed = 0
            return TIRED
        if phase == HELD:
            return NOTHING
    elif phase == LOWERING and asked(leg, other, settings) == ASK:
        return ASK
    if phase != LIFTING:
        if leg.slack_ticks >= settings.slack_ticks or leg.phase_ticks >= settings.down_ticks:
            return LANDED
    if leg.setpoint_cdeg_q6 == leg.target_cdeg * 64:
        if abs(leg.fold_cdeg - leg.target_cdeg) <= settings.arrive_cdeg:
            return ARRIVED if phase == LIFTING else LANDED
        if leg.sole and phase != LIFTING:
            return LANDED
    return NOTHING


@micropython.native
def asked(leg, other, settings):
    """ASK where the wearer raises this foot and may; NOTHING otherwise."""
    if leg.pressed == 0 or leg.rearmed == 0 or other.phase != STANDING:
        return NOTHING
    # Worn, this leg must bear nothing and the other one must bear.
    if settings.stage >= GANTRY and (leg.sole or other.sole == 0):
        return NOTHING
    if other.unseen_lifts < LIFTS_MAX:
        other.unseen_lifts += 1
    return ASK


@micropython.native
def may_stoop(leg, other, settings):
    """1 where both legs stand, neither foot is raised and, worn, both bear; 0 otherwise."""
    if other.phase != STANDING or leg.pressed or other.pressed:
        return 0
    if settings.stage >= GANTRY and (leg.sole == 0 or other.sole == 0):
        return 0
    return 1


@micropython.native
def risen(leg, other, rig):
    """LANDED where a stoop is over; NOTHING otherwise."""
    if rig.stick_step_q6 > 0 and rig.stick_ready:
        return NOTHING
    settings = rig.settings
    least = settings.rest_fold_cdeg
    if leg.pressed or other.pressed:
        # Farther down, a raised foot waits until the legs have risen.
        least = settings.step_fold_cdeg
    return LANDED if rig.stoop_cdeg_q6 <= least * 64 else NOTHING


@micropython.native
def together(rig, leg, other, event):
    """Begin or end a stoop: an event that does so is for both legs in the same tick."""
    if event == STOOP:
        rig.stoop_cdeg_q6 = min(leg.fold_cdeg, other.fold_cdeg) * 64
        rig.stoop_step_q6 = 0
    # Any other phase of it is a memory error, which its own visit finds.
    if other.phase == leg.phase:
        advance(other, event)
    advance(leg, event)


@micropython.native
def supervise(rig, leg, other):
    """Choose the phase of the leg that this tick visits; a cut is for both at once."""
    if leg.phase + leg.phase_not != -1:
        distrust(leg)
    # The legs share one contactor and one wearer: a fault on either acts on both.
    faults = leg.fault_bits | other.fault_bits | rig.fault_bits
    if faults & CUT_BITS:
        if other.phase + other.phase_not != -1:
            distrust(other)
        advance(leg, CUT)
        advance(other, CUT)
    else:
        # What befalls other joints never drops a leg; it is let down.
        faults |= rig.elsewhere
        event = event_of(leg, other, rig, faults)
        if event and (leg.phase == STOOPING or event == STOOP):
            together(rig, leg, other, event)
        else:
            advance(leg, event)
    if leg.phase == OFF and other.phase == OFF:
        rig.contactor = 0
        rig.arm_blocks = arming_blocks(rig, faults)
        prepare(rig)
    else:
        rig.contactor = 1
        if rig.arm == 0 or rig.elsewhere or (leg.phase != OFF and other.phase != OFF):
            rig.arm_ready = 0
            rig.arm_ticks = 0
    rig.arm_was = rig.arm


@micropython.native
def distrust(leg):
    """Make something defined of a phase that a memory error has changed; it will be cut."""
    leg.fault_bits |= MEMORY
    leg.phase = STANDING
    leg.phase_not = -1 - STANDING


@micropython.native
def prepare(rig):
    """With both joints off: acknowledge while disarmed, then count how long arming is held."""
    if rig.arm == 0:
        rig.arm_ready = 1
        rig.arm_ticks = 0
        if rig.arm_was:
            # Opening the arm input is how a person acknowledges: only now may faults clear.
            rig.fault_bits &= LASTING_BITS
            acknowledge(rig.left)
            acknowledge(rig.right)
    elif rig.arm_blocks:
        rig.arm_ticks = 0
    elif rig.arm_ticks < TICKS_MAX:
        rig.arm_ticks += 1


@micropython.native
def acknowledge(leg):
    """Clear the faults of one leg, and let its sensors start anew after one."""
    if leg.fault_bits:
        leg.fault_bits &= LASTING_BITS
        leg.primed = 0


@micropython.native
def advance(leg, event):
    """Apply one event to one leg."""
    phase = NEXT_PHASE[leg.phase * EVENT_COUNT + event]
    if phase != leg.phase:
        leg.phase = phase
        leg.phase_not = -1 - phase
        # Whatever of its motion is being counted was another phase's.
        leg.phase_ticks = 0
        leg.slack_ticks = 0
        leg.sunk_ticks = 0
        leg.stall_ticks = 0
        leg.against_ticks = 0
        leg.rate_ticks = 0
        leg.adrift_ticks = 0
        leg.push_ticks = 0
        leg.apart_ticks = 0
        leg.weight_ticks = 0
    elif leg.phase_ticks < TICKS_MAX:
        leg.phase_ticks += VISIT_TICKS
