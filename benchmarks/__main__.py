"""Time the closed loop: compiled, plain, with MuJoCo's and SciPy's legs; studies; wire; help.

Run `python -m benchmarks`; with `--smoke` everything runs once and briefly. All figures come from
one run, and all but the studies' on one core, so they can be set beside each other; nothing is
asserted.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter

# Before numba is imported: everything here is one walk after another.
os.environ["NUMBA_NUM_THREADS"] = "1"

import mujoco
import numpy as np
from legsim.figures import leg_figures
from legsim.rig import Rig
from legsim.run import Walk
from legsim.wearer import metronome_raises, script
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table

from benchmarks import decode, studies, telemetry
from benchmarks.mujoco_loop import MujocoLoop
from benchmarks.plain_loop import PlainLoop
from benchmarks.scipy_loop import METHOD, ScipyLoop

AIM_REAL_TIME, AIM_MUJOCO, AIM_HELP_MS = 2000, 20, 150
RIG = Rig()
COMPILED = "compiled core, compiled plant"
MUJOCO = "plain core, compiled drive, MuJoCo's legs"
ALONE = "MuJoCo's legs alone, no loop"
SCIPY = f"plain core, SciPy's solve_ivp ({METHOD}) of legsim's equations"
LOOPS: dict[str, type[Walk] | type[PlainLoop]] = {
    COMPILED: Walk,
    "plain core, compiled plant": PlainLoop,
    MUJOCO: MujocoLoop,
    SCIPY: ScipyLoop,
}
# A new process walks once. Its cache folder is an argument, so that it can be empty.
FIRST_WALK = """
import sys
import platformdirs
platformdirs.user_cache_dir = lambda *_: sys.argv[1]
from legsim.rig import Rig
from legsim.run import Walk
from legsim.wearer import metronome_raises, script
rig = Rig()
Walk(rig, script(rig, metronome_raises(rig, 20.0), 20.0), 1).run()
"""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--smoke", action="store_true", help="run all of it, but briefly")
    smoke = parser.parse_args().smoke
    # A terminal that is no terminal, as in a log, is wide enough.
    console = Console(width=None if sys.stdout.isatty() else 110)
    console.print(f"Load of the machine before the run: {os.getloadavg()[0]:.1f}")
    console.print(studies.compare(smoke))
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    # Even the shortest walk is long enough to arm and make a step.
    seconds, rounds = (6.0, 1) if smoke else (20.0, 15)
    lines = script(RIG, metronome_raises(RIG, seconds), seconds)
    walls_s, steps = time_loops(lines, rounds)
    walls_s[ALONE] = mujoco_alone_s(lines)
    title = (
        f"One walk of {seconds:.0f} s: {len(lines)} ticks, {len(lines) * RIG.substeps} substeps"
        f" of {1000 * RIG.control.substep_s:g} ms; median of {rounds}"
    )
    table = Table("loop", "wall", "x real time", "steps made", title=title)
    for name, wall_s in walls_s.items():
        row = f"{1000 * wall_s:.1f} ms", f"{seconds / wall_s:.0f}", steps.get(name, "")
        table.add_row(name, *row)
    console.print(table)
    compiled_s = walls_s[COMPILED]
    console.print(
        f"compiled: {seconds / compiled_s:.0f} x real time (aim {AIM_REAL_TIME}),"
        f" {walls_s[MUJOCO] / compiled_s:.0f} x the loop with MuJoCo (aim {AIM_MUJOCO}),"
        f" {walls_s[ALONE] / compiled_s:.0f} x MuJoCo's legs alone,"
        f" {walls_s[SCIPY] / compiled_s:.0f} x the loop with solve_ivp\n"
    )
    console.print(helps(3 if smoke else 25))
    console.print(first_walks())
    console.print(decode.compare(smoke))
    console.print(telemetry.measure(3 if smoke else 30).words)


def time_loops(lines: NDArray[np.void], rounds: int) -> tuple[dict[str, float], dict[str, str]]:
    """Wall seconds of one walk in each loop, median of some rounds, and the steps made."""
    for kind in LOOPS.values():
        kind(RIG, lines, 1).run()
    spent_s: dict[str, list[float]] = {name: [] for name in LOOPS}
    steps = {}
    # In turn, so that a busy moment of the machine strikes all alike.
    for _ in range(rounds):
        for name, kind in LOOPS.items():
            loop = kind(RIG, lines, 1)
            start = perf_counter()
            trace = loop.run()
            spent_s[name].append(perf_counter() - start)
            steps[name] = steps_made(trace)
    return {name: median(times) for name, times in spent_s.items()}, steps


def mujoco_alone_s(lines: NDArray[np.void]) -> float:
    """Wall time of as many substeps of MuJoCo, in one call, both feet on the ground."""
    loop = MujocoLoop(RIG, lines, 1)
    start = perf_counter()
    mujoco.mj_step(loop.model, loop.data, nstep=len(lines) * RIG.substeps)
    return perf_counter() - start


def helps(rounds: int) -> str:
    """Wall time of `hocklift --help`, warm, beside a Python that does nothing."""
    commands = {
        "hocklift --help": [Path(sys.executable).with_name("hocklift"), "--help"],
        "python -c pass": [sys.executable, "-c", "pass"],
    }
    walls_s: dict[str, list[float]] = {name: [] for name in commands}
    # Once for the disk's sake, then in turn, so that a busy moment strikes both alike.
    for _ in range(rounds + 1):
        for name, command in commands.items():
            start = perf_counter()
            subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
            walls_s[name].append(perf_counter() - start)
    told = [f"{name}: {1000 * median(each[1:]):.0f} ms" for name, each in walls_s.items()]
    return f"{told[0]} (aim {AIM_HELP_MS}); {told[1]}; median of {rounds}"


def first_walks() -> str:
    """Wall time of a new process that walks once, without and with compiled code on disk."""
    with tempfile.TemporaryDirectory() as folder:
        walls = []
        for _ in range(2):
            start = perf_counter()
            subprocess.run([sys.executable, "-c", FIRST_WALK, folder], check=True)
            walls.append(perf_counter() - start)
    cold_s, cached_s = walls
    return (
        f"new process, to the end of its first walk: {cold_s:.1f} s cold, {cached_s:.2f} s cached"
    )


def steps_made(trace: NDArray[np.void]) -> str:
    """How many of the steps of a walk cleared the ground: a loop that falls is no loop."""
    legs = [leg_figures(trace, name, RIG) for name in ("left", "right")]
    return f"{sum(leg.steps_made for leg in legs)} of {sum(leg.steps_asked for leg in legs)}"


if __name__ == "__main__":
    main()
