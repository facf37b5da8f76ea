"""A board at MicroPython's prompt: what it is, its files, a fresh start.

mpremote, a general-purpose tool for such boards, holds the prompt; only what it has had for
years is used of it.
"""

import ast
import io
import re
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout, suppress
from typing import Any, Self

from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from hocklift.errors import BoardError, PortError
from hocklift.transport import ports_words

# A board that runs its watchdog restarts when its program is interrupted, and its port may be
# away meanwhile.
BREAK_IN_S = 15.0
_PROMPT_S = 3.0
_AGAIN_S = 0.2
# How long one byte may take; the board may be busy with its flash.
_BYTE_S = 3.0
# Of a file at a time: as text it is up to four times as long, and the board has to hold that.
CHUNK_BYTES = 1024

# What mpremote and what is below it raise when a board goes away or talks nonsense.
_GONE = (TransportError, OSError, struct.error, ValueError, SyntaxError, TypeError, IndexError)

_TOOLS = """
import os, hashlib, binascii
def paths(folder):
    found = []
    for entry in os.ilistdir(folder):
        path = folder + '/' + entry[0]
        if entry[1] & 0x4000:
            found += paths(path)
        else:
            found.append(path)
    return found
def blocks(path):
    with open(path, 'rb') as file:
        block = file.read(512)
        while block:
            yield block
            block = file.read(512)
def digest(path):
    sha = hashlib.sha256()
    for block in blocks(path):
        sha.update(block)
    return binascii.hexlify(sha.digest()).decode()
def exists(path):
    try:
        os.stat(path)
        return True
    except OSError:
        return False
def make_folder(path):
    if path and not exists(path):
        make_folder(path.rpartition('/')[0])
        os.mkdir(path)
def copy(path, to):
    with open(to, 'wb') as file:
        for block in blocks(path):
            file.write(block)
def clear(folder):
    for entry in os.ilistdir(folder):
        path = folder + '/' + entry[0]
        if entry[1] & 0x4000:
            clear(path)
        else:
            os.remove(path)
    os.rmdir(folder)
"""


# By name or, as from most boards, by number.
_NO_ROOM = re.compile(r"OSError: (28$|.*ENOSPC)")


class FullError(BoardError):
    """The board's file system has no room left."""


class Prompt:
    """The board at a port, its program ended; a context manager that lets go of the port.

    It may take `patience` times as long as a real one to answer.
    Raises PortError where there is no port, or it goes away, and BoardError where nothing
    answers as MicroPython does, or cannot do what it is asked.
    """

    def __init__(self, port: str, patience: float = 1.0) -> None:
        self.name = port
        self.bytes_sent = 0
        self._transport = _break_in(port, patience)

    def __enter__(self) -> Self:
        """Nothing more: the port is open already."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of the port; the board stays at its prompt."""
        _let_go(self._transport)

    def run(self, code: str) -> str:
        """Run code there; what it printed."""
        with self._told():
            printed: bytes = self._transport.exec(code)
            return printed.decode()

    def value(self, expression: str) -> Any:
        """What an expression is there: texts, numbers and what is made of them."""
        printed = self.run(f"print(repr({expression}))")
        with self._told():
            return ast.literal_eval(printed.strip())

    def prepare(self) -> None:
        """Load what the methods below need on the board."""
        self.run(_TOOLS)

    def exists(self, path: str) -> bool:
        """Whether there is a file or folder of this name."""
        return bool(self.value(f"exists({path!r})"))

    def names(self) -> list[str]:
        """What lies in the root."""
        return list(self.value("os.listdir()"))

    def digests(self, folder: str) -> dict[str, str]:
        """SHA-256 of every file under a folder, by path; nothing where there is no folder."""
        if not self.exists(folder):
            return {}
        return dict(self.value(f"{{path: digest(path) for path in paths({folder!r})}}"))

    def digest(self, path: str) -> str:
        """SHA-256 of one file."""
        return str(self.value(f"digest({path!r})"))

    def read(self, path: str) -> bytes | None:
        """A small file, or None where there is none."""
        if not self.exists(path):
            return None
        return bytes(self.value(f"open({path!r}, 'rb').read()"))

    def write(self, path: str, data: bytes, chunk_bytes: int = CHUNK_BYTES) -> None:
        """Send a file, over what is there."""
        self.run(f"f = open({path!r}, 'wb')")
        try:
            for at in range(0, len(data), chunk_bytes):
                chunk = data[at : at + chunk_bytes]
                self.run(f"f.write({chunk!r})")
                self.bytes_sent += len(chunk)
        except FullError:
            # Left open, it could not be removed; and closing it may fail for the same reason.
            with suppress(FullError):
                self.run("f.close()")
            raise
        self.run("f.close()")

    def copy(self, path: str, to: str) -> None:
        """Copy a file on the board, over what is there."""
        self.run(f"copy({path!r}, {to!r})")

    def rename(self, old: str, new: str) -> None:
        """Change a file's name; whatever has the new one is replaced in one step."""
        self.run(f"os.rename({old!r}, {new!r})")

    def make_folder(self, path: str) -> None:
        """Make a folder and those that it is in, where needed."""
        self.run(f"make_folder({path!r})")

    def remove(self, path: str) -> None:
        """Remove a file."""
        self.run(f"os.remove({path!r})")

    def clear(self, folder: str) -> None:
        """Remove a folder and all that is in it."""
        self.run(f"clear({folder!r})")

    def room(self) -> tuple[int, int]:
        """Bytes of one block, and how many blocks are free; a file takes whole ones."""
        block_bytes, free = self.value("(lambda s: (s[0], s[3]))(os.statvfs('/'))")
        return int(block_bytes), int(free)

    def restart(self) -> None:
        """Start the board anew, as from power; its port may go away meanwhile."""
        with suppress(*_GONE), redirect_stdout(io.StringIO()):
            self._transport.exec_raw_no_follow("import machine\nmachine.reset()")

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Tell in a person's words what goes wrong; mpremote's own words go nowhere."""
        try:
            with redirect_stdout(io.StringIO()):
                yield
        except TransportExecError as error:
            why = (error.error_output.strip().splitlines() or ["it says nothing more"])[-1]
            if _NO_ROOM.search(why):
                raise FullError(f"{self.name}: the board's file system is full") from error
            raise BoardError(
                f"{self.name}: the board cannot do what it was asked: {why}; unplug it, plug it in"
                " and try again; if it stays so, write MicroPython onto it anew"
            ) from error
        except _GONE as error:
            raise PortError(
                f"{self.name}: the connection has ended: {error}; look at the cable, plug the board"
                " in again and flash again: until the last step it keeps the program it had"
            ) from error


def _break_in(port: str, patience: float) -> Any:
    """End the board's program and get its prompt, however often it restarts meanwhile."""
    try:
        transport: Any = _opened(port, patience)
    except _GONE as error:
        raise PortError(
            f"{port}: cannot be opened; see that it is the board's, that you may use it and that"
            f" no other program does; {ports_words()}"
        ) from error
    end_s = time.monotonic() + patience * BREAK_IN_S
    while True:
        with suppress(*_GONE), redirect_stdout(io.StringIO()):
            transport = transport or _opened(port, patience)
            transport.enter_raw_repl(timeout_overall=patience * _PROMPT_S)
            return transport
        _let_go(transport)
        transport = None
        if time.monotonic() > end_s:
            raise BoardError(
                f"{port}: no MicroPython prompt answers here within {BREAK_IN_S:g} s; see that it"
                " is the right port and that MicroPython is on the board, press its reset button"
                " and try again"
            )
        time.sleep(_AGAIN_S)


def _opened(port: str, patience: float) -> Any:
    return SerialTransport(port, timeout=patience * _BYTE_S)


def _let_go(transport: Any) -> None:
    with suppress(*_GONE, AttributeError):
        transport.close()
