"""Runs whole ticks of the board on 32-bit MicroPython, each between two looks at the clock.

Runs in a folder that holds the firmware and `settings.bin`. What a board does in hardware is
done by functions that are built in, so that a call costs what a call costs. Twice the same: first
every tick is told, then also one snapshot after another, and part of a line is read or acted on
in nearly every tick; nothing that a host asks for while a leg is on is dearer. Prints how much
memory the firmware's code takes, how much its objects, and the left phase after each tick.
"""

import gc
import io
import sys
import time

# This build's collector misses what only a local of deep C code holds: memory is used once.
gc.disable()
gc.collect()
empty = gc.mem_alloc()
sys.path.insert(0, "")

OPEN = "a".isalpha
CLOSED = "1".isalpha
TICKS = 640
CLOSES = 20
# The stick is pushed, let go, pulled, let go: all inputs read the same, so its middle moves.
STICK = {60: -1400, 120: 0, 160: 1400, 240: 0}
LIFTS = 280
# A line as long as a grant: read in two ticks, acted on in the third.
LINE = b"grant 6000*ABCD\n"


class Maker:
    """A class of the module `machine`: what it makes is given."""

    IN = OUT = PULL_UP = 1

    def __init__(self, made):
        self.made = made

    def __call__(self, *_, **__):
        return self.made


class Thing:
    """Anything with attributes."""


class Answering:
    """The converter: it has put the same count into every answer."""

    def __init__(self):
        self.write_readinto = max


pulse = Thing()
pulse.duty_ns = abs
machine = Thing()
machine.Pin = Maker(abs)
machine.SPI = Maker(Answering())
machine.ADC = Maker(pulse)
machine.PWM = Maker(pulse)
machine.WDT = Maker(Thing())
machine.unique_id = lambda: b"12345678"
select = Thing()
select.POLLIN = 1


class Poller:
    def __init__(self):
        # There is always something, or the end of it.
        self.ipoll = {0: (1,)}.get

    def register(self, *_):
        pass


select.poll = Poller


class Output:
    """A port that takes all."""

    def write(self, _, length):
        return length


port = Thing()
port.buffer = Output()
own_sys = Thing()
own_sys.platform = "rp2"
own_sys.implementation = sys.implementation
own_sys.stdin = own_sys.stdout = port
sys.modules["machine"] = machine
sys.modules["select"] = select
sys.modules["sys"] = own_sys

from legboard.drive import Drive  # noqa: E402  (only now are the stand-ins in place)
from legboard.loop import Board  # noqa: E402
from legboard.pins import pins  # noqa: E402
from legboard.watchdog import Watchdog  # noqa: E402
from legboard.words import rows  # noqa: E402
from legwire import lines  # noqa: E402

# Bare machine code on a board, which finds this out in some hundred cycles.
lines.run_crc16 = lambda line, start, end, crc, table: 0
lines.check_of = lambda line, at: 0
lines.word_end = lambda line, end: 5
lines.same = lambda line, word, count: word[0] == 103
lines.numbers = lambda line, at, end, args, most: 1

MIDDLE = [row[0] for row in rows("Settings")].index("stick_centre_count")
# All channels read the same: a lean, a stick in its middle, good supplies.
COUNT = 1905
pins.BATTERY_FULL_MV = 50000
pins.SUPPLY_FULL_MV = 10800


def made():
    board = Board(Drive(pins), Watchdog(pins), 0, ".")
    sensors = board.sensors
    answer = sensors.analogue.answer
    answer[1], answer[2] = COUNT >> 8, COUNT & 255
    sensors.left_switch = sensors.right_switch = sensors.arm = OPEN
    sensors.left_sole = sensors.right_sole = sensors.stop = CLOSED
    board.link.every = 1
    board.link.credit = 1 << 29
    board.link.reader.args[0] = 6000
    return board


def run(board, asks):
    ticks_us = time.ticks_us
    link = board.link
    middle = board.rig.settings.stick_centre_count
    for i in range(TICKS):
        if i == CLOSES:
            board.sensors.arm = CLOSED
        if i in STICK:
            board.store.put(MIDDLE, middle + STICK[i])
        if i == LIFTS:
            board.sensors.left_switch = CLOSED
            board.sensors.left_sole = OPEN
        if i % 3 == 0:
            link.stream.input = io.BytesIO(LINE if asks else b"")
        if asks and link.snapshot == 0:
            link.snapshot = link.waits = 1
        begun = ticks_us()
        board.locked_tick(begun, 0)
        ticks_us()
        phases.append(board.rig.left.phase)


def used():
    """Memory in use; up here nothing is held by C code alone."""
    gc.collect()
    return gc.mem_alloc()


code = used()
board = made()
objects = used() - code
phases = []
run(board, 0)
run(made(), 1)
print(code - empty, objects, *phases)
