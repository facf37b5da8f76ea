"""Steps legs and wings of one board over recorded streams on MicroPython, and writes it all down.

As `on_micropython.py` does for legs alone: `streams.bin` is a chain of integers, for each stream
its number of ticks, the settings of legs and of wings, and the inputs of each tick; `trace.bin`
gets every integer of legs and wings but the settings. Every tick runs on a locked heap, between
two looks at the clock.
"""

import gc
import sys
import time
from array import array

import micropython
from legcore.model import RECORDS, make
from legcore.wing_step import step_frame

if sys.maxsize == 2**31 - 1:
    # This build's collector misses what only a local of deep C code holds.
    gc.disable()

LEG_INPUTS = ("switch", "sole")
SHARED = (
    "arm",
    "stop",
    "settings_bad",
    "was_hung",
    "missed_ticks",
    "battery_mV",
    "supply_mV",
)
# Two legs, two wings, what both share, and the stick.
INPUTS = 2 * 4 + 2 * 2 + len(SHARED) + 1
MARKED_EMPTY = 64
BLOCK = 150


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


def put_inputs(rig, wings, inputs, at):
    """Write one row of inputs, as the board does before a tick."""
    for leg in (rig.left, rig.right):
        leg.thigh.count = inputs[at]
        leg.shank.count = inputs[at + 1]
        leg.switch = inputs[at + 2]
        leg.sole = inputs[at + 3]
        at += 4
    for wing in (wings.left, wings.right):
        wing.pot.count = inputs[at]
        wing.command.count = inputs[at + 1]
        at += 2
    for name in SHARED:
        setattr(rig, name, inputs[at])
        setattr(wings, name, inputs[at])
        at += 1
    rig.stick_count = inputs[at]


def run_block(rig, wings, state, inputs, ticks, trace):
    """Step `ticks` times on a locked heap."""
    ticks_us = time.ticks_us
    heap_lock = micropython.heap_lock
    heap_unlock = micropython.heap_unlock
    out = 0
    for tick in range(ticks):
        put_inputs(rig, wings, inputs, tick * INPUTS)
        heap_lock()
        try:
            ticks_us()
            step_frame(rig, wings)
            ticks_us()
        finally:
            heap_unlock()
        for made, name in state:
            trace[out] = getattr(made, name)
            out += 1


def run(source, sink):
    ticks_us = time.ticks_us
    for _ in range(MARKED_EMPTY):
        ticks_us()
        ticks_us()
    length = array("i", [0])
    inputs = array("i", [0] * (BLOCK * INPUTS))
    while source.readinto(length):
        rig = make("Rig")
        wings = make("Wings")
        state = []
        for made, record, settings in ((rig, "Rig", "Settings"), (wings, "Wings", "WingSettings")):
            places = slots(made, record)
            count = len(slots(made.settings, settings))
            values = array("i", [0] * count)
            source.readinto(values)
            for i in range(count):
                put(places[i], values[i])
            state += places[count:]
        trace = array("i", [0] * (BLOCK * len(state)))
        left = length[0]
        while left:
            now = min(left, BLOCK)
            source.readinto(memoryview(inputs)[: now * INPUTS])
            run_block(rig, wings, state, inputs, now, trace)
            sink.write(memoryview(trace)[: now * len(state)])
            left -= now


if __name__ == "__main__":
    with open("streams.bin", "rb") as source, open("trace.bin", "wb") as sink:
        run(source, sink)
