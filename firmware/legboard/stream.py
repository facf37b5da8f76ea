"""The port that the host is at: bytes in one at a time, and out, without waiting for any."""

import select
import sys

import micropython


class Stream:
    """The raw side of standard input and output, which neither turns line ends."""

    def __init__(self):
        self.input = sys.stdin.buffer
        self.output = sys.stdout.buffer
        self.poller = select.poll()
        self.poller.register(self.input, select.POLLIN)
        self.byte = bytearray(1)
        # The first look takes memory, no later one does.
        self.poller.ipoll(0)

    @micropython.native
    def read_byte(self):
        """The next byte, or -1 where none has come. Reading more at once would wait for it."""
        for _ in self.poller.ipoll(0):
            if self.input.readinto(self.byte):  # type: ignore[union-attr]  # it has one
                return self.byte[0]
        return -1

    @micropython.native
    def write(self, buffer, length):
        """Send the first bytes of `buffer`; never more than the host has said it will take."""
        return self.output.write(buffer, length)  # type: ignore[call-overload]  # of MicroPython
