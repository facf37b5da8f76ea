"""The host's end of the wire: frames out of bytes in any chunks, and only true ones.

What the CRC can promise is proved for the lengths of our frames, not assumed: the register after
an error alone (its syndrome) is linear in the error's bits, so a handful of facts about the
syndromes of single bits settles whole classes of errors.
"""

import itertools
from binascii import crc_hqx

import pytest
from cobs import cobs
from hocklift.wire import (
    BY_NAME,
    FRAME_MOST,
    LAYOUTS,
    STRAY_MOST,
    Decoder,
    Frame,
    Hello,
    LegTick,
    Tick,
    encode_line,
)
from hypothesis import assume, given
from hypothesis import strategies as st
from legwire.frames import stuff
from legwire.messages import COMMANDS, LINE_BYTES, MESSAGES, PAYLOAD_MOST, TICK_FLAGS

each_message = pytest.mark.parametrize("name", BY_NAME)


def zeros(name):
    """Field values of nothing."""
    layout = BY_NAME[name]
    return {row[0]: b"" if row[1].endswith("s") else 0 for row in rows_of(layout.number)}


def rows_of(number):
    return next(row[2] for row in MESSAGES if row[0] == number)


def frame_bytes(name="note", sequence=0, **values):
    return BY_NAME[name].pack(sequence, zeros(name) | values)


# Stuffing.

# Consistent overhead byte stuffing, published examples. README of npm's cobs: the first, the
# third, the fourth and the last. The table of the project cobs-codec: the second and those to
# "11 22 00 33". Documentation of the crate wire-codec: "11 00 22 00". Documentation of PyPI's
# cobs: the sentence.
EXAMPLES = {
    "00": "0101",
    "0000": "010101",
    "11220033": "0311220233",
    "11000000": "0211010101",
    "001100": "01021101",
    "11002200": "0211022201",
    b"Hello world\0This is a test".hex(): b"\x0cHello world\x0fThis is a test".hex(),
    bytes(range(1, 254)).hex(): bytes([254, *range(1, 254)]).hex(),
}


def stuffed(data):
    """What the board makes of these bytes, without their end."""
    out = bytearray(len(data) + 2)
    out[1:-1] = data
    stuff(out, len(data) + 1)
    assert out[-1] == 0
    return bytes(out[:-1])


@pytest.mark.parametrize("data", EXAMPLES, ids=lambda data: data[:12])
def test_stuffing_is_as_published(data):
    assert stuffed(bytes.fromhex(data)).hex() == EXAMPLES[data]
    assert cobs.decode(bytes.fromhex(EXAMPLES[data])).hex() == data


def test_the_hosts_stuffing_is_as_published_where_blocks_are_full():
    """README of npm's cobs: 1 to 255 are a full block and a rest. No frame of ours is so long."""
    whole = bytes(range(1, 256))
    assert cobs.encode(whole[:-1]) == b"\xff" + whole[:-1]
    assert cobs.encode(whole) == b"\xff" + whole[:-1] + b"\x02\xff"
    assert len(cobs.encode(whole)) == 257


@given(st.binary(max_size=PAYLOAD_MOST).map(lambda data: data.replace(b"\x07", b"\0")))
def test_the_boards_stuffing_is_the_packages_up_to_the_longest_that_a_frame_may_be(data):
    assert stuffed(data) == cobs.encode(data)
    assert len(stuffed(data)) == len(data) + 1


# Chunks.


def a_frame():
    return st.builds(
        lambda text, sequence: frame_bytes("note", sequence, text=text),
        st.binary(max_size=48),
        st.integers(0, 255),
    )


STREAMS = st.lists(
    st.one_of(
        a_frame(),
        st.just(frame_bytes("tick")),
        st.binary(max_size=40),
        st.just(b"\0"),
        st.integers(1, 400).map(lambda count: b"x" * count),
        # A frame without its end, or without its start.
        a_frame().map(lambda frame: frame[:-1]),
        a_frame().map(lambda frame: frame[5:]),
    ),
    max_size=12,
).map(b"".join)


def counts(decoder):
    return (
        decoder.lost,
        decoder.damaged,
        decoder.skipped_bytes,
        decoder.repeated,
        bytes(decoder.stray),
    )


@given(STREAMS, st.data())
def test_the_same_frames_come_of_any_chunks(stream, data):
    whole, single, chunked = Decoder(), Decoder(), Decoder()
    frames = whole.feed(stream)
    assert frames == [frame for byte in stream for frame in single.feed(bytes([byte]))]
    rest, found = stream, []
    while rest:
        size = data.draw(st.integers(1, len(rest)))
        found += chunked.feed(rest[:size])
        rest = rest[size:]
    assert found == frames
    assert counts(whole) == counts(single) == counts(chunked)


@given(STREAMS)
def test_every_byte_is_of_a_frame_or_skipped_or_still_waits(stream):
    decoder = Decoder()
    frames = decoder.feed(stream)
    waits = stream.rpartition(b"\0")[2]
    # What is too long already does not wait.
    waiting = 0 if len(waits) > FRAME_MOST else len(waits)
    used = sum(len(frame.raw) for frame in frames) + decoder.skipped_bytes + waiting
    lone = sum(not piece for piece in stream.split(b"\0")[:-1])
    assume(decoder.repeated == 0)
    assert used + lone == len(stream)


def test_raw_bytes_of_the_frames_are_the_stream_itself():
    stream = b"".join(frame_bytes("tick", i % 256, tick=i) for i in range(300))
    assert b"".join(frame.raw for frame in Decoder().feed(stream)) == stream


def test_what_never_ends_is_not_hoarded():
    decoder = Decoder()
    for _ in range(1000):
        decoder.feed(b"x" * 1000)
    assert len(decoder._part) <= FRAME_MOST
    assert decoder.skipped_bytes == 1_000_000
    assert decoder.feed(b"\0" + frame_bytes()) != []
    assert decoder.damaged == 1


def test_a_program_that_failed_shows_what_it_said():
    """MicroPython prints a traceback where frames were expected; a person should see it."""
    decoder = Decoder()
    decoder.feed(frame_bytes("note", 1))
    trace = b'Traceback (most recent call last):\r\n  File "main.py"\r\nOSError: 5\r\n' * 40
    decoder.feed(trace)
    assert bytes(decoder.stray) == trace[-STRAY_MOST:]


# Sequence.


@pytest.mark.parametrize("missing", [0, 1, 2, 100, 254])
@pytest.mark.parametrize("first", [0, 3, 254, 255])
def test_frames_that_are_missing_are_counted_across_the_wrap(missing, first):
    decoder = Decoder()
    decoder.feed(frame_bytes("note", first, text=b"one"))
    decoder.feed(frame_bytes("note", (first + 1 + missing) % 256, text=b"two"))
    assert decoder.lost == missing


def test_a_frame_that_comes_twice_is_given_once_and_no_loss():
    decoder = Decoder()
    twice = frame_bytes("note", 9, text=b"twice")
    found = decoder.feed(twice * 2 + frame_bytes("note", 10))
    assert [frame.sequence for frame in found] == [9, 10]
    assert (decoder.lost, decoder.repeated) == (0, 1)


def test_two_frames_of_one_number_that_say_other_things_are_both_given():
    decoder = Decoder()
    found = decoder.feed(frame_bytes("note", 9, text=b"one") + frame_bytes("note", 9, text=b"two"))
    assert [frame.text() for frame in found] == ["one", "two"]
    assert (decoder.lost, decoder.repeated) == (255, 0)


def test_a_board_that_starts_anew_has_lost_nothing():
    decoder = Decoder()
    decoder.feed(frame_bytes("tick", 77))
    found = decoder.feed(frame_bytes("hello", 0) + frame_bytes("reply", 1))
    assert [frame.message for frame in found] == ["hello", "reply"]
    assert decoder.lost == 0


# What a CRC promises.

LONGEST = PAYLOAD_MOST + 1


def syndrome(error):
    """The register after an error pattern alone: zero means that it is not seen."""
    return crc_hqx(error, 0)


def single_bits(length):
    """The syndromes of all single bits of so many bytes, in the order of the bits sent."""
    found = []
    for bit in range(8 * length):
        error = bytearray(length)
        error[bit // 8] = 128 >> bit % 8
        found.append(syndrome(bytes(error)))
    return found


@given(st.binary(min_size=4, max_size=60), st.binary(min_size=4, max_size=60))
def test_an_error_is_seen_or_not_whatever_it_falls_upon(payload, error):
    """Linearity (textbook, from memory): the CRC of a sum is the sum of the CRCs."""
    whole = payload + crc_hqx(payload, 0xFFFF).to_bytes(2, "big")
    error = error[: len(whole)].ljust(len(whole), b"\0")
    damaged = bytes(a ^ b for a, b in zip(whole, error, strict=True))
    assert crc_hqx(whole, 0xFFFF) == 0
    assert (crc_hqx(damaged, 0xFFFF) == 0) == (syndrome(error) == 0)


def rank(vectors):
    """How many of these 16-bit vectors are independent."""
    basis: list[int] = []
    for vector in vectors:
        rest = vector
        for one in basis:
            rest = min(rest, rest ^ one)
        if rest:
            basis.append(rest)
    return len(basis)


def test_no_burst_of_up_to_16_bits_in_a_payload_and_its_crc_is_ever_missed():
    """Any 16 neighbouring bits have independent syndromes, so none of their sums is zero."""
    bits = single_bits(LONGEST)
    assert all(rank(bits[at : at + 16]) == 16 for at in range(len(bits) - 15))


def test_no_odd_number_of_wrong_bits_is_ever_missed():
    """x + 1 divides the polynomial: each syndrome has an odd number of ones, and so has a sum."""
    assert all(one.bit_count() % 2 == 1 for one in single_bits(LONGEST))


def test_no_two_wrong_bits_are_ever_missed():
    """No two bits have the same syndrome; with the odd numbers that makes the distance 4."""
    bits = single_bits(LONGEST)
    assert len(set(bits)) == len(bits)


def test_with_the_crc_low_byte_first_one_burst_of_16_bits_would_be_missed():
    """Why the CRC goes out high byte first: sent the other way, its bits leave their order."""
    bits = single_bits(LONGEST)
    swapped = bits[:-16] + bits[-8:] + bits[-16:-8]
    windows = [swapped[at : at + 16] for at in range(len(swapped) - 15)]
    assert sum(rank(window) < 16 for window in windows) > 0


# Published (a question and answer about which errors a CRC misses, Stack Overflow 52357777): of
# 48 bits and this CRC, 84 patterns of 4 wrong bits and 2430 of 6 pass.
def test_as_many_patterns_of_4_and_6_wrong_bits_pass_as_published():
    bits = single_bits(8)
    pairs = {}
    for a, b in itertools.combinations(range(64), 2):
        pairs.setdefault(bits[a] ^ bits[b], []).append((a, b))
    fours = {
        frozenset(p + q)
        for same in pairs.values()
        for p, q in itertools.combinations(same, 2)
        if not set(p) & set(q)
    }
    assert len(fours) == 84
    sixes = set()
    for a, b, c, d in itertools.combinations(range(64), 4):
        rest = bits[a] ^ bits[b] ^ bits[c] ^ bits[d]
        for pair in pairs.get(rest, ()):
            if pair[0] > d:
                sixes.add((a, b, c, d, *pair))
    assert len(sixes) == 2430


@each_message
def test_no_single_bit_or_byte_of_any_frame_can_be_wrong_and_pass(name):
    """Stuffing is outside the CRC: a wrong distance moves zeros. Tried out, one by one."""
    layout = BY_NAME[name]
    values = {
        row[0]: b"ab" if row[1].endswith("s") else 3 * (i % 2)
        for i, row in enumerate(rows_of(layout.number))
    }
    frame = layout.pack(200, values)
    right = Decoder().feed(frame)
    assert len(right) == 1
    for at in range(len(frame)):
        for change in range(1, 256):
            spoilt = bytearray(frame)
            spoilt[at] ^= change
            decoder = Decoder()
            assert decoder.feed(bytes(spoilt) + b"\0") == []
            assert decoder.damaged >= 1


@given(st.binary(max_size=300))
def test_arbitrary_bytes_raise_nothing(data):
    decoder = Decoder()
    decoder.feed(data)
    assert Decoder().feed(data + b"\0" + frame_bytes())[-1].message == "note"


@given(st.sampled_from(sorted(LAYOUTS)), st.integers(0, 140))
def test_a_frame_with_a_right_crc_but_the_wrong_length_for_its_number_is_damage(number, length):
    payload = bytes([number, 0]) + bytes(length)
    decoder = Decoder()
    framed = cobs.encode(payload + crc_hqx(payload, 0xFFFF).to_bytes(2, "big")) + b"\0"
    right = length == LAYOUTS[number].struct.size - 2
    assert len(decoder.feed(framed)) == right
    assert decoder.damaged == (not right)


@pytest.mark.parametrize("number", [0, len(MESSAGES) + 1, 255])
def test_a_message_of_no_known_number_is_damage(number):
    payload = bytes([number, 0, 1, 2, 3])
    decoder = Decoder()
    decoder.feed(cobs.encode(payload + crc_hqx(payload, 0xFFFF).to_bytes(2, "big")) + b"\0")
    assert decoder.damaged == 1


# Views.


def test_the_views_have_the_fields_of_the_tables():
    hello = [row[0] for row in rows_of(BY_NAME["hello"].number)]
    assert list(Hello.__annotations__) == hello
    tick = [row[0] for row in rows_of(BY_NAME["tick"].number)]
    for leg in ("left", "right"):
        fields = [name.removeprefix(leg + "_") for name in tick if name.startswith(leg + "_")]
        assert list(LegTick.__annotations__) == fields
    plain = {name for name in tick if not name.startswith(("left_", "right_"))} - {"flags"}
    assert set(Tick.__annotations__) == plain | set(TICK_FLAGS) | {"left", "right"}


@pytest.mark.parametrize("bit", range(8), ids=TICK_FLAGS)
def test_each_flag_of_a_tick_is_its_own(bit):
    (frame,) = Decoder().feed(frame_bytes("tick", flags=1 << bit))
    tick = Tick.of(frame)
    assert [name for name in TICK_FLAGS if getattr(tick, name)] == [TICK_FLAGS[bit]]


@pytest.mark.parametrize("bits", range(4))
def test_contacts_are_the_switch_and_the_sole(bits):
    (frame,) = Decoder().feed(frame_bytes("tick", right_contacts=bits))
    tick = Tick.of(frame)
    assert (tick.right.switch, tick.right.sole) == (bool(bits & 1), bool(bits & 2))
    assert (tick.left.switch, tick.left.sole) == (False, False)


def test_text_that_is_no_text_is_shown_as_well_as_it_can_be():
    (frame,) = Decoder().feed(frame_bytes("note", text=b"caf\xc3\xa9 \xff\0rest"))
    assert frame.text() == "café \ufffd"
    assert isinstance(frame, Frame)


# Lines.


@pytest.mark.parametrize("row", COMMANDS, ids=lambda row: row[0])
def test_a_line_is_printable_and_fits(row):
    for ends in (1, 2):
        line = encode_line(row[0], *(arg[ends] for arg in row[1]))
        assert line.endswith(b"\n") and line[:-1].isascii() and line[:-1].decode().isprintable()
        assert len(line) - 1 <= LINE_BYTES
        # The byte that interrupts a MicroPython program.
        assert 3 not in line


def test_the_example_in_the_docstring_is_right():
    assert encode_line("every", 5) == b"every 5*4011\n"
    assert "`every 5*4011`" in encode_line.__doc__


@pytest.mark.parametrize(
    ("args", "why"),
    [
        (("jump",), "no command 'jump'; there are: hello, grant"),
        (("every",), "every takes 1 numbers, not 0"),
        (("hello", 1), "hello takes 0 numbers, not 1"),
        (("every", 1001), "ticks of every is 1001; it may be 0 to 1000"),
        (("press", 0, -1), "pressed of press is -1; it may be 0 to 1"),
    ],
)
def test_what_the_board_would_refuse_is_not_even_sent(args, why):
    with pytest.raises(ValueError, match="^" + why.replace("?", r"\?")):
        encode_line(*args)
