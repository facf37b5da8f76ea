"""The simulated board's line: a pseudo-terminal, or a socket where a system has none to give."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import serial
from hocklift.cli import main
from legsim.simboard.lines import Line, PseudoTerminal, Socket, new_line


@pytest.fixture(params=[PseudoTerminal, Socket])
def line(request: pytest.FixtureRequest) -> Iterator[Line]:
    made: Line = request.param()
    yield made
    made.close()


@pytest.fixture
def without_pseudo_terminals(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in a container whose /dev has no ptmx."""

    def none_left() -> None:
        raise FileNotFoundError(2, "No such file or directory", "/dev/ptmx")

    monkeypatch.setattr(os, "openpty", none_left)


def host_at(line: Line) -> serial.Serial:
    return serial.serial_for_url(line.port, timeout=5)


def until(line: Line, seen: Callable[[], bool]) -> None:
    """Wait for what the computer carries in its own time."""
    for _ in range(5000):
        if seen():
            return
        line.wait(1)
    pytest.fail("it never came")


def test_any_byte_goes_both_ways_unchanged(line: Line) -> None:
    every = bytes(range(256))
    with host_at(line) as host:
        until(line, line.open)
        assert line.write(every) == len(every)
        assert host.read(256) == every
        host.write(every)
        came = bytearray()
        until(line, lambda: bool(came.extend(line.read(100)) or len(came) == len(every)))
        assert came == every


def test_a_host_that_leaves_is_seen_and_the_next_one_is_let_in(line: Line) -> None:
    for _ in range(2):
        with host_at(line) as host:
            until(line, line.open)
            host.write(b"last words")
            came = bytearray()
            until(line, lambda came=came: bool(came.extend(line.read(100)) or len(came) == 10))
        until(line, lambda: not line.open())
        assert line.read(100) == b""


def test_a_host_that_takes_nothing_fills_it_and_the_board_does_not_wait(line: Line) -> None:
    # An unread USB port of an RP2 board holds 256 bytes; after these MicroPython's writes stall.
    with host_at(line):
        until(line, line.open)
        sent = 0
        while count := line.write(bytes(1000)):
            sent += count
            assert sent < 50_000_000, "it never fills"
        assert sent > 256


def test_nobody_there_takes_nothing_and_says_nothing() -> None:
    line = Socket()
    assert (line.open(), line.write(b"hello"), line.read(9)) == (False, 0, b"")
    line.close()


def test_a_socket_is_open_to_this_computer_alone() -> None:
    line = Socket()
    assert line.port.startswith("socket://127.0.0.1:")
    line.close()


@pytest.mark.usefixtures("without_pseudo_terminals")
def test_without_pseudo_terminals_a_recording_steps_again_to_the_bit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = new_line()
    assert isinstance(made, Socket)
    made.close()
    log = tmp_path / "walk.log"
    assert main(["record", "--seconds", "4", "--out", str(log)]) == 0
    assert "No frame was lost." in capsys.readouterr().out
    assert main(["replay", str(log)]) == 0
    assert "the same to the bit" in capsys.readouterr().out
