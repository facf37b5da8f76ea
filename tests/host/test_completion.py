"""Completion as whoever presses the tab key gets it, in the shells themselves."""

import argparse
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from hocklift.cli import COMMANDS, SHELLS, main, parser
from hocklift.commands.completion import script
from terminals import Terminal, at_terminal

PROMPT = "=ready="
# How each is started without anybody's own settings, its script's file, and how it is read.
BESIDES = {
    "bash": (["--norc", "--noprofile", "-i"], "script.bash", "source script.bash"),
    "zsh": (
        ["-f", "-i"],
        "_hocklift",
        "PROMPT_EOL_MARK=; bindkey -e; fpath=($PWD $fpath); autoload -Uz compinit; compinit -u -D",
    ),
}


@pytest.fixture(scope="module", params=BESIDES)
def shell(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory):
    """A shell that has read its script, in a folder with a rig file, a log and a folder."""
    program = shutil.which(request.param)
    if program is None:
        pytest.skip(f"needs {request.param}")
    options, file, read = BESIDES[request.param]
    folder = tmp_path_factory.mktemp("shell")
    (folder / file).write_text(script(request.param), encoding="utf-8")
    (folder / "birds").mkdir()
    for name in ("birds/marsh-heron.toml", "walk one.log"):
        (folder / name).touch()
    env = {"PATH": os.environ["PATH"], "PS1": PROMPT, "TERM": "dumb", "HOME": str(folder)}
    with at_terminal([program, *options], folder, env) as terminal:
        terminal.read_until(PROMPT)
        terminal.type(f"{read}\n")
        terminal.read_until(PROMPT)
        yield terminal


def completed(shell: Terminal, typed: str) -> str:
    """What stands on the line after the tab key: it is printed as words in brackets."""
    shell.type(f"{typed}\t\x01printf '[%s]' \x05\n")
    shell.read_until("\n")
    return shell.read_until(PROMPT).strip()


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("hocklift reh", "[hocklift][rehearse]"),
        ("hocklift rehearse --scr", "[hocklift][rehearse][--script]"),
        ("hocklift tune --w", "[hocklift][tune][--write]"),
        ("hocklift rehearse bi", "[hocklift][rehearse][birds]"),
        ("hocklift rehearse birds/m", "[hocklift][rehearse][birds/marsh-heron.toml]"),
        ("hocklift replay wa", "[hocklift][replay][walk one.log]"),
        ("hocklift rehearse --out bi", "[hocklift][rehearse][--out][birds]"),
        ("hocklift completion z", "[hocklift][completion][zsh]"),
    ],
)
def test_the_tab_key_completes_commands_options_and_files(
    shell: Terminal, typed: str, expected: str
) -> None:
    # A shell may keep the stroke that it puts behind a folder.
    assert completed(shell, typed).replace("/]", "]") == expected


def test_fish_is_offered_the_same_commands(tmp_path: Path) -> None:
    fish = shutil.which("fish")
    if fish is None:
        pytest.skip("needs fish")
    (tmp_path / "script.fish").write_text(script("fish"), encoding="utf-8")
    done = subprocess.run(
        [fish, "--no-config", "-c", "source script.fish; complete -C 'hocklift '"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    offered = {line.split("\t")[0] for line in done.stdout.splitlines()}
    assert {command.name for command in COMMANDS} <= offered


def test_every_argument_that_is_a_file_or_a_folder_is_completed_as_one() -> None:
    made = script("bash")
    for command in COMMANDS:
        its = argparse.ArgumentParser()
        command.add_arguments(its)
        places = 0
        for action in its._actions:
            name = action.option_strings[-1] if action.option_strings else f"pos_{places}"
            places += not action.option_strings
            if action.type is Path or action.metavar == "PORT":
                found = f"_shtab_hocklift_{command.name}_{name.replace('-', '_')}_COMPGEN="
                assert found in made, found


@pytest.mark.parametrize("shell_name", SHELLS)
def test_the_command_prints_the_script(shell_name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell_name]) == 0
    assert capsys.readouterr().out == script(shell_name)
    assert parser().prog in script(shell_name)
