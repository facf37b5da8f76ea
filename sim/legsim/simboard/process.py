"""The board's process: started, spoken to, ended. It runs MicroPython, or CPython without it."""

import importlib.util
import os
import select
import subprocess
import sys
from array import array
from contextlib import suppress
from pathlib import Path

from legsim.simboard.exchange import BACK, OUT

LAUNCH = Path(__file__).parent / "inside" / "launch.py"
SIM = Path(__file__).parents[2]
# Twice a board's heap, since its objects are twice as big on 64 bits.
HEAP_BYTES = 400 * 1024
# A program that has not waited for so long has hung itself up.
SILENT_S = 20.0


class BoardGoneError(Exception):
    """The board's process has ended by itself: a fault of the simulation, not of the firmware."""


def micropython() -> Path | None:
    """The program of MicroPython beside this Python's own, if there is one."""
    if importlib.util.find_spec("micropython_run") is None:
        return None
    program = Path(sys.executable).with_name("micropython")
    return program if program.exists() else None


class Process:
    """One start of the board, from power or reset until the next one."""

    def __init__(
        self,
        folder: Path,
        platform: str,
        cause: int,
        start_ticks_us: int,
        program: Path | None,
        errors: Path,
    ) -> None:
        from_plant, to_board = os.pipe()
        from_board, to_plant = os.pipe()
        stdin, self.port_in = os.pipe()
        self.port_out, stdout = os.pipe()
        # Kept to see how much of the input is still unread.
        self.unread = os.dup(stdin)
        self.to_board, self.from_board = to_board, from_board
        for end in (self.port_in, self.port_out):
            os.set_blocking(end, False)
        command = [sys.executable] if program is None else [program, "-X", f"heapsize={HEAP_BYTES}"]
        with errors.open("ab") as stderr:
            self.process = subprocess.Popen(
                [
                    *command,
                    LAUNCH,
                    str(from_plant),
                    str(to_plant),
                    SIM,
                    platform,
                    str(cause),
                    str(start_ticks_us),
                ],
                cwd=folder,
                stdin=stdin,
                stdout=stdout,
                stderr=stderr,
                pass_fds=(from_plant, to_plant),
                # A person's Ctrl-C ends the command, not the board under it.
                start_new_session=True,
                # What a person's environment says to Python is no part of a board.
                env={"PATH": os.environ.get("PATH", "")},
            )
        self.errors = errors
        for end in (from_plant, to_plant, stdin, stdout):
            os.close(end)
        self.poller = select.poll()
        self.poller.register(from_board, select.POLLIN)

    def receive(self) -> "array[int] | None":
        """What the board says next; nothing if it has hung itself up."""
        out = array("l", [0] * len(OUT))
        if not self.poller.poll(1000 * SILENT_S):
            return None
        data = os.read(self.from_board, out.itemsize * len(OUT))
        if len(data) != out.itemsize * len(OUT):
            raise BoardGoneError(self._last_words())
        return array("l", data)

    def _last_words(self) -> str:
        """What the process said of its end; MicroPython says it to its port."""
        self.process.wait()
        said = self.errors.read_bytes()
        with suppress(BlockingIOError):
            said += os.read(self.port_out, 65536)
        return said.decode(errors="replace") or "no word of why"

    def send(self, back: "array[int]") -> None:
        """Let the board go on."""
        assert len(back) == len(BACK)
        os.write(self.to_board, back)

    def end(self) -> None:
        """No more of this start."""
        self.process.kill()
        self.process.wait()
        for end in (self.to_board, self.from_board, self.port_in, self.port_out, self.unread):
            os.close(end)
