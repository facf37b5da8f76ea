"""A recording: what a board said, byte by byte as it came, between frames that the host adds.

The first frame is the host's header: JSON with rig file, settings and versions. All frames
are delimited and checked as on the wire; the host's have numbers that no board uses. So a
file that breaks off anywhere is readable up to there, and damage costs the frames it hit.
"""

import hashlib
import json
import struct
from binascii import crc_hqx
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np
from cobs import cobs
from legsim.core import word_of, words_of
from legsim.rig import Rig
from legwire.crc import START
from legwire.messages import MESSAGES, TICK, TICK_FLAGS, WORDS
from numpy.typing import NDArray

from hocklift.device import Gatherer, Snapshot
from hocklift.errors import LogError, OutputError, RigFileError
from hocklift.rigfile.file import parse_rig
from hocklift.wire import LAYOUTS, Frame

FORMAT = 1
# Numbers of the host's own frames.
HEADER, MARK, END = 128, 129, 130
# So many integers of the core's memory are settings; they come first.
SETTINGS_COUNT = len(words_of("Settings"))
_PART_BYTES = 1 << 20
# A snapshot is sent within so many ticks.
_SNAPSHOT_TICKS = 5000

_CODES = {"B": "u1", "H": "<u2", "I": "<u4", "h": "<i2", "i": "<i4"}
_TICK_FIELDS = next(row[2] for row in MESSAGES if row[0] == TICK)
# A tick's payload as it lies in memory: message number, sequence number, fields without gaps.
TICK_DTYPE = np.dtype(
    [("message", "u1"), ("sequence", "u1"), *[(row[0], _CODES[row[1]]) for row in _TICK_FIELDS]]
)


def core_mark() -> str:
    """What differs where the core's memory is laid out in another way."""
    return hashlib.sha256("\n".join(words_of("Rig")).encode()).hexdigest()[:16]


def date_words() -> str:
    """Now, in UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class LogWriter:
    """Appends to a new file; whatever kills the program, what was given to it is kept."""

    def __init__(self, path: Path, header: dict[str, Any]) -> None:
        self.path = path
        self.bytes = 0
        self._whole_bytes = 0
        self._marks: list[bytes] = []
        self._file = _create(path)
        self._write(_host_frame(HEADER, {"format": FORMAT, **header}))

    def __enter__(self) -> Self:
        """Nothing but itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, _: BaseException | None, __: TracebackType | None
    ) -> None:
        """Let go of the file."""
        self.close()

    def close(self) -> None:
        """Close the file; without `end` it reads as one that broke off."""
        self._file.close()

    def came(self, data: bytes) -> None:
        """Append what came from the board, in any chunks."""
        end = data.rfind(b"\0") + 1
        if self._marks and end:
            data = data[:end] + b"".join(self._marks) + data[end:]
            self._marks = []
        self._write(data)

    def mark(self, text: str, tick: int) -> None:
        """Put a remark beside the ticks; `tick` is the latest."""
        frame = _host_frame(MARK, {"text": text, "date": date_words(), "tick": tick})
        if self.bytes == self._whole_bytes:
            self._write(frame)
        else:
            # Not into the middle of a frame.
            self._marks.append(frame)

    def end(self, why: str) -> None:
        """End the file with whole frames, and say why it ends."""
        with self._guarded():
            self._file.truncate(self._whole_bytes)
            self._file.seek(self._whole_bytes)
        self._write(b"".join(self._marks) + _host_frame(END, {"why": why, "date": date_words()}))
        self._file.close()

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise OutputError(
                f"{self.path}: the recording ends here: {error.strerror}; what was written before"
                " is good; make room, then record anew"
            ) from error

    def _write(self, data: bytes) -> None:
        with self._guarded():
            self._file.write(data)
            # To the system, which keeps it even if this program is killed.
            self._file.flush()
        end = data.rfind(b"\0") + 1
        if end:
            self._whole_bytes = self.bytes + end
        self.bytes += len(data)


def _create(path: Path) -> BinaryIO:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("xb")
    except OSError as error:
        if path.exists():
            raise OutputError(
                f"{path}: exists already; name another file with --out, or move it away"
            ) from error
        raise OutputError(
            f"{path}: cannot be written: {error.strerror}; name a file that you may write"
        ) from error


def _host_frame(number: int, document: dict[str, Any]) -> bytes:
    payload = bytes((number, 0)) + json.dumps(document).encode()
    checked = payload + crc_hqx(payload, START).to_bytes(2, "big")
    return bytes(cobs.encode(checked)) + b"\0"


@dataclass(frozen=True)
class Mark:
    """A remark of a person, or a note of the board, after so many ticks of the log."""

    row: int
    text: str


@dataclass(frozen=True)
class Taken:
    """A snapshot; the tick that it was taken after is the last before this row."""

    row: int
    words: NDArray[np.int32]


@dataclass(frozen=True)
class Log:
    """All that a recording holds; `ticks` is an array of TICK_DTYPE, in the order of the file.

    `header` is empty and `ended` None where those frames are not there or not whole.
    `lost` frames were sent and are not here, `damaged` pieces are here and no frames.
    """

    path: Path
    header: dict[str, Any]
    ended: dict[str, Any] | None
    hello: dict[str, Any] | None
    ticks: NDArray[np.void]
    snapshots: tuple[Taken, ...]
    marks: tuple[Mark, ...]
    notes: tuple[Mark, ...]
    lost: int
    damaged: int

    @property
    def period_s(self) -> float:
        """The board's control period."""
        board = self.hello or self.header.get("board") or {}
        return float(board.get("period_us", 4000)) / 1e6

    @cached_property
    def time_s(self) -> NDArray[np.float64]:
        """When each tick was, from the first one on; a board that starts anew goes on at once."""
        steps = np.diff(self.ticks["tick"].astype(np.int64), prepend=self.ticks["tick"][:1])
        steps[1:][steps[1:] < 1] = 1
        return np.asarray(np.cumsum(steps) * self.period_s)

    @cached_property
    def breaks(self) -> NDArray[np.int64]:
        """Rows before which ticks are missing, or the board has started anew."""
        found = np.flatnonzero(np.diff(self.ticks["tick"].astype(np.int64)) != 1) + 1
        return np.asarray(found, np.int64)

    @property
    def missing_ticks(self) -> int:
        """Ticks that the board made between those that are here."""
        steps = np.diff(self.ticks["tick"].astype(np.int64))
        return int((steps[steps > 1] - 1).sum())

    @property
    def restarts(self) -> int:
        """How often the board's count of ticks began anew."""
        return int((np.diff(self.ticks["tick"].astype(np.int64)) < 1).sum())

    def setting(self, name: str) -> int | None:
        """A setting as the board had it; None where the log does not say."""
        if self.header.get("core") != core_mark():
            return None
        return int(self.header["settings"][word_of(f"settings.{name}")])


def flag(ticks: NDArray[np.void], name: str) -> NDArray[np.int32]:
    """One of TICK_FLAGS, 0 or 1, in each tick."""
    return np.asarray(ticks["flags"] >> TICK_FLAGS.index(name) & 1, np.int32)


def rig_of(log: Log) -> Rig | None:
    """The rig that the log names; None where it names none that this hocklift can read."""
    text = log.header.get("rig")
    try:
        return Rig() if text == "demo" else parse_rig(text, str(log.path)) if text else None
    except RigFileError:
        return None


def read_log(path: Path) -> Log:
    """Read all that is whole in a recording; raises LogError where nothing is."""
    reader = _Reader()
    try:
        with path.open("rb") as file:
            for piece in _pieces(file):
                reader.take(piece)
    except FileNotFoundError as error:
        raise LogError(f"{path}: no such file; make a recording with `hocklift record`") from error
    except OSError as error:
        raise LogError(
            f"{path}: cannot be read: {error.strerror}; name a file that `hocklift record` wrote"
        ) from error
    if not reader.whole:
        raise LogError(
            f"{path}: holds no frame of a board; name a file that `hocklift record` wrote"
        )
    return reader.log(path)


def _pieces(file: BinaryIO) -> Iterator[bytes]:
    """What lies between the zeros; not what follows the last one, which broke off."""
    part = b""
    while data := file.read(_PART_BYTES):
        *pieces, part = (part + data).split(b"\0")
        yield from pieces


class _Reader:
    """Sorts frames into what a log is made of."""

    def __init__(self) -> None:
        self.whole = 0
        self._last = b""
        self._damaged = self._lost = 0
        self._sequence: int | None = None
        self._header: dict[str, Any] = {}
        self._ended: dict[str, Any] | None = None
        self._hello: dict[str, Any] | None = None
        self._ticks = bytearray()
        self._rows = 0
        self._gatherer = Gatherer()
        self._snapshots: list[tuple[int, Snapshot]] = []
        self._marks: list[Mark] = []
        self._notes: list[Mark] = []
        self._note = ""

    def take(self, piece: bytes) -> None:
        """Take what lies between two zeros."""
        if not piece or piece == self._last:
            return
        self._last = piece
        try:
            checked = cobs.decode(piece)
            if len(checked) < 4 or crc_hqx(checked, START) != 0:
                raise ValueError("the check is wrong")
            if checked[0] >= HEADER:
                self._take_host(checked[0], json.loads(checked[2:-2]))
            elif checked[0] == TICK and len(checked) == TICK_DTYPE.itemsize + 2:
                self._ticks += checked[:-2]
                self._rows += 1
                self._count(checked[1])
            else:
                self._take_board(checked[:-2])
        except (cobs.DecodeError, LookupError, ValueError, struct.error):
            self._damaged += 1
            return
        self.whole += 1

    def _count(self, sequence: int) -> None:
        if self._sequence is not None:
            self._lost += sequence - self._sequence - 1 & 255
        self._sequence = sequence

    def _take_host(self, number: int, document: dict[str, Any]) -> None:
        if number == HEADER:
            self._header = document
        elif number == MARK:
            self._marks.append(Mark(self._rows, str(document["text"])))
        elif number == END:
            self._ended = document

    def _take_board(self, payload: bytes) -> None:
        layout = LAYOUTS[payload[0]]
        sequence, values = layout.values(payload)
        if layout.name == "hello":
            # Perhaps the board has started anew, and counts anew.
            self._sequence = None
            self._hello = {
                name: value.hex() if isinstance(value, bytes) else value
                for name, value in values.items()
            }
        elif layout.number == WORDS:
            found = self._gatherer.add(Frame(layout.name, sequence, values, b""))
            if found is not None:
                self._snapshots.append((self._rows, found))
        elif layout.name == "note":
            self._note += str(values["text"])
            *lines, self._note = self._note.split("\n")
            self._notes += [Mark(self._rows, line) for line in lines]
        self._count(sequence)

    def log(self, path: Path) -> Log:
        """All that was found."""
        ticks = np.frombuffer(bytes(self._ticks), TICK_DTYPE)
        snapshots = [
            Taken(row, snapshot.words)
            for end, snapshot in self._snapshots
            if (row := _row_after(ticks["tick"], snapshot.tick, end)) is not None
        ]
        return Log(
            path,
            self._header,
            self._ended,
            self._hello,
            ticks,
            tuple(snapshots),
            tuple(self._marks),
            tuple(self._notes),
            self._lost,
            self._damaged,
        )


def _row_after(ticks: NDArray[Any], tick: int, end: int) -> int | None:
    """The row of the tick after `tick`, whose snapshot was complete before row `end`."""
    start = max(0, end - _SNAPSHOT_TICKS)
    # What came in time with it, and the one tick that may follow.
    near = ticks[start : end + 1].astype(np.int64)
    for wanted, beyond in ((tick, 1), (tick + 1, 0)):
        found = np.flatnonzero(near == wanted)
        if len(found):
            return start + int(found[-1]) + beyond
    return None
