"""The board's side of a line: bytes in, checked commands out.

A line is printable text, `word numbers*CRC`, ended by a line feed or a carriage return; its
words and numbers are one space apart. Nothing of it counts before its check is right.
"""

from array import array

import micropython
from micropython import const

from legwire.crc import START, TABLE, run_crc16
from legwire.messages import COMMANDS, LINE_BYTES
from legwire.pointers import ptr8, ptr32

# What `take` returns.
NOTHING = const(0)
GOOD = const(1)
# The check is right, but no such command takes these numbers.
WRONG = const(2)

UNKNOWN = const(-1)
# A star and four digits.
CHECK_BYTES = const(5)
_STAR = const(42)
# The length of a line that holds something unprintable or is too long.
_SPOILT = const(1023)
# The largest small integer of a 32-bit board, and it without its last digit, and that digit.
_MOST = const((1 << 30) - 1)
_TENTH = const(107374182)
_LAST = const(3)


class LineReader:
    """Made once; then reads line after line without any more memory.

    After GOOD, `word` is the index into COMMANDS and `args` holds the first `count` numbers;
    after WRONG, `word` may be UNKNOWN. `bad` counts the lines that failed their check.
    """

    def __init__(self):
        self.words = [bytearray(row[0].encode()) for row in COMMANDS]
        self.line = bytearray(LINE_BYTES)
        self.length = 0
        self.bad = 0
        self.word = UNKNOWN
        self.count = 0
        self.args = array("i", [0] * max([len(row[1]) for row in COMMANDS]))

    @micropython.native
    def take(self, byte, stream, more):
        """Take a byte, and at most so many more, up to the end of a line whose check is right.

        GOOD or WRONG then; `stream.read_byte()` gives a byte, or -1 where none has come.
        """
        line = self.line
        room = len(line)
        length = self.length
        while byte >= 0:
            if 32 <= byte <= 126:
                if length < room:
                    line[length] = byte
                    length += 1
                else:
                    length = _SPOILT
            elif byte == 10 or byte == 13:
                found = _judge(self, length)
                length = 0
                if found:
                    self.length = 0
                    return found
            else:
                length = _SPOILT
            if more == 0:
                break
            more -= 1
            byte = stream.read_byte()
        self.length = length
        return NOTHING


@micropython.native
def _judge(reader, length):
    """Judge a line that has ended."""
    # A line feed after a carriage return, or a key pressed to see if anybody is there.
    if length == 0:
        return NOTHING
    line = reader.line
    end = length - CHECK_BYTES
    if end > 0 and length != _SPOILT:
        if run_crc16(line, 0, end, START, TABLE) == check_of(line, end):
            return _parse(reader, end)
    if reader.bad < _MOST:
        reader.bad += 1
    return NOTHING


@micropython.native
def _parse(reader, end):
    """Find the word and its numbers in a line whose check was right."""
    line = reader.line
    after = word_end(line, end)
    words = reader.words
    reader.word = UNKNOWN
    for i in range(len(words)):
        if len(words[i]) == after and same(line, words[i], after):
            reader.word = i
            break
    else:
        return WRONG
    args = reader.args
    count = numbers(line, after, end, args, len(args))
    reader.count = count
    rows = COMMANDS[reader.word][1]
    if count != len(rows):
        return WRONG
    for i in range(count):
        row = rows[i]
        if args[i] < row[1] or args[i] > row[2]:
            return WRONG
    return GOOD


@micropython.viper
def check_of(line: ptr8, at: int) -> int:
    """The number in the star and four hexadecimal digits at `at`; -1 if they are not that."""
    if line[at] != _STAR:
        return -1
    value = 0
    for i in range(at + 1, at + CHECK_BYTES):
        digit = line[i]
        if 48 <= digit <= 57:
            digit -= 48
        elif 65 <= digit <= 70:
            digit -= 55
        elif 97 <= digit <= 102:
            digit -= 87
        else:
            return -1
        value = value << 4 | digit
    return value


@micropython.viper
def word_end(line: ptr8, end: int) -> int:
    """Where the first space is, or the end."""
    at = 0
    while at < end and line[at] != 32:
        at += 1
    return at


@micropython.viper
def same(line: ptr8, word: ptr8, count: int) -> int:
    """1 if the first bytes of both are the same."""
    for i in range(count):
        if line[i] != word[i]:
            return 0
    return 1


@micropython.viper
def numbers(line: ptr8, at: int, end: int, args: ptr32, most: int) -> int:
    """Read every ` number` from `at` on into `args`; how many, or -1 if anything else is there."""
    count = 0
    while at < end:
        at += 1
        negative = 0
        if at < end and line[at] == 45:
            negative = 1
            at += 1
        first = at
        value = 0
        while at < end and line[at] != 32:
            digit = line[at] - 48
            if digit < 0 or digit > 9 or value > _TENTH:
                return -1
            if value == _TENTH and digit > _LAST:
                return -1
            value = value * 10 + digit
            at += 1
        if at == first or count == most:
            return -1
        args[count] = 0 - value if negative else value
        count += 1
    return count
