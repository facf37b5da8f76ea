"""What a whole tick of the board costs, counted as the core's is: the same in every run."""

import struct

import numpy as np
import pytest
import wasm
from cable import quick_rig
from legcore.phases import LIFTING, OFF, PHASES, STANDING, STOOPING
from legsim import core
from legsim.settings import core_rig
from legsim.simboard.files import lay_out, settings_layout
from legsim.simboard.page import TICK_BUSIEST, TICK_MEDIANS, TICK_MOST
from legwire import kept

# Cycles in a 4 ms period of the slowest board; bytecode takes about one for each instruction.
PERIOD = 0.004 * 125_000_000
# Nine tenths of it: waiting for the converter comes on top, 168 us.
MOST = 0.9 * PERIOD
CONVERTER = 0.000168 * 125_000_000
# Machine code took 73 and 81 % of the cycles of bytecode in two trials with parts of a tick.
MACHINE_CODE = 0.81
# The CRC and the stuffing of a frame, of which a tick sends two at most (`test_wire_builds`).
FRAMES = 2 * 8400
RUNNER = "cost_on_micropython.py"
# Looks at the clock in a tick: before it, by the tick itself, after it.
LOOKS = 3
# They are bare machine code on a board. In bytecode they would take a hundred times as many, so a
# call of nothing stands for them.
BYTECODE = "@micropython.bytecode"
BARE = "@micropython.viper"
INSTEAD = (
    "import micropython\n\n\ndef instead(_):\n    return lambda a=0, b=0, c=0, d=0, e=0: None\n"
)


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """Heap of code and objects; left phase and instructions of each tick, told and busiest."""
    folder = tmp_path_factory.mktemp("board")
    lay_out(folder)
    for path in folder.rglob("*.py"):
        text = path.read_text(encoding="utf-8").replace("@micropython.native", BYTECODE)
        if path.name == "frames.py":
            text = text.replace(BARE, "@instead").replace("import micropython\n", INSTEAD)
        path.write_text(text.replace(BARE, BYTECODE), encoding="utf-8")
    words = core.integers(core_rig(quick_rig()).settings, "Settings")
    words[core.words_of("Settings").index("arm_ticks")] = 16
    values = struct.pack(f"<{len(words)}i", *words)
    (folder / kept.FILE).write_bytes(kept.pack(values, settings_layout(), 0))
    runner = wasm.Path(__file__).parent / RUNNER
    (folder / RUNNER).write_text(runner.read_text(encoding="utf-8"), encoding="utf-8")
    output, marks = wasm.run(folder, RUNNER)
    numbers = output.split()
    assert all(number.isdigit() for number in numbers), output
    phases = np.array(numbers[2:], int)
    looks = np.array(marks[-LOOKS * len(phases) :]).reshape(-1, LOOKS)
    return numbers[:2], phases.reshape(2, -1), (looks[:, -1] - looks[:, 0]).reshape(2, -1)


def test_every_tick_of_the_board_fits_into_its_period_even_in_bytecode(ran, record_property):
    """Reading, judging, driving, noting, and telling every tick, with a leg up and with none."""
    (code, objects), (phases, _), (work, _) = ran
    medians = {
        PHASES[phase][0]: float(np.median(work[phases == phase]))
        for phase in (STANDING, LIFTING, STOOPING)
    }
    record_property(
        "metered instructions of a whole tick of the board",
        ", ".join(f"{name} {count:.0f}" for name, count in medians.items())
        + f", most {work.max()} ({PHASES[phases[work.argmax()]][0]}), ceiling {MOST:.0f}",
    )
    record_property(
        "heap on 32 bits, of bytecode and of the board's objects", f"{code} and {objects} bytes"
    )
    assert work.max() <= MOST
    # What docs/board.md says of it; unrelated edits move a tick by up to 2 %.
    assert medians == pytest.approx(TICK_MEDIANS, rel=0.04)
    assert work.max() == pytest.approx(TICK_MOST, rel=0.04)


def test_whatever_a_host_asks_for_makes_no_tick_late_enough_to_be_missed(ran, record_property):
    """In machine code; what a tick is late, it takes from the wait for the next one."""
    _, (_, phases), (_, work) = ran
    work = work[phases != OFF]
    cycles = MACHINE_CODE * work + FRAMES + CONVERTER
    late = [0.0]
    for spent in cycles:
        late.append(max(0.0, late[-1] + spent - PERIOD))
    record_property(
        "a tick of the board with a snapshot and lines on their way",
        f"{work.max()} metered instructions, ends {max(late) / 125:.0f} us late",
    )
    assert max(late) < PERIOD / 4
    assert work.max() == pytest.approx(TICK_BUSIEST, rel=0.04)
