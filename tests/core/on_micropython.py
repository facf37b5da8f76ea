"""Steps the core over recorded streams on MicroPython and writes down every state it passes.

Runs on MicroPython, in a folder that holds legcore and, as `kind.py`, what the board has.
`streams.bin` there is a chain of integers: for each stream its number of ticks, the settings,
and the inputs of each tick. `trace.bin` gets all integers of the board's records but the
settings, in declared order, each tick. Every tick runs on a locked heap, between two looks at
the clock.
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

import kind
from kind import step
from legcore import model

BLOCK = 250
# At last, the number of a word of the state, counted from 1, and which of its bits to flip.
COLUMNS = len(kind.INPUTS) + 2
MARKED_EMPTY = 64


def slots(made, record):
    """(object, attribute or index) of every integer, in declared order."""
    found = []
    for row in model.RECORDS[record]:
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


def put_inputs(state, inputs, at):
    """Write one row of inputs, and flip what it says."""
    for words in kind.INPUTS:
        for word in words:
            made, name = state[word]
            setattr(made, name, inputs[at])
        at += 1
    if inputs[at]:
        made, name = state[inputs[at] - 1]
        setattr(made, name, getattr(made, name) ^ inputs[at + 1])


def run_block(made, state, inputs, ticks, trace):
    """Step `ticks` times on a locked heap."""
    rig = made[0]
    wings = made[-1]
    legs_alone = len(made) == 1
    ticks_us = time.ticks_us
    heap_lock = micropython.heap_lock
    heap_unlock = micropython.heap_unlock
    out = 0
    for tick in range(ticks):
        put_inputs(state, inputs, tick * COLUMNS)
        heap_lock()
        try:
            ticks_us()
            if legs_alone:
                step(rig)
            else:
                step(rig, wings)
            ticks_us()
        finally:
            heap_unlock()
        for one, name in state:
            trace[out] = getattr(one, name)
            out += 1


def mark_nothing():
    """Two looks at the clock with no tick between them, to be taken off the cost of one."""
    ticks_us = time.ticks_us
    for _ in range(MARKED_EMPTY):
        ticks_us()
        ticks_us()


def run(source, sink):
    mark_nothing()
    made = [model.make(record) for record, _ in kind.RECORDS]
    settings = []
    state = []
    for one, (record, count) in zip(made, kind.RECORDS):  # noqa: B905  MicroPython's has no strict
        every = slots(one, record)
        settings += every[:count]
        state += every[count:]
    fresh = [(slot, get(slot)) for slot in state]
    ticks = array("i", [0])
    values = array("i", [0] * len(settings))
    inputs = array("i", [0] * (BLOCK * COLUMNS))
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
            source.readinto(inputs_bytes[: now * COLUMNS])
            run_block(made, state, inputs, now, trace)
            sink.write(trace_bytes[: now * len(state)])
            left -= now
        for i in range(len(settings)):
            if get(settings[i]) != values[i]:
                raise ValueError("a tick changed a setting")


with open("streams.bin", "rb") as source, open("trace.bin", "wb") as sink:
    run(source, sink)
