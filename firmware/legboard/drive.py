"""What the board drives: two servo pulses and the contactor."""

import micropython
from machine import PWM, Pin

PULSE_HZ = 50
# What nearly every speed controller takes for rest, until the settings say better.
NEUTRAL_US = 1500


class Drive:
    """Neutral and open from the moment it is made.

    A pulse goes on by itself in hardware, whatever becomes of the program: what ends the
    program must call `neutral` first.
    """

    def __init__(self, pins):
        self.neutral_ns = NEUTRAL_US * 1000
        self.contactor = Pin(pins.CONTACTOR, Pin.OUT, value=0)
        # Frequency and width together, so that no other pulse ever comes between.
        self.left = PWM(Pin(pins.LEFT_PULSE), freq=PULSE_HZ, duty_ns=self.neutral_ns)
        self.right = PWM(Pin(pins.RIGHT_PULSE), freq=PULSE_HZ, duty_ns=self.neutral_ns)

    @micropython.native
    def neutral(self):
        """Power off, then both pulses at rest; may be called at any time, and again."""
        self.contactor(0)
        self.left.duty_ns(self.neutral_ns)
        self.right.duty_ns(self.neutral_ns)

    @micropython.native
    def give(self, left_us, right_us):
        """Both pulses, and power; a width of 0 is none, and would freeze what is given now."""
        if left_us == 0 or right_us == 0:
            self.neutral()
            return
        self.left.duty_ns(left_us * 1000)
        self.right.duty_ns(right_us * 1000)
        self.contactor(1)
