"""CRC-16/CCITT-FALSE: polynomial 0x1021, start 0xFFFF, high bit first, nothing reflected."""

from array import array

import micropython
from micropython import const

from legwire.pointers import ptr8, ptr16

START = const(0xFFFF)
_POLYNOMIAL = const(0x1021)


def _make_table():
    """What each value of a byte makes of an empty register."""
    table = array("H", range(256))
    for byte in range(256):
        crc = byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (_POLYNOMIAL if crc & 0x8000 else 0)) & 0xFFFF
        table[byte] = crc
    return table


TABLE = _make_table()


def crc16(data, length, crc=START):
    """CRC of the first bytes of `data`; `crc` is that of what came before them."""
    return run_crc16(data, 0, length, crc, TABLE)


@micropython.viper
def run_crc16(data: ptr8, at: int, end: int, crc: int, table: ptr16) -> int:
    """Take the bytes from `at` to before `end` into `crc`; the caller vouches for the bounds.

    Byte by byte, only code with plain machine integers is quick enough for every tick.
    """
    while at < end:
        crc = crc << 8 & 0xFF00 ^ table[crc >> 8 ^ data[at]]
        at += 1
    return crc
