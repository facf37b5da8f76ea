"""A recording on disk: whole, cut anywhere, or damaged anywhere."""

import os
from random import Random

import numpy as np
import pytest
from cobs import cobs
from fakeboard import FakeBoard, walked_inputs
from hocklift.device import Device
from hocklift.errors import LogError, OutputError
from hocklift.log import TICK_DTYPE, LogWriter, read_log
from hocklift.recording import record


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A recording of half a second, as it lies on disk."""
    folder = tmp_path_factory.mktemp("log")
    record(Device(FakeBoard(folder, walked_inputs())), folder / "a.log", None, 0.5)
    return (folder / "a.log").read_bytes()


@pytest.fixture(scope="module")
def scratch(tmp_path_factory):
    return tmp_path_factory.mktemp("scratch") / "b.log"


def read_bytes(path, data):
    path.write_bytes(data)
    return read_log(path)


def test_a_recording_holds_header_settings_ticks_snapshots_and_its_end(whole, scratch):
    log = read_bytes(scratch, whole)
    assert log.header["format"] == 1
    assert log.header["rig"] == "demo"
    assert log.header["board"]["board"] == "fake"
    assert log.header["settings"] == log.snapshots[0].words[: len(log.header["settings"])].tolist()
    assert log.setting("visit_hz") == 125
    assert log.hello["unique"] == "0102000000000000"
    assert len(log.ticks) >= 125
    assert len(log.snapshots) == 2
    assert log.ended["why"] == "time over"
    assert (log.lost, log.damaged, log.missing_ticks, log.restarts) == (0, 0, 0, 0)


def test_cut_at_any_byte_it_is_readable_up_to_the_cut(whole, scratch):
    ends = np.flatnonzero(np.frombuffer(whole, np.uint8) == 0) + 1
    frames = [cobs.decode(piece)[0] for piece in whole.split(b"\0")[:-1]]
    ticks = read_bytes(scratch, whole).ticks
    for cut in range(len(whole) - 1, len(whole) - 2001, -1):
        os.truncate(scratch, cut)
        log = read_log(scratch)
        before = frames[: int(np.searchsorted(ends, cut, side="right"))]
        assert len(log.ticks) == before.count(2)
        assert np.array_equal(log.ticks, ticks[: len(log.ticks)])
        assert (log.lost, log.damaged) == (0, 0)
        assert log.ended is None


def test_one_byte_changed_anywhere_is_told_and_costs_no_more_than_its_neighbours(whole, scratch):
    good = read_bytes(scratch, whole).ticks
    chance = Random(1)
    for _ in range(500):
        data = bytearray(whole)
        data[chance.randrange(len(data))] ^= chance.randrange(1, 256)
        log = read_bytes(scratch, bytes(data))
        # Of the last zero, the end is missing.
        assert log.damaged or log.ended is None
        # One frame, or two that a lost zero has joined.
        assert len(good) - len(log.ticks) <= 2
        kept = np.isin(good["tick"], log.ticks["tick"])
        assert np.array_equal(good[kept], log.ticks)


def test_what_is_lost_between_frames_is_counted(whole, scratch):
    pieces = whole.split(b"\0")
    del pieces[100:105]
    log = read_bytes(scratch, b"\0".join(pieces))
    assert (log.lost, log.missing_ticks, log.damaged) == (5, 5, 0)
    assert len(log.breaks) == 1


def test_without_its_header_the_rest_is_still_there(whole, scratch):
    log = read_bytes(scratch, b"\x05" + whole[1:])
    assert log.header == {}
    assert log.damaged == 1
    assert log.setting("visit_hz") is None
    assert len(log.ticks) >= 125


def test_a_frame_that_came_twice_counts_once(whole, scratch):
    pieces = whole.split(b"\0")
    pieces.insert(100, pieces[100])
    log = read_bytes(scratch, b"\0".join(pieces))
    assert (log.lost, log.damaged) == (0, 0)
    assert np.array_equal(log.ticks, read_bytes(scratch, whole).ticks)


@pytest.mark.parametrize("size", [1, 7, 48, 73, 1000])
def test_a_mark_lies_between_frames_however_they_come(whole, scratch, size):
    scratch.unlink(missing_ok=True)
    with LogWriter(scratch, {}) as writer:
        for start in range(0, 20 * size, size):
            writer.came(whole[start : start + size])
            writer.mark(f"at {start}", 7)
        writer.end("enough")
    log = read_log(scratch)
    assert log.damaged == 0
    assert [mark.text for mark in log.marks] == [
        f"at {start}" for start in range(0, 20 * size, size)
    ]
    assert log.ended["why"] == "enough"


def test_a_frame_that_has_only_begun_is_taken_off_at_the_end(whole, scratch):
    scratch.unlink(missing_ok=True)
    with LogWriter(scratch, {}) as writer:
        writer.came(whole[: whole.index(b"\0") + 20])
        writer.end("enough")
    assert read_log(scratch).damaged == 0


def test_a_tick_in_memory_is_as_the_wire_packs_it():
    from hocklift.wire import BY_NAME

    assert TICK_DTYPE.itemsize == BY_NAME["tick"].struct.size


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (None, "no such file; make a recording with `hocklift record`"),
        (b"", "holds no frame of a board"),
        (b"time_s,left_knee_deg\n0,1\n", "holds no frame of a board"),
        (bytes(range(256)) * 100, "holds no frame of a board"),
    ],
)
def test_what_is_no_recording_is_told(tmp_path, data, expected):
    path = tmp_path / "x.log"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(LogError, match=expected):
        read_log(path)


def test_a_folder_is_no_recording(tmp_path):
    with pytest.raises(LogError, match="cannot be read"):
        read_log(tmp_path)


def test_nothing_is_written_over(tmp_path):
    (tmp_path / "a.log").write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        LogWriter(tmp_path / "a.log", {})
    assert (tmp_path / "a.log").read_text() == "mine"


def test_a_full_disk_is_told_and_what_was_written_is_good(whole, tmp_path):
    class Full:
        def write(self, data):
            raise OSError(28, "No space left on device")

    with LogWriter(tmp_path / "a.log", {}) as writer:
        writer.came(whole[: whole.index(b"\0") + 1])
        file, writer._file = writer._file, Full()
        with pytest.raises(OutputError, match="the recording ends here: No space left"):
            writer.came(b"1234")
        writer._file = file
    assert read_log(tmp_path / "a.log").damaged == 0
