"""A wearer raises feet on a simulated board: what is read, decided and given, tick by tick."""

import numpy as np
import pytest
from cable import NEUTRAL_NS, neutral
from legcore.faults import STICK, STOP
from legcore.phases import HELD, OFF, PHASES, STANDING, STOOPING
from legsim import core
from legsim.records import POT_ILLS
from legsim.simboard.exchange import ANALOGUE, BACK
from legwire.messages import FED, TICK_FLAGS, WORDS_A_FRAME

LEGS = ("left", "right")
JOINTS = ("thigh", "shank")


def flag(tick, name):
    return tick["flags"] >> TICK_FLAGS.index(name) & 1


def inputs_of(tick):
    """The core's inputs of a tick that was told, by their names in the model."""
    told = dict(tick)
    for leg in LEGS:
        contacts = tick[f"{leg}_contacts"]
        told |= {f"{leg}.{joint}.count": tick[f"{leg}_{joint}_count"] for joint in JOINTS}
        told |= {f"{leg}.switch": contacts & 1, f"{leg}.sole": contacts >> 1}
    told |= {name: flag(tick, name) for name in TICK_FLAGS}
    return {row[0]: told[row[0]] for row in FED}


def outputs_of(tick):
    """What the core made of them, in the same way."""
    names = ("phase", "fault_bits", "fold_cdeg", "setpoint_cdeg_q6", "drive_permille", "pulse_us")
    values = {f"{leg}.{name}": tick[f"{leg}_{name}"] for leg in LEGS for name in names}
    return values | {
        "fault_bits": tick["fault_bits"],
        "arm_blocks": tick["arm_blocks"],
        "contactor": flag(tick, "contactor"),
    }


def walk(cable):
    """Arm, stoop, raise each foot, disarm in mid-air, arm again, and lose a wiper in a lift."""
    board = cable.board
    cable.arm()
    stoop(cable)
    for leg in (0, 1):
        cable.lift(leg)
        board.raise_foot(leg, False)
        cable.until(lambda tick: tick["left_phase"] == tick["right_phase"] == STANDING)
    cable.lift(0)
    board.arm(False)
    board.raise_foot(0, False)
    cable.until(lambda tick: tick["left_phase"] == OFF)
    cable.arm()
    cable.lift(1)
    board.set_trouble("right.thigh_ill", float(POT_ILLS.index("jumping")))
    cable.run(1.0)


def fold_both(cable):
    """Push the stick until both legs are folded by 80 degrees; it stays pushed."""
    cable.board.push_stick(1.0)
    cable.until(lambda tick: min(tick[f"{leg}_fold_cdeg"] for leg in LEGS) > 8000)


def stoop(cable):
    """Fold both legs by the stick, stay for a while with it let go, and rise again."""
    board = cable.board
    fold_both(cable)
    board.push_stick(0.0)
    cable.run(1.5)
    assert cable.ticks[-1]["left_phase"] == cable.ticks[-1]["right_phase"] == STOOPING
    board.push_stick(-1.0)
    cable.until(lambda tick: tick["left_phase"] == tick["right_phase"] == STANDING)
    board.push_stick(0.0)
    cable.run(0.5)


def snapshot(cable):
    """The core's whole memory, and the tick after which it was as it is."""
    before = len(cable.values("words"))
    assert cable.ask("snapshot")["done"]
    cable.run(0.5)
    parts = cable.values("words")[before:]
    words = [part[f"word_{i}"] for part in parts for i in range(WORDS_A_FRAME)]
    return parts[0]["tick"], words[: parts[0]["total"]]


def test_the_board_decides_as_the_compiled_core_does_on_the_same_inputs(make_either):
    """Every output of every tick, to the bit, and all of the core's memory at the end."""
    _, cable = make_either()
    cable.start()
    first, words = snapshot(cable)
    walk(cable)
    last, words_at_last = snapshot(cable)
    assert cable.decoder.lost == cable.decoder.damaged == 0
    ticks = [tick for tick in cable.ticks if first < tick["tick"] <= last]
    assert [tick["tick"] for tick in ticks] == list(range(first + 1, last + 1))
    assert {tick["left_phase"] for tick in ticks} == set(range(len(PHASES)))
    assert ticks[-1]["right_fault_bits"]

    step = core.compiled()["step"].step
    flat = np.array(words, np.int32)
    rig = flat.view(core.dtype("Rig")).view(np.recarray)
    for tick in ticks:
        for name, value in inputs_of(tick).items():
            flat[core.word_of(name)] = value
        step(rig[0])
        wanted = outputs_of(tick)
        assert {name: int(flat[core.word_of(name)]) for name in wanted} == wanted, tick["tick"]
    assert flat.tolist() == words_at_last


def test_the_same_seed_gives_the_same_walk_to_the_bit_on_either_python(make_board):
    said = []
    for on_cpython in (False, False, True):
        board, cable = make_board(seed=7, on_cpython=on_cpython)
        cable.start()
        cable.arm()
        cable.lift(0)
        said.append([frame.values for frame in cable.frames if frame.message == "tick"])
        board.close()
    assert said[0] == said[1] == said[2]
    _, cable = make_board(seed=8)
    cable.start()
    assert cable.ticks != said[0][: len(cable.ticks)]


def test_a_raised_foot_goes_up_by_its_motor_and_comes_down_again(make_either):
    board, cable = make_either()
    cable.start()
    cable.arm()
    standing_rad = board.truth.left.fold_rad
    cable.lift(0)
    up = board.truth
    assert np.degrees(up.left.fold_rad - standing_rad) > 10
    assert up.left.clearance_m > 0.06
    assert up.left.load_N == 0
    # The other one stands, and stays where it is but for what all the weight bends it.
    assert np.degrees(up.right.fold_rad - standing_rad) < 10
    board.raise_foot(0, False)
    cable.until(lambda tick: tick["left_phase"] == STANDING)
    cable.run(0.5)
    down = board.truth
    assert down.left.load_N > 100
    assert down.left.pulse_us == 1500
    assert {tick["fault_bits"] for tick in cable.ticks} == {0}


@pytest.mark.parametrize("wiring", ["spi", "multiplexer", "direct"])
@pytest.mark.parametrize("platform", ["rp2", "esp32"])
def test_each_wiring_reads_what_is_on_its_wires(make_board, wiring, platform):
    """Every input has another count, so that none is taken for its neighbour."""
    board, cable = make_board(platform=platform)
    wire(board, wiring)
    cable.start()
    # Stands still, each input apart from the others.
    board.set_trouble("board.stick_ill", 0.2)
    board.set_trouble("right.thigh_slip_rad", 0.1)
    board.set_trouble("right.shank_slip_rad", -0.1)
    cable.run(0.1)
    for _ in range(20):
        before = list(board._back)
        board.advance(0.004)
        cable.hear()
        wires = dict(zip(BACK, before, strict=True))
        tick = cable.ticks[-1]
        told = [tick[f"{name}_count"] for name in ANALOGUE[:5]]
        assert told == [wires[name] for name in ANALOGUE[:5]]
        assert len(set(told)) == 5
        assert tick["battery_mV"] == wires["battery"] * 30000 // 4095
        assert tick["supply_mV"] == wires["supply"] * 6600 // 4095
    assert tick["battery_mV"] == pytest.approx(24700, abs=300)
    assert tick["supply_mV"] == pytest.approx(5000, abs=5)


def wire(board, wiring):
    """Build the board with another wiring: one word in its pin table."""
    table = (
        board.files / "legboard" / f"pins_{'esp32' if board.platform == 'esp32' else 'rp2040'}.py"
    )
    text = table.read_text(encoding="utf-8")
    assert 'WIRING = "spi"' in text
    table.write_text(text.replace('WIRING = "spi"', f'WIRING = "{wiring}"'), encoding="utf-8")


def test_the_stick_folds_both_legs_together_and_let_go_they_stay(make_either):
    """On its own wire, by the board's own decision, against the springs of the simulated rig."""
    board, cable = make_either()
    cable.start()
    cable.arm()
    fold_both(cable)
    board.push_stick(0.0)
    cable.run(1.0)
    before = board.truth
    cable.run(3.0)
    for leg in LEGS:
        fold, fold_before = (
            np.degrees(getattr(truth, leg).fold_rad) for truth in (board.truth, before)
        )
        assert fold == pytest.approx(fold_before, abs=1.5)
        assert fold > 78
    assert board.truth.left.fold_rad == pytest.approx(board.truth.right.fold_rad, abs=0.04)
    # Both feet bear all the while: a stoop lifts nobody.
    assert min(board.truth.left.load_N, board.truth.right.load_N) > 100
    board.push_stick(-1.0)
    cable.until(lambda tick: tick["left_phase"] == tick["right_phase"] == STANDING)
    assert {tick["fault_bits"] | tick["left_fault_bits"] for tick in cable.ticks} == {0}


def test_a_stick_wire_that_breaks_in_a_stoop_lets_both_legs_rise(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    fold_both(cable)
    board.set_trouble("board.stick_ill", 1.0)
    cable.until(lambda tick: tick["left_phase"] == tick["right_phase"] == OFF)
    assert neutral(board)
    assert cable.ticks[-1]["fault_bits"] & STICK
    rest = np.radians(62)
    assert max(board.truth.left.fold_rad, board.truth.right.fold_rad) < rest


def test_a_multiplexer_that_is_not_given_its_time_is_caught(make_board):
    board, cable = make_board()
    wire(board, "multiplexer")
    sensors = board.files / "legboard" / "sensors.py"
    text = sensors.read_text(encoding="utf-8")
    settling = "            adc.read_u16()\n            counts[i]"
    assert settling in text
    sensors.write_text(text.replace(settling, "            counts[i]"), encoding="utf-8")
    cable.start()
    wires = dict(zip(BACK, board._back, strict=True))
    # Each input reads its neighbour.
    assert abs(cable.ticks[-1]["stick_count"] - wires["right_shank"]) < 20


@pytest.mark.parametrize("phase", [STANDING, HELD])
def test_an_open_wire_of_the_emergency_stop_stops_as_the_button_does(make_either, phase):
    """Both only open a contact: nothing on the board's side tells one from the other."""
    board, cable = make_either()
    cable.start()
    cable.arm()
    if phase == HELD:
        cable.lift(0)
    assert board.out["contactor"] == 1
    board.stop(True)
    board.advance(0.012)
    assert neutral(board)
    cable.run(0.2)
    assert cable.ticks[-1]["fault_bits"] & STOP
    assert flag(cable.ticks[-1], "stop")
    # Released, nothing moves before a person has acknowledged and armed.
    board.stop(False)
    cable.run(1.5)
    assert neutral(board)
    board.raise_foot(0, False)
    cable.run(0.5)
    cable.arm()
    assert board.out["contactor"] == 1


def test_an_open_wire_of_the_arm_input_disarms(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(1)
    board.arm(False)
    board.raise_foot(1, False)
    cable.until(lambda tick: tick["right_phase"] == OFF)
    assert neutral(board)
    # Under control: not dropped.
    assert board.truth.right.load_N > 0
    assert {tick["right_fault_bits"] for tick in cable.ticks} == {0}


def test_the_stop_that_the_host_says_cuts_as_the_button_does(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    cable.lift(0)
    cable.say("stop")
    board.advance(0.024)
    assert neutral(board)


def test_pulses_reach_the_pins_only_while_the_contactor_is_closed(make_board):
    board, cable = make_board()
    seen = set()
    cable.start()
    cable.arm()
    board.raise_foot(0, True)
    for tick in range(300):
        board.advance(0.004)
        out = board.out
        seen.add((out["contactor"], out["left_ns"] != NEUTRAL_NS))
        if tick == 200:
            board.stop(True)
    assert seen == {(1, False), (1, True), (0, False)}
