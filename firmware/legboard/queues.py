"""What waits to be said, in memory made at start: replies, and text for a person."""

from array import array
from struct import pack_into

import micropython
from legwire.frames import FORMATS, copy
from legwire.messages import FIELDS_AT, NOTE, REPLY, TEXT_BYTES
from micropython import const

REPLIES = const(8)
NOTE_BYTES = const(512)
# Text is fetched while less than this waits, and at most so much at once: half of the ring.
_FETCH = const(256)
_LOST_MOST = const((1 << 30) - 1)

_REPLY_FORMAT = FORMATS[REPLY]
_NOTE_FORMAT = FORMATS[NOTE]


def as_bytes(text):
    """Text as bytes; no memory is taken where it is bytes."""
    return text.encode() if isinstance(text, str) else text


class Replies:
    """Replies that wait; one that finds no room is only counted."""

    def __init__(self):
        self.lines = array("H", [0] * REPLIES)
        self.done = bytearray(REPLIES)
        self.texts = [b""] * REPLIES
        self.first = 0
        self.count = 0
        self.lost = 0

    @micropython.native
    def add(self, line, done, text):
        """Queue the reply to a line, by its number."""
        count = self.count
        if count == REPLIES:
            if self.lost < _LOST_MOST:
                self.lost += 1
            return
        at = (self.first + count) % REPLIES
        self.lines[at] = line
        self.done[at] = done
        self.texts[at] = text
        self.count = count + 1

    @micropython.native
    def pack(self, out):
        """Take the oldest one out, into a frame."""
        at = self.first
        pack_into(_REPLY_FORMAT, out, FIELDS_AT, self.lines[at], self.done[at], self.texts[at])
        self.first = (at + 1) % REPLIES
        self.count -= 1


class Notes:
    """Lines of text that wait, end to end in a ring; the frames cut them anywhere."""

    def __init__(self):
        self.ring = bytearray(NOTE_BYTES)
        self.first = 0
        self.count = 0
        self.lost = 0
        # Where more lines come from, and the number of the line that asked for them, if any.
        self.source = iter([b""])
        # What is left of a line that was fetched.
        self.rest = b""
        self.asked_by = 0
        self.telling = 0
        self.trouble = b""

    def add(self, text):
        """Put in a whole line, or count it as lost and return 0. Bytes take no memory."""
        text = as_bytes(text)
        count = len(text)
        if self.count + count + 1 > NOTE_BYTES:
            if self.lost < _LOST_MOST:
                self.lost += 1
            return 0
        self._put(text, count)
        self._put(b"\n", 1)
        return 1

    def tell(self, lines, asked_by):
        """Tell all these lines, of any length, a part at a time."""
        self.source = iter(lines)
        self.asked_by = asked_by
        self.trouble = b""
        self.rest = b""
        self.telling = 1

    def fetch(self):
        """Fetch more of it if there is room; 1 when all has been told. Takes memory."""
        if self.telling == 1 and self.count < _FETCH:
            if not self.rest:
                self._next_line()
            part = self.rest[:_FETCH]
            self.rest = self.rest[_FETCH:]
            self._put(part, len(part))
        if self.telling == 2 and self.count == 0:
            self.telling = 0
            return 1
        return 0

    def _next_line(self):
        try:
            self.rest = as_bytes(next(self.source)).rstrip(b"\r\n") + b"\n"
        except StopIteration:
            self.telling = 2
        except (OSError, MemoryError) as error:
            self.trouble = as_bytes(repr(error))
            self.telling = 2

    @micropython.native
    def pack(self, out):
        """Take the oldest part out, into a frame."""
        first = self.first
        count = min(self.count, TEXT_BYTES)
        whole = min(count, NOTE_BYTES - first)
        pack_into(_NOTE_FORMAT, out, FIELDS_AT, b"")
        copy(out, FIELDS_AT, self.ring, first, whole)
        copy(out, FIELDS_AT + whole, self.ring, 0, count - whole)
        self.first = (first + count) % NOTE_BYTES
        self.count -= count

    def _put(self, text, count):
        at = (self.first + self.count) % NOTE_BYTES
        whole = min(count, NOTE_BYTES - at)
        copy(self.ring, at, text, 0, whole)
        copy(self.ring, 0, text, whole, count - whole)
        self.count += count
