"""The board's end of the wire: lines in, at most one a tick; frames out, as far as granted.

Nothing here waits for the port. With no grant left nothing is written: ticks are dropped and
counted, all else waits its turn in memory made at start. Between `poll` and `after_tick` nothing
takes memory while a leg is not off.
"""

from array import array
from struct import pack_into

import micropython
from legcore.phases import OFF
from legcore.stages import STAND
from legwire.frames import FORMATS, FrameWriter
from legwire.lines import GOOD, UNKNOWN, LineReader
from legwire.messages import (
    ALWAYS,
    BENCH_ONLY,
    COMMANDS,
    FED,
    FIELDS_AT,
    HELLO,
    NOTE,
    REPLY,
    TEXT_BYTES,
    TICK,
    WIRE_VERSION,
    WORDS,
    WORDS_A_FRAME,
)
from micropython import const

from legboard.queues import Notes, Replies, as_bytes
from legboard.snapshot import copier
from legboard.words import rows, write

# So many bytes a tick are read at most. With a leg on: half a grant, or a beat in two; with both
# off, the inputs of a fed tick.
BYTES_ON = const(8)
BYTES_OFF = const(96)
_MOST = const((1 << 30) - 1)
_LOOP_MOST_US = const(65535)

# How far a snapshot is.
NONE = const(0)
ASKED = const(1)
STATE_TAKEN = const(2)
SENDING = const(3)

_HELLO_FORMAT = FORMATS[HELLO]
_TICK_FORMAT = FORMATS[TICK]
_WORDS_FORMAT = FORMATS[WORDS]
_END = b"\0"


class Asks:
    """What the host wants of the board.

    `host`, `feed` and the presses are states; the loop acts on each of the others, sets it
    back to 0, and answers it.
    """

    def __init__(self):
        self.host = 0
        self.feed = 0
        self.press_left = 0
        self.press_right = 0
        self.keep = 0
        self.day = 0
        self.faults = 0
        self.trace = 0
        self.restart = 0


class Link:
    """Made once, at start, with all the memory that it needs."""

    def __init__(self, board, stream):
        self.board = board
        self.rig = board.rig
        self.stream = stream
        self.asks = Asks()
        self.reader = LineReader()
        self.handlers = [HANDLERS[row[0]] for row in COMMANDS]
        self.whens = [row[2] for row in COMMANDS]
        self.usages = [_usage(row) for row in COMMANDS]
        # What the last line came to that has not been acted on.
        self.found = 0
        # Lines that passed their check, counted round.
        self.line = 0
        self.stop = 0
        self.heard = 0
        # Inputs that wait for their tick, and a fed tick that waits to be told.
        self.fed = array("i", [0] * len(FED))
        self.fed_waits = 0
        self.fed_owed = 0

        # Bytes that the host still takes. A fresh start ends whatever was said before.
        self.credit = 0
        self.torn = 1
        self.short_writes = 0
        self.writer = FrameWriter()
        self.out = self.writer.out
        self.who = [as_bytes(text) for text in (board.firmware, board.kind, board.micropython)]

        # A tick is told every so many, as asked; none but fed ones while the core is fed.
        self.tick_bytes = self.writer.sizes[TICK]
        self.every_asked = 0
        self.every = 0
        self.until_told = 0
        self.dropped = 0
        # Flags of inputs that the step takes back, and whether they were fed.
        self.early_flags = 0

        # Whatever waits is sent in this order, one frame a tick: hello, replies, words, notes.
        self.waits = 1
        self.hello = 1
        self.replies = Replies()
        self.notes = Notes()
        self.snapshot = NONE
        self.words = array("i", [0] * (len(board.places) + WORDS_A_FRAME))
        self.words_at = 0
        self.words_tick = 0
        self.copy_settings = copier("Settings")
        self.copy_state = copier("Rig", board.store.count, "settings")

    @micropython.native
    def poll(self):
        """Read what has come, up to the end of one line, or act on that line.

        With a leg on a tick has time for only one of them, with both off for both.
        """
        found = self.found
        if found:
            self.found = 0
            _act(self, found)
            return
        stream = self.stream
        byte = stream.read_byte()
        if byte < 0:
            return
        if self.rig.contactor and self.asks.feed == 0:
            self.found = self.reader.take(byte, stream, BYTES_ON - 1)
            return
        found = self.reader.take(byte, stream, BYTES_OFF - 1)
        if found:
            _act(self, found)

    @micropython.native
    def give_inputs(self):
        """Put what the host says into the inputs of the core; 1 if the core is to step now."""
        rig = self.rig
        asks = self.asks
        if asks.feed:
            return _give_fed(self, rig)
        host = asks.host
        rig.host = host
        if self.heard:
            self.heard = 0
            rig.host_heard = 1
        if self.stop:
            self.stop = 0
            rig.stop = 1
        if host and rig.settings.stage <= STAND:
            if asks.press_left:
                rig.left.switch = 1
            if asks.press_right:
                rig.right.switch = 1
        self.early_flags = rig.was_hung << 3 | rig.host_heard << 5
        return 1

    @micropython.native
    def after_tick(self, tick, loop_us):
        """Send one frame of what waits, and the tick if it is due, as far as granted."""
        # A busy stream of ticks must not starve what waits, so that has the next grant.
        free = _send_waiting(self, tick) if self.waits else 1
        if self.fed_owed:
            if free and self.credit > self.tick_bytes:
                self.fed_owed = 0
                _send_tick(self, self.rig, tick, loop_us)
        elif self.every:
            left = self.until_told - 1
            if left <= 0:
                left = self.every
                if free and self.credit > self.tick_bytes:
                    _send_tick(self, self.rig, tick, loop_us)
                elif self.dropped < _MOST:
                    self.dropped += 1
            self.until_told = left

    def note(self, text):
        """Say a line to a person as soon as it can be sent; 1 if it fits. Bytes take no memory."""
        self.waits = 1
        return self.notes.add(text)

    def tell(self, lines):
        """Say many lines, a few at a time, then answer the line that was acted on last."""
        self.notes.tell(lines, self.line)

    def pull(self):
        """Fetch more of what is to be told; takes memory, so only while both legs are off."""
        notes = self.notes
        if notes.telling:
            if notes.fetch():
                _reply(self, notes.asked_by, 0 if notes.trouble else 1, notes.trouble)
            self.waits = 1

    def answer(self, done, text=b""):
        """Reply to the line that was acted on last: `text` is why it was refused, or more."""
        _reply(self, self.line, done, as_bytes(text))

    def idle(self):
        """1 when nothing waits to be sent."""
        return 0 if self.waits or self.notes.telling else 1


def _usage(row):
    """What a command takes, as short as a reply must be."""
    usage = row[0] + " takes " + ", ".join([f"{name} {a} to {b}" for name, a, b in row[1]])
    if not row[1] or len(usage) > TEXT_BYTES:
        usage = f"{row[0]} takes {len(row[1]) or 'no'} numbers"
    return usage.encode()


@micropython.native
def _act(link, found):
    """Do what a line that passed its check asks for, or say why not."""
    line = link.line + 1 & 65535
    link.line = line
    reader = link.reader
    word = reader.word
    if word == UNKNOWN:
        _reply(link, line, 0, b"no such command")
        return
    if found != GOOD:
        _reply(link, line, 0, link.usages[word])
        return
    when = link.whens[word]
    if when == BENCH_ONLY:
        if link.rig.settings.stage > STAND:
            _reply(link, line, 0, b"only at the stages unloaded and stand")
            return
    elif when != ALWAYS and _resting(link) == 0:
        _reply(link, line, 0, b"only while both legs are off")
        return
    why_not = link.handlers[word](link, reader.args)
    if why_not is not None:
        _reply(link, line, 0 if why_not else 1, why_not)


@micropython.native
def _resting(link):
    """1 if no leg can move: both are off, or the core is being fed and drives nothing."""
    rig = link.rig
    if (rig.left.phase == OFF and rig.right.phase == OFF) or link.asks.feed:
        return 1
    return 0


@micropython.native
def _reply(link, line, done, text):
    link.waits = 1
    link.replies.add(line, done, text)


# What commands do. Each returns why it is refused, nothing to say where it is done, or None
# where the answer comes later or not at all.

_DONE = b""


@micropython.native
def _hello(link, args):
    link.waits = 1
    link.hello = 1
    return _DONE


@micropython.native
def _grant(link, args):
    credit = link.credit + args[0]
    link.credit = credit if credit < _MOST else _MOST


@micropython.native
def _every(link, args):
    link.every_asked = args[0]
    _set_every(link)
    return _DONE


@micropython.native
def _set_every(link):
    """Ticks come every so often as asked; fed ones each as it is fed."""
    link.every = 0 if link.asks.feed else link.every_asked
    link.until_told = 0


@micropython.native
def _snapshot(link, args):
    if link.snapshot:
        return b"the last one is still being sent"
    link.waits = 1
    link.snapshot = ASKED
    return _DONE


@micropython.native
def _stop(link, args):
    link.stop = 1
    return _DONE


@micropython.native
def _take(link, args):
    _release(link.asks, 1)
    link.heard = 1
    return _DONE


@micropython.native
def _beat(link, args):
    link.heard = 1


@micropython.native
def _leave(link, args):
    _release(link.asks, 0)
    return _DONE


@micropython.native
def _release(asks, host):
    """Begin or end the host's charge, with both feet down."""
    asks.host = host
    asks.press_left = 0
    asks.press_right = 0


@micropython.native
def _press(link, args):
    asks = link.asks
    if asks.host == 0:
        return b"only a host in charge may press: take first"
    if args[0]:
        asks.press_right = args[1]
    else:
        asks.press_left = args[1]
    return _DONE


def _set(link, args):
    word = args[0]
    value = args[1]
    board = link.board
    if link.snapshot:
        return b"a snapshot is being sent"
    if word < board.store.count or not link.asks.feed:
        return as_bytes(board.store.put(word, value))
    if word >= len(board.places):
        return b"no such word"
    row = rows("Rig")[word]
    if not row[2] <= value <= row[3]:
        return f"{row[0]} may be {row[2]} to {row[3]}".encode()
    write(board.places[word], value)
    return _DONE


def _keep(link, args):
    link.asks.day = args[0]
    link.asks.keep = 1


def _faults(link, args):
    if link.notes.telling:
        return b"still telling"
    link.asks.faults = 1
    return None


def _trace(link, args):
    if link.notes.telling:
        return b"still telling"
    link.asks.trace = 1
    return None


def _feed(link, args):
    link.asks.feed = args[0]
    link.fed_waits = 0
    link.fed_owed = 0
    _set_every(link)
    return _DONE


@micropython.native
def _in(link, args):
    if link.asks.feed == 0:
        return b"feed 1 comes first"
    if link.fed_waits:
        return b"the last inputs still wait"
    fed = link.fed
    for i in range(len(fed)):
        fed[i] = args[i]
    link.fed_waits = 1
    return None


def _restart(link, args):
    link.asks.restart = 1
    return _DONE


HANDLERS = {
    "hello": _hello,
    "grant": _grant,
    "every": _every,
    "snapshot": _snapshot,
    "stop": _stop,
    "take": _take,
    "beat": _beat,
    "leave": _leave,
    "press": _press,
    "set": _set,
    "keep": _keep,
    "faults": _faults,
    "trace": _trace,
    "feed": _feed,
    "in": _in,
    "restart": _restart,
}


@micropython.native
def _give_fed(link, rig):
    """The inputs of a fed tick, in the order of FED, once the one before has been told."""
    if link.fed_waits == 0 or link.fed_owed:
        return 0
    link.fed_waits = 0
    link.fed_owed = 1
    fed = link.fed
    left = rig.left
    right = rig.right
    left.thigh.count = fed[0]
    left.shank.count = fed[1]
    left.switch = fed[2]
    left.sole = fed[3]
    right.thigh.count = fed[4]
    right.shank.count = fed[5]
    right.switch = fed[6]
    right.sole = fed[7]
    rig.arm = fed[8]
    rig.stop = fed[9]
    rig.settings_bad = fed[10]
    rig.was_hung = fed[11]
    rig.missed_ticks = fed[12]
    rig.battery_mV = fed[13]
    rig.supply_mV = fed[14]
    rig.stick_count = fed[15]
    rig.host = fed[16]
    rig.host_heard = fed[17]
    link.early_flags = 128 | fed[11] << 3 | fed[17] << 5
    return 1


@micropython.native
def _send(link, message):
    """Finish what was packed and write it; after a write cut short, with a fresh start."""
    stream = link.stream
    credit = link.credit
    if link.torn:
        credit -= 1
        link.torn = 1 - stream.write(_END, 1)
    length = link.writer.finish(message)
    link.credit = credit - length
    if stream.write(link.out, length) != length:
        link.torn = 1
        if link.short_writes < _MOST:
            link.short_writes += 1


@micropython.native
def _send_waiting(link, tick):
    """Send one frame of what waits; 0 if it is not granted yet.

    A frame wants one byte more than it has, for a fresh start.
    """
    sizes = link.writer.sizes
    credit = link.credit
    replies = link.replies
    notes = link.notes
    if link.hello:
        if credit <= sizes[HELLO]:
            return 0
        _send_hello(link, tick)
    elif replies.count:
        if credit <= sizes[REPLY]:
            return 0
        replies.pack(link.out)
        _send(link, REPLY)
    elif link.snapshot == ASKED:
        _take_state(link, tick)
    elif link.snapshot == STATE_TAKEN:
        _take_settings(link)
    elif link.snapshot:
        if credit <= sizes[WORDS]:
            return 0
        _send_words(link)
    elif notes.count:
        if credit <= sizes[NOTE]:
            return 0
        notes.pack(link.out)
        _send(link, NOTE)
    else:
        link.waits = 0
    return 1


@micropython.native
def _send_tick(link, rig, tick, loop_us):
    left = rig.left
    right = rig.right
    if loop_us > _LOOP_MOST_US:
        loop_us = _LOOP_MOST_US
    # Most flags are seldom up, and a look costs less than a shift.
    flags = rig.arm | rig.contactor << 6 | link.early_flags
    if rig.stop:
        flags |= 2
    if rig.settings_bad:
        flags |= 4
    if rig.host:
        flags |= 16
    pack_into(
        _TICK_FORMAT,
        link.out,
        FIELDS_AT,
        tick,
        flags,
        rig.missed_ticks,
        rig.battery_mV,
        rig.supply_mV,
        rig.stick_count,
        rig.fault_bits,
        rig.arm_blocks,
        loop_us,
        left.thigh.count,
        left.shank.count,
        left.switch | left.sole << 1,
        left.phase,
        left.fault_bits,
        left.fold_cdeg,
        left.setpoint_cdeg_q6,
        left.drive_permille,
        left.pulse_us,
        right.thigh.count,
        right.shank.count,
        right.switch | right.sole << 1,
        right.phase,
        right.fault_bits,
        right.fold_cdeg,
        right.setpoint_cdeg_q6,
        right.drive_permille,
        right.pulse_us,
    )
    _send(link, TICK)


@micropython.native
def _send_hello(link, tick):
    link.hello = 0
    board = link.board
    store = board.store
    who = link.who
    period_us = board.period_us
    pack_into(
        _HELLO_FORMAT,
        link.out,
        FIELDS_AT,
        WIRE_VERSION,
        who[0],
        who[1],
        who[2],
        board.unique,
        board.starts & 65535,
        tick // 1000 * period_us + tick % 1000 * period_us // 1000,
        period_us,
        store.crc,
        store.state,
        link.rig.settings.stage,
        store.day,
    )
    _send(link, HELLO)


@micropython.native
def _take_state(link, tick):
    """Copy the core's state as this tick has left it."""
    link.copy_state(link.rig, link.words)
    link.words_tick = tick
    link.snapshot = STATE_TAKEN


@micropython.native
def _take_settings(link):
    """Copy the settings a tick later: none of them changes until all words are sent."""
    link.copy_settings(link.rig.settings, link.words)
    link.words_at = 0
    link.snapshot = SENDING


@micropython.native
def _send_words(link):
    at = link.words_at
    words = link.words
    count = len(link.board.places)
    pack_into(
        _WORDS_FORMAT,
        link.out,
        FIELDS_AT,
        link.words_tick,
        at,
        count,
        words[at],
        words[at + 1],
        words[at + 2],
        words[at + 3],
        words[at + 4],
        words[at + 5],
        words[at + 6],
        words[at + 7],
        words[at + 8],
        words[at + 9],
        words[at + 10],
        words[at + 11],
        words[at + 12],
        words[at + 13],
        words[at + 14],
        words[at + 15],
        words[at + 16],
        words[at + 17],
        words[at + 18],
        words[at + 19],
        words[at + 20],
        words[at + 21],
        words[at + 22],
        words[at + 23],
    )
    at += WORDS_A_FRAME
    link.words_at = at
    if at >= count:
        link.snapshot = NONE
    _send(link, WORDS)
