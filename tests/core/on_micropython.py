"""Steps the core over recorded streams on MicroPython and writes down every state it passes.

Runs on MicroPython, in a folder that holds legcore. `streams.bin` there is a chain of
integers: for each stream its number of ticks, the settings, and the inputs of each tick.
`trace.bin` gets all integers of the rig but the settings, in declared order, each tick.
Every tick runs on a locked heap, between two looks at the clock.
"""

import gc
import sys
import time
from array import array

import micropython

if sys.maxsize == 2**31 - 1:
    # This build's collector misses what only a local of deep C code holds; all memory
    # is had at the start instead.
    gc.disable()

from legcore.model import RECORDS, make
from legcore.step import step

BLOCK = 500
LEG_INPUTS = 4
BOARD_INPUTS = (
    "arm",
    "stop",
    "settings_bad",
    "was_hung",
    "missed_ticks",
    "battery_mV",
    "supply_mV",
    "stick_count",
    "host",
    "host_heard",
)
# At last, the number of a word of the state, counted from 1, and which of its bits to flip.
INPUTS = 2 * LEG_INPUTS + len(BOARD_INPUTS) + 2
MARKED_EMPTY = 64


def slots(made, record):
    """(object, attribute or index) of every integer, in declared order."""
    found = []
    for row in RECORDS[record]:
        value = getattr(made, row[0])
        if len(row) == 2:
            found += slots(value, row[1])
        elif len(row) == 5:
            found += [(value, i) for i in range(row[4])]
        else:
            found.append((made, row[0]))
    return found


def put(slot, value):
    if isinstance(slot[1], int):
        slot[0][slot[1]] = value
    else:
        setattr(slot[0], slot[1], value)


def get(slot):
    return slot[0][slot[1]] if isinstance(slot[1], int) else getattr(slot[0], slot[1])


def run_block(rig, state, inputs, ticks, trace):
    """Step `ticks` times on a locked heap."""
    left = rig.left
    right = rig.right
    ticks_us = time.ticks_us
    heap_lock = micropython.heap_lock
    heap_unlock = micropython.heap_unlock
    at = 0
    out = 0
    for _ in range(ticks):
        for leg in (left, right):
            leg.thigh.count = inputs[at]
            leg.shank.count = inputs[at + 1]
            leg.switch = inputs[at + 2]
            leg.sole = inputs[at + 3]
            at += LEG_INPUTS
        for name in BOARD_INPUTS:
            setattr(rig, name, inputs[at])
            at += 1
        if inputs[at]:
            made, name = state[inputs[at] - 1]
            setattr(made, name, getattr(made, name) ^ inputs[at + 1])
        at += 2
        heap_lock()
        try:
            ticks_us()
            step(rig)
            ticks_us()
        finally:
            heap_unlock()
        for made, name in state:
            trace[out] = getattr(made, name)
            out += 1


def mark_nothing():
    """Two looks at the clock with no tick between them, to be taken off the cost of one."""
    ticks_us = time.ticks_us
    for _ in range(MARKED_EMPTY):
        ticks_us()
        ticks_us()


def run(source, sink):
    mark_nothing()
    rig = make("Rig")
    fresh = [(slot, get(slot)) for slot in slots(rig, "Rig")]
    settings = slots(rig.settings, "Settings")
    state = [slot for slot, _ in fresh[len(settings) :]]
    ticks = array("i", [0])
    values = array("i", [0] * len(settings))
    inputs = array("i", [0] * (BLOCK * INPUTS))
    trace = array("i", [0] * (BLOCK * len(state)))
    inputs_bytes = memoryview(inputs)
    trace_bytes = memoryview(trace)
    while source.readinto(ticks):
        for slot, value in fresh:
            put(slot, value)
        source.readinto(values)
        for i in range(len(settings)):
            put(settings[i], values[i])
        left = ticks[0]
        while left:
            now = min(left, BLOCK)
            source.readinto(inputs_bytes[: now * INPUTS])
            run_block(rig, state, inputs, now, trace)
            sink.write(trace_bytes[: now * len(state)])
            left -= now
        for i in range(len(settings)):
            if get(settings[i]) != values[i]:
                raise ValueError("a tick changed a setting")


with open("streams.bin", "rb") as source, open("trace.bin", "wb") as sink:
    run(source, sink)
