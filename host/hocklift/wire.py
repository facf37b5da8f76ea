"""The host's side of the wire: bytes in any chunks to frames, and commands to lines.

What the board's side (legwire.frames, legwire.lines) writes by hand comes from packages here,
so that neither can share the other's mistake; the tables they share.
"""

import struct
from binascii import crc_hqx
from dataclasses import dataclass, field
from typing import Any, Self

from cobs import cobs
from legwire.crc import START
from legwire.messages import (
    COMMANDS,
    LINE_BYTES,
    MESSAGES,
    PAYLOAD_MOST,
    TICK_FLAGS,
)

# The longest frame, its stuffing byte and its CRC included, its end not.
FRAME_MOST = PAYLOAD_MOST + 1
# So much of what was no frame is kept: a board that has stopped may have said why in plain text.
STRAY_MOST = 2048


class Layout:
    """How one message is packed."""

    def __init__(self, number: int, name: str, rows: tuple[tuple[str, str, str], ...]):
        self.number = number
        self.name = name
        self.names = [row[0] for row in rows]
        self.struct = struct.Struct("<BB" + "".join(row[1] for row in rows))
        # The chip's own number is no text.
        self.texts = [row[0] for row in rows if row[1].endswith("s") and row[0] != "unique"]

    def values(self, payload: bytes) -> tuple[int, dict[str, Any]]:
        """The sequence number and the fields of a payload."""
        _, sequence, *found = self.struct.unpack(payload)
        values = dict(zip(self.names, found, strict=True))
        for name in self.texts:
            values[name] = values[name].partition(b"\0")[0].decode("utf-8", "replace")
        return sequence, values

    def pack(self, sequence: int, values: dict[str, Any]) -> bytes:
        """The frame that the board would make of these fields."""
        packed = (values[name] for name in self.names)
        bare = (value.encode() if isinstance(value, str) else value for value in packed)
        payload = self.struct.pack(self.number, sequence, *bare)
        return bytes(cobs.encode(payload + crc_hqx(payload, START).to_bytes(2, "big"))) + b"\0"


LAYOUTS = {row[0]: Layout(*row[:3]) for row in MESSAGES}
BY_NAME = {layout.name: layout for layout in LAYOUTS.values()}


@dataclass(frozen=True, slots=True)
class Frame:
    """One message of the board; `raw` is all of it as it came, its end included."""

    message: str
    sequence: int
    values: dict[str, Any]
    raw: bytes

    def text(self) -> str:
        """What a reply or a note says."""
        return str(self.values["text"])


@dataclass(frozen=True, slots=True)
class LegTick:
    """One leg in a tick, by the names of the table."""

    thigh_count: int
    shank_count: int
    contacts: int
    phase: int
    fault_bits: int
    fold_cdeg: int
    setpoint_cdeg_q6: int
    drive_permille: int
    pulse_us: int

    @property
    def switch(self) -> bool:
        """The foot's switch."""
        return bool(self.contacts & 1)

    @property
    def sole(self) -> bool:
        """The sole's contact."""
        return bool(self.contacts & 2)


@dataclass(frozen=True, slots=True)
class Tick:
    """A tick message by the names of the tables."""

    tick: int
    arm: bool
    stop: bool
    settings_bad: bool
    was_hung: bool
    host: bool
    host_heard: bool
    contactor: bool
    fed: bool
    missed_ticks: int
    battery_mV: int
    supply_mV: int
    stick_count: int
    fault_bits: int
    arm_blocks: int
    loop_us: int
    left: LegTick
    right: LegTick

    @classmethod
    def of(cls, frame: Frame) -> Self:
        """The view of a frame whose message is `tick`."""
        values = dict(frame.values)
        flags = values.pop("flags")
        for bit, name in enumerate(TICK_FLAGS):
            values[name] = bool(flags >> bit & 1)
        for leg in ("left", "right"):
            names = [name for name in values if name.startswith(leg + "_")]
            fields = {name.removeprefix(leg + "_"): values.pop(name) for name in names}
            values[leg] = LegTick(**fields)
        return cls(**values)


@dataclass(frozen=True, slots=True)
class Hello:
    """A hello message by the names of the table."""

    wire: int
    firmware: str
    board: str
    micropython: str
    unique: bytes
    starts: int
    time_ms: int
    period_us: int
    settings_crc: int
    settings_state: int
    stage: int
    calibrated_day: int

    @classmethod
    def of(cls, frame: Frame) -> Self:
        """The view of a frame whose message is `hello`."""
        return cls(**frame.values)


@dataclass
class Decoder:
    """Finds frames in bytes that come in any chunks; what fails its check is only counted.

    `lost` are frames missing from the sequence, `damaged` pieces between two zeros that were no
    frame, `skipped_bytes` all bytes of them, `repeated` frames that came twice in a row; `stray`
    is the latest of what was skipped.
    """

    lost: int = 0
    damaged: int = 0
    skipped_bytes: int = 0
    repeated: int = 0
    stray: bytearray = field(default_factory=bytearray)
    _part: bytes = b""
    # The piece that has begun is too long for a frame already.
    _overlong: bool = False
    _last: Frame | None = None

    def feed(self, data: bytes) -> list[Frame]:
        """Return the frames that end in `data`, in order."""
        *ended, part = (self._part + data).split(b"\0")
        frames = []
        for piece in ended:
            frame = self._frame(piece)
            if frame is not None:
                frames.append(frame)
        if self._overlong or len(part) > FRAME_MOST:
            self._overlong = True
            self._skip(part)
            part = b""
        self._part = part
        return frames

    def _frame(self, piece: bytes) -> Frame | None:
        if self._overlong:
            self._overlong = False
            self.damaged += 1
            self._skip(piece + b"\0")
            return None
        # Two zeros in a row are one end and a fresh start.
        if not piece:
            return None
        try:
            checked = cobs.decode(piece)
            layout = LAYOUTS[checked[0]]
            if crc_hqx(checked, START) != 0:
                raise ValueError("the CRC is wrong")
            sequence, values = layout.values(checked[:-2])
        except (cobs.DecodeError, LookupError, ValueError, struct.error):
            self.damaged += 1
            self._skip(piece + b"\0")
            return None
        return self._in_order(Frame(layout.name, sequence, values, piece + b"\0"))

    def _in_order(self, frame: Frame) -> Frame | None:
        last = self._last
        self._last = frame
        if last is not None:
            if frame.raw == last.raw:
                self.repeated += 1
                return None
            # A board that has started anew begins with a hello, numbered 0.
            if frame.message != "hello" or frame.sequence != 0:
                self.lost += frame.sequence - last.sequence - 1 & 255
        return frame

    def _skip(self, data: bytes) -> None:
        self.skipped_bytes += len(data)
        self.stray += data[-STRAY_MOST:]
        del self.stray[:-STRAY_MOST]


def encode_line(word: str, *args: int) -> bytes:
    """The line that gives a command; ValueError where there is no such command.

    By hand: the CRC of `every 5` is 4011, so a person types `every 5*4011`.
    """
    rows = {row[0]: row[1] for row in COMMANDS}
    if word not in rows:
        raise ValueError(f"no command {word!r}; there are: {', '.join(rows)}")
    wanted = rows[word]
    if len(args) != len(wanted):
        raise ValueError(f"{word} takes {len(wanted)} numbers, not {len(args)}")
    for value, (name, least, most) in zip(args, wanted, strict=True):
        if not least <= value <= most:
            raise ValueError(f"{name} of {word} is {value}; it may be {least} to {most}")
    text = " ".join([word, *map(str, args)]).encode()
    line = text + b"*%04X\n" % crc_hqx(text, START)
    if len(line) > LINE_BYTES + 1:
        raise ValueError(f"{word} makes a line of {len(line)} bytes; {LINE_BYTES} are allowed")
    return line
