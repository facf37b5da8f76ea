"""What the board reads: analogue inputs in counts of 12 bits, and contacts.

Everything a reading needs is made at the start; a reading takes no memory.
"""

from array import array

import micropython
from machine import ADC, SPI, Pin
from micropython import const

INPUTS = const(7)
FULL_COUNT = const(4095)


class Analogue:
    """All analogue inputs; `counts` holds what the last `read` found, in the core's order."""

    def __init__(self):
        self.counts = array("i", [0] * INPUTS)

    def read(self):
        """Read all inputs."""
        raise NotImplementedError


class Converter(Analogue):
    """A converter of its own: 8 channels, 12 bits, 3 bytes a reading, its reference the pots'."""

    def __init__(self, pins):
        super().__init__()
        self.select = Pin(pins.SPI_SELECT, Pin.OUT, value=1)
        self.spi = SPI(
            pins.SPI,
            baudrate=pins.SPI_HZ,
            polarity=0,
            phase=0,
            sck=Pin(pins.SPI_CLOCK),
            mosi=Pin(pins.SPI_TO_CONVERTER),
            miso=Pin(pins.SPI_FROM_CONVERTER),
        )
        # Start bit, one input against ground, three bits of channel; then the answer.
        self.asks = [bytes((6 | i >> 2, (i & 3) << 6, 0)) for i in channels(pins)]
        self.answer = bytearray(3)

    @micropython.native
    def read(self):
        """Read all inputs."""
        counts = self.counts
        asks = self.asks
        answer = self.answer
        select = self.select
        spi = self.spi
        for i in range(INPUTS):
            select(0)
            spi.write_readinto(asks[i], answer)
            select(1)
            counts[i] = (answer[1] & 15) << 8 | answer[2]


class Multiplexer(Analogue):
    """Eight inputs in turn to one pin of the chip's own converter."""

    def __init__(self, pins):
        super().__init__()
        self.selects = [Pin(pin, Pin.OUT, value=0) for pin in pins.MULTIPLEXER_SELECT]
        self.channels = array("i", channels(pins))
        self.adc = own_converter(pins.MULTIPLEXED)

    @micropython.native
    def read(self):
        """Read all inputs, each twice: the first reading only lets the pin settle."""
        counts = self.counts
        low, middle, high = self.selects
        channels = self.channels
        adc = self.adc
        for i in range(INPUTS):
            channel = channels[i]
            low(channel & 1)
            middle(channel >> 1 & 1)
            high(channel >> 2 & 1)
            adc.read_u16()
            counts[i] = adc.read_u16() >> 4


class Direct(Analogue):
    """Each input on a pin of its own."""

    def __init__(self, pins):
        super().__init__()
        self.adcs = [own_converter(pin) for pin in pins.DIRECT]

    @micropython.native
    def read(self):
        """Read all inputs."""
        counts = self.counts
        adcs = self.adcs
        for i in range(INPUTS):
            counts[i] = adcs[i].read_u16() >> 4


WIRINGS = {"spi": Converter, "multiplexer": Multiplexer, "direct": Direct}


def channels(pins):
    """The channel of each input, in the order in which the core is given them."""
    return (
        pins.LEFT_THIGH,
        pins.LEFT_SHANK,
        pins.RIGHT_THIGH,
        pins.RIGHT_SHANK,
        pins.STICK,
        pins.BATTERY,
        pins.SUPPLY,
    )


def own_converter(pin):
    """An input of the chip's own converter, its full scale as wide as the chip has it."""
    if hasattr(ADC, "ATTN_11DB"):
        return ADC(Pin(pin), atten=ADC.ATTN_11DB)
    # By its pin: made by its channel, the pin would keep its pull-down.
    return ADC(Pin(pin))


class Sensors:
    """Everything that a tick reads, straight into the core's inputs."""

    def __init__(self, pins):
        self.analogue = WIRINGS[pins.WIRING](pins)
        contact = [
            Pin(pin, Pin.IN, Pin.PULL_UP)
            for pin in (
                pins.LEFT_SWITCH,
                pins.RIGHT_SWITCH,
                pins.LEFT_SOLE,
                pins.RIGHT_SOLE,
                pins.ARM,
                pins.STOP,
            )
        ]
        self.left_switch, self.right_switch, self.left_sole, self.right_sole = contact[:4]
        self.arm, self.stop = contact[4:]
        self.battery_full_mV = pins.BATTERY_FULL_MV
        self.supply_full_mV = pins.SUPPLY_FULL_MV

    @micropython.native
    def read(self, rig):
        """Fill in every input that has a wire of its own."""
        analogue = self.analogue
        analogue.read()
        counts = analogue.counts
        left = rig.left
        right = rig.right
        left.thigh.count = counts[0]
        left.shank.count = counts[1]
        right.thigh.count = counts[2]
        right.shank.count = counts[3]
        rig.stick_count = counts[4]
        # Budget: 4095 x 30000 = 1.2e8.
        rig.battery_mV = counts[5] * self.battery_full_mV // FULL_COUNT
        rig.supply_mV = counts[6] * self.supply_full_mV // FULL_COUNT
        # A contact that is closed draws its pin low.
        left.switch = 1 - self.left_switch()
        right.switch = 1 - self.right_switch()
        left.sole = 1 - self.left_sole()
        right.sole = 1 - self.right_sole()
        rig.arm = 1 - self.arm()
        # This one is closed while all is well: a broken wire stops, too.
        rig.stop = self.stop()
