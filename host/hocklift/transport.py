"""The way to a board: bytes in and out of a serial port, or of the simulated board's.

Time is the board's as far as anybody here can know it: the clock on the wall for a real one,
simulated time for a simulated one in lock step, which passes while somebody waits for bytes.
"""

import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Protocol

import serial
from legsim.rig import Rig
from serial.tools import list_ports

from hocklift.errors import PortError
from hocklift.simulated import board_words, kept_flash, power

SIM = "sim"
# What the smallest buffer of any board holds, on the way out: a chip without USB of its own
# makes its program wait once a serial line's 128 bytes are full.
REAL_CREDIT = 120
# What a pseudo-terminal holds for sure.
SIM_CREDIT = 4000
_BAUD = 115200
# How long a read waits before it looks whether it has waited long enough.
_SLICE_S = 0.02
# What one end of a pseudo-terminal has written reaches the other a moment later: on a computer with
# much else to do, much later.
_ARRIVES_S = 10.0
# While it says nothing its time passes in strides, but never farther at once than it has credit.
_STRIDE_MOST_TICKS = 16


class Transport(Protocol):
    """A port: `credit` is how many bytes it holds for sure, `real` whether motors may be behind it.

    `about` says which board that is, for a person.
    `board` is the simulated board, if it is one. Whatever ends the connection raises PortError.
    """

    name: str
    about: str
    real: bool
    credit: int
    board: Any

    def now_s(self) -> float:
        """Time by the clock that goes on while `read` waits."""

    def read(self, most: int, timeout_s: float) -> bytes:
        """What has come, at most so many bytes; nothing after `timeout_s` of silence."""

    def write(self, data: bytes) -> None:
        """Send all of it."""

    def close(self) -> None:
        """Let go of the port."""


class SerialPort:
    """A serial port, or the simulated board's that runs in real time."""

    def __init__(self, path: str, board: Any = None) -> None:
        self.name = path if board is None else SIM
        self.about = f"the one at {path}" if board is None else board_words(board.kept)
        self.real = board is None
        self.credit = REAL_CREDIT if board is None else SIM_CREDIT
        self.board = board
        try:
            # A path, or the URL of the socket that a simulated board may be behind.
            self._serial = serial.serial_for_url(
                path, _BAUD, timeout=_SLICE_S, write_timeout=1, exclusive=True
            )
        except (serial.SerialException, OSError, ValueError) as error:
            raise PortError(
                f"{self.name}: cannot be opened: {_why(error)}; {ports_words()}"
            ) from error

    def now_s(self) -> float:
        """Seconds of the clock on the wall, from any start."""
        return time.monotonic()

    def read(self, most: int, timeout_s: float) -> bytes:
        """What has come, at most so many bytes; nothing after `timeout_s` of silence."""
        end_s = time.monotonic() + timeout_s
        while True:
            data = self._take(most)
            if data or time.monotonic() >= end_s:
                return data

    def write(self, data: bytes) -> None:
        """Send all of it."""
        self._guarded(lambda: self._serial.write(data))

    def close(self) -> None:
        """Let go of the port, and end the board if it is simulated."""
        # It may be gone already.
        with suppress(serial.SerialException, OSError):
            self._serial.close()
        if self.board is not None:
            self.board.close()

    def _take(self, most: int) -> bytes:
        """As many bytes as there are, after a moment's wait where there are none."""
        port = self._serial
        # Asking for more than there are would wait for them.
        return bytes(self._guarded(lambda: port.read(max(1, min(most, port.in_waiting)))))

    def _guarded(self, act: Callable[[], Any]) -> Any:
        try:
            return act()
        # pyserial lets a port that is closed under it show as a TypeError.
        except (serial.SerialException, OSError, TypeError) as error:
            raise PortError(
                f"{self.name}: the connection has ended: {_why(error)}; look at the cable and"
                f" at the board's power; {ports_words()}"
            ) from error


class LockstepPort(SerialPort):
    """The simulated board's port; its time passes only while somebody waits for bytes.

    Both ends count what they write, and wait for all of it before time passes: how busy the
    computer is changes nothing of what happens in simulated time.
    """

    def __init__(self, board: Any, period_s: float) -> None:
        super().__init__(board.port, board)
        self._period_s = period_s
        # What the board has said to others before is none of ours.
        self._taken = board.usb.sent - self._serial.in_waiting
        self._given = board.usb.taken

    def now_s(self) -> float:
        """Seconds of simulated time."""
        return float(self.board.now_s)

    def read(self, most: int, timeout_s: float) -> bytes:
        """What has come; nothing after `timeout_s` of simulated silence."""
        end_s = self.now_s() + timeout_s
        ticks = 1
        data = self._arrived(most)
        while not data:
            # Whoever waits, however short, lets time pass.
            left_s = max(end_s - self.now_s(), self._period_s)
            self._advance(min(ticks * self._period_s, left_s))
            data = self._arrived(most)
            ticks = min(2 * ticks, _STRIDE_MOST_TICKS)
            if self.now_s() >= end_s:
                break
        return data

    def write(self, data: bytes) -> None:
        """Send all of it."""
        super().write(data)
        self._given += len(data)

    def close(self) -> None:
        """Let go of the port, and end the board."""
        self.board.usb.gather(self._given, _ARRIVES_S)
        super().close()

    def _arrived(self, most: int) -> bytes:
        """What the board has said, whenever the computer gets round to carrying it here."""
        if self.board.usb.sent == self._taken:
            # Only to see that the connection still stands.
            self._guarded(lambda: self._serial.in_waiting)
            return b""
        data = super().read(most, _ARRIVES_S)
        self._taken += len(data)
        return data

    def _advance(self, seconds: float) -> None:
        from legsim.simboard.process import BoardGoneError

        self.board.usb.gather(self._given, _ARRIVES_S)
        try:
            self.board.advance(seconds)
        except (BoardGoneError, OSError) as error:
            raise PortError(
                f"{self.name}: the simulated board's process has ended: {error}; start again"
            ) from error


def open_port(port: str, rig: Rig, *, seed: int = 1, realtime: bool = False) -> SerialPort:
    """Open a serial port by its path, or the simulated board of `rig` by the word "sim".

    Raises PortError, naming the ports that there are.
    """
    if port != SIM:
        return SerialPort(port)
    board = power(rig, kept_flash(), realtime=realtime, seed=seed)
    try:
        if realtime:
            return SerialPort(board.port, board)
        return LockstepPort(board, rig.control.period_s)
    except BaseException:
        board.close()
        raise


def ports_words() -> str:
    """Which ports there are, as advice."""
    if found := ports_here():
        return f"ports here: {found}; name the board's with --port, or use --port {SIM}"
    return f"no serial port is here: plug the board in, or use --port {SIM}"


def ports_here(usb_only: bool = False) -> str:
    """Which ports there are, as a person may know them; nothing without any."""
    return ", ".join(
        each.device if each.description in (None, "n/a") else f"{each.device} ({each.description})"
        for each in sorted(list_ports.comports(), key=lambda each: str(each.device))
        if not usb_only or each.vid is not None
    )


def _why(error: Exception) -> str:
    """What the system says, without the wrappers around it."""
    text = str(getattr(error, "strerror", None) or error)
    for known, words in _KNOWN.items():
        if known in text:
            return words
    return text


_KNOWN = {
    "No such file": "there is no such port",
    "FileNotFoundError": "there is no such port",
    "Permission denied": "you may not use it; on Linux, join the group that owns it",
    "PermissionError": "you may not use it, or another program has it open",
    "exclusively lock": "another program has it open",
    "Inappropriate ioctl": "it is no serial port",
    "readiness to read but returned no data": "nothing is connected to it any more",
    "Input/output error": "nothing is connected to it any more",
    "socket disconnected": "nothing is connected to it any more",
}
