"""What the stand-ins share: the board's clock, the levels on its wires, the way to the plant.

Each call of a stand-in takes some time of the board, and may be where an exception strikes.
After the start nothing here takes memory: the firmware runs with its heap locked.
"""

from array import array

from legsim.simboard.exchange import (
    ANALOGUE,
    BACK,
    CONTACTS,
    FIRST_ANALOGUE,
    FIRST_CONTACT,
    OUT,
)

NOW_US = BACK.index("now_us")
RAISED = BACK.index("raises")
RAISED_AT = BACK.index("raises_at")
KIND = OUT.index("kind")
UNTIL_US = OUT.index("until_us")
LEFT_NS = OUT.index("left_ns")
RIGHT_NS = OUT.index("right_ns")
CONTACTOR = OUT.index("contactor")
WATCHDOG_MS = OUT.index("watchdog_ms")
FED_US = OUT.index("fed_us")
WRITES = OUT.index("writes")
WRITES_ARMED = OUT.index("writes_armed")
CALLS = OUT.index("calls")

# By the index of exchange.RAISES; made at the start, as a board has its KeyboardInterrupt.
_STRIKES = (
    KeyboardInterrupt(),
    KeyboardInterrupt(),
    SystemExit(),
    MemoryError(),
    RuntimeError("struck"),
)
_PINS = 64


class Plant:
    """The plant at the other end of a pipe; tests may have another in its place."""

    def __init__(self, from_plant: object, to_plant: object) -> None:
        self.from_plant = from_plant
        self.to_plant = to_plant

    def exchange(self, out: "array[int]", back: "array[int]") -> None:
        """Hand the outputs over, and wait for what the board finds when it goes on."""
        self.to_plant.write(out)  # type: ignore[attr-defined]  # a raw file of either Python
        if not self.from_plant.readinto(back):  # type: ignore[attr-defined]
            raise SystemExit


class Wires:
    """The board's side of all its wires."""

    def __init__(self) -> None:
        self.out = array("l", [0] * len(OUT))
        self.back = array("l", [0] * len(BACK))
        # Level of each pin that the firmware drives.
        self.levels = array("b", [0] * _PINS)
        self.now_us = 0

    def connect(self, plant: Plant, pins: "object | None", start_ticks_us: int) -> None:
        """Power comes: connect to a plant by a pin table of the firmware, or None without one.

        `start_ticks_us` is what the firmware's clock shows at first.
        """
        self.plant = plant
        self.pins = pins
        self.start_ticks_us = start_ticks_us
        self.now_us = 0
        for made in (self.out, self.back, self.levels):
            for i in range(len(made)):
                made[i] = 0
        if pins is None:
            return
        self.pulses = {self.pin("left_pulse"): LEFT_NS, self.pin("right_pulse"): RIGHT_NS}
        self.contactor = self.pin("contactor")
        self.contacts = {self.pin(name): FIRST_CONTACT + i for i, name in enumerate(CONTACTS)}
        # By channel of converter or multiplexer; the one that is free reads what the clock does.
        self.channels = [NOW_US] * 8
        for i, name in enumerate(ANALOGUE):
            self.channels[self.pin(name)] = FIRST_ANALOGUE + i
        direct = pins.DIRECT  # type: ignore[attr-defined]  # a module of the firmware
        self.direct = {pin: FIRST_ANALOGUE + i for i, pin in enumerate(direct)}

    def pin(self, name: str) -> int:
        """A number of the pin table."""
        return int(getattr(self.pins, name.upper()))

    def call(self, cost_us: int) -> None:
        """Take the time of one call, and raise where something is to strike just there."""
        self.now_us += cost_us
        out = self.out
        calls = out[CALLS] + 1
        out[CALLS] = calls
        back = self.back
        if back[RAISED] and calls >= back[RAISED_AT]:
            strike = back[RAISED]
            back[RAISED] = 0
            raise _STRIKES[strike]

    def say(self, kind: int, until_us: int) -> None:
        """Hand the outputs over, and go on when the plant has got so far."""
        out = self.out
        out[KIND] = kind
        out[UNTIL_US] = max(until_us, self.now_us)
        self.plant.exchange(out, self.back)
        self.now_us = self.back[NOW_US]


wires = Wires()
