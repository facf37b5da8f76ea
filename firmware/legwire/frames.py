"""The board's side of a frame: fields packed in place, numbered, checked and stuffed.

Frames are short enough that consistent overhead byte stuffing never meets its longest block
of 254 bytes: it adds one byte in front and moves nothing, so fields are packed where they stay.
"""

import struct

import micropython

from legwire.crc import TABLE
from legwire.messages import FIELDS_AT, MESSAGES, PAYLOAD_MOST
from legwire.pointers import ptr8, ptr16


def format_of(fields):
    """The struct format of a message's fields: little-endian, without gaps."""
    return "<" + "".join([row[1] for row in fields])


# By number of the message; there is no message 0.
FORMATS = ("",) + tuple([format_of(row[2]) for row in MESSAGES])


class FrameWriter:
    """Made once; `out` then holds one frame after another, without any more memory.

    Pack the fields into `out` at FIELDS_AT by the message's format of FORMATS, then `finish`.
    """

    def __init__(self):
        self.sequence = 0
        # By number of the message: where its fields end, and how many bytes its frame has.
        self.ends = [FIELDS_AT + struct.calcsize(each) for each in FORMATS]
        self.sizes = [end + 3 for end in self.ends]
        if max(self.ends) - 1 > PAYLOAD_MOST:
            raise ValueError("a message is too long for its frame")
        self.out = bytearray(max(self.sizes))

    @micropython.native
    def finish(self, message):
        """Make a frame of what was packed; return how many bytes of `out` it takes."""
        out = self.out
        end = self.ends[message]
        sequence = self.sequence
        self.sequence = sequence + 1 & 255
        out[1] = message
        out[2] = sequence
        add_crc(out, end, TABLE)
        stuff(out, end + 2)
        return end + 3


@micropython.viper
def add_crc(out: ptr8, end: int, table: ptr16):
    """Put the CRC of what is in `out` from 1 to before `end` behind it, high byte first."""
    # START, which machine code cannot fetch as a bare integer.
    crc = 0xFFFF
    at = 1
    while at < end:
        crc = crc << 8 & 0xFF00 ^ table[crc >> 8 ^ out[at]]
        at += 1
    out[end] = crc >> 8
    out[end + 1] = crc & 255


@micropython.viper
def stuff(out: ptr8, end: int):
    """Stuff what is in `out` from 1 to before `end`, at most 253 bytes, and end it with a zero.

    Each zero, and the byte in front, becomes the distance to the next one or to the end.
    """
    last = 0
    at = 1
    while at < end:
        if out[at] == 0:
            out[last] = at - last
            last = at
        at += 1
    out[last] = end - last
    out[end] = 0


@micropython.viper
def copy(out: ptr8, at: int, source: ptr8, start: int, count: int):
    """Copy bytes; the caller vouches for the bounds."""
    for i in range(count):
        out[at + i] = source[start + i]
