"""From power to the loop, and from the loop to outputs at rest, however it ends.

First of all the outputs are made neutral. Then there is a moment in which a person or an
upload can break in: a program that fails at once would otherwise lock everybody out.
"""

import os
import sys
from time import sleep_ms

import machine
from micropython import const

from legboard.drive import Drive
from legboard.pins import pins
from legboard.watchdog import Watchdog

GRACE_MS = const(2000)
_SLICE_MS = const(20)
# What the last program failed of.
CRASH = "crash.txt"
# There while a reset is one that somebody wanted: to the chip it looks like the watchdog's.
WANTED = "restart.txt"


class RestartError(Exception):
    """The host has asked for a restart."""


def main(program="."):
    """Run the board until something ends its program; outputs are neutral by then.

    `program` is the folder of this program, where its settings are, too.
    """
    drive = Drive(pins)
    watchdog = Watchdog(pins)
    try:
        try:
            run(drive, watchdog, program)
        finally:
            # Again: whoever presses Ctrl-C often presses it twice.
            drive.neutral()
    except RestartError:
        restart(watchdog)
    except Exception as error:
        # Not marked as wanted: the next start tells that the program failed.
        watchdog.relax()
        keep_crash(error)
        if watchdog.dog is not None:
            machine.reset()
        raise
    except (KeyboardInterrupt, SystemExit):
        # At the prompt nobody feeds a watchdog that runs, so it would cut off whoever works
        # there. They get the moment after the next start instead.
        if watchdog.dog is not None:
            restart(watchdog)
        raise


def run(drive, watchdog, program):
    """The moment to break in, then the loop; whatever ends them, outputs are neutral first."""
    try:
        for _ in range(GRACE_MS // _SLICE_MS):
            sleep_ms(_SLICE_MS)
        # Only now: this takes the longest, and may fail.
        from legboard.loop import Board

        Board(drive, watchdog, was_hung(), program).run()
    finally:
        drive.neutral()


def restart(watchdog):
    """Start the board anew, as somebody wants; where that cannot be kept, it is told as a hang."""
    watchdog.relax()
    try:
        with open(WANTED, "w") as file:
            file.write("wanted\n")
    except (OSError, MemoryError):
        pass
    machine.reset()


def was_hung():
    """1 if the last reset was one that nobody wanted."""
    try:
        os.remove(WANTED)
    except OSError:
        return 1 if machine.reset_cause() in pins.HUNG_CAUSES else 0
    return 0


def keep_crash(error):
    """Keep what the program failed of, as well as can be."""
    try:
        with open(CRASH, "w") as file:
            sys.print_exception(error, file)  # type: ignore[attr-defined]  # MicroPython's own
    except (OSError, MemoryError):
        pass
