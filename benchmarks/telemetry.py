"""Telemetry at every tick in real time: what `hocklift record` takes of one core, what it loses.

The simulated board runs here, paced by the wall's clock; the recorder is a process of its own at
its serial port, so that what it spends can be told apart. By itself for as long as it takes to
believe it: `python -m benchmarks.telemetry --seconds 600`.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

from hocklift.log import read_log
from hocklift.recording import walk
from legsim.rig import Rig
from legsim.simboard.board import SimBoard

AIM_SHARE, AIM_LOST = 0.2, 0
RIG = Rig()
# From power to the first tick.
_UP_S = 3.0


@dataclass(frozen=True)
class Telemetry:
    """One recording: how long, how many ticks came and how many did not, what it cost."""

    wall_s: float
    board_s: float
    cpu_s: float
    ticks: int
    missing: int
    lost: int
    damaged: int

    @property
    def words(self) -> str:
        """For a person, beside what was aimed at."""
        share = self.cpu_s / self.wall_s
        return (
            f"telemetry at every tick, {self.wall_s:.0f} s of the wall's clock in which the board"
            f" lived {self.board_s:.0f} s: {self.ticks} ticks came, {self.missing} missing,"
            f" {self.lost} frames lost, {self.damaged} damaged (aim {AIM_LOST}); the recorder took"
            f" {self.cpu_s:.1f} s of CPU, its start included: {100 * share:.1f} % of one core"
            f" (aim {100 * AIM_SHARE:.0f} %)"
        )


def measure(seconds: float) -> Telemetry:
    """Record a walking board for so long, in real time."""
    with tempfile.TemporaryDirectory() as folder, SimBoard(RIG, realtime=True) as board:
        board.advance(_UP_S)
        walk(board, RIG, seconds + _UP_S, 1)
        path = Path(folder) / "telemetry.log"
        begun_s, board_s = monotonic(), board.now_s
        words = ["record", "--port", board.port, "--seconds", f"{seconds:g}", "--out", str(path)]
        recorder = subprocess.Popen(
            [sys.executable, "-m", "hocklift", *words], stdout=subprocess.DEVNULL
        )
        _, status, spent = os.wait4(recorder.pid, 0)
        recorder.returncode = os.waitstatus_to_exitcode(status)
        wall_s, board_s = monotonic() - begun_s, board.now_s - board_s
        if recorder.returncode:
            raise SystemExit(f"the recorder ended with {recorder.returncode}")
        log = read_log(path)
    return Telemetry(
        wall_s,
        board_s,
        spent.ru_utime + spent.ru_stime,
        len(log.ticks),
        log.missing_ticks,
        log.lost,
        log.damaged,
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.telemetry", description=__doc__)
    parser.add_argument("--seconds", type=float, default=600, help="how long (%(default)g)")
    print(measure(parser.parse_args().seconds).words)


if __name__ == "__main__":
    main()
