"""Ports: opened, read and written, and what a person is told when one is not there or goes away."""

import os
import sys
import tty
from contextlib import suppress

import pytest
from hocklift.cli import main
from hocklift.errors import PortError
from hocklift.transport import REAL_CREDIT, SerialPort, ports_words


@pytest.fixture
def terminal():
    """The board's end of a pseudo-terminal, and the path of the host's."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    path = os.ttyname(theirs)
    yield ours, path
    for end in (ours, theirs):
        with suppress(OSError):
            os.close(end)


class Found:
    def __init__(self, device, description):
        self.device, self.description = device, description


def test_bytes_go_both_ways(terminal):
    ours, path = terminal
    port = SerialPort(path)
    port.write(b"hello*0000\n")
    assert os.read(ours, 100) == b"hello*0000\n"
    os.write(ours, bytes(range(256)))
    data = b""
    while len(data) < 256:
        data += port.read(48, 1)
    assert data == bytes(range(256))
    assert port.read(48, 0.03) == b""
    assert (port.real, port.credit, port.board) == (True, REAL_CREDIT, None)
    port.close()


def test_a_port_that_is_not_there_is_named_with_those_that_are(monkeypatch):
    found = [Found("/dev/ttyACM1", "a board"), Found("/dev/ttyACM0", "n/a")]
    monkeypatch.setattr("hocklift.transport.list_ports.comports", lambda: found)
    with pytest.raises(PortError) as told:
        SerialPort("/dev/no-such-port")
    assert str(told.value) == (
        "/dev/no-such-port: cannot be opened: there is no such port; ports here: /dev/ttyACM0,"
        " /dev/ttyACM1 (a board); name the board's with --port, or use --port sim"
    )


def test_without_any_port_it_says_to_plug_the_board_in(monkeypatch):
    monkeypatch.setattr("hocklift.transport.list_ports.comports", list)
    assert ports_words().startswith("no serial port is here: plug the board in")


def test_a_file_is_no_port(tmp_path):
    path = tmp_path / "file"
    path.touch()
    with pytest.raises(PortError, match="cannot be opened: it is no serial port"):
        SerialPort(str(path))


def test_a_port_that_another_program_has_is_told(terminal):
    _, path = terminal
    port = SerialPort(path)
    with pytest.raises(PortError, match="another program has it open"):
        SerialPort(path)
    port.close()


@pytest.mark.parametrize("act", ["read", "write"])
def test_a_cable_that_is_pulled_is_told(terminal, act):
    ours, path = terminal
    port = SerialPort(path)
    os.close(ours)
    with pytest.raises(PortError, match=f"{path}: the connection has ended: .*look at the cable"):
        port.read(10, 1) if act == "read" else port.write(b"x")
    port.close()


@pytest.mark.parametrize("words", [["record", "--port", "/dev/no-such-port"]])
def test_the_command_line_ends_with_2_and_no_traceback(words, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    assert capsys.readouterr().err.startswith("hocklift: /dev/no-such-port: cannot be opened")
    assert list(tmp_path.iterdir()) == []


def test_where_its_process_cannot_run_the_simulated_board_says_so(monkeypatch, capsys):
    for name in ("board", "usb", "in_use"):
        monkeypatch.delitem(sys.modules, f"legsim.simboard.{name}", raising=False)
    # As on a system without it.
    monkeypatch.setitem(sys.modules, "fcntl", None)
    assert main(["record", "--port", "sim"]) == 2
    told = capsys.readouterr().err
    assert "a simulated board's process needs what" in told and "no module fcntl" in told
    assert "A real board is named with --port" in told
