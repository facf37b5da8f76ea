"""`hocklift tune`, as a person runs it: small searches through the real core, files, exit codes."""

from dataclasses import replace
from math import radians
from pathlib import Path

import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.pages.tune_page import PAGE
from hocklift.rigfile.file import read_rig, rig_text, write_rig
from hocklift.tuning.journal import JOURNAL
from hocklift.tuning.variables import VARIABLES, tuned
from legsim.rig import Rig
from pages import Page, assert_self_contained

# So slow that no build lifts in time, and quickly mended.
SLOW = tuned(Rig(), {"control.lift_speed": radians(15), "control.kp": 1.2})
SMALL = ("--rigs", "2", "--budget", "30")
TUNED = {one.path for one in VARIABLES}


def rig_file(folder: Path, rig: Rig = SLOW) -> Path:
    path = folder / "rig.toml"
    write_rig(rig, path)
    return path


def figures(capsys: pytest.CaptureFixture[str]) -> dict:
    return document_of("tune", capsys.readouterr().out)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory):
    """The slow rig tuned, written, and drawn: exit code, rig file, folder of the page."""
    folder = tmp_path_factory.mktemp("tune")
    path = rig_file(folder)
    with path.open("a") as file:
        file.write("# The end of my file.\n")
    code = main(["tune", str(path), *SMALL, "--write", "--out", str(folder / "out")])
    return code, path, folder / "out"


def test_gains_that_no_build_can_lift_in_time_with_are_mended(tmp_path, capsys):
    code = main(["tune", str(rig_file(tmp_path)), *SMALL, "--json"])
    document = figures(capsys)
    assert code == (0 if document["met"] else 1)
    assert document["share_met"]["before"] == 0
    # Two builds teach little of six others, but more than nothing.
    assert document["share_met"]["after"] > 0


def test_written_are_the_tuned_keys_and_nothing_else(written):
    _, path, _ = written
    old = [*rig_text(SLOW).split("\n")[:-1], "# The end of my file.", ""]
    new = path.read_text().split("\n")
    assert len(new) == len(old)
    differ = {b.split(" = ")[0] for a, b in zip(old, new, strict=True) if a != b}
    assert differ
    assert {f"control.{name}" for name in differ} <= TUNED
    assert read_rig(path) != SLOW


def test_what_is_written_walks_better_than_what_was_there(written, capsys):
    _, path, _ = written
    main(["tune", str(path), "--rigs", "2", "--budget", "0", "--json"])
    after = figures(capsys)["share_met"]["before"]
    assert after > 0  # of the slow rig none


def test_the_page_tells_before_and_after_the_search_and_the_worst_build(written):
    _, _, folder = written
    page = Page((folder / PAGE).read_text())
    assert_self_contained(page)
    assert len(page.all("figure")) == 3
    for path in TUNED:
        assert path in page.text
    assert "emergency stop" in page.text


def test_the_same_command_again_is_answered_from_what_was_kept(tmp_path, capsys):
    command = ["tune", str(rig_file(tmp_path)), *SMALL, "--json", "--out", str(tmp_path / "out")]
    main(command)
    first = figures(capsys)
    kept = (tmp_path / "out" / JOURNAL).read_bytes()
    main(command)
    assert figures(capsys) == first
    assert (tmp_path / "out" / JOURNAL).read_bytes() == kept


def test_a_want_that_no_gains_meet_ends_with_1_and_is_named_with_its_build(tmp_path, capsys):
    soon = replace(Rig(), wants=replace(Rig().wants, lift_s=0.2))
    assert main(["tune", str(rig_file(tmp_path, soon)), "--rigs", "2", "--budget", "12"]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "Not yet: 0 of 6 builds" in told
    assert "What limits most: time to lift, build" in told
    assert "wanted 0.20 s" in told


def test_write_without_a_rig_file_is_wrong_use(capsys):
    assert main(["tune", "--write"]) == 2
    assert "hocklift new" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [("--rigs", "1"), ("--budget", "many"), ("--seed", "-1")])
def test_wrong_numbers_are_wrong_use(arguments, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["tune", *arguments])
    assert ended.value.code == 2
    assert arguments[1] in capsys.readouterr().err
