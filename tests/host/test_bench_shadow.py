"""The core beside the board: the same to the bit, and figures that agree with the plant."""

import numpy as np
import pytest
from cobs import cobs
from fakeboard import FakeBoard, walked_inputs
from hocklift.benchpage.columns import COLUMNS, LEGS
from hocklift.benchpage.history import History, holding
from hocklift.benchpage.shadow import Shadow
from hocklift.device import Device
from hocklift.log import TICK_DTYPE
from hocklift.rehearsal import METRONOME, rehearse
from legsim.core import word_of
from legsim.rig import Rig
from legsim.tables import FAULTS
from rich.console import Console

PERIOD_S = 0.004
SECONDS = 8


def ticks_of(frames):
    payloads = b"".join(cobs.decode(frame.raw[:-1])[:-2] for frame in frames)
    return np.frombuffer(payloads, TICK_DTYPE)


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """(shadow, its rows, ticks, a snapshot near the end): a walk, watched from its start."""
    board = FakeBoard(tmp_path_factory.mktemp("board"), walked_inputs(SECONDS))
    device = Device(board)
    device.hello()
    device.send("every", 1)
    shadow = Shadow(Rig())
    rows, ticks, time_s = [], [], 0.0
    snapshot = device.snapshot()

    def take(frames):
        nonlocal time_s
        for frame in frames:
            if frame.message == "tick":
                part = ticks_of([frame])
                rows.append(shadow.rows(part, np.array([time_s])))
                ticks.append(part)
                time_s += PERIOD_S

    take(device.frames(0.1))
    shadow.sync(snapshot)
    take(device.frames(SECONDS - 1.0))
    late = device.snapshot()
    take(device.frames(0))
    return shadow, np.concatenate(rows), np.concatenate(ticks), late


def column(rows, name):
    return rows[:, COLUMNS.index(name)]


def test_what_the_wire_does_not_say_is_what_the_boards_own_core_holds(walked):
    shadow, rows, ticks, late = walked
    assert shadow.synced
    row = rows[np.flatnonzero(ticks["tick"] == late.tick)[0]]
    for leg in LEGS:
        for name, field, scale in (
            ("rate_degps", "rate_cdps", 100),
            ("winding_K", "winding_mK_q8", 256000),
            ("thigh_deg", "thigh.angle_cdeg_q4", 1600),
            ("shank_deg", "shank.angle_cdeg_q4", 1600),
        ):
            held = int(late.words[word_of(f"{leg}.{field}")])
            assert held != 0
            assert row[COLUMNS.index(f"{leg}_{name}")] == np.float32(held / scale)


def test_before_the_first_snapshot_nothing_is_made_up(walked):
    _, rows, _, _ = walked
    assert np.isnan(column(rows, "left_rate_degps")[0])
    assert not np.isnan(column(rows, "left_fold_deg")[0])


def test_a_tick_that_is_missing_leaves_it_out_of_step_until_the_next_snapshot(tmp_path):
    board = FakeBoard(tmp_path, walked_inputs(SECONDS))
    device = Device(board)
    device.hello()
    device.send("every", 1)
    shadow = Shadow(Rig())
    frames = []

    def some(seconds):
        found = [frame for frame in device.frames(seconds) if frame.message == "tick"]
        frames.extend(found)
        return ticks_of(found)

    first = some(0.2)
    shadow.rows(first, np.zeros(len(first)))
    snapshot = device.snapshot()
    second = some(0.2)
    shadow.rows(second, np.zeros(len(second)))
    shadow.sync(snapshot)
    assert shadow.synced
    third = some(0.2)
    shadow.rows(third[1:], np.zeros(len(third) - 1))
    assert not shadow.synced
    snapshot = device.snapshot()
    fourth = some(0.2)
    shadow.rows(fourth, np.zeros(len(fourth)))
    shadow.sync(snapshot)
    assert shadow.synced


def test_the_estimated_current_warms_a_motor_as_the_simulated_current_does(walked):
    # Outside the core: the plant's own motor model. What counts for heat is the mean square.
    _, rows, ticks, _ = walked
    trace = rehearse(Rig(), "demo", METRONOME, SECONDS, 1, Console(quiet=True)).trace
    for leg in LEGS:
        estimate = column(rows, f"{leg}_current_A")
        known = ~np.isnan(estimate)
        at = ticks["tick"][known].astype(int)
        truth = trace[leg]["current_A"][at[0] : at[-1] + 1]
        ours = float(np.sqrt(np.mean(estimate[known] ** 2)))
        theirs = float(np.sqrt(np.mean(truth**2)))
        # It stands guard against heat, so it may tell more than there is, and hardly less.
        assert 0.95 * theirs < ours < 1.6 * theirs, leg


# What happened, in words.


def a_tick(tick, **fields):
    row = np.zeros(1, TICK_DTYPE)
    row["tick"] = tick
    for name, value in fields.items():
        row[name] = value
    return row


def test_a_fault_is_told_once_with_what_to_do_and_again_when_it_is_cleared():
    fault = FAULTS[3]
    history = History()
    history.take(a_tick(1), PERIOD_S)
    for tick in (2, 3):
        history.take(a_tick(tick, left_fault_bits=fault.bit), PERIOD_S)
    history.take(a_tick(4), PERIOD_S)
    told = history.told()
    assert [event["kind"] for event in told] == ["fault", "clear"]
    assert told[0]["remedy"] == fault.remedy
    assert fault.text in told[0]["words"]
    assert told[0]["time_s"] == pytest.approx(2 * PERIOD_S)
    assert history.told() == []


def test_every_fault_has_its_remedy_on_the_page():
    # As many as the wire's own field of fault bits holds.
    every = holding({"left": (1 << 32) - 1})
    assert [one["name"] for one in every] == [fault.name for fault in FAULTS]
    assert [one["remedy"] for one in every] == [fault.remedy for fault in FAULTS]


def test_time_goes_on_when_the_board_starts_anew_and_the_gap_is_told():
    history = History()
    times = [
        *history.take(a_tick(100), PERIOD_S),
        *history.take(a_tick(1), PERIOD_S),
        *history.take(a_tick(4), PERIOD_S),
    ]
    assert times == pytest.approx([PERIOD_S, 2 * PERIOD_S, 5 * PERIOD_S])
    assert [event["words"] for event in history.told()] == [
        "The board has started anew.",
        "2 ticks did not come.",
    ]
