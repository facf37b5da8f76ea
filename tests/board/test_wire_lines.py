"""Lines at the board: what a host or a person sends acts as sent, or not at all.

A second reader, written the obvious way with a pattern and the standard library's CRC, says what
each line is worth; the board's reader must find exactly that, whatever comes.
"""

import random
import re
from binascii import crc_hqx

import pytest
import wire_script
from hocklift.wire import encode_line
from hypothesis import example, given, settings
from hypothesis import strategies as st
from legwire.crc import crc16
from legwire.lines import GOOD, UNKNOWN, WRONG, LineReader
from legwire.messages import COMMANDS, LINE_BYTES

WORDS = [row[0] for row in COMMANDS]
LINE = re.compile(rb"([ -~]+)\*([0-9a-fA-F]{4})")
NUMBER = re.compile(rb"-?[0-9]+")

each_command = pytest.mark.parametrize("row", COMMANDS, ids=WORDS)


def nothing():
    """Where MicroPython would lock its heap."""


def read(data):
    """What the board finds in these bytes, and how many lines it threw away."""
    return wire_script.read_lines(data, nothing, nothing)


def worth(data):
    """The same by the obvious way. What follows the last end of a line has not ended."""
    found, bad = [], 0
    for line in re.split(rb"[\r\n]", data)[:-1]:
        matched = LINE.fullmatch(line)
        if not line:
            continue
        right = matched and len(line) <= LINE_BYTES
        if right and crc_hqx(matched[1], 0xFFFF) == int(matched[2], 16):
            found.append(meaning(matched[1]))
        else:
            bad += 1
    return found, bad


def meaning(text):
    word, *numbers = text.split(b" ")
    index = WORDS.index(word.decode()) if word.decode() in WORDS else UNKNOWN
    if index == UNKNOWN:
        return [WRONG, UNKNOWN, []]
    rows = COMMANDS[index][1]
    if len(numbers) != len(rows) or not all(NUMBER.fullmatch(one) for one in numbers):
        return [WRONG, index, []]
    args = [int(one) for one in numbers]
    if all(row[1] <= arg <= row[2] for arg, row in zip(args, rows, strict=True)):
        return [GOOD, index, args]
    return [WRONG, index, []]


def checked(text):
    return text + b"*%04X\n" % crc_hqx(text, 0xFFFF)


def argument(row):
    return st.one_of(st.sampled_from(row[1:]), st.integers(*row[1:]))


def command():
    return st.one_of(
        [st.tuples(st.just(row[0]), st.tuples(*map(argument, row[1]))) for row in COMMANDS]
    )


def a_line():
    return command().map(lambda one: encode_line(one[0], *one[1]))


# From the catalogues of CRCs: check of "123456789" for CRC-16/CCITT-FALSE. The docstring of
# pycyphal's CRC16CCITT and the example in libuavcan's crc.hpp both give it; so does the crate
# tinyboot-protocol.
def test_the_crc_is_the_catalogues_one():
    assert crc16(b"123456789", 9) == 0x29B1
    # pycyphal's example: taken in two parts, and zero behind its own CRC, high byte first.
    assert crc16(b"789", 3, crc16(b"123456", 6)) == 10673
    assert crc16(b"123456789\x29\xb1", 11) == 0


# The check values of its neighbours, that a slip in start or direction would give: X-25,
# XMODEM, Kermit, Modbus (the same catalogues).
def test_the_crc_is_none_of_its_neighbours():
    assert crc16(b"123456789", 9) not in (0x906E, 0x31C3, 0x2189, 0x4B37)


@given(st.binary(max_size=300), st.integers(0, 65535))
def test_the_crc_is_the_standard_librarys_on_any_bytes(data, start):
    assert crc16(data, len(data), start) == crc_hqx(data, start)


@given(st.lists(command(), max_size=8))
def test_every_command_arrives_with_its_numbers_at_the_ends_of_their_ranges(sent):
    data = b"".join(encode_line(word, *args) for word, args in sent)
    assert read(data) == ([[GOOD, WORDS.index(word), list(args)] for word, args in sent], 0)


@each_command
def test_no_command_can_be_too_long_for_its_line(row):
    for ends in (1, 2):
        assert len(encode_line(row[0], *(arg[ends] for arg in row[1]))) <= LINE_BYTES + 1


def test_a_person_can_type_a_line():
    """By hand: `every 5` and its CRC; either end of a line will do, and either case."""
    assert encode_line("every", 5) == b"every 5*4011\n"
    every = [GOOD, WORDS.index("every"), [5]]
    hello = [GOOD, WORDS.index("hello"), []]
    typed = b"\r\nevery 5*4011\r\rhello*d26e\n\nhello*D26E\r\n"
    assert read(typed) == ([every, hello, hello], 0)


@pytest.mark.parametrize(
    "text",
    [
        b"jump",
        b"",
        b" ",
        b"*",
        b"stop ",
        b" stop",
        b"Stop",
        b"stopp",
        b"sto",
        b"stop 1",
        b"every",
        b"every  5",
        b"every 5 ",
        b"every +5",
        b"every 5.0",
        b"every 0x5",
        b"every -",
        b"every --5",
        b"every 5 5",
        b"every -1",
        b"every 1001",
        b"set 0 1073741824",
        b"set 0 -1073741824",
        b"set 0 10737418230",
        b"set 65536 0",
        b"every 99999999999999999999999999999999999999",
        b"in" + b" 0" * 17,
        b"in" + b" 0" * 19,
        b"in" + b" 1" * 60,
    ],
)
def test_a_line_whose_check_is_right_but_whose_sense_is_wrong_does_not_pass_for_good(text):
    found, bad = read(checked(text))
    assert (found, bad) == worth(checked(text))
    assert [said for said, _, _ in found] == ([WRONG] if text else [])


@given(st.binary(max_size=400))
@example(b"\n" * 10)
@example(b"*0000\n*FFFF\n")
@example(checked(b"a" * (LINE_BYTES - 5)) + checked(b"a" * (LINE_BYTES - 4)))
def test_arbitrary_bytes_are_worth_to_the_board_what_they_are_worth(data):
    assert read(data) == worth(data)


@given(st.lists(st.one_of(a_line(), st.binary(max_size=30), st.just(b"\n")), max_size=10))
def test_good_lines_among_arbitrary_bytes_count_exactly_where_they_stand_alone(parts):
    data = b"".join(parts)
    assert read(data) == worth(data)


@settings(max_examples=300)
@given(a_line(), st.data())
def test_a_line_changed_anywhere_is_refused_unless_its_check_is_right_again(line, data):
    changed = bytearray(line)
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(changed) - 1))
        how = data.draw(st.sampled_from(["bit", "drop", "double", "any"]))
        if how == "bit":
            changed[at] ^= 1 << data.draw(st.integers(0, 7))
        elif how == "drop" and len(changed) > 1:
            del changed[at]
        elif how == "double":
            changed.insert(at, changed[at])
        else:
            changed[at] = data.draw(st.integers(0, 255))
    assert read(bytes(changed) + b"\n") == worth(bytes(changed) + b"\n")


def test_no_single_bit_of_any_line_can_be_wrong_and_pass():
    """Nor any byte: of a line so short, the CRC finds every burst of 16 bits."""
    for row in COMMANDS:
        line = encode_line(row[0], *(arg[2] for arg in row[1]))
        right, _ = read(line)
        for at in range(len(line) - 1):
            for change in range(1, 256):
                spoilt = bytearray(line)
                spoilt[at] ^= change
                found, _ = read(bytes(spoilt))
                # Its hexadecimal digits read the same in both cases.
                assert found in ([], right)
                assert found == [] or spoilt.upper() == line.upper()


def test_200_000_random_bytes_never_stop_the_reader_nor_pass_but_by_right_checks(record_property):
    rng = random.Random(3)
    data = rng.randbytes(200_000)
    found, bad = read(data)
    assert (found, bad) == worth(data)
    assert read(data + b"\n" + encode_line("stop"))[0][-1] == [GOOD, WORDS.index("stop"), []]
    record_property("lines in 200 000 random bytes", f"{bad} thrown away, {len(found)} passed")


def test_20_000_spoilt_lines_pass_only_where_their_check_is_right_by_chance(record_property):
    """Random damage leaves a check right once in 65536 times."""
    rng = random.Random(4)
    lines = [encode_line(row[0], *(arg[2] for arg in row[1])) for row in COMMANDS]
    parts = []
    for _ in range(20_000):
        line = bytearray(rng.choice(lines))
        for _ in range(rng.randrange(1, 4)):
            line[rng.randrange(len(line) - 1)] = rng.choice(b" 0123456789*abcdefghinoprstuvy")
        parts.append(bytes(line))
    found, bad = read(b"".join(parts))
    assert (found, bad) == worth(b"".join(parts))
    # A digit of the check is as good in the other case.
    same = {line.upper() for line in lines}
    whole = sum(part.upper() in same for part in parts)
    record_property(
        "20 000 spoilt lines",
        f"{bad} thrown away, {whole} not spoilt after all, {len(found) - whole} right by chance",
    )
    assert len(found) - whole <= 3


@given(st.lists(st.one_of(a_line(), st.binary(max_size=30)), max_size=6), st.data())
def test_how_many_bytes_a_tick_brings_makes_no_difference(parts, data):
    stream = wire_script.Stream(0)
    reader = LineReader()
    found = []
    for part in parts:
        stream.put(part)
        while (byte := stream.read_byte()) >= 0:
            said = reader.take(byte, stream, data.draw(st.integers(0, 40)))
            if said:
                args = list(reader.args[: reader.count]) if said == GOOD else []
                found.append([said, reader.word, args])
    assert (found, reader.bad) == worth(b"".join(parts))


def test_the_count_of_bad_lines_stays_a_small_integer():
    reader = LineReader()
    reader.bad = (1 << 30) - 1
    stream = wire_script.Stream(0)
    stream.put(b"nonsense\n")
    reader.take(stream.read_byte(), stream, 20)
    assert reader.bad == (1 << 30) - 1
