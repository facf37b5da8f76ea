"""The bench page at full rate: frames drawn, memory, the server's share of a core.

Run `python -m benchmarks.page`; ten minutes long, or as many seconds as `--seconds` says. The
board is a simulated one in a process of its own, walking all the while, so that the server does
what it does with a real board. Needs Debian's chromium and playwright; Linux only.
"""

import argparse
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from statistics import median
from typing import Any

from rich.console import Console
from rich.table import Table

AIM_FRAMES, AIM_CORE = 30, 0.30
CHROMIUM = "/usr/bin/chromium"
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync")
SAMPLE_S = 10.0
# A board and its rig, which walks for so long; says where its port is.
BOARD = """
import sys, time
from hocklift.recording import walk
from legsim.rig import Rig
from legsim.simboard.board import SimBoard
with SimBoard(Rig(), realtime=True) as board:
    print(board.port, flush=True)
    sys.stdin.readline()
    walk(board, Rig(), float(sys.argv[1]), 1)
    sys.stdin.read()
"""
_TICKS_A_S = os.sysconf("SC_CLK_TCK")


def cpu_s(pid: int) -> float:
    """Processor time that a process has used so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / _TICKS_A_S


def resident_MB(pid: int) -> float:
    """Memory that a process holds now."""
    text = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+) kB", text)
    return int(found[1]) / 1024 if found else 0.0


def heap_MB(session: Any) -> float:
    """Memory that the page's own script holds, what nobody needs any more left out."""
    session.send("HeapProfiler.collectGarbage")
    return float(session.send("Runtime.getHeapUsage")["usedSize"]) / 2**20


def measure(seconds: float, console: Console) -> Table:
    """Serve, watch, and sample every ten seconds; what came of it."""
    from playwright.sync_api import sync_playwright

    board = _started([sys.executable, "-c", BOARD, str(seconds + 30)])
    port = _line(board)
    command = [sys.executable, "-m", "hocklift", "bench", "--no-open", "--port", port]
    server = _started(command)
    address = ""
    while not address:
        found = re.search(r"http://\S+", _line(server))
        address = found[0] if found else ""
    samples = []
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            session = page.context.new_cdp_session(page)
            page.goto(address)
            page.locator("#state", has_text="Off").wait_for()
            _say(board)
            page.locator("#state", has_text="Armed").wait_for()
            began_s = time.monotonic()
            while time.monotonic() - began_s < seconds:
                before = page.evaluate("bench.frames()"), time.monotonic(), cpu_s(server.pid)
                page.wait_for_timeout(1000 * min(SAMPLE_S, seconds))
                after = page.evaluate("bench.frames()"), time.monotonic(), cpu_s(server.pid)
                frames, wall_s, used_s = (b - a for a, b in zip(before, after, strict=True))
                samples.append(
                    (frames / wall_s, used_s / wall_s, heap_MB(session), resident_MB(server.pid))
                )
            loop = page.evaluate("bench.page.state.loop")
            console.print(f"At the end: {page.locator('#state').inner_text()}; {loop}")
            browser.close()
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(20)
        # The end of its input ends the board, too.
        board.communicate()
    return _table(samples, seconds)


def _table(samples: list[tuple[float, ...]], seconds: float) -> Table:
    tenth = max(1, len(samples) // 10)
    table = Table(
        "figure",
        "median",
        "worst",
        "first tenth",
        "last tenth",
        "aim",
        title=f"{seconds:.0f} s of a walk at 250 ticks a second, every trace shown",
    )
    rows = (
        ("frames drawn a second", min, f"at least {AIM_FRAMES}"),
        ("server, share of a core", max, f"under {AIM_CORE:g}"),
        ("page's heap, MB", max, "flat"),
        ("server's memory, MB", max, "flat"),
    )
    for i, (what, worst, aim) in enumerate(rows):
        values = [sample[i] for sample in samples]
        figures = (
            median(values),
            worst(values),
            median(values[:tenth]),
            median(values[-tenth:]),
        )
        table.add_row(what, *(f"{value:.3g}" for value in figures), aim)
    return table


def _started(command: list[str]) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True
    )


def _line(process: "subprocess.Popen[str]") -> str:
    assert process.stdout is not None
    line = process.stdout.readline()
    if not line:
        raise RuntimeError(f"{process.args} has ended")
    return line.strip()


def _say(process: "subprocess.Popen[str]") -> None:
    assert process.stdin is not None
    process.stdin.write("\n")
    process.stdin.flush()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.page", description=__doc__)
    parser.add_argument("--seconds", type=float, default=600.0)
    seconds = parser.parse_args().seconds
    console = Console(width=None if sys.stdout.isatty() else 110)
    console.print(f"Load of the machine: {os.getloadavg()[0]:.1f} before,", end=" ")
    table = measure(seconds, console)
    console.print(f"{os.getloadavg()[0]:.1f} after, on {os.cpu_count()} cores")
    console.print(table)


if __name__ == "__main__":
    main()
