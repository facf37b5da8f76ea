"""The board's end of the wire: it never waits, never says more than granted, never acts on noise.

The core here is a plain rig whose phases and inputs a test sets; where it matters what the core
makes of them, its own step runs.
"""

import random
from binascii import crc_hqx

import pytest
import wire_script
from fields import SETTINGS_COUNT, STATE_NAMES, STATE_RANGES, names
from hocklift.wire import BY_NAME, Decoder, Hello, Tick, encode_line
from hypothesis import given
from hypothesis import strategies as st
from legboard.link import BYTES_OFF, BYTES_ON, HANDLERS, Link
from legboard.queues import NOTE_BYTES, REPLIES
from legboard.snapshot import copier
from legboard.words import places, read, write
from legcore.model import RECORDS, make
from legcore.phases import OFF, PHASES, STANDING
from legcore.stages import GANTRY, STAGES, STAND, UNLOADED
from legcore.step import step
from legwire.messages import (
    ALWAYS,
    BENCH_ONLY,
    COMMANDS,
    FED,
    OFF_ONLY,
    SILENT,
    TEXT_BYTES,
    WORDS_A_FRAME,
)
from stream import Walk

ROOM = 10**6
ENDS = {name: [arg[2] for arg in args] for name, args, _, _ in COMMANDS}
COMMANDS_THAT = {
    when: [row[0] for row in COMMANDS if row[2] == when] for when in (ALWAYS, OFF_ONLY, BENCH_ONLY)
}
each_moving_phase = pytest.mark.parametrize(
    "phase", range(STANDING, len(PHASES)), ids=[row[0] for row in PHASES[1:]]
)


class Port(wire_script.Stream):
    """A port that may take less than is written, or nothing."""

    takes = None

    def write(self, buffer, length):
        if self.takes is not None:
            length = min(length, self.takes)
        return super().write(buffer, length) if length else 0


class Bench:
    """A board with a link, and its host."""

    def __init__(self, granted=0, rig=None):
        self.board = wire_script.Board(rig)
        self.rig = self.board.rig
        self.port = Port(ROOM)
        self.link = Link(self.board, self.port)
        self.decoder = Decoder()
        self.at = 0
        self.ticks = 0
        self.raw = b""
        if granted:
            self.send("grant", granted)
            self.tick(3)
            self.frames()

    def send(self, word, *args):
        self.port.put(encode_line(word, *args))

    def tick(self, count=1, stepped=False):
        for _ in range(count):
            self.ticks += 1
            self.link.poll()
            if self.link.give_inputs() and stepped:
                step(self.rig)
            self.link.after_tick(self.ticks, 700)

    def frames(self, message=None):
        """What the host has got since last asked."""
        self.raw = bytes(self.port.written[self.at : self.port.end])
        self.at = self.port.end
        found = self.decoder.feed(self.raw)
        return [frame for frame in found if message in (None, frame.message)]

    def ask(self, word, *args):
        """Give a command; (done, text) of its reply, or nothing."""
        self.send(word, *args)
        self.tick(12)
        replies = self.frames("reply")
        return [(frame.values["done"], frame.text()) for frame in replies]

    def legs(self, phase):
        for leg in (self.rig.left, self.rig.right):
            leg.phase = phase
            leg.phase_not = -1 - phase
        self.rig.contactor = int(phase != OFF)


def granted(rig=None):
    return Bench(65535, rig)


# Credit.


def test_a_board_that_nobody_has_granted_anything_says_nothing():
    """A port that is open and not read would stop the loop; what fits nobody knows."""
    bench = Bench()
    bench.link.every = 1
    bench.link.note("nobody listens")
    bench.tick(1000)
    assert bench.frames() == []
    assert bench.port.end == 0


def test_who_the_board_is_comes_first_however_late_the_host():
    bench = Bench()
    bench.tick(500)
    bench.send("grant", 200)
    bench.tick(2)
    (frame,) = bench.frames()
    hello = Hello.of(frame)
    assert (hello.board, hello.micropython, hello.firmware) == ("rp2", "1.28.0", "0.1.0")
    assert hello.unique == bench.board.unique
    assert hello.time_ms == 4 * bench.ticks - 4
    assert hello.settings_crc == bench.board.store.crc
    # The count of starts wraps.
    assert hello.starts == 1


def test_a_fresh_start_separates_the_first_frame_from_what_was_printed_before():
    bench = Bench()
    bench.decoder.feed(b"MicroPython v1.28.0 on a board\r\n>>> ")
    bench.send("grant", 200)
    bench.tick(2)
    assert [frame.message for frame in bench.frames()] == ["hello"]
    assert bench.decoder.damaged == 1


@given(
    st.lists(
        st.tuples(
            st.one_of(st.none(), st.integers(1, 300)),
            st.sampled_from([None, ("hello",), ("snapshot",), ("every", 1), ("every", 3)]),
            st.sampled_from([None, "a word to a person", "x" * 100]),
        ),
        max_size=60,
    )
)
def test_never_are_more_bytes_sent_than_were_granted(happenings):
    bench = Bench()
    given_bytes = 0
    for grant, ask, note in happenings:
        if grant:
            bench.send("grant", grant)
            given_bytes += grant
        if ask:
            bench.send(*ask)
        if note:
            bench.link.note(note)
        bench.tick(2)
        assert bench.port.end <= given_bytes
        assert bench.port.end + bench.link.credit <= given_bytes
    bench.frames()
    assert bench.decoder.damaged == bench.decoder.lost == 0


def test_ticks_without_a_grant_are_dropped_and_counted_and_the_rest_waits():
    bench = granted()
    bench.ask("every", 1)
    bench.link.credit = 0
    bench.send("hello")
    bench.link.note("one")
    bench.tick(50)
    assert bench.frames() == []
    assert bench.link.dropped == 50
    bench.send("grant", 10_000)
    bench.tick(6)
    found = [frame.message for frame in bench.frames()]
    assert [message for message in found if message != "tick"] == ["hello", "reply", "note"]
    assert bench.decoder.lost == 0


def test_a_stream_of_ticks_does_not_starve_what_waits():
    """Whatever is granted a tick's bytes at a time, ticks alone would eat."""
    bench = granted()
    bench.ask("every", 1)
    bench.link.credit = 0
    bench.send("snapshot")
    bench.tick()
    tick_bytes = bench.link.writer.sizes[BY_NAME["tick"].number]
    found = []
    for _ in range(60):
        bench.send("grant", tick_bytes + 1)
        bench.tick()
        found += [frame.message for frame in bench.frames()]
    assert found.count("words") == -(-len(bench.board.places) // WORDS_A_FRAME)
    assert "tick" in found


@pytest.mark.parametrize("name", BY_NAME)
def test_every_frame_wants_one_byte_more_than_it_has_for_a_fresh_start(name):
    bench = granted()
    bench.ask("every", int(name == "tick"))
    if name == "words":
        bench.ask("snapshot")
        bench.send("snapshot")
        bench.tick(2)
    bench.frames()
    bench.link.replies.count = 0
    size = bench.link.writer.sizes[BY_NAME[name].number]
    bench.link.hello = int(name == "hello")
    if name == "reply":
        bench.link.answer(1)
    elif name == "note":
        bench.link.note("x")
    bench.link.waits = 1
    bench.link.credit = size
    bench.tick(4)
    assert bench.frames(name) == []
    bench.link.credit = size + 1
    bench.tick(1)
    assert len(bench.frames(name)) == 1


def test_ticks_come_every_so_many_as_asked():
    bench = granted()
    for every in (1, 2, 7):
        bench.ask("every", every)
        bench.tick(3 * every)
        ticks = [frame.values["tick"] for frame in bench.frames("tick")][-3:]
        assert ticks == [ticks[0], ticks[0] + every, ticks[0] + 2 * every]
    bench.ask("every", 0)
    bench.tick(20)
    assert bench.frames("tick") == []


def test_replies_that_nobody_fetches_are_counted_and_stop_nothing():
    bench = Bench()
    for _ in range(REPLIES + 5):
        bench.send("hello")
        bench.tick()
    assert bench.link.replies.lost == 5
    bench.link.credit = 10_000
    bench.tick(20)
    lines = [frame.values["line"] for frame in bench.frames("reply")]
    assert lines == list(range(1, REPLIES + 1))


@pytest.mark.parametrize("takes", [0, 1, 5, 40, 72])
def test_after_a_write_cut_short_the_next_frame_starts_afresh_and_is_whole(takes):
    bench = granted()
    bench.ask("every", 1)
    bench.port.takes = takes
    bench.tick(3)
    bench.port.takes = None
    bench.frames()
    bench.tick(10)
    told = [frame.values["tick"] for frame in bench.frames("tick")]
    assert told[-10:] == list(range(bench.ticks - 9, bench.ticks + 1))
    # All but the end of a frame is all of it: the fresh start ends it.
    assert len(told) == (11 if takes == 72 else 10)
    assert bench.link.short_writes == 3


def test_a_port_that_takes_nothing_never_stops_the_board():
    bench = granted()
    bench.port.takes = 0
    bench.ask("every", 1)
    for _ in range(300):
        bench.send("snapshot")
        bench.tick()
    assert bench.link.short_writes > 300


# Lines.


def test_every_command_has_its_row_and_its_function():
    assert list(HANDLERS) == [row[0] for row in COMMANDS]


@pytest.mark.parametrize("word", [row[0] for row in COMMANDS])
def test_every_command_is_answered_once_but_those_that_come_many_times_a_second(word):
    bench = granted()
    bench.ask("take")
    if word == "in":
        bench.ask("feed", 1)
    replies = bench.ask(word, *(arg[1] for arg in COMMANDS[list(HANDLERS).index(word)][1]))
    later = word in ("keep", "faults", "trace")
    assert replies == ([] if word in SILENT or later else [(1, "")])
    if later:
        bench.link.answer(1, "when it is done")
        bench.tick()
        assert [frame.text() for frame in bench.frames("reply")] == ["when it is done"]


def test_replies_count_every_line_that_passed_its_check():
    bench = granted()
    bench.link.line = 65534
    for _ in range(3):
        bench.send("beat")
        bench.port.put(b"nonsense\n")
        bench.send("hello")
        bench.tick(4)
    lines = [frame.values["line"] for frame in bench.frames("reply")]
    assert lines == [0, 2, 4]


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        (b"jump", "no such command"),
        (b"hello 1", "hello takes no numbers"),
        (b"every", "every takes ticks 0 to 1000"),
        (b"every 1001", "every takes ticks 0 to 1000"),
        (b"press 0", "press takes leg 0 to 1, pressed 0 to 1"),
        (b"set 1", "set takes 2 numbers"),
        (b"in 1", "in takes 18 numbers"),
        (b"in" + b" 2" * 18, "in takes 18 numbers"),
    ],
)
def test_a_line_with_a_right_check_and_wrong_sense_is_refused_in_words(text, answer):
    bench = granted()
    bench.port.put(text + b"*%04X\n" % crc_hqx(text, 0xFFFF))
    bench.tick(3)
    (frame,) = bench.frames("reply")
    assert (frame.values["done"], frame.text()) == (0, answer)
    assert len(answer) <= TEXT_BYTES


@each_moving_phase
@pytest.mark.parametrize("word", COMMANDS_THAT[OFF_ONLY])
@pytest.mark.parametrize("leg", ["left", "right"])
def test_what_may_only_be_with_both_legs_off_is_refused_in_every_other_phase(word, phase, leg):
    bench = granted()
    getattr(bench.rig, leg).phase = phase
    before = everything(bench)
    assert bench.ask(word, *ENDS[word]) == [(0, "only while both legs are off")]
    assert everything(bench) == before


@each_moving_phase
@pytest.mark.parametrize("word", COMMANDS_THAT[ALWAYS])
def test_what_may_always_be_may_be_in_every_phase(word, phase):
    bench = granted()
    bench.legs(phase)
    assert bench.ask(word, *ENDS[word]) in ([], [(1, "")])


@pytest.mark.parametrize("stage", range(len(STAGES)), ids=[row[0] for row in STAGES])
@each_moving_phase
def test_the_host_presses_a_switch_only_in_charge_and_only_where_nobody_is_in_the_frame(
    phase, stage
):
    bench = granted()
    bench.legs(phase)
    bench.rig.settings.stage = stage
    without = bench.ask("press", 1, 1)
    bench.ask("take")
    with_it = bench.ask("press", 1, 1)
    bench.tick()
    if stage in (UNLOADED, STAND):
        assert without == [(0, "only a host in charge may press: take first")]
        assert with_it == [(1, "")]
        assert (bench.rig.left.switch, bench.rig.right.switch) == (0, 1)
    else:
        assert without == with_it == [(0, "only at the stages unloaded and stand")]
        assert (bench.rig.left.switch, bench.rig.right.switch) == (0, 0)


@pytest.mark.parametrize("how", ["leave", "take", "stage", "press"])
def test_a_pressed_switch_is_let_go(how):
    """By the host, as its charge ends, as the next begins, and where somebody wears the frame."""
    bench = granted()
    bench.ask("take")
    bench.ask("press", 0, 1)
    assert bench.rig.left.switch == 1
    bench.rig.left.switch = 0
    if how == "stage":
        bench.rig.settings.stage = GANTRY
    elif how == "press":
        bench.ask("press", 0, 0)
    else:
        bench.ask(how)
    bench.rig.left.switch = 0
    bench.tick()
    assert bench.rig.left.switch == 0


def test_a_switch_that_the_wearer_closes_stays_closed_whatever_the_host_says():
    bench = granted()
    bench.ask("take")
    bench.ask("press", 0, 0)
    bench.rig.left.switch = 1
    bench.tick()
    assert bench.rig.left.switch == 1


def test_a_stop_cuts_as_soon_as_it_is_acted_on_and_lasts_until_disarmed():
    """With a leg on its ten bytes take two ticks to be read, and the third acts on them."""
    walk = Walk(5)
    walk.arm()
    bench = Bench(rig=walk.rig)
    assert walk.rig.contactor == 1
    bench.send("stop")
    bench.tick(3, stepped=True)
    assert walk.rig.contactor == 0
    walk.rig.stop = 0
    bench.tick(50, stepped=True)
    assert walk.rig.contactor == 0
    # The button itself was not pressed.
    assert walk.rig.stop == 0


def test_the_host_is_heard_by_its_beat_and_only_then():
    """The core takes `host_heard` back when it has looked; the link gives it once a beat."""
    bench = granted()
    bench.ask("take")
    assert (bench.rig.host, bench.rig.host_heard) == (1, 1)
    bench.rig.host_heard = 0
    bench.ask("hello")
    assert bench.rig.host_heard == 0
    bench.ask("beat")
    assert bench.rig.host_heard == 1
    bench.ask("leave")
    assert bench.rig.host == 0


def test_a_silent_host_in_charge_is_a_fault_in_its_time_and_a_beating_one_is_none():
    walk = Walk(6)
    walk.arm()
    bench = granted(walk.rig)
    bench.send("take")
    for _ in range(20):
        bench.send("beat")
        bench.tick(20, stepped=True)
    assert walk.rig.fault_bits == 0
    bench.tick(walk.rig.settings.host_ticks + 20, stepped=True)
    assert walk.rig.fault_bits != 0


def everything(bench):
    """All that a line might change: what the link asks for, and the core's inputs."""
    link = bench.link
    rig = [read(place) for place in bench.board.places]
    return dict(vars(link.asks)), rig, link.every, link.snapshot, link.stop, link.heard


NOISE = st.lists(
    st.one_of(
        st.binary(max_size=60),
        # Lines whose check is wrong by one.
        st.sampled_from([row[0] for row in COMMANDS]).map(
            lambda word: encode_line(word, *ENDS[word])[:-5] + b"0000\n"
        ),
    ),
    max_size=8,
)


@given(NOISE)
def test_noise_changes_nothing(parts):
    """No action without a right check; a check of 0000 is no line's of these."""
    bench = granted()
    bench.ask("take")
    before = everything(bench)
    line = bench.link.line
    bench.port.put(b"\n".join(parts) + b"\n")
    bench.tick(30)
    assert bench.link.line == line
    assert everything(bench) == before
    assert bench.frames() == []


def test_200_000_random_bytes_change_nothing_and_stop_nothing():
    bench = granted()
    before = everything(bench)
    bench.port.put(random.Random(9).randbytes(200_000) + b"\n")
    bench.tick(200_000 // BYTES_OFF + 2000)
    assert bench.port.left == 0
    assert bench.link.line == 1
    assert everything(bench) == before
    assert bench.ask("hello") == [(1, "")]


def test_a_flood_of_bytes_takes_no_more_of_a_tick_than_it_may():
    bench = granted()
    for phase, most in ((OFF, BYTES_OFF), (STANDING, BYTES_ON)):
        bench.legs(phase)
        bench.port.put(b"x" * 1000)
        before = bench.port.left
        bench.tick()
        assert before - bench.port.left == most


def test_with_a_leg_on_no_tick_both_reads_and_acts():
    """Either takes a tenth of the period, beside all else that such a tick has to do."""
    bench = granted()
    bench.legs(STANDING)
    for word in ("take", "hello"):
        bench.send(word)
    acted = []
    while bench.port.left or bench.link.found:
        left, line = bench.port.left, bench.link.line
        bench.tick()
        acted.append(bench.link.line - line)
        assert not (acted[-1] and bench.port.left < left)
    assert acted == [0, 0, 1, 0, 0, 1]


def test_one_line_acts_a_tick_and_the_next_one_in_the_next():
    bench = granted()
    for word in ("take", "snapshot", "hello"):
        bench.send(word)
    bench.tick()
    assert (bench.link.asks.host, bench.link.snapshot) == (1, 0)
    bench.tick()
    assert bench.link.snapshot == 1


# Ticks.


@given(st.integers(0, 2**32))
def test_a_tick_says_every_input_and_output_as_the_core_has_it(seed):
    bench = granted()
    bench.ask("every", 1)
    rng = random.Random(seed)
    state = wire_states(rng)
    for place, value in zip(bench.board.places[SETTINGS_COUNT:], state, strict=True):
        write(place, value)
    bench.link.give_inputs()
    bench.link.after_tick(2**30 - 1, 10**6)
    (frame,) = bench.frames("tick")
    tick = Tick.of(frame)
    rig = bench.rig
    assert (tick.tick, tick.loop_us) == (2**30 - 1, 65535)
    assert not tick.fed
    for name in ("arm", "stop", "settings_bad", "was_hung", "host", "host_heard", "contactor"):
        assert getattr(tick, name) == bool(getattr(rig, name)), name
    for name in ("missed_ticks", "battery_mV", "supply_mV", "stick_count"):
        assert getattr(tick, name) == getattr(rig, name), name
    assert (tick.fault_bits, tick.arm_blocks) == (rig.fault_bits, rig.arm_blocks)
    for leg, seen in ((rig.left, tick.left), (rig.right, tick.right)):
        assert (seen.thigh_count, seen.shank_count) == (leg.thigh.count, leg.shank.count)
        assert (seen.switch, seen.sole) == (bool(leg.switch), bool(leg.sole))
        for name in ("phase", "fault_bits", "fold_cdeg", "setpoint_cdeg_q6", "pulse_us"):
            assert getattr(seen, name) == getattr(leg, name), name
        assert seen.drive_permille == leg.drive_permille


def wire_states(rng):
    return [rng.choice((low, high, rng.randint(low, high))) for low, high in STATE_RANGES]


def test_a_tick_tells_inputs_that_the_step_takes_back():
    """Stepped again from the log, a start after a hang or a beat would otherwise be missing."""
    bench = granted()
    bench.ask("every", 1)
    bench.rig.was_hung = 1
    # The core looks at its host once in eight ticks.
    bench.rig.turn = 6
    bench.send("take")
    bench.tick(stepped=True)
    assert (bench.rig.was_hung, bench.rig.host_heard) == (0, 0)
    tick = Tick.of(bench.frames("tick")[-1])
    assert (tick.was_hung, tick.host_heard) == (True, True)


# Snapshots.


def collect_words(bench):
    """(tick, words) of the snapshot that came."""
    found = bench.frames("words")
    words = [value for frame in found for name, value in frame.values.items() if "word_" in name]
    total = found[0].values["total"]
    assert [frame.values["first"] for frame in found] == list(range(0, total, WORDS_A_FRAME))
    assert words[total:] == [0] * (len(words) - total)
    return found[0].values["tick"], words[:total]


def test_a_snapshot_is_the_whole_memory_as_one_tick_has_left_it():
    """It leaves in parts while the core goes on; all of them are of one tick."""
    walk = Walk(8)
    walk.arm()
    bench = granted(walk.rig)
    history = {}
    bench.send("snapshot")
    for _ in range(30):
        bench.tick(stepped=True)
        history[bench.ticks] = [read(place) for place in bench.board.places]
    tick, words = collect_words(bench)
    assert words == history[tick]
    assert words != history[tick + 1]
    assert len(words) == len(names("Rig"))


def test_a_second_snapshot_waits_for_the_first_and_no_setting_changes_meanwhile():
    bench = granted()
    bench.link.credit = 0
    bench.send("snapshot")
    bench.tick()
    for word, args, why in (
        ("snapshot", (), "the last one is still being sent"),
        ("set", (0, 1), "a snapshot is being sent"),
    ):
        bench.send(word, *args)
        bench.tick()
        bench.link.credit = 120
        bench.tick(2)
        bench.link.credit = 0
        assert why in [frame.text() for frame in bench.frames("reply")]
    bench.link.credit = 10_000
    bench.tick(30)
    assert bench.ask("snapshot") == [(1, "")]


def test_the_copier_copies_each_integer_of_a_record_once_in_declared_order():
    rig = make("Rig")
    for i, place in enumerate(places(rig, "Rig")):
        write(place, 1000 + i)
    into = [0] * (len(names("Rig")) + 3)
    copier("Settings", 2)(rig.settings, into)
    copier("Rig", SETTINGS_COUNT + 2, "settings")(rig, into)
    assert into == [0, 0, *range(1000, 1000 + len(names("Rig"))), 0]


# Notes.


def joined(bench):
    return "".join(frame.text() for frame in bench.frames("note"))


def test_notes_arrive_whole_and_in_order_however_they_are_cut():
    bench = granted()
    said = ["a", "", "x" * TEXT_BYTES, "y" * (TEXT_BYTES - 1), "z" * 200, "the end"]
    for text in said:
        assert bench.link.note(text) == 1
        bench.tick()
    bench.tick(20)
    assert joined(bench) == "".join(text + "\n" for text in said)
    assert bench.link.idle()


def test_a_note_that_has_no_room_is_counted_and_leaves_the_others_whole():
    bench = Bench()
    assert bench.link.note("x" * (NOTE_BYTES - 1)) == 1
    assert bench.link.note("y") == 0
    assert Bench().link.note("x" * NOTE_BYTES) == 0
    assert bench.link.notes.lost == 1
    bench.link.credit = 10_000
    bench.tick(30)
    assert joined(bench) == "x" * (NOTE_BYTES - 1) + "\n"


@given(
    st.lists(
        st.one_of(st.text("abc ", max_size=120), st.integers(0, 1500).map(lambda n: "d" * n)),
        max_size=20,
    ),
    st.integers(1, 4),
)
def test_a_long_tale_is_told_to_its_end_and_only_then_answered(lines, every):
    bench = granted()
    bench.ask("faults")
    assert bench.link.asks.faults == 1
    bench.link.asks.faults = 0
    bench.link.tell(line + "\r\n" for line in lines)
    assert bench.ask("trace") == [(0, "still telling")]
    told, replies = joined(bench), []
    for _ in range(2 * len(lines) + sum(map(len, lines)) // TEXT_BYTES + 10):
        bench.link.credit = 10_000
        bench.tick(every)
        bench.link.pull()
        for frame in bench.frames():
            told += frame.text() if frame.message == "note" else ""
            replies += [told] if frame.message == "reply" else []
    assert told == "".join(line + "\n" for line in lines)
    assert replies == [told]
    assert bench.link.idle()


def test_a_tale_that_breaks_off_is_answered_with_what_went_wrong():
    def lines():
        yield "one"
        raise OSError(5)

    bench = granted()
    bench.send("trace")
    bench.tick()
    bench.link.tell(lines())
    for _ in range(10):
        bench.tick()
        bench.link.pull()
    found = bench.frames()
    assert [frame.message for frame in found] == ["note", "reply"]
    assert found[1].values["done"] == 0
    assert "OSError" in found[1].text()


# Feeding.


def test_fed_ticks_go_through_the_core_as_they_would_in_a_walk_and_each_is_answered():
    """The same inputs, the same outputs to the bit: what a replay on the board rests on."""
    walk = Walk(12)
    walk.recover()
    walk.foot(0, 1)
    walk.run(300)
    rows = walk.recorded
    replayed = make("Rig")
    bench = granted(replayed)
    for place, source in zip(
        bench.board.places[:SETTINGS_COUNT], settings_places(walk.rig), strict=True
    ):
        write(place, read(source))
    bench.ask("every", 1)
    bench.ask("feed", 1)
    bench.frames()
    answers = []
    for row in rows:
        bench.link.credit = 1000
        bench.send("in", *row[: len(FED)])
        bench.tick(3, stepped=True)
        answers += bench.frames("tick")
    assert len(answers) == len(rows)
    assert all(Tick.of(frame).fed for frame in answers)
    for name in STATE_NAMES:
        assert by_name(replayed, name) == by_name(walk.rig, name), name


def settings_places(rig):
    return places(rig.settings, "Settings")


def by_name(made, name):
    for part in name.split("."):
        made = getattr(made, part)
    return made


def test_without_a_grant_a_fed_tick_waits_to_be_told_before_the_next_is_taken():
    bench = granted()
    bench.ask("feed", 1)
    bench.link.credit = 0
    for count in (1, 2, 3):
        bench.send("in", *[count] + [0] * 17)
        bench.tick(2)
    assert bench.rig.left.thigh.count == 1
    bench.link.credit = 10_000
    bench.tick(4)
    found = bench.frames()
    assert [f.text() for f in found if f.message == "reply"] == ["the last inputs still wait"]
    assert [Tick.of(f).left.thigh_count for f in found if f.message == "tick"] == [1, 2]


def test_inputs_are_taken_only_while_feeding():
    bench = granted()
    assert bench.ask("in", *[0] * 18) == [(0, "feed 1 comes first")]
    bench.ask("feed", 1)
    assert bench.link.give_inputs() == 0
    bench.ask("feed", 0)
    assert bench.link.give_inputs() == 1


def test_while_feeding_what_wants_both_legs_off_goes_on_whatever_the_fed_core_does():
    """Nothing is driven then, and a fed walk leaves the phase off at once."""
    bench = granted()
    bench.ask("feed", 1)
    bench.legs(STANDING)
    bench.send("in", *[0] * 18)
    bench.tick()
    assert bench.link.fed_owed == 0
    assert len(bench.frames("tick")) == 1
    assert bench.ask("feed", 0) == [(1, "")]
    assert bench.ask("feed", 1) == [(0, "only while both legs are off")]


def test_state_may_be_set_while_feeding_and_only_then():
    """So that a replay may start in the middle of a walk, from a snapshot."""
    bench = granted()
    word = SETTINGS_COUNT + STATE_NAMES.index("left.phase_ticks")
    bench.board.store.put = lambda _word, _value: "no such setting"
    assert bench.ask("set", word, 5) == [(0, "no such setting")]
    bench.ask("feed", 1)
    assert bench.ask("set", word, 5) == [(1, "")]
    assert bench.rig.left.phase_ticks == 5
    assert bench.ask("set", word, -1) == [(0, "left.phase_ticks may be 0 to 350001")]
    assert bench.ask("set", len(bench.board.places), 0) == [(0, "no such word")]
    assert bench.ask("set", 3, 5) == [(0, "no such setting")]


def test_the_inputs_that_are_fed_have_the_models_ranges():
    for name, low, high in FED:
        *path, field = name.split(".")
        record = ("Rig", "Leg", "Joint")[len(path)]
        row = next(row for row in RECORDS[record] if row[0] == field)
        assert row[2:] == (low, high), name


def test_what_the_loop_does_itself_is_asked_of_it():
    bench = granted()
    bench.send("keep", 9000)
    bench.send("restart")
    bench.tick(12)
    assert (bench.link.asks.keep, bench.link.asks.day, bench.link.asks.restart) == (1, 9000, 1)
    assert bench.link.idle()
