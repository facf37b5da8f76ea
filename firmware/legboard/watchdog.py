"""The watchdog: starts the board anew when the loop falls silent.

Nothing can stop it once it runs, so it starts with the first arming and not before. With
both legs off it only waits longer: writing to flash stops the board for tenths of a second.
"""

from machine import WDT
from micropython import const

# The rig file's control.watchdog, as it is by default.
ARMED_MS = const(100)


class Watchdog:
    """Not running until `start`; made anew, it takes a new time."""

    def __init__(self, pins):
        self.relaxed_ms = pins.WATCHDOG_MOST_MS
        self.dog = None

    def start(self):
        """Watch closely: a loop that is silent for a tenth of a second is hung."""
        self.dog = WDT(timeout=ARMED_MS)

    def relax(self):
        """Wait as long as the chip can; nothing where it does not run."""
        if self.dog is not None:
            self.dog = WDT(timeout=self.relaxed_ms)

    def feed(self):
        """The loop is alive."""
        if self.dog is not None:
            self.dog.feed()
