"""A board as the host sees it: lines to it and replies from it, frames, its whole memory.

Nothing runs in the background: whoever waits for frames or replies also grants the board
what it may send, and beats while the host is in charge.
"""

from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from math import inf
from types import TracebackType
from typing import Self

import numpy as np
from legwire.messages import SILENT, WIRE_VERSION, WORDS_A_FRAME
from numpy.typing import NDArray

from hocklift.errors import BoardError
from hocklift.transport import Transport
from hocklift.wire import LAYOUTS, Decoder, Frame, encode_line

# Shorter than any frame, so that at most one frame ends in what is read at once: whoever
# waits for one frame has not taken in the next, and whoever is killed loses no more than one.
READ_BYTES = 48
# A board that has just been reset waits two seconds before its program begins.
HELLO_S = 8.0
_ASK_AGAIN_S = 0.5
# Enough for a hello, which is answered first; its reply may wait.
_HELLO_BYTES = 120
# How many bytes may be on their way from a real board, by its kind. A board with USB fills its
# host's buffer, which holds 4 kB even where the host's program is busy, and no longer sends
# when the host is off; a tenth of a second of ticks is less than that.
_CREDITS = {"rp2": 2048}
REPLY_S = 2.0
# Flash is written and read between ticks, which takes a while.
SLOW_REPLY_S = 10.0
_SLOW = ("keep", "faults", "trace")
SNAPSHOT_S = 3.0
_SNAPSHOT_TRIES = 4
# After so long without a word that is due, what was granted must have been lost on the way.
_GRANT_AGAIN_S = 0.3
# So long without a tick that was asked for, and the board is taken for dead: longer than it takes
# to start anew.
SILENT_S = 5.0
# The board lets the feet down when it has not heard for rig key safety.host_time.
_BEAT_S = 0.05
# Of the credit, so much is used up before it is granted again: each line costs the board time.
_GRANT_SHARE = 4
# But what is left must always be enough for the longest frame and a fresh start before it.
_FRAME_BYTES = max(layout.struct.size for layout in LAYOUTS.values()) + 5
_WAIT_S = 0.05
_DRAIN_S = 0.1
# A board whose clock is so much behind has started anew.
_BORN_AGAIN_S = 1.0
# Frames that nobody has asked for wait here, the latest so many.
_INBOX_MOST = 5000


class RefusedError(BoardError):
    """The board understood a line and will not do it; `why` is its own text."""

    def __init__(self, message: str, why: str) -> None:
        super().__init__(message)
        self.why = why


class SilentError(BoardError):
    """The board does not answer, or has stopped sending."""


@dataclass(frozen=True)
class Snapshot:
    """The core's whole memory as it was after one tick, settings first."""

    tick: int
    words: NDArray[np.int32]


class Gatherer:
    """Puts the parts of snapshots together, whatever is missing or mixed in."""

    def __init__(self) -> None:
        self._tick = -1
        self._parts: dict[int, list[int]] = {}

    def add(self, frame: Frame) -> Snapshot | None:
        """Take one frame; a snapshot when it is complete."""
        if frame.message != "words":
            return None
        values = frame.values
        tick, first, total = (int(values[name]) for name in ("tick", "first", "total"))
        if tick != self._tick:
            self._tick, self._parts = tick, {}
        words = [int(values[f"word_{i}"]) for i in range(WORDS_A_FRAME)]
        self._parts[first] = words[: total - first]
        if sum(map(len, self._parts.values())) < total:
            return None
        flat = [word for first in sorted(self._parts) for word in self._parts[first]]
        self._parts = {}
        return Snapshot(tick, np.array(flat, np.int32))

    def over(self, frame: Frame) -> bool:
        """Whether this frame is the last part of a snapshot."""
        values = frame.values
        return frame.message == "words" and (
            int(values["first"]) + WORDS_A_FRAME >= int(values["total"])
        )


class Device:
    """One board at the other end of a port; `tap` is given every byte as it comes."""

    def __init__(self, transport: Transport, tap: Callable[[bytes], None] | None = None) -> None:
        self.transport = transport
        self.tap = tap
        self.in_charge = False
        # Whether whoever is in charge is still there; asked before each beat.
        self.alive: Callable[[], bool] = lambda: True
        self._decoder = Decoder()
        self._inbox: deque[Frame] = deque(maxlen=_INBOX_MOST)
        self._credit = transport.credit
        self._owed = 0
        self._every = 0
        self._period_s = 0.0
        # When the board started, by our clock, once that is known.
        self._born_s = inf
        # Whether the last look found nothing.
        self._quiet = True
        # Whether the board has something to say: nobody minds its silence otherwise.
        self._due = False
        self._heard_s = self._granted_s = self._beat_s = transport.now_s()

    def __enter__(self) -> Self:
        """Nothing but itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, _: BaseException | None, __: TracebackType | None
    ) -> None:
        """Let go of the port."""
        self.transport.close()

    @property
    def lost(self) -> int:
        """Frames that the board sent and that never came, damaged ones among them."""
        return self._decoder.lost

    @property
    def damaged(self) -> int:
        """Pieces that came and were no frame."""
        return self._decoder.damaged

    def hello(self) -> Frame:
        """Ask the board who it is, until it says so; SilentError where it does not."""
        end_s = self.transport.now_s() + HELLO_S
        while self.transport.now_s() < end_s:
            # A board that has just started has been granted nothing. What it was granted while
            # it started may have come to it later, so it all counts.
            self._grant(_HELLO_BYTES)
            self._write("hello")
            for frame in self.awaited(_ASK_AGAIN_S):
                if frame.message == "hello":
                    self._check_wire(frame)
                    self._period_s = int(frame.values["period_us"]) / 1e6
                    if self.transport.real:
                        kind = str(frame.values["board"])
                        self._credit = _CREDITS.get(kind, self.transport.credit)
                    self._drain()
                    return frame
        raise SilentError(
            f"{self.transport.name}: no board says hello here within {HELLO_S:g} s"
            f"{self._last_words()}; see that the firmware is on it, that the cable carries data,"
            " and that it is the right port"
        )

    def send(self, word: str, *args: int) -> str:
        """Give a command and wait for its reply; returns the reply's text.

        A silent command is only sent. Raises RefusedError or SilentError.
        """
        self._write(word, *args)
        if word in SILENT:
            return ""
        self._note_sent(word, args)
        patience_s = SLOW_REPLY_S if word in _SLOW else REPLY_S
        for frame in self.awaited(patience_s):
            if frame.message == "reply":
                return self._judge(" ".join([word, *map(str, args)]), frame)
        raise SilentError(
            f"{self.transport.name}: no answer to `{word}` within {patience_s:g} s"
            f"{self._last_words()}; look at the cable and at the board's power"
        )

    def frames(self, seconds: float | None = None) -> Iterator[Frame]:
        """Every frame in order, as it comes, for so long or for ever.

        Raises SilentError when a board that was asked for ticks sends none.
        """
        self._heard_s = self.transport.now_s()
        end_s = None if seconds is None else self._heard_s + seconds
        while True:
            while self._inbox:
                yield self._inbox.popleft()
            now_s = self.transport.now_s()
            if end_s is not None and now_s >= end_s:
                return
            if self._every and now_s - self._heard_s > self._silence_s():
                raise SilentError(
                    f"{self.transport.name}: the board fell silent{self._last_words()};"
                    " look at its power and at the cable"
                )
            self.poll(_WAIT_S if end_s is None else min(_WAIT_S, end_s - now_s))

    def awaited(self, seconds: float) -> Iterator[Frame]:
        """Frames that come from now on, for so long; `frames` will tell of them, too.

        Only while the board has something to say: its silence is taken for lost grants.
        """
        end_s = self.transport.now_s() + seconds
        self._due = True
        try:
            while (left_s := end_s - self.transport.now_s()) > 0:
                yield from self.poll(min(_WAIT_S, left_s))
        finally:
            self._due = False

    def snapshot(self) -> Snapshot:
        """Ask for the core's whole memory; what comes meanwhile waits for `frames`."""
        for _ in range(_SNAPSHOT_TRIES):
            # Refused: the last one, of which a part was lost, is still being sent.
            with suppress(RefusedError):
                self.send("snapshot")
            gatherer = Gatherer()
            for frame in self.awaited(SNAPSHOT_S):
                if found := gatherer.add(frame):
                    return found
                if gatherer.over(frame):
                    break
        raise SilentError(
            f"{self.transport.name}: the core's memory did not come whole in"
            f" {_SNAPSHOT_TRIES} tries; {self.lost} frames were lost: try another cable or port"
        )

    def take(self) -> None:
        """Take charge; from now on whoever waits for frames beats, too."""
        self.send("take")
        self.in_charge = True
        self._beat_s = self.transport.now_s()

    def leave(self) -> None:
        """Leave charge."""
        self.in_charge = False
        self.send("leave")

    def poll(self, wait_s: float = _WAIT_S) -> list[Frame]:
        """Let frames in, for at most so long; grant and beat as needed.

        Returns what has come, which also waits for `frames`.
        """
        self._keep_going()
        data = self.transport.read(READ_BYTES, wait_s)
        self._quiet = not data
        if not data:
            return []
        self._owed = max(0, self._owed - len(data))
        if self.tap is not None:
            self.tap(data)
        frames = self._decoder.feed(data)
        if frames:
            # Not by any byte: a board whose program has ended answers each line with its prompt.
            self._heard_s = self.transport.now_s()
        self._inbox.extend(frames)
        for frame in frames:
            if frame.message == "hello":
                self._greet(frame)
        return frames

    def _greet(self, hello: Frame) -> None:
        """See whether the board has started anew: it then knows nothing of what was wanted."""
        born_s = self.transport.now_s() - int(hello.values["time_ms"]) / 1000
        if born_s > self._born_s + _BORN_AGAIN_S:
            self.in_charge = False
            if self._every:
                self._write("every", self._every)
        self._born_s = born_s

    def _silence_s(self) -> float:
        """How long a board that was asked for ticks may say nothing."""
        return max(SILENT_S, 2 * self._every * self._period_s)

    def _keep_going(self) -> None:
        """Grant what has been used up, and beat."""
        now_s = self.transport.now_s()
        credit = self._credit
        if self.in_charge and now_s - self._beat_s >= _BEAT_S and self.alive():
            self._beat_s = now_s
            self._write("beat")
        quiet_s = now_s - max(self._heard_s, self._granted_s)
        # Only where nothing came: after a sleep of this computer much may wait to be read.
        if self._quiet and (self._due or self._every) and quiet_s > _GRANT_AGAIN_S:
            self._owed = 0
        if self._owed <= max(credit - credit // _GRANT_SHARE, min(_FRAME_BYTES, credit - 1)):
            self._grant(credit - self._owed)

    def _grant(self, count: int) -> None:
        self._granted_s = self.transport.now_s()
        self._owed += count
        self._write("grant", count)

    def _write(self, word: str, *args: int) -> None:
        self.transport.write(encode_line(word, *args))

    def _note_sent(self, word: str, args: tuple[int, ...]) -> None:
        if word == "every":
            self._every = args[0]

    def _judge(self, line: str, reply: Frame) -> str:
        if reply.values["done"]:
            return reply.text()
        raise RefusedError(
            f"{self.transport.name}: the board refuses `{line}`: {reply.text()}", reply.text()
        )

    def _check_wire(self, hello: Frame) -> None:
        if hello.values["wire"] != WIRE_VERSION:
            raise BoardError(
                f"{self.transport.name}: the board's firmware {hello.values['firmware']} speaks"
                f" version {hello.values['wire']} of the wire, this hocklift version"
                f" {WIRE_VERSION}; put this hocklift's firmware onto the board"
            )

    def _drain(self) -> None:
        """Let in the replies to what was asked while nobody knew whether anybody listened."""
        for _ in self.awaited(_DRAIN_S):
            pass

    def _last_words(self) -> str:
        """What the board's program failed of, if it said so in plain text."""
        _, found, text = self._decoder.stray.decode("utf-8", "replace").rpartition("Traceback")
        # Where it happened is told line by line, indented; then what; then comes the prompt.
        lines = [line for line in text.splitlines()[1:] if not line.startswith(" ")]
        return f" (its program ended: {lines[0].strip(' :')})" if found and lines else ""
