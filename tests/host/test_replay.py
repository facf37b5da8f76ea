"""Re-stepping a recording: the same to the bit here and on a board, or told where not."""

from dataclasses import replace
from random import Random

import numpy as np
import pytest
from cobs import cobs
from documents import document_of
from fakeboard import Breaking, FakeBoard, walked_inputs
from hocklift.cli import main
from hocklift.device import Device
from hocklift.errors import BoardError, LogError, RigFileError
from hocklift.feeding import feed
from hocklift.log import SETTINGS_COUNT, LogWriter, read_log
from hocklift.recording import record
from hocklift.replaying import replay, runs
from hocklift.rigfile.file import write_rig
from hocklift.whatif import what_if
from hocklift.wire import BY_NAME, Decoder
from legcore.phases import HELD, OFF
from legcore.step import step
from legsim.core import word_of, words_of
from legsim.rig import Rig


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """A recording of five seconds: from off, armed, and the first steps."""
    folder = tmp_path_factory.mktemp("replay")
    record(Device(FakeBoard(folder, walked_inputs())), folder / "a.log", None, 5.0)
    return folder / "a.log"


@pytest.fixture(scope="module")
def log(path):
    return read_log(path)


@pytest.fixture
def scratch(tmp_path):
    return tmp_path / "b.log"


def changed(path, scratch, message, number, name, change):
    """A copy of a log in which one field of the nth such message says something else."""
    decoder = Decoder()
    pieces = path.read_bytes().split(b"\0")
    seen = 0
    for i, piece in enumerate(pieces):
        for frame in decoder.feed(piece + b"\0"):
            if frame.message == message:
                if seen == number:
                    values = {**frame.values, name: change(frame.values[name])}
                    pieces[i] = BY_NAME[message].pack(frame.sequence, values)[:-1]
                seen += 1
    scratch.write_bytes(b"\0".join(pieces))
    return read_log(scratch)


def test_a_walk_re_stepped_is_the_same_to_the_bit_memory_and_all(log):
    done = replay(log)
    assert done.differences == ()
    assert done.compared > 5 / 0.004 - 20
    assert done.checked == 1
    assert {OFF, HELD} <= set(log.ticks["left_phase"].tolist())


def test_an_output_that_differs_by_one_is_found_with_both_states_by_name(path, scratch):
    there = changed(path, scratch, "tick", 900, "right_drive_permille", lambda value: value + 1)
    (difference,) = replay(there).differences
    assert difference.tick == there.ticks["tick"][900]
    assert [each.name for each in difference.fields if not each.same] == ["right.drive_permille"]
    assert {"left.fold_cdeg", "right.phase", "fault_bits"} <= {f.name for f in difference.fields}


def test_an_input_that_was_another_shows_in_the_outputs(path, scratch):
    there = changed(path, scratch, "tick", 900, "left_thigh_count", lambda value: value + 7)
    (difference,) = replay(there).differences
    assert abs(difference.row - 900) <= 1
    assert "left.fold_cdeg" in [each.name for each in difference.fields if not each.same]


def test_memory_that_no_tick_tells_of_is_compared_at_each_snapshot(path, scratch):
    word = word_of("left.winding_mK_q8")
    number, place = divmod(word, 24)
    # The second snapshot's part that holds it.
    parts = -(-len(words_of("Rig")) // 24)
    there = changed(
        path, scratch, "words", parts + number, f"word_{place}", lambda value: value + 1
    )
    (difference,) = replay(there).differences
    assert difference.memory
    assert [each.name for each in difference.fields if not each.same] == ["left.winding_mK_q8"]


def test_one_byte_changed_is_told_and_re_stepped_up_to_there(path, scratch, log):
    data = path.read_bytes()
    chance = Random(2)
    # Between the first snapshot and the last.
    start, end = len(data) // 3, len(data) * 3 // 4
    for _ in range(40):
        spoilt = bytearray(data)
        place = chance.randrange(start, end)
        spoilt[place] ^= chance.randrange(1, 256)
        scratch.write_bytes(spoilt)
        there = read_log(scratch)
        done = replay(there)
        assert there.damaged or done.differences
        if there.damaged:
            before = int(there.breaks[0])
            assert done.differences == ()
            assert done.compared >= before - runs(there)[0].start


def test_after_a_loss_a_recorder_takes_a_new_snapshot_and_the_rest_is_re_stepped(tmp_path):
    board = FakeBoard(tmp_path, walked_inputs())
    count = {"writes": 0}

    def spoil(data):
        count["writes"] += 1
        return b"" if count["writes"] % 500 == 499 else data

    board.spoil = spoil
    record(Device(board), tmp_path / "a.log", None, 7.5)
    log = read_log(tmp_path / "a.log")
    assert log.lost >= 3
    done = replay(log)
    assert len(runs(log)) >= 3
    assert done.differences == ()
    assert done.compared > len(log.ticks) / 2


def test_a_board_that_starts_anew_is_re_stepped_from_its_next_snapshot(tmp_path):
    board = FakeBoard(tmp_path, walked_inputs())
    seen = []

    def show(recording):
        seen.append(recording.ticks)
        if len(seen) == 400:
            board.restart()

    made = record(Device(board), tmp_path / "a.log", None, 8.0, show=show)
    log = read_log(tmp_path / "a.log")
    assert made.restarts == log.restarts == 1
    assert len(runs(log)) >= 2
    assert replay(log).differences == ()


def test_a_recording_without_a_snapshot_cannot_be_re_stepped(path, scratch, capsys):
    data = path.read_bytes()
    pieces = [p for p in data.split(b"\0") if p and cobs.decode(p)[0] != 3]
    scratch.write_bytes(b"\0".join([*pieces, b""]))
    with pytest.raises(LogError, match="no whole snapshot"):
        replay(read_log(scratch))
    assert main(["replay", str(scratch)]) == 2
    assert "make another recording" in capsys.readouterr().err


def test_a_recording_of_another_core_is_refused(path, scratch):
    with LogWriter(scratch, {"core": "another", "board": {"firmware": "9.9"}}) as writer:
        writer.came(path.read_bytes().split(b"\0", 1)[1])
    with pytest.raises(LogError, match=r"recorded from firmware 9\.9"):
        replay(read_log(scratch))


# Other settings.


def slower(rig):
    return replace(
        rig, control=replace(rig.control, lift_speed_radps=rig.control.lift_speed_radps / 2)
    )


def test_the_same_rig_would_have_done_the_same(log):
    other = what_if(log, Rig(), "mine.toml")
    assert other.changed == ()
    assert np.array_equal(other.was, other.would)
    assert other.summary == "mine.toml makes the settings that the recording has."


def test_another_speed_shows_in_drive_phases_and_words(log):
    other = what_if(log, slower(Rig()), "mine.toml")
    assert [change.name for change in other.changed] == ["lift_step_q6"]
    assert not np.array_equal(other.was, other.would)
    assert "the drive would have differed by" in other.summary


def test_the_calibration_of_the_board_stays(log):
    rig = Rig()
    turned = replace(rig, sensors=replace(rig.sensors, pot_centre_rad=0.5))
    assert what_if(log, turned, "mine.toml").changed == ()


def test_another_period_is_refused(log):
    rig = Rig()
    fast = replace(rig, control=replace(rig.control, period_s=0.002))
    with pytest.raises(RigFileError, match=r"control\.period"):
        what_if(log, fast, "mine.toml")


# The command.


def test_the_command_ends_with_0_and_says_so_when_all_is_the_same(path, capsys):
    assert main(["replay", str(path)]) == 0
    assert "the same to the bit" in capsys.readouterr().out


def test_the_command_ends_with_1_and_shows_the_difference(path, scratch, capsys):
    changed(path, scratch, "tick", 900, "left_phase", lambda value: value ^ 1)
    assert main(["replay", str(scratch)]) == 1
    out = capsys.readouterr().out
    assert "First difference: outputs after tick" in out
    assert "left.phase" in out
    assert "differs" in out


def test_damage_is_told(path, scratch, capsys):
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    scratch.write_bytes(data)
    assert main(["replay", str(scratch)]) == 0
    out = capsys.readouterr().out
    assert "Damage: 1 piece is no frame" in out
    assert "1 tick is missing" in out or "2 ticks are missing" in out


def test_with_a_rig_it_shows_what_would_have_been_and_ends_with_0(path, tmp_path, capsys):
    write_rig(slower(Rig()), tmp_path / "slow.toml")
    assert main(["replay", str(path), str(tmp_path / "slow.toml")]) == 0
    out = capsys.readouterr().out
    assert "lift_step_q6" in out
    assert "time lifting" in out
    assert main(["replay", str(path), str(tmp_path / "slow.toml"), "--json"]) == 0
    document = document_of("replay", capsys.readouterr().out)
    assert document["what_if"]["changed"][0]["name"] == "lift_step_q6"


# On a board.


def test_a_board_that_is_fed_answers_the_same_to_the_bit_and_keeps_its_own_settings(log, tmp_path):
    board = FakeBoard(tmp_path)
    board.store.put(0, 200)
    before = board.words()
    device = Device(board)
    device.hello()
    fed, difference = feed(device, log)
    assert difference is None
    assert fed == sum(run.end - run.start for run in runs(log))
    assert board.words()[:SETTINGS_COUNT] == before[:SETTINGS_COUNT]
    assert board.link.asks.feed == 0


def test_a_board_that_computes_otherwise_is_found(log, tmp_path, monkeypatch):
    board = FakeBoard(tmp_path)

    steps = []

    def step_otherwise(rig):
        step(rig)
        steps.append(rig)
        rig.left.fold_cdeg += len(steps) == 700

    monkeypatch.setattr("fakeboard.step", step_otherwise)
    device = Device(board)
    device.hello()
    _, difference = feed(device, log)
    assert difference is not None
    assert [each.name for each in difference.fields if not each.same] == ["left.fold_cdeg"]
    assert board.link.asks.feed == 0


def test_a_board_with_power_on_its_motors_is_left_alone(log, tmp_path):
    board = FakeBoard(tmp_path, walked_inputs())
    device = Device(board)
    device.hello()
    device.send("every", 1)
    for frame in device.frames(5):
        if frame.message == "tick" and frame.values["left_phase"] != OFF:
            break
    with pytest.raises(BoardError, match="will not be fed: only while both legs are off; see that"):
        feed(device, log)
    assert board.rig.contactor == 1


def test_a_cable_pulled_while_feeding_tells_to_restart_the_board(log, tmp_path):
    board = Breaking(tmp_path)
    board.bytes_left = 50_000
    device = Device(board)
    device.hello()
    with pytest.raises(BoardError, match=r"has ended: pulled\. Then restart the board"):
        feed(device, log)


def test_a_line_lost_on_the_way_to_a_board_is_no_difference(log, tmp_path):
    board = FakeBoard(tmp_path)
    device = Device(board)
    device.hello()
    write = board.write
    count = {"in": 0}

    def lossy(data):
        count["in"] += data.startswith(b"in ")
        if not (data.startswith(b"in ") and count["in"] == 300):
            write(data)

    board.write = lossy
    with pytest.raises(BoardError, match=r"a line was lost|does not answer a tick"):
        feed(device, log)
