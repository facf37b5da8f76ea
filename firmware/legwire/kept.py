"""The file of settings on the board: bytes from integers and back, the same on both ends.

A header, every integer in its declared order, and a CRC-16 of both, high byte first. The
layout's number tells settings of another version, whose integers mean something else.
"""

import struct

from micropython import const

from legwire.crc import START, crc16

FILE = "settings.bin"
# Mark, layout, how many integers, day of the calibration.
_HEADER = "<4sHHI"
_HEADER_BYTES = const(12)
_MARK = b"legs"

# What may be wrong with settings, by its index.
GOOD = const(0)
MISSING = const(1)
CORRUPT = const(2)
OTHER_VERSION = const(3)
NOT_ALLOWED = const(4)
CHANGED = const(5)
STATES = ("good", "missing", "corrupt", "of another version", "not allowed", "changed in memory")


def layout(names):
    """A number that changes with the name, unit or place of any integer; `names` are texts."""
    crc = START
    for name in names:
        text = name.encode()
        crc = crc16(text, len(text), crc)
        crc = crc16(b"\n", 1, crc)
    return crc


def pack(values, layout, day):
    """The whole file; `values` is the integers as little-endian bytes."""
    data = struct.pack(_HEADER, _MARK, layout, len(values) // 4, day) + values
    crc = crc16(data, len(data))
    return data + bytes((crc >> 8, crc & 255))


def unpack(data, layout, count):
    """(state, day, values) of a whole file of `count` integers; their values as bytes."""
    end = len(data) - 2
    if end < _HEADER_BYTES or crc16(data, end) != data[end] << 8 | data[end + 1]:
        return CORRUPT, 0, b""
    mark, found, kept, day = struct.unpack_from(_HEADER, data, 0)
    if mark != _MARK or found != layout or kept != count or end != _HEADER_BYTES + 4 * count:
        return OTHER_VERSION, 0, b""
    return GOOD, day, data[_HEADER_BYTES:end]
