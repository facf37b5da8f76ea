"""Time `hocklift study` as people run it: a new process, on one core and on all."""

import os
import resource
import subprocess
import sys
from time import perf_counter
from typing import NamedTuple

from joblib import cpu_count
from rich.table import Table

AIM_S, AIM_EFFICIENCY = 60, 0.85


class Run(NamedTuple):
    """What one study took: by the clock, and of all cores together."""

    wall_s: float
    cpu_s: float


def compare(smoke: bool) -> Table:
    """Table of the same study on one core and on all, beside each other."""
    rigs, seconds = (40, 6) if smoke else (10_000, 20)
    _run(10, seconds, 1)  # so that nobody compiles
    runs = {cores: _run(rigs, seconds, cores) for cores in sorted({1, cpu_count()})}
    table = Table(
        *("cores", "wall", "CPU time", "x real time", "efficiency"),
        title=f"hocklift study, {rigs} rigs x {seconds} s of walking, a new process"
        f" (aims for 10 000 x 20 s on 2 cores: {AIM_S} s, {AIM_EFFICIENCY})",
    )
    for cores, run in runs.items():
        efficiency = runs[1].wall_s / run.wall_s / cores
        table.add_row(
            str(cores),
            f"{run.wall_s:.1f} s",
            f"{run.cpu_s:.1f} s",
            f"{rigs * seconds / run.wall_s:.0f}",
            f"{efficiency:.2f}",
        )
    return table


def _run(rigs: int, seconds: int, cores: int) -> Run:
    words = ("study", "--rigs", str(rigs), "--seconds", str(seconds), "--json")
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "hocklift", *words],
        env={**os.environ, "LOKY_MAX_CPU_COUNT": str(cores)},
        stdout=subprocess.DEVNULL,
        check=False,
    )
    wall_s, after = perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    assert done.returncode in (0, 1)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(wall_s, cpu_s)
