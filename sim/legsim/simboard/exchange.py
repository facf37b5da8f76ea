"""What the board's process and the plant's say to each other, at each wait of the firmware.

Both sides hold an array of long integers each way; a name here is a place in it. This file
runs on MicroPython, too.
"""

# From the board: what it is doing now.
WAITS, RESETS, HAS_ENDED = 0, 1, 2

# Its outputs, as they are on the wires. Times are microseconds of the board's own clock,
# which begins at 0 with its power and never wraps.
OUT = (
    "kind",
    "until_us",  # when it wants to go on
    "left_ns",  # width of the servo pulse; 0: the pin gives none
    "right_ns",
    "contactor",
    "watchdog_ms",  # 0: it does not run
    "fed_us",  # when it was last fed
    "writes",  # how many files were written, since this start
    "writes_armed",  # and while the contactor was closed
    "calls",  # of the stand-ins, since this start
)

# To the board: what it finds when it goes on.
BACK = (
    "now_us",
    "raises",  # an exception that strikes, index into RAISES
    "raises_at",  # at this call of a stand-in
    # Analogue inputs, in counts of 12 bits.
    "left_thigh",
    "left_shank",
    "right_thigh",
    "right_shank",
    "stick",
    "battery",
    "supply",
    # Contacts to ground: 1 closed.
    "left_switch",
    "right_switch",
    "left_sole",
    "right_sole",
    "arm",
    "stop",
)
RAISES = ("nothing", "KeyboardInterrupt", "SystemExit", "MemoryError", "RuntimeError")

ANALOGUE = BACK[3:10]
CONTACTS = BACK[10:]
FIRST_ANALOGUE = 3
FIRST_CONTACT = 10
