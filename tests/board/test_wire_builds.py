"""The board's end of the wire, the same to the byte on every build, without heap, at its cost.

One metered instruction of the 32-bit build is close to one cycle of bytecode on the smallest
board. What is machine code there (`viper`), that build runs as bytecode many times slower: the two
loops over a frame's bytes are therefore also left out of a second count. On a Cortex-M0+ both
together take up to 8400 cycles for a tick, counted once in an emulator of its instructions from
what mpy-cross 1.29 makes of them for armv6m.
"""

import random
import struct
from binascii import crc_hqx

import numpy as np
import pytest
import wire_builds
import wire_script
from fields import SETTINGS_COUNT, STATE_NAMES, STATE_RANGES
from fields import ranges as ranges_of
from hocklift.wire import BY_NAME, LAYOUTS, Decoder, encode_line
from hypothesis import given, settings
from hypothesis import strategies as st
from legcore import model
from legwire import frames
from legwire.messages import COMMANDS, MESSAGES, TEXT_BYTES

each_build = pytest.mark.parametrize("build", wire_builds.BUILDS)
NUMBERS = {"B": (0, 255), "H": (0, 65535), "I": (0, 2**32 - 1), "h": (-32768, 32767)}
NUMBERS["i"] = (-(2**31), 2**31 - 1)
POLL_AND_AFTER_MOST = 60_000
QUIET = 80


def nothing():
    """Where MicroPython would lock its heap, or look at the clock."""


def value_of(code):
    """Any value of a field, its ends and what is next to them more often than others."""
    if code.endswith("s"):
        length = int(code[:-1])
        return st.one_of(st.binary(max_size=length + 3), st.just(b"\0" * length))
    least, most = NUMBERS[code]
    ends = [v for v in (least, least + 1, -1, 0, 1, 255, 256, most - 1, most) if least <= v <= most]
    return st.one_of(st.sampled_from(ends), st.integers(least, most))


def message():
    """Any message: its number and the values of its fields."""
    kinds = [
        st.tuples(st.just(row[0]), st.tuples(*(value_of(field[1]) for field in row[2])))
        for row in MESSAGES
    ]
    return st.one_of(*kinds)


def ends():
    """Of every message: all fields lowest, all highest, and each alone lowest or highest."""
    for number, _, fields, _ in MESSAGES:
        low, high = [], []
        for _, code, _ in fields:
            if code.endswith("s"):
                low.append(b"")
                high.append(b"\xff" * int(code[:-1]))
            else:
                low.append(NUMBERS[code][0])
                high.append(NUMBERS[code][1])
        yield number, low
        yield number, high
        for i in range(len(fields)):
            yield number, [*low[:i], high[i], *low[i + 1 :]]
            yield number, [*high[:i], low[i], *high[i + 1 :]]


@pytest.fixture(scope="module")
def messages():
    """Every message at the ends of its ranges, and some hundreds that hypothesis thinks of."""
    found = list(ends())

    @settings(max_examples=300, database=None)
    @given(message())
    def collect(one):
        found.append(one)

    collect()
    return found


def host_frames(messages):
    """The same messages as the host's packages frame them."""
    return b"".join(
        LAYOUTS[number].pack(i % 256, dict(zip(LAYOUTS[number].names, values, strict=True)))
        for i, (number, values) in enumerate(messages)
    )


def test_board_and_host_frame_every_message_alike_to_the_byte(messages):
    assert wire_script.write_frames(messages, nothing, nothing) == host_frames(messages)


@each_build
def test_every_build_of_micropython_frames_every_message_alike_without_heap(
    tmp_path, messages, build
):
    plain = [
        (number, ["x" + v.hex() if isinstance(v, bytes) else v for v in values])
        for number, values in messages
    ]
    output, said, _, _ = wire_builds.run(tmp_path, build, {"messages": plain})
    assert output == ""
    assert bytes.fromhex(said["frames"]) == host_frames(messages)


@given(st.lists(message(), max_size=20))
def test_the_host_reads_back_what_the_board_has_framed(sent):
    frames_found = Decoder().feed(wire_script.write_frames(sent, nothing, nothing))
    assert len(frames_found) == len(sent)
    for frame, (number, values) in zip(frames_found, sent, strict=True):
        layout = LAYOUTS[number]
        assert frame.message == layout.name
        for (name, found), value in zip(frame.values.items(), values, strict=True):
            if isinstance(value, int):
                assert found == value
            elif name == "unique":
                assert found == value[:8].ljust(8, b"\0")
            else:
                width = struct.calcsize({row[0]: row[1] for row in fields_of(number)}[name])
                text = value[:width].partition(b"\0")[0]
                assert found == text.decode("utf-8", "replace")


def fields_of(number):
    return next(row[2] for row in MESSAGES if row[0] == number)


def test_a_text_longer_than_its_field_is_cut_and_takes_nothing_of_the_next():
    sent = [(frames_number("hello"), hello_values(firmware=b"x" * 99, board=b"rp2"))]
    (frame,) = Decoder().feed(wire_script.write_frames(sent, nothing, nothing))
    assert frame.values["firmware"] == "x" * 12
    assert frame.values["board"] == "rp2"


def frames_number(name):
    return BY_NAME[name].number


def hello_values(**changes):
    values = {
        name: b"" if code.endswith("s") else 0
        for name, code, _ in fields_of(frames_number("hello"))
    }
    return list((values | changes).values())


def test_no_field_of_a_tick_is_too_narrow_for_what_the_core_may_put_into_it():
    """Nothing is cut on the way: on MicroPython a number that does not fit loses its high bits."""
    ranges = dict(zip(STATE_NAMES, STATE_RANGES, strict=True))
    for name, code, _ in fields_of(frames_number("tick")):
        place = name.replace("left_", "left.").replace("right_", "right.")
        for joint in ("thigh", "shank"):
            place = place.replace(f"{joint}_count", f"{joint}.count")
        if place in ranges:
            low, high = ranges[place]
            assert NUMBERS[code][0] <= low <= high <= NUMBERS[code][1], name


# Lines.


@pytest.fixture(scope="module")
def noise():
    """Good lines, spoilt lines, lines of wrong arguments, and bytes of no sense."""
    rng = random.Random(7)
    parts = []
    for _ in range(600):
        line = any_line(rng)
        kind = rng.randrange(6)
        if kind == 0:
            line[rng.randrange(len(line))] ^= 1 << rng.randrange(8)
        elif kind == 1:
            line = bytearray(rng.randbytes(rng.randrange(1, 200)))
        elif kind == 2:
            line = checked(bytes(line[: rng.randrange(1, len(line))]).replace(b"\n", b"?"))
        elif kind == 3:
            line = checked(rng.choice([b"set 1073741824 1", b"set 1 -1073741823", b"press 0 2"]))
        parts.append(bytes(line))
    return b"".join(parts)


def any_line(rng):
    word, args, _, _ = rng.choice(COMMANDS)
    return bytearray(encode_line(word, *(rng.choice([low, high]) for _, low, high in args)))


def checked(text):
    """A line of any text with its right check."""
    return bytearray(text + b"*%04x\r\n" % crc_hqx(text, 0xFFFF))


@each_build
def test_every_build_of_micropython_finds_the_same_lines_in_the_same_noise(tmp_path, noise, build):
    expected, bad = wire_script.read_lines(noise, nothing, nothing)
    assert {said for said, _, _ in expected} == {1, 2}
    assert bad > 100
    output, said, _, _ = wire_builds.run(tmp_path, build, {"lines": noise.hex()})
    assert output == ""
    assert said["lines"] == [[list(one) for one in expected], bad]


# The link.


def any_states(rng, ticks):
    """Words of the core's memory: at either end of their ranges, or anywhere in them."""
    rows = []
    for tick in range(ticks):
        how = rng.randrange(4)
        rows.append([state_word(rng, how, low, high) for low, high in STATE_RANGES])
        if rng.randrange(2) or tick >= ticks - QUIET:
            # Both legs off: much is allowed only then.
            for name in ("left.phase", "right.phase", "contactor"):
                rows[-1][STATE_NAMES.index(name)] = 0
    return rows


def state_word(rng, how, low, high):
    return (low, high, rng.choice((low, high)), rng.randint(low, high))[how]


def any_settings(rng):
    return [state_word(rng, 3, low, high) for low, high in ranges_of("Settings")]


def any_script(rng, ticks):
    """A busy host on a locked heap; then what may take memory; then a long tale."""
    script = []
    for tick in range(ticks - QUIET):
        come = b""
        locked = tick < ticks - QUIET - 100
        if rng.randrange(3) == 0:
            come += encode_line("grant", rng.randrange(1, 250))
        if rng.randrange(2):
            line = any_line(rng)
            if not (locked and line.startswith(b"set")):
                come += bytes(line)
        if rng.randrange(8) == 0:
            come += rng.randbytes(rng.randrange(20))
        note = rng.randbytes(rng.randrange(90)) if rng.randrange(20) == 0 else b""
        script.append((come, note, int(locked)))
    last = encode_line("feed", 0) + encode_line("grant", 65535) + encode_line("faults")
    return [*script, (b"\n" + last, b"", 0), *[(b"", b"", 0)] * (QUIET - 1)]


@pytest.fixture(scope="module")
def script():
    """A job for the link, the states of its ticks, and what plain Python makes of both."""
    rng = random.Random(11)
    ticks = 750
    states = np.array(any_states(rng, ticks))
    script = any_script(rng, ticks)
    values = any_settings(rng)
    stream = wire_script.Stream(200_000)
    board, link = wire_script.new_link(values, stream)
    link.credit, link.every = 100, 1
    trace = wire_script.drive(
        link, board, script, states.ravel().tolist(), nothing, nothing, nothing
    )
    job = {
        "script": [[come.hex(), note.hex(), locked] for come, note, locked in script],
        "settings": values,
        "room": 200_000,
        "credit": 100,
        "every": 1,
    }
    return job, states, trace, bytes(stream.written[: stream.end])


@each_build
def test_every_build_says_and_does_the_same_in_every_tick_without_heap(tmp_path, script, build):
    """Every command, every message, every state's ends: one heap use would end the run."""
    job, states, trace, sent = script
    output, said, sent_there, _ = wire_builds.run(tmp_path, build, job, states)
    assert output == ""
    assert said["trace"] == trace
    assert sent_there == sent


def test_the_script_of_the_builds_makes_the_board_say_every_kind_of_message(script):
    decoder = Decoder()
    found = decoder.feed(script[3])
    assert {frame.message for frame in found} == set(BY_NAME)
    assert decoder.damaged == decoder.lost == 0
    replies = [frame for frame in found if frame.message == "reply"]
    assert {frame.values["done"] for frame in replies} == {0, 1}
    told = "".join(frame.text() for frame in found if frame.message == "note")
    assert "a line\n\n" + "x" * 300 + "\nthe end\n" in told


@pytest.mark.parametrize("build", ["native code on 64 bits", "bytecode on 32 bits"])
def test_a_link_that_takes_memory_in_a_tick_is_caught(tmp_path, script, build):
    spoilt = """

_poll = Link.poll


def _spoilt(self):
    _poll(self)
    str(self.credit)


Link.poll = _spoilt
"""
    job, states, _, _ = script
    job = job | {"script": job["script"][:3]}
    run = wire_builds.run(tmp_path, build, job, states[:3], {"legboard/link.py": spoilt})
    assert "MemoryError" in run[0]


# Cost.

LEFT_OUT = """

def add_crc(out, end, table):
    pass


def stuff(out, end):
    pass
"""


def costs(folder, script, states, every, credit=10**6, endings=None):
    """Metered instructions of each poll, give_inputs and after_tick, one row a tick."""
    job = {"script": script, "room": 0, "credit": credit, "every": every}
    job["settings"] = [low for low, _ in ranges_of("Settings")]
    build = "bytecode on 32 bits"
    output, _, _, marks = wire_builds.run(folder, build, job, states, endings)
    assert output == ""
    empty, rest = np.diff(marks[:16]), np.array(marks[16:]).reshape(-1, 4)
    assert len(set(empty.tolist())) == 1
    return np.diff(rest, axis=1) - empty[0]


@pytest.fixture(scope="module")
def busy_states():
    """Every word at its highest: all flags up, all numbers long."""
    return np.array([[high for _, high in STATE_RANGES]] * 40)


def test_a_tick_that_is_told_every_time_takes_little_of_the_period(
    tmp_path, busy_states, record_property
):
    script = [["", "", 1]] * 40
    (tmp_path / "rest").mkdir()
    (tmp_path / "all").mkdir()
    endings = {"legwire/frames.py": LEFT_OUT}
    rest = costs(tmp_path / "rest", script, busy_states, 1, endings=endings)[4:]
    whole = costs(tmp_path / "all", script, busy_states, 1)[4:]
    silent = costs(tmp_path, script, busy_states, 0)[4:]
    poll, give, after = rest.max(axis=0).tolist()
    record_property(
        "metered instructions of the wire in a tick that is told",
        f"poll {poll}, give_inputs {give}, after_tick {after} without the two loops that are"
        f" machine code on a board, {whole[:, 2].max()} with them as bytecode;"
        f" {silent[:, 2].max()} where nothing is told",
    )
    assert poll + after <= POLL_AND_AFTER_MOST
    assert silent.sum(axis=1).max() <= POLL_AND_AFTER_MOST / 2


def test_what_a_host_sends_and_what_waits_for_it_costs_a_bounded_part_of_a_tick(
    tmp_path, busy_states, record_property
):
    """Only figures: they are what BYTES_ON and one frame a tick are chosen by."""
    lines = [encode_line("beat"), encode_line("grant", 200), b"", encode_line("snapshot")]
    script = [[line.hex(), "", 1] for line in lines] + [["", "", 1]] * 36
    endings = {"legwire/frames.py": LEFT_OUT}
    found = costs(tmp_path, script, busy_states, 0, endings=endings)
    record_property(
        "metered instructions of lines and waiting frames",
        f"poll of a beat {found[0, 0]}, of a grant {found[1, 0]};"
        f" after_tick at most {found[:, 2].max()} (copy of the state), of a hello {found[0, 2]},"
        f" of words {np.median(found[7:16, 2]):.0f}",
    )
    assert found[:, 2].max() < 250_000


def test_the_link_says_that_its_tables_fit_each_other():
    assert len(frames.FORMATS) == len(MESSAGES) + 1
    assert [row[0] for row in MESSAGES] == list(range(1, len(MESSAGES) + 1))
    assert SETTINGS_COUNT + len(STATE_NAMES) < 65536
    assert model.RECORDS["Rig"][0] == ("settings", "Settings")
    assert struct.calcsize(fields_of(frames_number("note"))[0][1]) == TEXT_BYTES
