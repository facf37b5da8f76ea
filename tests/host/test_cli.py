"""The command line as a person meets it: exit codes, messages, and no traceback."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hocklift.cli import COMMANDS, EXIT_CODES, main
from hocklift.rigfile.file import read_rig, rig_text
from hocklift.scriptfile import read_script
from legsim.rig import Rig
from terminals import at_terminal

TOP = Path(__file__).parents[2]
TEXT = rig_text(Rig())


HOCKLIFT = [sys.executable, "-m", "hocklift"]


def hocklift_run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*HOCKLIFT, *map(str, words)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


BAD_FILES = {
    "a missing file": (None, "no such file"),
    "an empty file": ("", "is empty"),
    "a wrong unit": (TEXT.replace('"440 mm"', '"440 kg"'), "mechanism.thigh_length"),
    "a missing unit": (TEXT.replace('"440 mm"', "440"), "mechanism.thigh_length"),
    "a negative mass": (TEXT.replace('"34 kg"', '"-34 kg"'), "mechanism.carried_mass"),
    "an end stop beyond reach": (TEXT.replace('"102 deg"', '"150 deg"'), "the linkage's reach"),
    "a missing section": (TEXT.replace("[rope]", "[ropes]"), "did you mean [rope]?"),
    "a script in a rig's place": (
        (TOP / "host/hocklift/data/parade.toml").read_text(encoding="utf-8"),
        "it is a script and no rig file; play it with `hocklift rehearse RIG --script",
    ),
    "a broken line": (TEXT.replace('"440 mm"', "440 mm"), "is not valid TOML"),
}


@pytest.mark.parametrize(("text", "expected"), BAD_FILES.values(), ids=BAD_FILES.keys())
def test_a_bad_rig_file_ends_with_2_and_a_message_without_traceback(
    tmp_path: Path, text: str | None, expected: str
) -> None:
    path = tmp_path / "my.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    done = hocklift_run("rehearse", path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"hocklift: {path}: ")
    assert expected in done.stderr
    assert "Traceback" not in done.stderr


def test_new_writes_a_rig_that_reads_back_and_says_what_to_do_next(tmp_path: Path) -> None:
    folder = tmp_path / "my birds" / "first"
    done = hocklift_run("new", folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert f"hocklift rehearse '{folder}/marsh-heron.toml'" in done.stdout
    names = {"marsh-heron.toml", "marsh-heron-wings.toml", "parade.toml"}
    assert {path.name for path in folder.iterdir()} == names
    read_rig(folder / "marsh-heron.toml")
    read_script(folder / "parade.toml")


@pytest.mark.parametrize("name", ["marsh-heron.toml", "parade.toml"])
def test_new_never_overwrites(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text("mine")
    done = hocklift_run("new", tmp_path)
    assert done.returncode == 2
    assert f"hocklift: {path}: exists already" in done.stderr
    assert path.read_text() == "mine"
    assert [each.name for each in tmp_path.iterdir()] == [name]


def test_new_in_a_place_that_is_a_file_ends_with_2(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    done = hocklift_run("new", tmp_path / "file")
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


def test_help_needs_no_heavy_module() -> None:
    code = """
import sys
from hocklift.cli import main
try:
    main(["rehearse", "--help"])
except SystemExit as end:
    assert end.code == 0
print(sorted({"pint", "numba", "numpy", "scipy", "matplotlib", "rich"} & set(sys.modules)))
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.endswith("\n[]\n")


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("reherse", "did you mean `hocklift rehearse`? "),
        ("Fit", "did you mean `hocklift fit`? "),
        ("qqq", "no command is called 'qqq'. `hocklift --help` lists them all"),
        ("", "no command is called ''. "),
    ],
)
def test_a_mistyped_command_is_told_which_one_may_be_meant(word, expected, capsys) -> None:
    assert main([word]) == 2
    assert expected in capsys.readouterr().err


def test_help_lists_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(["--help"])
    assert end.value.code == 0
    told = " ".join(capsys.readouterr().out.split())
    assert all(f"{command.name} {command.help}" in told for command in COMMANDS)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ([], "COMMAND"),
        (["new"], "DIR"),
        (["rehearse", "a.toml", "b.toml"], "b.toml"),
        (["rehearse", "--sec", "3"], "--sec"),
        *(
            (["rehearse", f"--seconds={bad}"], "not a number of seconds from 1 to 3600")
            for bad in ("0", "3601", "nan", "inf", "-1", "ten", "")
        ),
        *(
            (["rehearse", f"--seed={bad}"], "not a whole number from 0 to 4294967295")
            for bad in ("-1", "4294967296", "1.5", "1e3", "x", "", "²", "9" * 5000)
        ),
        (["drill", "a.toml", "b.toml"], "b.toml"),
        *(
            (["drill", f"--runs={bad}"], "not a whole number from 0 to 100000")
            for bad in ("-1", "100001", "1.5", "ten", "", "²", "9" * 5000)
        ),
        (["study", "a.toml", "b.toml"], "b.toml"),
        *(
            (["study", f"--rigs={bad}"], "not a whole number from 1 to 100000")
            for bad in ("-1", "0", "100001", "1.5", "ten", "", "²", "9" * 5000)
        ),
        (["study", "--seconds=0"], "not a number of seconds from 1 to 3600"),
        (["drill", "--seed=-1"], "not a whole number from 0 to 4294967295"),
    ],
)
def test_wrong_usage_ends_with_2_and_names_what_was_wrong(
    capsys: pytest.CaptureFixture[str], words: list[str], expected: str
) -> None:
    with pytest.raises(SystemExit) as end:
        main(words)
    assert end.value.code == 2
    assert expected in capsys.readouterr().err


# How it ends: a test for each row of the table.


def all_is_well(folder: Path) -> int:
    return hocklift_run("new", folder).returncode


def a_check_is_not_met(folder: Path) -> int:
    """A rope of so little strength holds no rig."""
    return hocklift_run("size", "--sweep", "rope.breaking=0.1..0.2 kN:2").returncode


def wrong_input(folder: Path) -> int:
    return hocklift_run("size", folder / "none.toml").returncode


def ctrl_c_at_a_terminal(folder: Path) -> int:
    with at_terminal([*HOCKLIFT, "drill"], folder, os.environ) as terminal:
        terminal.read_until("Drilling")
        terminal.type("\x03")
        last_line = terminal.read_all().splitlines()[-1]
        assert last_line.endswith("hocklift: stopped")
        return terminal.code()


def the_reader_has_left(folder: Path) -> int:
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "w") as pipe:
        done = subprocess.run(
            [*HOCKLIFT, "new", folder],
            stdout=pipe,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    assert done.stderr == b""
    return done.returncode


ENDS = {
    0: all_is_well,
    1: a_check_is_not_met,
    2: wrong_input,
    130: ctrl_c_at_a_terminal,
    141: the_reader_has_left,
}


@pytest.mark.parametrize("code", [code for code, _ in EXIT_CODES])
def test_each_way_to_end_of_the_table_is_one_that_a_command_really_takes(
    tmp_path: Path, code: int
) -> None:
    assert ENDS[code](tmp_path) == code


# Colour is for people at a terminal, and for those among them who want it.

# Select graphic rendition, ECMA-48 (1991) 8.3.117: 30 to 37 and, as terminals have it, 90 to 97
# are colours of letters; 1 is bold.
COLOURED = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-7]|9[0-7])m")


def test_a_pipe_gets_no_escape_sequence() -> None:
    done = hocklift_run("margins")
    assert "Calm" in done.stdout
    assert "\x1b" not in done.stdout + done.stderr


@pytest.mark.parametrize(("wish", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False)])
def test_a_terminal_gets_colour_unless_no_color_is_set(
    tmp_path: Path, wish: dict[str, str], coloured: bool
) -> None:
    """As no-color.org has it: set and not empty, whatever its value."""
    env = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    env |= {"TERM": "xterm", **wish}
    with at_terminal([*HOCKLIFT, "margins"], tmp_path, env) as terminal:
        shown = terminal.read_all()
    assert "Calm" in shown
    assert bool(COLOURED.search(shown)) == coloured


def test_a_name_that_the_terminal_cannot_show_is_no_traceback(tmp_path: Path) -> None:
    done = hocklift_run("new", tmp_path / os.fsdecode(b"\xff"))
    assert (done.returncode, done.stderr) == (0, "")
