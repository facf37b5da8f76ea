"""Puts the board's end of the wire through its script on MicroPython, and writes down the rest.

Runs in a folder that holds legcore, legwire, legboard, wire_script.py and `job.json`; what a
tick runs, runs on a locked heap. `said.json` and `sent.bin` get what came of it.
"""

import gc
import json
import sys
import time
from array import array
from binascii import hexlify, unhexlify

import micropython

# This build's collector misses what only a local of deep C code holds: memory is used once.
if sys.maxsize == 2**31 - 1:
    gc.disable()

import wire_script

MARKED_EMPTY = 16


def mark_nothing():
    """Looks at the clock with nothing between them, to be taken off every cost."""
    ticks_us = time.ticks_us
    for _ in range(MARKED_EMPTY):
        ticks_us()


def states_of(path):
    """All integers of a file."""
    with open(path, "rb") as file:
        found = array("i", [0] * (len(file.read()) // 4))
    with open(path, "rb") as file:
        file.readinto(found)
    return found


with open("job.json") as file:
    job = json.load(file)
lock = micropython.heap_lock
unlock = micropython.heap_unlock
said = {}
if "messages" in job:
    texts = [
        (number, [unhexlify(one[1:]) if isinstance(one, str) else one for one in values])
        for number, values in job["messages"]
    ]
    said["frames"] = hexlify(wire_script.write_frames(texts, lock, unlock)).decode()
if "lines" in job:
    said["lines"] = wire_script.read_lines(unhexlify(job["lines"]), lock, unlock)
if "script" in job:
    script = [(unhexlify(come), unhexlify(note), locked) for come, note, locked in job["script"]]
    states = states_of("states.bin")
    kind = wire_script.Sink if job["room"] == 0 else wire_script.Stream
    stream = kind(job["room"])
    board, link = wire_script.new_link(job["settings"], stream)
    link.credit = job["credit"]
    link.every = job["every"]
    mark_nothing()
    trace = wire_script.drive(link, board, script, states, time.ticks_us, lock, unlock)
    said["trace"] = trace
    with open("sent.bin", "wb") as file:
        file.write(memoryview(stream.written)[: stream.end])
with open("said.json", "w") as file:
    json.dump(said, file)
