"""The board's USB port: a line to a host's serial library, or a cable in memory.

Between both ends are the buffers of a real one: what the host has sent and the board has not
read, and what the board has written and the host has not taken.
"""

import contextlib
import fcntl
import os
import struct
import termios
import time

from legsim.simboard.lines import new_line
from legsim.simboard.process import Process

# Of MicroPython's RP2 port.
INPUT_BYTES = 512
OUTPUT_BYTES = 256
# How long a write waits for a host that has the port open and takes nothing: two tries.
STALL_US = 1000000
INTERRUPT = 3


class Usb:
    """Both directions, looked at whenever the board waits."""

    def __init__(self) -> None:
        self.line = new_line()
        self.port = self.line.port
        # A host in this process, in place of one at the port.
        self.plugged = False
        self.from_host = bytearray()
        self.to_host = bytearray()
        self.stalls = 0
        # Bytes that went into the line towards the host, and came out of it, in all.
        self.sent = self.taken = 0
        self._arrived = bytearray()

    def close(self) -> None:
        """Unplug for good."""
        self.line.close()

    def gather(self, taken: int, patience_s: float) -> None:
        """Wait until so many bytes in all have come out of the line, which takes its time."""
        end_s = time.monotonic() + patience_s
        while self.taken < taken and time.monotonic() < end_s:
            self.line.wait(1)
            self._arrived += self._out_of_line(taken - self.taken)

    def serve(self, process: Process) -> tuple[bool, int]:
        """Carry bytes both ways: whether Ctrl-C came, and how long the board had to wait."""
        stall_us = self._take(self._written(process))
        room = INPUT_BYTES - _unread(process)
        data = self._receive(max(0, room))
        if INTERRUPT in data:
            # MicroPython throws away what came before it and waits.
            self._drain(process)
            os.write(process.port_in, data[data.rindex(INTERRUPT) + 1 :])
            return True, stall_us
        if data:
            os.write(process.port_in, data)
        return False, stall_us

    def _written(self, process: Process) -> bytes:
        data = b""
        with contextlib.suppress(BlockingIOError):
            while part := os.read(process.port_out, 65536):
                data += part
        return data

    def _drain(self, process: Process) -> None:
        waiting = _unread(process)
        if waiting:
            os.read(process.unread, waiting)

    def _receive(self, most: int) -> bytes:
        if self.plugged:
            data = bytes(self.from_host[:most])
            del self.from_host[:most]
            return data
        if not self._arrived:
            return self._out_of_line(most)
        data = bytes(self._arrived[:most])
        del self._arrived[:most]
        return data

    def _out_of_line(self, most: int) -> bytes:
        data = self.line.read(most)
        self.taken += len(data)
        return data

    def _take(self, data: bytes) -> int:
        """Take what the board has written; how long it had to wait for room."""
        self.to_host += data
        if self.plugged:
            return 0
        if not self.open:
            # Nobody there: the oldest is overwritten, and nothing waits.
            del self.to_host[:-OUTPUT_BYTES]
            return 0
        while self.to_host and (count := self.line.write(bytes(self.to_host))):
            self.sent += count
            del self.to_host[:count]
        if len(self.to_host) <= OUTPUT_BYTES:
            return 0
        del self.to_host[OUTPUT_BYTES:]
        self.stalls += 1
        return STALL_US

    @property
    def open(self) -> bool:
        """Whether a host has the port open."""
        return self.line.open()


def _unread(process: Process) -> int:
    """How many bytes the board has been sent and has not read."""
    (count,) = struct.unpack("i", fcntl.ioctl(process.unread, termios.FIONREAD, bytes(4)))
    return int(count)
