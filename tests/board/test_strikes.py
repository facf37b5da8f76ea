"""Whatever ends the program, wherever it strikes: no power, and neutral pulses, in a period."""

import json
import struct
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from cable import NEUTRAL_NS, neutral, quick_rig
from legcore.phases import HELD
from legsim import core
from legsim.settings import core_rig
from legsim.simboard.files import lay_out, settings_layout
from legsim.simboard.process import SIM
from legwire import kept

PERIOD_US = 4000
NEUTRAL = [0, NEUTRAL_NS, NEUTRAL_NS]


def struck(folder, raises, stride, mode):
    """What came of a strike at every so many lines of the firmware, on CPython."""
    lay_out(folder)
    words = core.integers(core_rig(quick_rig()).settings, "Settings")
    # Armed at once: each strike is a start of its own.
    words[core.words_of("Settings").index("arm_ticks")] = 16
    values = struct.pack(f"<{len(words)}i", *words)
    (folder / kept.FILE).write_bytes(kept.pack(values, settings_layout(), 0))
    runner = Path(__file__).parent / "struck.py"
    done = subprocess.run(
        [sys.executable, runner, SIM, raises, str(stride), mode],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


# Every file that a loop goes through, from reading to telling; what is flashed holds no wings yet.
LOOPED = {
    *("loop", "sensors", "settings", "drive", "watchdog", "faultlog", "link", "queues", "stream"),
    *("frames", "lines", "words", "validity"),
    *("step", "estimate", "watch", "heat", "stick", "supervise", "arming"),
    *("setpoint", "stoop", "law", "limits"),
}
# Both legs fold in the one, one leg in the other.
DRIVEN = {
    "stooping": {"stoop", "law", "limits", "heat", "stick"},
    "lifting": {"setpoint", "law", "limits"},
}


@pytest.mark.parametrize(
    ("raises", "stride"),
    [
        pytest.param("KeyboardInterrupt", 1, marks=pytest.mark.big),
        ("MemoryError", 5),
        ("SystemExit", 7),
        ("RuntimeError", 7),
    ],
)
def test_an_exception_at_any_line_of_the_loop_leaves_outputs_at_rest(
    tmp_path, raises, stride, record_property
):
    """In stoop and lift, put down, disarmed, cut, asked by a host, arming, writing to flash.

    On MicroPython a soft reset of the program's own is a SystemExit.
    """
    told = struck(tmp_path, raises, stride, "once")
    files: dict[str, set[str]] = {}
    for one in told:
        files.setdefault(one["act"], set()).add(one["lines"][0].partition(".py:")[0])
    acts = Counter(one["act"] for one in told)
    record_property(f"lines struck by {raises}", f"{len(told)}: {dict(acts)}")
    assert stride > 1 or set().union(*files.values()) >= LOOPED
    for act, driven in DRIVEN.items():
        assert files[act] >= driven
        # It strikes while a motor is driven.
        assert all(one["driven"] != NEUTRAL for one in told if one["act"] == act)
    for one in told:
        assert one["outputs"] == NEUTRAL, one
        # Not before: flash stops the board.
        assert all(written == NEUTRAL for written in one["written"]), one
        # Where they are at rest already, the file that tells of it may take its time.
        assert one["took_us"] < PERIOD_US or one["driven"] == NEUTRAL, one
        if one["watchdog"] == 0:
            assert one["ended"] == raises, one
        elif one["driven"][0]:
            # The watchdog runs and nobody would feed it: the board starts anew by itself.
            assert one["ended"] == "ResetError", one


def test_a_second_ctrl_c_at_any_line_after_the_first_changes_nothing_of_it(tmp_path):
    told = struck(tmp_path, "KeyboardInterrupt", 1, "twice")
    assert len(told) > 10
    for one in told:
        assert one["outputs"] == NEUTRAL, one
        assert all(written == NEUTRAL for written in one["written"]), one
        assert one["took_us"] < PERIOD_US, one


@pytest.mark.parametrize("raises", ["KeyboardInterrupt", "SystemExit", "MemoryError"])
def test_on_micropython_at_any_call_into_the_hardware_with_a_leg_up(make_board, raises):
    """And the board comes back by itself, unarmed."""
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(0)
    before = board.out["calls"]
    board.advance(0.04)
    calls = (board.out["calls"] - before) // 10
    assert calls > 30
    for call in range(1, calls + 1, 4):
        board.strike(raises, call)
        board.advance(0.008)
        assert neutral(board), call
        assert board.out["writes_armed"] == 0
        board.raise_foot(0, False)
        cable.run(0.5)
        cable.start()
        assert neutral(board)
        cable.arm()
        board.raise_foot(0, True)
        cable.run(0.3)
        assert board.out["contactor"] == 1
    assert board.resets == len(range(1, calls + 1, 4))
    assert board.bites == 0


def test_a_board_that_is_struck_with_a_leg_up_lets_its_spring_put_it_down(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(0)
    assert cable.ticks[-1]["left_phase"] == HELD
    board.strike("KeyboardInterrupt")
    board.raise_foot(0, False)
    cable.run(1.0)
    assert board.truth.left.load_N > 0
