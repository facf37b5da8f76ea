"""What must hold before anything may move, as a person reads it aloud while arming."""

import micropython
from micropython import const

from legcore.faults import (
    BATTERY,
    LINKAGE,
    POT_HIGH,
    POT_JUMP,
    POT_LOW,
    SETTINGS,
    STICK,
    STOP,
    SWITCH_STUCK,
)

UNSETTLED = const(1)
UNSAFE_SENSOR = const(1 << 1)
STOPPED = const(1 << 2)
EMPTY = const(1 << 3)
PRESSED = const(1 << 4)
STICK_AWAY = const(1 << 5)
FOLDED = const(1 << 6)
FAULTY = const(1 << 7)
UNSEEN = const(1 << 8)

# (bit, said aloud, fault rows that contradict it, what to do when it does not hold)
ARMING = (
    (UNSETTLED, "Settings are in.", SETTINGS, "Write and calibrate the settings, then restart."),
    (
        UNSAFE_SENSOR,
        "All four joints read.",
        POT_LOW | POT_HIGH | POT_JUMP | LINKAGE,
        "Mend the joint sensor that the fault names.",
    ),
    (STOPPED, "The stop is out.", STOP, "Release the emergency stop."),
    (EMPTY, "The battery is good.", BATTERY, "Charge or change the battery."),
    (PRESSED, "Both feet are off their switches.", SWITCH_STUCK, "Lower both feet."),
    (
        STICK_AWAY,
        "The stick is in its middle.",
        STICK,
        "Let go of the stick; see that it springs back.",
    ),
    (FOLDED, "Both legs stand straight.", 0, "Look why a leg hangs folded; let it down by hand."),
    (FAULTY, "No fault is shown.", 0, "Read the fault's remedy."),
    (UNSEEN, "Now I arm: close, and hold.", 0, "Open the arm input first, then close it and hold."),
)


@micropython.native
def arming_blocks(rig, faults):
    """Bits of the conditions that do not hold now; only asked while both legs are off."""
    settings = rig.settings
    left = rig.left
    right = rig.right
    blocks = 0
    if faults:
        blocks = FAULTY
        if faults & SETTINGS:
            blocks |= UNSETTLED
        if faults & (POT_LOW | POT_HIGH | POT_JUMP | LINKAGE):
            blocks |= UNSAFE_SENSOR
        if faults & STOP:
            blocks |= STOPPED
        if faults & BATTERY:
            blocks |= EMPTY
    if left.pressed or right.pressed or left.switch or right.switch:
        blocks |= PRESSED
    away = rig.stick_count - settings.stick_centre_count
    if away > settings.stick_zone_count or away < -settings.stick_zone_count:
        blocks |= STICK_AWAY
    most = settings.rest_fold_cdeg + settings.hanging_cdeg
    if left.fold_cdeg > most or right.fold_cdeg > most:
        blocks |= FOLDED
    if rig.arm_ready == 0:
        blocks |= UNSEEN
    return blocks
