"""The command line as a person meets it: exit codes, messages, and no traceback."""

import os
import subprocess
import sys
from pathlib import Path

import hocklift.commands.new
import pytest
from hocklift.cli import COMMANDS, main
from hocklift.rigfile.file import read_rig, rig_text
from hocklift.scriptfile import read_script
from legsim.rig import Rig

TEXT = rig_text(Rig())


def hocklift_run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "hocklift", *map(str, words)],
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
        (["reherse"], "invalid choice"),
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


def test_an_interrupt_ends_with_130_and_one_short_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(args: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(hocklift.commands.new, "run", interrupted)
    assert main(["new", "x"]) == 130
    assert capsys.readouterr().err == "hocklift: stopped\n"


def test_a_reader_that_has_left_ends_it_without_a_word(tmp_path: Path) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "w") as pipe:
        done = subprocess.run(
            [sys.executable, "-m", "hocklift", "new", tmp_path],
            stdout=pipe,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    assert (done.returncode, done.stderr) == (141, b"")


def test_a_name_that_the_terminal_cannot_show_is_no_traceback(tmp_path: Path) -> None:
    done = hocklift_run("new", tmp_path / os.fsdecode(b"\xff"))
    assert (done.returncode, done.stderr) == (0, "")
