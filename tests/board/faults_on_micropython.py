"""Steps a recorded walk on MicroPython, and notes and saves its faults as a board would.

Runs in a folder that holds legcore, legboard, `job.json` and `inputs.bin`: the names of the
inputs and the settings, and the inputs of each tick. The fault log is in the folder `kept`.
Every note runs on a locked heap, between two looks at the clock. `said.json` gets the memory
that the log took, and what each save returned.
"""

import gc
import json
import sys
import time
from array import array

import micropython
from legboard.faultlog import FaultLog
from legcore.model import RECORDS, make
from legcore.step import step

# This build's collector misses what only a local of deep C code holds: memory is used once.
SMALL = sys.maxsize == 2**31 - 1
if SMALL:
    gc.disable()

MARKED_EMPTY = 64
# The largest integer that a 32-bit board does not take from the heap.
SMALL_MAX = (1 << 30) - 1


def fill(made, record, values):
    """Write a flat row of integers into a record, in declared order."""
    for row in RECORDS[record]:
        value = getattr(made, row[0])
        if len(row) == 2:
            fill(value, row[1], values)
        elif len(row) == 5:
            for i in range(row[4]):
                value[i] = next(values)
        else:
            setattr(made, row[0], next(values))


def place(rig, name):
    """The object and the attribute of an input: "left.thigh.count"."""
    *path, attribute = name.split(".")
    for part in path:
        rig = getattr(rig, part)
    return rig, attribute


def allocated():
    """Memory in use; where nothing is ever collected, memory used so far."""
    if not SMALL:
        gc.collect()
    return gc.mem_alloc()


def mark_nothing():
    """Two looks at the clock with nothing between them, to be taken off the cost of a note."""
    ticks_us = time.ticks_us
    for _ in range(MARKED_EMPTY):
        ticks_us()
        ticks_us()


def note_locked(note, rig):
    ticks_us = time.ticks_us
    micropython.heap_lock()
    try:
        ticks_us()
        note(rig)
        ticks_us()
    finally:
        micropython.heap_unlock()


def note_spoilt(note, rig):
    """Note what a memory error may leave behind in what no tick writes anew."""
    for value in (-SMALL_MAX - 1, SMALL_MAX):
        for leg in (rig.left, rig.right):
            leg.phase = leg.fold_cdeg = leg.setpoint_cdeg_q6 = leg.drive_permille = value
            leg.fault_bits = value
        rig.fault_bits = value
        note_locked(note, rig)


def run(job, source):
    rig = make("Rig")
    fill(rig.settings, "Settings", iter(job["settings"]))
    places = [place(rig, name) for name in job["names"]]
    inputs = array("i", [0] * len(places))
    before = allocated()
    log = FaultLog("kept", job["tick_hz"])
    heap = allocated() - before
    # Looked up once, as a board's loop does: each look-up would make an object.
    note = log.note
    results = []
    while source.readinto(inputs):
        for i in range(len(places)):
            setattr(places[i][0], places[i][1], inputs[i])
        step(rig)
        note_locked(note, rig)
        result = log.save()
        if result:
            results.append([log.tick, result])
    # So long may the board have run that its count of ticks has stopped.
    log.tick = SMALL_MAX // 2 + 1
    note_spoilt(note, rig)
    return {"heap": heap, "results": results}


mark_nothing()
with open("job.json") as file:
    job = json.load(file)
with open("inputs.bin", "rb") as source:
    said = run(job, source)
with open("said.json", "w") as file:
    json.dump(said, file)
