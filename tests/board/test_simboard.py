"""The simulated board itself: its port, its people, its clock, as tests and commands need them."""

import time
from dataclasses import replace

import numpy as np
import pytest
import serial
from cable import START_S, Cable, neutral, quick_rig
from hocklift.wire import Decoder, encode_line
from legcore.phases import HELD, STANDING
from legsim.records import DRIVE_ILLS
from legsim.rig import Rig
from legsim.run import Walk
from legsim.simboard.board import SimBoard
from legsim.simboard.process import BoardGoneError
from legsim.wearer import Raise, first_s, script


def read(port, seconds=0.2):
    """What a serial library reads until nothing more comes."""
    port.timeout = seconds
    data = b""
    while part := port.read(4096):
        data += part
    return data


def test_a_serial_library_opens_the_port_and_talks_to_the_board():
    with SimBoard(quick_rig()) as board, serial.Serial(board.port, 115200) as port:
        board.advance(START_S)
        port.write(encode_line("grant", 250))
        board.advance(0.1)
        frames = Decoder().feed(read(port))
        assert [frame.message for frame in frames] == ["hello"]


def test_a_host_that_comes_and_goes_finds_the_board_alive():
    with SimBoard(quick_rig()) as board:
        board.advance(START_S)
        for _ in range(3):
            with serial.Serial(board.port) as port:
                port.write(encode_line("grant", 200) + encode_line("hello"))
                board.advance(0.1)
                messages = {frame.message for frame in Decoder().feed(read(port))}
                assert "hello" in messages
            board.advance(5.0)
        assert board.usb.stalls == 0
        assert board.doing == "waits"


def test_a_board_that_sends_more_than_a_host_takes_has_to_wait_as_a_real_one():
    """What credit is for: MicroPython's write waits for a second for a host that sleeps."""
    with SimBoard(quick_rig()) as board, serial.Serial(board.port) as port:
        board.advance(START_S)
        # It claims to take more than any buffer holds, and does not read.
        for _ in range(4):
            port.write(encode_line("grant", 65535))
        port.write(encode_line("every", 1))
        board.advance(0.2)
        assert board.usb.stalls == 0
        board.advance(4.0)
        assert board.usb.stalls > 0
        assert board.doing == "waits"


def test_a_board_that_runs_in_real_time_needs_nobody_to_move_it_on():
    with SimBoard(quick_rig(), realtime=True) as board:
        began_s, wall_s = board.now_s, time.monotonic()
        time.sleep(1.0)
        passed_s, wall_s = board.now_s - began_s, time.monotonic() - wall_s
        # Never faster than the wall's clock; slower where this computer has much else to do.
        assert 0.1 < passed_s < wall_s + 0.05
        with serial.Serial(board.port) as port:
            board.advance(START_S)
            port.write(encode_line("grant", 250))
            board.advance(0.3)
            assert [frame.message for frame in Decoder().feed(read(port))] == ["hello"]


def test_on_a_stand_the_feet_hang_free_and_down_again_they_bear():
    with SimBoard(quick_rig()) as board:
        board.advance(0.5)
        assert board.truth.left.load_N > 100
        board.on_stand(True)
        board.advance(0.5)
        assert (board.truth.left.load_N, board.truth.right.load_N) == (0, 0)
        board.on_stand(True)
        board.on_stand(False)
        board.advance(1.0)
        assert board.truth.left.load_N > 100


def test_a_hand_turns_a_leg_slowly_enough_for_its_sensors_and_holds_it(make_board):
    board, cable = make_board()
    board.on_stand(True)
    board.rope(False)
    cable.start()
    target_rad = np.radians(85)
    board.hold(0, target_rad)
    cable.run(2.0)
    assert board.truth.left.fold_rad == pytest.approx(target_rad)
    assert cable.ticks[-1]["left_fold_cdeg"] == pytest.approx(8500, abs=80)
    assert {tick["left_fault_bits"] for tick in cable.ticks} == {0}
    board.hold(0, None)
    cable.run(1.0)
    # The spring has it again.
    assert board.truth.left.fold_rad < np.radians(62)


def test_without_its_rope_a_motor_turns_and_no_leg_moves(make_board):
    stage = replace(quick_rig(), control=replace(quick_rig().control, stage="unloaded"))
    board, cable = make_board(rig=stage)
    board.on_stand(True)
    board.rope(False)
    cable.start()
    cable.arm()
    still_rad = board.truth.left.fold_rad
    board.raise_foot(0, True)
    board.advance(0.1)
    assert board.truth.left.motor_radps > 10
    assert board.truth.left.fold_rad == pytest.approx(still_rad, abs=0.01)
    board.raise_foot(0, False)
    cable.run(1.0)
    board.rope(True)
    assert board.truth.left.slack_m == pytest.approx(0, abs=1e-3)


def test_a_blocked_drum_is_a_stall_and_a_swapped_motor_runs_the_wrong_way(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    board.block(0)
    board.raise_foot(0, True)
    # Blocked from the start, its drive creeps up to what counts as a stall.
    cable.run(3.0)
    assert neutral(board)
    assert "stall" in board.files.joinpath("faults.csv").read_text()
    board.block(0, False)
    board.raise_foot(0, False)
    cable.run(0.5)
    cable.arm()
    board.set_trouble("left.drive_ill", float(DRIVE_ILLS.index("reversed")))
    board.raise_foot(0, True)
    cable.run(3.0)
    assert neutral(board)
    assert board.truth.left.slack_m > 0.01


def test_troubles_that_are_the_firmwares_own_cannot_be_set():
    with SimBoard(quick_rig()) as board, pytest.raises(ValueError, match="firmware's own"):
        board.set_trouble("board.settings_bad", 1.0)


def test_a_board_may_believe_in_another_rig_than_its_own(make_board):
    true = replace(Rig(), sensors=replace(Rig().sensors, pot_centre_rad=np.radians(40)))
    board, cable = make_board(rig=true, believed=Rig())
    cable.start()
    cable.run(0.2)
    fold_deg = np.degrees(board.truth.left.fold_rad)
    # Each of two pots is two degrees off.
    assert cable.ticks[-1]["left_fold_cdeg"] / 100 == pytest.approx(fold_deg + 4, abs=0.8)


def test_a_walk_on_the_board_goes_as_the_compiled_one_does(make_board):
    """The same rig, wearer and seed: two loops, one of them real firmware, and one trajectory.

    They part only in when the board's start ends, and in a battery reading of 12 bits.
    """
    rig = Rig()
    seconds = 9.0
    at_s = first_s(rig)
    raises = [Raise(0, at_s, at_s + 1.2, at_s + 2.0), Raise(1, at_s + 2.2, at_s + 3.4, at_s + 4.2)]
    lines = script(rig, raises, seconds)
    trace = Walk(rig, lines, 3).run()

    board, cable = make_board(rig=rig, seed=3)
    cable.start()
    board.wear(lines)
    board.advance(0.2)
    board.arm(True)
    folds_deg = {"left": [], "right": []}
    for _ in range(round((seconds - 0.2) / rig.control.period_s)):
        board.advance(rig.control.period_s)
        for foot, folds in folds_deg.items():
            folds.append(np.degrees(getattr(board.truth, foot).fold_rad))
    for foot, folds in folds_deg.items():
        compiled = np.degrees(trace[foot]["thigh_rad"] + trace[foot]["shank_rad"])[-len(folds) :]
        assert np.max(compiled) > 75
        assert np.max(np.abs(compiled - folds)) < 3
        assert np.sqrt(np.mean((compiled - folds) ** 2)) < 0.5


@pytest.mark.parametrize("realtime", [False, True])
def test_a_process_that_ends_by_itself_is_told_with_its_last_words(realtime):
    with SimBoard(quick_rig(), realtime=realtime) as board:
        # Not the firmware's end: of the stand-ins around it.
        (board.files / "legboard" / "pins_rp2040.py").unlink()
        with pytest.raises(BoardGoneError, match="pins_rp2040"):
            board.advance(2.0)


def test_it_can_be_closed_twice():
    board = SimBoard(quick_rig())
    board.advance(1.0)
    board.close()
    board.close()


def test_the_board_says_what_it_is_doing():
    with SimBoard(quick_rig()) as board:
        cable = Cable(board)
        assert board.doing == "boots"
        board.advance(0.4)
        assert board.doing == "waits"
        cable.start()
        cable.arm()
        cable.lift(0)
        assert cable.ticks[-1]["left_phase"] == HELD
        assert cable.ticks[-1]["right_phase"] == STANDING
        board.usb.from_host += b"\x03"
        board.advance(0.02)
        assert board.starts == 1
        cable.run(1.0)
        assert board.starts == 2
