"""Which event holds for a wing now, the phase it leads to, and what must hold to arm."""

import micropython

from legcore.arming import (
    EMPTY,
    FAULTY,
    FOLDED,
    STICK_AWAY,
    STOPPED,
    UNSAFE_SENSOR,
    UNSEEN,
    UNSETTLED,
)
from legcore.faults import BATTERY, POT_HIGH, POT_JUMP, POT_LOW, SETTINGS, STICK, STOP
from legcore.model import TICKS_MAX, VISIT_TICKS
from legcore.supervise import distrust, prepare
from legcore.wing_command import called, settled
from legcore.wing_faults import WING_CUT_BITS
from legcore.wing_phases import (
    ARM,
    CALL,
    CUT,
    DISARM,
    LANDED,
    NEXT_WING_PHASE,
    NOTHING,
    OFF,
    RELEASE,
    RELEASING,
    RESTING,
    SETTLED,
    WING_EVENT_COUNT,
)

# As `legcore.arming.ARMING`: what a person reads aloud while arming a pair of wings.
WING_ARMING = (
    (UNSETTLED, "Settings are in.", SETTINGS, "Write and calibrate the settings, then restart."),
    (
        UNSAFE_SENSOR,
        "Both wings' sensors read.",
        POT_LOW | POT_HIGH | POT_JUMP,
        "Mend the sensor that the fault names.",
    ),
    (STOPPED, "The stop is out.", STOP, "Release the emergency stop."),
    (EMPTY, "The battery is good.", BATTERY, "Charge or change the battery."),
    (
        STICK_AWAY,
        "Stick or pot asks for rest.",
        STICK,
        "Let go of the stick; see that it springs back. Turn a pot to where the wing hangs.",
    ),
    (FOLDED, "Both wings hang.", 0, "Look what keeps a wing from hanging; free it by hand."),
    (FAULTY, "No fault is shown.", 0, "Read the fault's remedy."),
    (UNSEEN, "Now I arm: close, and hold.", 0, "Open the arm input first, then close it and hold."),
)


@micropython.native
def wing_blocks(wings, faults):
    """Bits of the conditions that do not hold now; only asked while both wings are off."""
    settings = wings.settings
    left = wings.left
    right = wings.right
    blocks = 0
    if faults or wings.elsewhere:
        blocks = FAULTY
        if faults & SETTINGS:
            blocks |= UNSETTLED
        if faults & (POT_LOW | POT_HIGH | POT_JUMP):
            blocks |= UNSAFE_SENSOR
        if faults & STOP:
            blocks |= STOPPED
        if faults & BATTERY:
            blocks |= EMPTY
    if called(left, settings) or called(right, settings):
        blocks |= STICK_AWAY
    most = settings.sunk_cdeg
    rest = settings.rest_fold_cdeg
    if abs(left.fold_cdeg - rest) > most or abs(right.fold_cdeg - rest) > most:
        blocks |= FOLDED
    if wings.arm_ready == 0:
        blocks |= UNSEEN
    return blocks


@micropython.native
def wing_event(wing, other, wings, faults):
    """The one event that counts for `wing` in this tick, by precedence."""
    phase = wing.phase
    if phase == RELEASING:
        # It answers a fault already, and asked again it would never come to hang.
        settings = wings.settings
        if wing.phase_ticks >= settings.down_ticks:
            return LANDED
        if wing.setpoint_cdeg_q6 != settings.rest_fold_cdeg * 64:
            return NOTHING
        if abs(wing.fold_cdeg - settings.rest_fold_cdeg) <= settings.arrive_cdeg:
            return LANDED
        return NOTHING
    if faults or wings.elsewhere:
        return RELEASE
    if wings.arm == 0:
        return DISARM
    if phase == OFF:
        # The time may have been changed in memory; that nothing is in the way is seen anew.
        if wings.arm_ticks >= wings.settings.arm_ticks and wings.arm_blocks == 0:
            return ARM
        return NOTHING
    if other.phase == OFF:
        # The arm input was open for a tick, and that tick was the other wing's.
        return DISARM
    if phase == RESTING:
        return CALL if called(wing, wings.settings) else NOTHING
    return SETTLED if settled(wing, wings.settings) else NOTHING


@micropython.native
def supervise_wing(wings, wing, other):
    """Choose the phase of the wing that this tick visits; a cut is for both at once."""
    if wing.phase + wing.phase_not != -1:
        distrust(wing)
    # The wings share one contactor and one wearer: a fault on either acts on both.
    faults = wing.fault_bits | other.fault_bits | wings.fault_bits
    if faults & WING_CUT_BITS or wings.elsewhere == CUT:
        if other.phase + other.phase_not != -1:
            distrust(other)
        advance_wing(wing, CUT)
        advance_wing(other, CUT)
    else:
        advance_wing(wing, wing_event(wing, other, wings, faults))
    if wings.elsewhere:
        # Whatever breaks in on arming, it is to begin anew.
        wings.arm_ready = 0
        wings.arm_ticks = 0
    if wing.phase == OFF and other.phase == OFF:
        wings.contactor = 0
        wings.arm_blocks = wing_blocks(wings, faults)
        prepare(wings)
    else:
        wings.contactor = 1
        if wings.arm == 0 or (wing.phase != OFF and other.phase != OFF):
            wings.arm_ready = 0
            wings.arm_ticks = 0
    wings.arm_was = wings.arm


@micropython.native
def advance_wing(wing, event):
    """Apply one event to one wing."""
    phase = NEXT_WING_PHASE[wing.phase * WING_EVENT_COUNT + event]
    if phase != wing.phase:
        wing.phase = phase
        wing.phase_not = -1 - phase
        # Whatever of its motion is being counted was another phase's.
        wing.phase_ticks = 0
        wing.sunk_ticks = 0
        wing.stall_ticks = 0
        wing.against_ticks = 0
        wing.rate_ticks = 0
        wing.adrift_ticks = 0
    elif wing.phase_ticks < TICKS_MAX:
        wing.phase_ticks += VISIT_TICKS
