"""Frames to fields: the host's decoder beside PyPI `construct` on the same bytes.

Both find frames by their zeros, unstuff them with the same package and check the same CRC; each
then takes the fields apart in its own way: `struct` by the tables of legwire, or a declaration
in `construct`, as it is and compiled by it.
"""

from binascii import crc_hqx
from collections.abc import Callable
from statistics import median
from time import perf_counter
from typing import Any

import construct
from cobs import cobs
from hocklift.wire import BY_NAME, Decoder
from legwire.messages import MESSAGES
from rich.table import Table

AIM_TICKS_A_SECOND = 250
OURS = "hocklift's decoder"
CODES = {
    "B": construct.Int8ul,
    "H": construct.Int16ul,
    "I": construct.Int32ul,
    "h": construct.Int16sl,
    "i": construct.Int32sl,
}


def recording(count: int) -> bytes:
    """A recording as the wire has it: ticks, and now and then a reply or a note."""
    frames = []
    for i in range(count):
        name = ("reply", "note")[i % 4 // 2] if i % 50 == 0 else "tick"
        layout = BY_NAME[name]
        values: dict[str, Any] = dict.fromkeys(layout.names, i * 37 % 200)
        values |= dict.fromkeys(layout.texts, "a word to a person")
        frames.append(layout.pack(i % 256, values))
    return b"".join(frames)


def declaration() -> construct.Construct:
    """The tables again, as `construct` would have them."""
    fields = {}
    for number, _, rows, _ in MESSAGES:
        fields[number] = construct.Struct(
            *(
                name / (CODES[code] if code in CODES else construct.Bytes(int(code[:-1])))
                for name, code, _ in rows
            )
        )
    return construct.Struct(
        "number" / construct.Int8ul,
        "sequence" / construct.Int8ul,
        "fields" / construct.Switch(construct.this.number, fields),
    )


def with_construct(parser: construct.Construct) -> Callable[[bytes], int]:
    """A decoder of a whole recording around a parser of payloads; returns how many frames."""

    def decode(stream: bytes) -> int:
        count = 0
        for piece in stream.split(b"\0")[:-1]:
            payload = cobs.decode(piece)
            if crc_hqx(payload, 0xFFFF) == 0:
                parser.parse(payload[:-2])
                count += 1
        return count

    return decode


def compare(smoke: bool) -> Table:
    """Decode one recording with each, in turn, and set the speeds side by side."""
    count, rounds = (2_000, 1) if smoke else (50_000, 5)
    stream = recording(count)
    plain = declaration()
    decoders: dict[str, Callable[[bytes], int]] = {
        OURS: lambda stream: len(Decoder().feed(stream)),
        "construct": with_construct(plain),
        "construct, compiled": with_construct(plain.compile()),
    }
    spent_s: dict[str, list[float]] = {name: [] for name in decoders}
    for _ in range(rounds):
        for name, decode in decoders.items():
            start = perf_counter()
            found = decode(stream)
            spent_s[name].append(perf_counter() - start)
            assert found == count
    table = Table(
        "decoder",
        "frames/s",
        "MB/s",
        "x real time",
        f"time of {OURS}",
        title=f"{count} frames of a recording, {len(stream)} bytes; median of {rounds}",
    )
    ours_s = median(spent_s[OURS])
    for name, times in spent_s.items():
        wall_s = median(times)
        table.add_row(
            name,
            f"{count / wall_s:.0f}",
            f"{len(stream) / wall_s / 1e6:.1f}",
            f"{count / wall_s / AIM_TICKS_A_SECOND:.0f}",
            f"{wall_s / ours_s:.1f}",
        )
    return table
