"""Whatever can move a motor says first what must be so: each command that meets a board."""

import argparse
from pathlib import Path
from typing import Any

import pytest
from fakeboard import FakeBoard, walked_inputs
from hocklift.benchpage import live
from hocklift.cli import COMMANDS, main
from hocklift.device import Device
from hocklift.errors import PortError
from hocklift.recording import record
from hocklift.safety.cautions import BEFORE_MOTION

NOWHERE = "/dev/no-such-port"
# They say it as they begin.
AT_ONCE = ("flash", "record", "bench", "calibrate", "replay")
# They say it where the first motor is about to turn, and go on only if it is so: `test_check` and
# `test_relay` see to that.
ASKING = ("check", "relay")


def test_every_command_that_meets_a_board_is_one_of_these() -> None:
    meeting = []
    for command in COMMANDS:
        parser = argparse.ArgumentParser()
        command.add_arguments(parser)
        if any("--port" in action.option_strings for action in parser._actions):
            meeting.append(command.name)
    assert sorted(meeting) == sorted((*AT_ONCE, *ASKING))


@pytest.mark.parametrize("command", AT_ONCE)
def test_the_cautions_come_before_anything_is_said_to_a_real_board(
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def no_page(*_: Any) -> None:
        raise PortError(f"{NOWHERE}: not opened")

    monkeypatch.setattr(live, "Live", no_page)
    monkeypatch.chdir(tmp_path)
    words = [command]
    if command == "replay":
        record(Device(FakeBoard(tmp_path, walked_inputs())), tmp_path / "a.log", None, 1.0)
        words.append("a.log")
    assert main([*words, "--port", NOWHERE]) == 2
    said = capsys.readouterr()
    told = " ".join((said.out + said.err).split())
    for caution in BEFORE_MOTION:
        assert f"- {caution}" in told
    # The port was tried only then, and is what the command ended with.
    assert said.err.splitlines()[-1].startswith("hocklift: ")
    assert NOWHERE in said.err.splitlines()[-1]
