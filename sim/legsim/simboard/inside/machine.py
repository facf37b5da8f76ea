"""Stand-in for `machine`: the pins lead to the plant, by the firmware's own pin table.

It is as strict as a board, or stricter: what is wired or set up wrongly fails.
"""

from legsim.simboard.exchange import RESETS, WAITS
from legsim.simboard.inside.wires import (
    CONTACTOR,
    FED_US,
    WATCHDOG_MS,
    wires,
)

PWRON_RESET = 1
HARD_RESET = 2
WDT_RESET = 3
SOFT_RESET = 5
# What calls cost a board of 125 MHz.
_PIN_US = 3
_ADC_US = 5
_PWM_US = 7
_SPI_US = 10


class Chip:
    """What differs from chip to chip; set by whoever starts the firmware."""

    cause = PWRON_RESET
    watchdog_most_ms = 8388


class Pin:
    """One pin, an input until it is told otherwise."""

    IN = 0
    OUT = 1
    PULL_UP = 1
    PULL_DOWN = 2

    def __init__(self, number: int, mode: int = -1, pull: int = -1, value: int = -1) -> None:
        self.number = number
        self.mode = mode
        self.pull = pull
        self.contact = wires.contacts.get(number, -1)
        if mode == Pin.OUT:
            self.value(max(value, 0))

    def __call__(self, value: int = -1) -> int:
        """Read the pin, or drive it."""
        return self.value(value)

    def value(self, value: int = -1) -> int:
        """Read the pin, or drive it."""
        wires.call(_PIN_US)
        if value >= 0:
            if self.mode != Pin.OUT:
                raise ValueError("not an output")
            wires.levels[self.number] = 1 if value else 0
            if self.number == wires.contactor:
                wires.out[CONTACTOR] = 1 if value else 0
            return 0
        if self.mode == Pin.OUT:
            return wires.levels[self.number]
        if self.contact < 0 or self.pull != Pin.PULL_UP:
            raise ValueError("nothing pulls this input up")
        return 0 if wires.back[self.contact] else 1


class PWM:
    """A pin that gives a pulse; on a servo's wire the plant sees its width."""

    def __init__(self, pin: Pin, freq: int, duty_ns: int) -> None:
        if freq != 50:
            raise ValueError("the speed controllers take 50 pulses a second")
        self.place = wires.pulses[pin.number]
        self.width_ns = 0
        self.duty_ns(duty_ns)

    def duty_ns(self, width_ns: int = -1) -> int:
        """Change the width, or tell it."""
        wires.call(_PWM_US)
        if width_ns >= 0:
            self.width_ns = width_ns
            wires.out[self.place] = width_ns
        return self.width_ns


class SPI:
    """The bus of the converter, and the converter: 8 channels of 12 bits."""

    def __init__(
        self, number: int, baudrate: int, polarity: int, phase: int, sck: Pin, mosi: Pin, miso: Pin
    ) -> None:
        table = wires.pins
        wanted = (
            table.SPI,  # type: ignore[attr-defined]  # a module of the firmware
            table.SPI_CLOCK,  # type: ignore[attr-defined]
            table.SPI_TO_CONVERTER,  # type: ignore[attr-defined]
            table.SPI_FROM_CONVERTER,  # type: ignore[attr-defined]
        )
        if (number, sck.number, mosi.number, miso.number) != wanted or polarity != phase:
            raise ValueError("bad SPI pins or mode")
        self.select = wires.pin("spi_select")
        self.bits_us = 24 * 1000000 // baudrate

    def write_readinto(self, ask: bytes, answer: bytearray) -> None:
        """Clock three bytes out and three in."""
        wires.call(_SPI_US + self.bits_us)
        answer[0] = answer[1] = answer[2] = 255
        # Start bit and one input against ground, in a converter that listens.
        if wires.levels[self.select] or ask[0] & 6 != 6:
            return
        count = wires.back[wires.channels[(ask[0] & 1) << 2 | ask[1] >> 6]]
        # The bits before the null bit are left floating.
        answer[1] = 224 | count >> 8 & 15
        answer[2] = count & 255


class ADC:
    """An input of the chip's own converter, behind the multiplexer or not."""

    def __init__(self, pin: Pin) -> None:
        # The board is built with one of the wirings.
        wiring = wires.pins.WIRING  # type: ignore[attr-defined]  # a module of the firmware
        self.multiplexed = wiring == "multiplexer" and pin.number == wires.pin("multiplexed")
        self.place = wires.direct.get(pin.number, -1)
        if not self.multiplexed and (wiring != "direct" or self.place < 0):
            raise ValueError("nothing analogue is at this pin")
        self.settled = -1

    def read_u16(self) -> int:
        """12 bits made 16; behind a multiplexer that has just moved on, still the last input's."""
        wires.call(_ADC_US)
        place = self.place
        if self.multiplexed:
            place = self.settled
            low, middle, high = wires.pins.MULTIPLEXER_SELECT  # type: ignore[attr-defined]
            levels = wires.levels
            self.settled = wires.channels[levels[low] | levels[middle] << 1 | levels[high] << 2]
            if place < 0:
                place = self.settled
        count = wires.back[place]
        return count << 4 | count >> 8


class WDT:
    """The watchdog; made again, it takes a new time, and nothing stops it."""

    def __init__(self, id: int = 0, timeout: int = 5000) -> None:
        if not 0 < timeout <= Chip.watchdog_most_ms:
            raise ValueError("timeout exceeds what the chip can")
        wires.out[WATCHDOG_MS] = timeout
        self.feed()

    def feed(self) -> None:
        """Begin the wait anew."""
        wires.call(_PIN_US)
        wires.out[FED_US] = wires.now_us


def reset() -> None:
    """Start the board anew; nothing more of this program runs."""
    wires.say(RESETS, wires.now_us)
    while True:
        wires.say(WAITS, wires.now_us + 1000000)


def reset_cause() -> int:
    """Why the board started."""
    return Chip.cause


def unique_id() -> bytes:
    """The chip's own number."""
    return b"legsim\x00\x01"


def freq() -> int:
    """Of the processor."""
    return 125000000
