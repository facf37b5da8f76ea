"""Lines and replies, frames and grants between the host and the board's own end of the wire."""

import re

import numpy as np
import pytest
from fakeboard import PERIOD_S, FakeBoard, walked_inputs
from hocklift.device import Device, RefusedError, SilentError
from hocklift.errors import BoardError
from hocklift.transport import REAL_CREDIT


@pytest.fixture
def board(tmp_path):
    return FakeBoard(tmp_path, walked_inputs())


@pytest.fixture
def device(board):
    device = Device(board)
    device.hello()
    return device


def ticks_of(device, seconds):
    return [f.values["tick"] for f in device.frames(seconds) if f.message == "tick"]


def missing(ticks):
    return sum(np.diff(ticks) - 1)


def test_a_board_says_who_it_is(board):
    values = Device(board).hello().values
    assert (values["board"], values["firmware"], values["period_us"]) == ("fake", "0.1.0", 4000)


def test_every_tick_comes_and_none_is_lost_in_two_minutes(board, device):
    device.send("every", 1)
    ticks = ticks_of(device, 120)
    assert len(ticks) > 120 / PERIOD_S - 50
    assert (missing(ticks), device.lost, device.damaged) == (0, 0, 0)


@pytest.mark.parametrize(("kind", "most"), [("rp2", 2048), ("esp32", REAL_CREDIT)])
def test_a_board_is_never_granted_more_than_its_port_holds(tmp_path, kind, most):
    board = FakeBoard(tmp_path, walked_inputs(), REAL_CREDIT, kind)
    board.real = True
    device = Device(board)
    device.hello()
    device.send("every", 1)
    ticks_of(device, 1)
    device.snapshot()
    ticks_of(device, 1)
    assert most // 2 < board.most_credit <= most


def test_a_snapshot_is_the_whole_memory_after_its_tick(board, device):
    device.send("every", 1)
    kept = {}
    pass_on = board.let_pass

    def let_pass():
        pass_on()
        kept[board.tick] = board.words()

    board.let_pass = let_pass
    ticks_of(device, 3)
    snapshot = device.snapshot()
    assert snapshot.words.tolist() == kept[snapshot.tick]


def test_a_snapshot_leaves_the_frames_around_it_in_order(device):
    device.send("every", 1)
    ticks = []
    for frame in device.frames(2):
        if frame.message == "tick":
            ticks.append(frame.values["tick"])
            if len(ticks) == 100:
                device.snapshot()
    assert missing(ticks) == 0


def test_a_snapshot_of_which_a_part_is_lost_is_asked_for_again(board, device):
    state = {"words": 0}

    def spoil(data):
        if len(data) > 100:
            state["words"] += 1
            return b"" if state["words"] == 5 else data
        return data

    board.spoil = spoil
    assert len(device.snapshot().words) == len(board.places)
    assert state["words"] > 12


def test_what_a_board_refuses_is_told_in_its_own_words(board, device):
    with pytest.raises(RefusedError, match="the board refuses `set 0 -1`: it may be 25 to") as told:
        device.send("set", 0, -1)
    assert told.value.why == "it may be 25 to 500"
    assert isinstance(told.value, BoardError)


def test_a_silent_board_is_told_with_what_to_look_at(board):
    board.spoil = lambda data: b""
    with pytest.raises(
        SilentError, match=r"no board says hello here within 8 s.*firmware is on it"
    ):
        Device(board).hello()


def test_a_board_that_falls_silent_is_told_with_the_last_words_of_its_program(board, device):
    device.send("every", 1)
    ticks_of(device, 0.1)
    board.out += b"Traceback (most recent call last):\r\n  File x\r\nMemoryError: none\r\n\0"
    board.spoil = lambda data: b""
    with pytest.raises(SilentError, match=re.escape("its program ended: MemoryError: none")):
        ticks_of(device, 10)


def test_firmware_that_speaks_another_version_of_the_wire_is_refused(board, monkeypatch):
    monkeypatch.setattr("hocklift.device.WIRE_VERSION", 2)
    with pytest.raises(BoardError, match="put this hocklift's firmware onto the board"):
        Device(board).hello()


def test_a_grant_that_is_lost_is_given_again(board, device):
    device.send("every", 1)
    ticks_of(device, 0.5)
    board.link.credit = 0
    board.lines.clear()
    board.write = lambda data: None
    for _ in range(3):
        device.poll()
    del board.write
    assert len(ticks_of(device, 1)) > 100


def test_damage_is_counted_and_what_follows_is_good(board, device):
    device.send("every", 1)
    ticks_of(device, 0.2)
    count = {"writes": 0}

    def spoil(data):
        count["writes"] += 1
        if count["writes"] == 20:
            return data[:10] + bytes([data[10] ^ 4]) + data[11:]
        return b"" if count["writes"] == 40 else data

    board.spoil = spoil
    ticks = ticks_of(device, 0.4)
    assert missing(ticks) == 2
    assert (device.damaged, device.lost) == (1, 2)


def test_a_host_in_charge_is_heard_often_enough_while_it_waits_for_frames(board, device):
    board.inputs = ()
    device.send("every", 1)
    device.take()
    heard = [f.values for f in device.frames(5) if f.message == "tick"][50:]
    assert all(values["flags"] >> 4 & 1 for values in heard)
    assert not any(values["fault_bits"] & 1 << 23 for values in heard)
    device.leave()
    beats = board.heard.count("beat")
    ticks_of(device, 1)
    assert board.heard.count("beat") == beats


def test_the_host_silent_fault_trips_when_a_host_in_charge_stops_polling(board, device):
    device.take()
    for _ in range(round(1 / PERIOD_S)):
        board.let_pass()
    assert board.rig.fault_bits & 1 << 23
