"""What the board's end of the wire is put through, on MicroPython and on a PC alike.

`look` is called before and after each call that a tick makes, `lock` and `unlock` around
them: on MicroPython a look at the clock, and the lock of the heap.
"""

from struct import calcsize, pack_into

from legboard.link import Link
from legboard.words import places, write
from legcore.model import make
from legwire.frames import FIELDS_AT, FORMATS, FrameWriter
from legwire.lines import LineReader

LOOP_US = 700
TALE = ["a line\r\n", "", "x" * 300, "the end"]


class Store:
    """Stands in for the settings' keeper."""

    count = 0
    state = 0
    crc = 65535
    day = 9999

    def put(self, word, value):
        """Refuse one word, as if its value were out of range."""
        return "this one is refused" if word == 7 else ""


class Board:
    """What the link needs of a board."""

    firmware = "0.1.0"
    kind = "rp2"
    micropython = "1.28.0"
    unique = b"\x01\x02\x00\x03\xff\x04\x05\x06"
    starts = 65537
    period_us = 4000

    def __init__(self, rig=None):
        self.rig = rig or make("Rig")
        self.store = Store()
        self.places = places(self.rig, "Rig")
        self.store.count = len(places(self.rig.settings, "Settings"))


class Stream:
    """The port: bytes that have come, and a place for what is written."""

    def __init__(self, room):
        self.come = b""
        self.left = 0
        self.written = bytearray(room)
        self.end = 0

    def put(self, data):
        """Let more bytes come."""
        if self.left:
            data = self.come[-self.left :] + data
        self.come = data
        self.left = len(data)

    def read_byte(self):
        """The next byte, or -1."""
        left = self.left
        if left:
            self.left = left - 1
            return self.come[-left]
        return -1

    def write(self, buffer, length):
        """Take all."""
        end = self.end
        if end + length > len(self.written):
            raise ValueError("more was written than the test has room for")
        for i in range(length):
            self.written[end + i] = buffer[i]
        self.end = end + length
        return length


class Sink(Stream):
    """A port that takes everything and keeps nothing, at next to no cost."""

    def write(self, buffer, length):
        """Take all."""
        return length


def drive(link, board, script, states, look, lock, unlock):
    """Run a script of ticks: (bytes that come, line to note, whether the heap is locked).

    Returns what the link came to after each tick.
    """
    first = board.store.count
    state = board.places[first:]
    trace = []
    at = 0
    for tick, (come, note, locked) in enumerate(script):
        link.stream.put(come)
        for place in state:
            write(place, states[at])
            at += 1
        if locked:
            lock()
        try:
            look()
            link.poll()
            look()
            stepped = link.give_inputs()
            look()
            link.after_tick(tick, LOOP_US)
            look()
            if note:
                link.note(note)
        finally:
            if locked:
                unlock()
        asks = link.asks
        if not locked:
            if asks.faults:
                asks.faults = 0
                link.tell(TALE)
            link.pull()
        rig = board.rig
        trace += [stepped, link.credit, link.dropped, link.line, link.reader.bad, asks.host]
        trace += [asks.press_left, asks.press_right, asks.keep, asks.faults, asks.restart]
        trace += [rig.host, rig.host_heard, rig.stop, rig.left.switch, rig.right.switch]
        trace += [link.idle(), link.short_writes]
    return trace


def new_link(settings, stream):
    """A board with these settings, and its link."""
    board = Board()
    for i in range(board.store.count):
        write(board.places[i], settings[i])
    return board, Link(board, stream)


def write_frames(messages, lock, unlock):
    """The frames of messages, each (number, values), end to end; texts are bytes."""
    writer = FrameWriter()
    frames = bytearray()
    for number, values in messages:
        pack_into(FORMATS[number], writer.out, FIELDS_AT, *values)
        lock()
        try:
            length = writer.finish(number)
        finally:
            unlock()
        if length != writer.sizes[number] or length != calcsize(FORMATS[number]) + 6:
            raise ValueError("a frame has not the length that was said")
        frames += writer.out[:length]
    return bytes(frames)


def read_lines(data, lock, unlock):
    """Every line found in `data`: what `take` said, and word, count and arguments."""
    reader = LineReader()
    stream = Stream(0)
    stream.put(data)
    found = []
    while True:
        lock()
        try:
            byte = stream.read_byte()
            said = reader.take(byte, stream, 15) if byte >= 0 else -1
        finally:
            unlock()
        if said < 0:
            return found, reader.bad
        if said:
            # Of a line that is wrong, the numbers mean nothing.
            args = list(reader.args[: reader.count]) if said == 1 else []
            found.append([said, reader.word, args])
