"""What carries the board's bytes to a host's serial library: a pseudo-terminal, or a socket.

Either is opened by pyserial under its `port`, and holds what one end has written until the
other takes it. A socket serves where there are no pseudo-terminals, as in some containers.
"""

import os
import select
import socket
import tty
from contextlib import suppress
from typing import Protocol

# About what a pseudo-terminal holds, so that a host that takes nothing shows as soon.
_SOCKET_BYTES = 4096


class Line(Protocol):
    """One end of it, the board's; never waits but in `wait`."""

    port: str

    def read(self, most: int) -> bytes:
        """What has come from the host, at most so many bytes."""

    def write(self, data: bytes) -> int:
        """Send as much as there is room for: how many bytes that was."""

    def open(self) -> bool:
        """Whether a host is at the other end."""

    def wait(self, ms: int) -> None:
        """Until something comes, or so long."""

    def close(self) -> None:
        """Take it away."""


def new_line() -> Line:
    """A pseudo-terminal, or a socket where the system has none to give."""
    try:
        return PseudoTerminal()
    except (AttributeError, OSError):
        return Socket()


class PseudoTerminal:
    """A pair of them: the host opens the other one by its path."""

    def __init__(self) -> None:
        self._end, host = os.openpty()
        tty.setraw(host)
        self.port = os.ttyname(host)
        os.close(host)
        os.set_blocking(self._end, False)
        self._poller = select.poll()
        self._poller.register(self._end, select.POLLIN)

    def read(self, most: int) -> bytes:
        """What has come from the host, at most so many bytes."""
        with suppress(OSError):
            return os.read(self._end, most)
        return b""

    def write(self, data: bytes) -> int:
        """Send as much as there is room for: how many bytes that was."""
        with suppress(OSError):
            return os.write(self._end, data)
        return 0

    def open(self) -> bool:
        """Whether a host is at the other end."""
        return not any(events & select.POLLHUP for _, events in self._poller.poll(0))

    def wait(self, ms: int) -> None:
        """Until something comes, or so long."""
        self._poller.poll(ms)

    def close(self) -> None:
        """Take it away."""
        os.close(self._end)


class Socket:
    """A door on this computer alone, for one host at a time; pyserial knows it by its URL."""

    def __init__(self) -> None:
        self._door = socket.create_server(("127.0.0.1", 0), backlog=1)
        self._door.setblocking(False)
        self._host: socket.socket | None = None
        self.port = f"socket://127.0.0.1:{self._door.getsockname()[1]}"

    def read(self, most: int) -> bytes:
        """What has come from the host, at most so many bytes."""
        if most <= 0 or not self.open() or self._host is None:
            return b""
        with suppress(BlockingIOError):
            return self._host.recv(most)
        return b""

    def write(self, data: bytes) -> int:
        """Send as much as there is room for: how many bytes that was."""
        if not self.open() or self._host is None:
            return 0
        with suppress(OSError):
            return self._host.send(data)
        return 0

    def open(self) -> bool:
        """Whether a host is at the other end."""
        if self._host is not None and self._has_left(self._host):
            self._host.close()
            self._host = None
        if self._host is None:
            with suppress(BlockingIOError):
                self._host, _ = self._door.accept()
                self._host.setblocking(False)
                self._host.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SOCKET_BYTES)
                # A line of a few bytes goes now, not when more have come together.
                self._host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return self._host is not None

    def wait(self, ms: int) -> None:
        """Until something comes, or so long."""
        select.select([self._host or self._door], [], [], ms / 1000)

    def close(self) -> None:
        """Take it away."""
        if self._host is not None:
            self._host.close()
        self._door.close()

    @staticmethod
    def _has_left(host: socket.socket) -> bool:
        """Whether it has hung up, and all that it had sent is read."""
        try:
            return host.recv(1, socket.MSG_PEEK) == b""
        except BlockingIOError:
            return False
        except OSError:
            return True
