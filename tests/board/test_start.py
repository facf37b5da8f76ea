"""From power to armed, and what may be wrong on the way: the real firmware on a simulated board."""

import struct
from dataclasses import replace

import pytest
from cable import START_S, Cable, neutral, quick_rig
from legcore.faults import SETTINGS, WATCHDOG
from legcore.phases import STANDING
from legsim import core
from legsim.settings import core_rig
from legsim.simboard.files import settings_file, settings_layout
from legwire.kept import FILE, STATES, pack

STATE = {name: number for number, name in enumerate(STATES)}


def hello(cable):
    return cable.values("hello")[-1]


def test_a_blank_board_says_that_its_settings_are_missing_and_gives_nothing(make_either):
    board, cable = make_either(blank=True)
    cable.start()
    assert hello(cable)["settings_state"] == STATE["missing"]
    assert "settings are missing" in cable.texts()
    assert cable.ticks[-1]["fault_bits"] & SETTINGS
    board.arm(True)
    cable.run(2.0)
    assert neutral(board)
    assert board.out["watchdog_ms"] == 0


def test_good_settings_are_told_with_their_check_and_day(make_either):
    board, cable = make_either()
    (board.files / FILE).write_bytes(settings_file(quick_rig(), day=9876))
    cable.start()
    told = hello(cable)
    words = core.integers(core_rig(quick_rig()).settings, "Settings")
    kept = (board.files / FILE).read_bytes()
    assert told["settings_state"] == 0
    assert told["calibrated_day"] == 9876
    assert told["period_us"] == 4000
    assert told["stage"] == words[-1] == 3
    # The CRC is of the integers alone, as `keep` writes them.
    assert struct.pack(f"<{len(words)}i", *words) in kept


def words():
    return core.integers(core_rig(quick_rig()).settings, "Settings")


def changed_byte(data, at):
    return data[:at] + bytes((data[at] ^ 1,)) + data[at + 1 :]


def with_words(layout, change):
    values = words()
    change(values)
    return pack(struct.pack(f"<{len(values)}i", *values), layout, 1)


def out_of_range(values):
    values[0] = 100000


GOOD_FILE = settings_file(quick_rig())
SPOILT = {
    "empty": (b"", "corrupt"),
    "cut off": (GOOD_FILE[:-40], "corrupt"),
    "a bit in the header": (changed_byte(GOOD_FILE, 0), "corrupt"),
    "a bit in the day": (changed_byte(GOOD_FILE, 8), "corrupt"),
    "a bit in a setting": (changed_byte(GOOD_FILE, 200), "corrupt"),
    "a bit in the check": (changed_byte(GOOD_FILE, len(GOOD_FILE) - 1), "corrupt"),
    # A zero after a CRC is no error to it; the length is.
    "something appended": (GOOD_FILE + b"\0", "of another version"),
    "another version": (with_words(settings_layout() ^ 1, list), "of another version"),
    "a setting too many": (
        pack(struct.pack(f"<{len(words()) + 1}i", *words(), 0), settings_layout(), 1),
        "of another version",
    ),
    "out of range": (with_words(settings_layout(), out_of_range), "not allowed"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_file_of_settings_is_told_and_never_used(make_board, name):
    data, state = SPOILT[name]
    board, cable = make_board()
    (board.files / FILE).write_bytes(data)
    cable.start()
    assert hello(cable)["settings_state"] == STATE[state]
    assert cable.ticks[-1]["fault_bits"] & SETTINGS
    board.arm(True)
    cable.run(1.5)
    assert neutral(board)
    # No speed controller is given the least pulse that a blank record happens to hold.
    assert {board.truth.left.pulse_us, board.truth.right.pulse_us} == {1500}


def test_from_power_on_nothing_but_neutral_is_given_until_a_person_has_armed(make_either):
    board, cable = make_either()
    for _ in range(40):
        board.advance(0.1)
        assert neutral(board)
    cable.start()
    cable.arm()
    assert board.out["contactor"] == 1
    assert board.out["watchdog_ms"] == 100


def test_neutral_is_what_the_settings_say_as_soon_as_they_are_read(make_board):
    rig = quick_rig()
    rig = replace(rig, controller=replace(rig.controller, neutral_s=1520e-6))
    board, cable = make_board(rig=rig)
    cable.run(1.0)
    assert board.truth.left.pulse_us == 1500
    cable.start()
    assert (board.truth.left.pulse_us, board.truth.right.pulse_us) == (1520, 1520)
    cable.arm()
    assert board.truth.left.pulse_us == 1520
    board.strike("RuntimeError")
    board.advance(0.008)
    assert (board.truth.left.pulse_us, board.out["contactor"]) in ((1520, 0), (0, 0))


def test_arming_waits_for_the_checklist(make_board):
    board, cable = make_board()
    # Closed from the start: nobody has armed.
    board.arm(True)
    cable.start()
    cable.run(2.0)
    assert neutral(board)
    board.stop(True)
    board.arm(False)
    cable.run(0.3)
    board.arm(True)
    cable.run(1.5)
    assert neutral(board)
    board.stop(False)
    cable.arm()
    assert board.out["contactor"] == 1


def test_in_the_moment_after_power_on_a_person_can_break_in(make_either):
    board, cable = make_either()
    board.advance(1.0)
    board.usb.from_host += b"\x03"
    board.advance(0.1)
    assert board.doing == "ended"
    assert neutral(board)
    assert board.out["watchdog_ms"] == 0
    cable.hear()
    assert b"KeyboardInterrupt" in bytes(cable.decoder.stray)


def test_later_too_as_long_as_it_was_never_armed(make_board):
    board, cable = make_board()
    cable.start()
    board.usb.from_host += b"\x03"
    cable.run(0.3)
    assert board.doing == "ended"
    assert neutral(board)
    cable.run(10.0)
    assert board.doing == "ended"


def test_once_armed_breaking_in_leads_to_the_moment_after_a_restart(make_board):
    """A watchdog that runs would cut off whoever works at the prompt."""
    board, cable = make_board()
    cable.start()
    cable.arm()
    board.usb.from_host += b"\x03"
    board.advance(0.02)
    assert neutral(board)
    board.advance(1.0)
    assert (board.resets, board.bites) == (1, 0)
    board.usb.from_host += b"\x03"
    board.advance(0.1)
    assert board.doing == "ended"
    board.advance(20.0)
    assert (board.doing, board.resets) == ("ended", 1)


def test_a_wanted_restart_is_not_taken_for_a_hang(make_board):
    board, cable = make_board()
    cable.start()
    assert cable.ask("restart")["done"]
    cable.run(1.0)
    assert board.resets == 1
    cable.run(START_S)
    cable.say("every", 1)
    cable.run(0.3)
    assert "hung" not in cable.texts()
    assert cable.ticks[-1]["fault_bits"] & WATCHDOG == 0
    assert not (board.files / "restart.txt").exists()


def test_a_wanted_restart_that_cannot_be_marked_is_told_as_a_hang(make_board):
    board, cable = make_board()
    cable.start()
    # What stands in the way of the mark, as a full flash would.
    (board.files / "restart.txt").mkdir()
    cable.say("restart")
    cable.run(1.0)
    assert board.resets == 1
    cable.run(START_S)
    assert "the program hung" in cable.texts()


@pytest.mark.parametrize("platform", ["rp2", "esp32"])
def test_settings_are_written_by_the_host_kept_and_good_after_a_restart(make_board, platform):
    board, cable = make_board(blank=True, platform=platform)
    cable.start()
    assert hello(cable)["board"] == platform
    refused = cable.ask("keep", 5)
    assert not refused["done"]
    assert refused["text"]
    for word, value in enumerate(words()):
        cable.say("set", word, value)
        # Longer than one tick each, and eight replies may wait.
        if word % 6 == 5:
            cable.run(0.1)
    cable.run(0.3)
    assert all(reply["done"] for reply in cable.values("reply")[3:])
    assert cable.ask("keep", 9000)["done"]
    assert (board.files / FILE).read_bytes() == settings_file(quick_rig(), day=9000)
    # Only a restart clears the fault.
    board.arm(True)
    cable.run(1.5)
    assert neutral(board)
    board.arm(False)
    assert cable.ask("restart")["done"]
    cable.run(1.0)
    cable.start()
    assert hello(cable)["settings_state"] == 0
    cable.arm()


def test_settings_that_contradict_each_other_are_not_kept_and_end_arming(make_board):
    board, cable = make_board()
    cable.start()
    word = core.words_of("Settings").index("lift_fold_cdeg")
    assert cable.ask("set", word, 17000)["done"]
    refused = cable.ask("keep", 5)
    assert (refused["done"], refused["text"]) == (0, "lift_fold_cdeg is over fold_max_cdeg")
    board.arm(True)
    cable.run(1.5)
    assert neutral(board)
    assert cable.ticks[-1]["fault_bits"] & SETTINGS
    assert (board.files / FILE).read_bytes() == settings_file(quick_rig())


@pytest.mark.parametrize("name", ["kp_q16", "hold_permille[4]", "right_shank.angle_cdeg[2]"])
def test_a_changed_setting_counts_from_the_next_tick_on_and_is_no_memory_error(make_board, name):
    board, cable = make_board()
    cable.start()
    word = core.words_of("Settings").index(name)
    assert cable.ask("set", word, words()[word] + 1)["done"]
    cable.arm()
    cable.run(1.0)
    assert cable.ticks[-1]["left_phase"] == STANDING
    assert cable.ticks[-1]["fault_bits"] == 0
    assert board.out["contactor"] == 1


def test_another_period_or_neutral_is_never_half_in_use(make_board):
    """The core reckons with both, and so do loop and drive: neutral at once, a period once anew."""
    board, cable = make_board()
    cable.start()
    names = core.words_of("Settings")
    assert cable.ask("set", names.index("pulse_neutral_us"), 1510)["done"]
    cable.arm()
    assert board.truth.left.pulse_us == 1510
    cable.disarm()
    assert board.truth.left.pulse_us == 1510
    assert cable.ask("set", names.index("visit_hz"), 100)["done"]
    board.arm(True)
    cable.run(1.5)
    assert neutral_at(board, 1510)
    assert cable.ticks[-1]["fault_bits"] & SETTINGS


def neutral_at(board, pulse_us):
    truth = board.truth
    return (truth.contactor, truth.left.pulse_us, truth.right.pulse_us) == (False, *2 * (pulse_us,))


def test_what_the_program_failed_of_is_told_at_the_next_start(make_board):
    board, cable = make_board()
    cable.start()
    board.strike("RuntimeError")
    cable.run(0.2)
    assert board.doing == "ended"
    assert neutral(board)
    # Never armed: a person at the port reads it at once.
    assert b"RuntimeError: struck" in bytes(cable.decoder.stray)
    board.reset()
    cable.run(START_S)
    assert "the program failed once: RuntimeError: struck" in cable.texts()


def test_the_program_outlives_a_host_that_never_comes(make_board):
    board, _ = make_board()
    board.usb.plugged = False
    board.advance(60.0)
    assert board.doing == "waits"
    assert board.usb.stalls == 0
    cable = Cable(board)
    cable.start()
    assert hello(cable)["time_ms"] > 57000
