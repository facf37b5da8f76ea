"""`hocklift tune` of a rig with wings: the same search, over wings' own keys, shows and wants."""

from dataclasses import replace
from math import radians
from pathlib import Path

import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.pages.tune_page import PAGE
from hocklift.rigfile.file import read_any_rig, rig_text, write_rig
from hocklift.rigfile.keys import WING_KEYS, key_at, value_at
from hocklift.tuning.journal import JOURNAL, Journal
from hocklift.tuning.kinds import WINGS, kind_of
from hocklift.tuning.limits import limits
from hocklift.tuning.score import WingRan, score
from hocklift.tuning.variables import WING_VARIABLES, point_of, sound, tuned, values_at
from hocklift.tuning.walks import Crew, Task
from hypothesis import given, settings
from hypothesis import strategies as st
from legsim.wing.figures import WING_WANTS
from legsim.wing.perturb import WING_TOLERANCES, wing_draws
from legsim.wing.rig import WingRig
from legsim.wing.settings import core_wings
from pages import Page, assert_self_contained

RIG = WingRig()
# So slow that no build raises its wing in time, and quickly mended.
SLOW = tuned(RIG, {"control.follow_speed": radians(15), "control.kp": 1.2})
SMALL = ("--rigs", "2", "--budget", "30")
TUNED = {one.path for one in WING_VARIABLES}
TRACK = next(i for i, want in enumerate(WING_WANTS) if want.name == "tracking")


def rig_file(folder: Path, rig: WingRig = SLOW) -> Path:
    path = folder / "wings.toml"
    write_rig(rig, path)
    return path


def ran(seed: int, missed: float) -> WingRan:
    wants = tuple(missed if i == TRACK else -1.0 for i in range(len(WING_WANTS)))
    return WingRan(seed, wants, (0.0,) * len(WingRan.scale.smooth))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The slow wings tuned, written, and drawn: rig file, and folder of the page."""
    folder = tmp_path_factory.mktemp("tune")
    path = rig_file(folder)
    assert main(["tune", str(path), *SMALL, "--write", "--out", str(folder / "out")]) in (0, 1)
    return path, folder / "out"


def test_wings_too_slow_for_any_build_are_mended_and_nothing_else_is_written(
    written: tuple[Path, Path],
) -> None:
    path, _ = written
    old, new = rig_text(SLOW).splitlines(), path.read_text(encoding="utf-8").splitlines()
    differ = {b.split(" = ")[0] for a, b in zip(old, new, strict=True) if a != b}
    assert {f"control.{name}" for name in differ} <= TUNED
    rig = read_any_rig(path)
    seeds = tuple(range(100, 106))
    before, after = Crew(WINGS.compare_s, 1)([Task(SLOW, seeds), Task(rig, seeds)])
    assert not any(one.met for one in before)
    # Two builds teach little of six others, but more than nothing.
    assert any(one.met for one in after)


def test_the_page_tells_before_and_after_the_search_and_the_worst_build(
    written: tuple[Path, Path],
) -> None:
    page = Page((written[1] / PAGE).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert {path for path in TUNED if path in page.text} == TUNED
    assert "wing" in page.text
    assert "emergency stop" in page.text
    # A wing's loop is not made linear, so nothing is said of how far it is from swinging.
    assert "margin of gain" not in page.text


def test_the_same_command_again_is_answered_from_what_was_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["tune", str(rig_file(tmp_path)), *SMALL, "--json", "--out", str(tmp_path / "out")]
    main(command)
    first = document_of("tune", capsys.readouterr().out)
    kept = (tmp_path / "out" / JOURNAL).read_bytes()
    main(command)
    assert document_of("tune", capsys.readouterr().out) == first
    assert (tmp_path / "out" / JOURNAL).read_bytes() == kept
    assert set(first["keys"]) == TUNED


def test_a_want_that_no_gains_meet_ends_with_1_and_is_named_with_wing_and_build(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    soon = replace(RIG, wants=replace(RIG.wants, raise_s=0.6, lower_s=0.6))
    path = rig_file(tmp_path, soon)
    assert main(["tune", str(path), "--rigs", "2", "--budget", "12"]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "Not yet: 0 of 6 builds" in told
    assert "wing, worst" in told
    assert "How smoothly they move" in told


# Points of the search.


@given(st.lists(st.floats(0, 1), min_size=len(WING_VARIABLES), max_size=len(WING_VARIABLES)))
@settings(deadline=None)
def test_any_point_of_the_search_is_a_rig_that_the_core_can_hold(point: list[float]) -> None:
    rig = tuned(RIG, values_at(RIG, point))
    assert sound(rig)
    core_wings(rig)


def test_the_rigs_own_gains_are_a_point_of_the_search() -> None:
    for path, value in values_at(RIG, point_of(RIG)).items():
        assert value == pytest.approx(value_at(RIG, path), rel=0.01, abs=1e-6)


def test_each_tuned_key_is_the_wing_files_and_the_search_knows_its_unit() -> None:
    for one in WING_VARIABLES:
        key = key_at(one.path, WING_KEYS)
        assert key.low <= one.low < one.high <= key.high
        assert one.value(1.0) == pytest.approx(one.high, rel=0.01)


# Real shows.


def test_the_brief_show_judges_one_wing_with_its_load_and_one_without() -> None:
    tried = kind_of(RIG).trial(RIG, 3, None)
    loaded, empty = tried.joints["left"], tried.joints["right"]
    assert loaded.up_hold_N > 1.5 * empty.up_hold_N
    for wing in (loaded, empty):
        assert wing.moves_asked >= 1
        assert wing.holds >= 4


def test_the_brief_show_finds_what_a_whole_one_finds() -> None:
    """Gains that a search must tell apart: far too slow, swinging, and the demo rig's own."""
    seeds = tuple(range(8))
    swinging = tuned(RIG, {"control.kp": 5.7, "control.ki": 30.0, "control.kd": 0.002})
    rigs = (SLOW, swinging, RIG)
    brief, whole = (
        [score(fleet) for fleet in Crew(seconds, 1)([Task(rig, seeds) for rig in rigs])]
        for seconds in (None, WINGS.compare_s)
    )
    assert sorted(range(3), key=brief.__getitem__) == sorted(range(3), key=whole.__getitem__)
    assert brief[2] < 1
    assert whole[2] < 1


def test_it_makes_no_difference_how_many_processes_work() -> None:
    tasks = [Task(RIG, tuple(range(10))), Task(SLOW, (3, 4))]
    assert Crew(None, 1)(tasks) == Crew(None, 2)(tasks)


def test_what_was_kept_of_wings_is_read_back_as_of_wings(tmp_path: Path) -> None:
    def walker(tasks: object) -> list[list[WingRan]]:
        return [[ran(7, -0.5)]]

    first = Journal(tmp_path, "one", walker, WingRan)([])  # type: ignore[arg-type]
    again = Journal(tmp_path, "one", walker, WingRan)([])  # type: ignore[arg-type]
    assert again == first == [[ran(7, -0.5)]]
    assert again[0][0].scale is WingRan.scale


def test_the_tolerance_that_makes_a_want_missed_is_named() -> None:
    # By the line alone: the softer, the farther off.
    row = next(i for i, one in enumerate(WING_TOLERANCES) if one.key == "rope.line_EA_N")
    fleet = [ran(seed, -0.1 - 0.1 * wing_draws(seed)[row]) for seed in range(40)]
    softest = max(fleet, key=lambda one: one.missed[TRACK])
    found = limits(RIG, fleet, 40.0)[0]
    assert (found.want, found.seed) == ("tracking", softest.seed)
    assert found.tolerance.startswith("rope.line_EA is ")
    assert found.tolerance.endswith("not 60 kN")
