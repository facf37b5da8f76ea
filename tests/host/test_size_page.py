"""The page of `hocklift size`: whole, self-contained, and showing all that was worked out."""

from math import isnan, nan
from pathlib import Path

import pytest
from hocklift.errors import OutputError
from hocklift.pages.size_page import bar, write_page
from hocklift.pages.size_pictures import BOXES, PLANS, motor_points
from hocklift.rigfile.keys import with_value_at
from hocklift.sizing.checks import rows_of
from hocklift.sizing.facts import FACTS
from hocklift.sizing.loads import Loads
from hocklift.sizing.result import Sizing, margin_shown, shown, size
from hocklift.sizing.sources import SOURCES
from legsim.rig import Rig
from pages import Page, assert_self_contained


@pytest.fixture(scope="module")
def sizing() -> Sizing:
    return size(Rig(), "my <first> rig & bird")


@pytest.fixture(scope="module")
def page(sizing: Sizing, tmp_path_factory: pytest.TempPathFactory) -> Page:
    path = write_page(sizing, tmp_path_factory.mktemp("size"))
    assert path.name == "size.html"
    return Page(path.read_text(encoding="utf-8"))


def test_the_page_needs_nothing_but_itself(page: Page) -> None:
    assert_self_contained(page)


def test_every_check_is_told_with_demand_capacity_margin_and_verdict(
    page: Page, sizing: Sizing
) -> None:
    for row in sizing.rows:
        check = row.check
        words = [check.what, check.situation, *(shown(v, check.unit) for v in row[1:])]
        assert " ".join(filter(None, [*words, margin_shown(row), row.verdict])) in page.text


def test_verdict_limits_facts_cautions_and_name_are_told(page: Page, sizing: Sizing) -> None:
    assert f"Sizing of {sizing.rig_name}" in page.text
    assert sizing.verdict in page.text
    for limit in sizing.limits:
        assert limit.words() in page.text
    for fact in FACTS:
        assert f"{fact.what} {fact.words(sizing.loads)}" in page.text
    assert "Local codes and licensed practice take precedence" in page.text


def test_every_picture_is_there_under_its_heading(page: Page) -> None:
    assert len(page.all("figure")) == len(PLANS)
    for plan in PLANS:
        assert plan.title in page.headings()


def test_every_source_is_told_as_verified_or_as_from_memory(page: Page) -> None:
    for name, source in SOURCES.items():
        standing = "verified" if source.verified else "from memory"
        assert f"{name} {source.citation} {standing}" in page.text


def test_a_bar_reaches_its_mark_at_a_third_exactly_where_a_check_holds() -> None:
    assert [bar(m) for m in (0, 0.5, 1, 1.5, 3, 8, float("inf"))] == [0, 1 / 6, 1 / 3, 0.5, 1, 1, 1]


def test_no_part_is_left_out_of_the_load_path_and_none_is_in_two_boxes(sizing: Sizing) -> None:
    for part in {row.check.part for row in sizing.rows}:
        assert sum(part.endswith(box.parts) for box in BOXES) == 1, part


def test_each_box_of_the_load_path_has_the_least_margin_of_its_checks(sizing: Sizing) -> None:
    least = [worst.margin for box in BOXES if (worst := box.worst(sizing)) is not None]
    assert len(least) == len(BOXES)
    assert min(least) == min(row.margin for row in sizing.rows if not isnan(row.margin))


def test_lifting_at_most_drive_lies_on_the_line_of_most_drive(sizing: Sizing) -> None:
    most = sizing.rig.control.drive_max
    lifting = [point for point in motor_points(sizing) if point.what == "lifting at most drive"]
    assert len(lifting) > 1
    for point in lifting:
        on_line = sizing.loads.motor_point(point.torque_Nm, most)
        assert point.speed_radps == on_line.speed_radps


ODD_RIGS = {
    "a rope far too weak": with_value_at(Rig(), "rope.breaking", 100.0),
    "a spring of unknown wire": with_value_at(Rig(), "spring.wire", nan),
    "a spring of unknown coils": with_value_at(Rig(), "spring.active_coils", nan),
    "a gas spring beside the coil": with_value_at(Rig(), "gas_spring.force_extended", 300.0),
    "a controller with sensors": with_value_at(Rig(), "controller.start_speed", 0.0),
    "a motor too weak to lift": with_value_at(Rig(), "drive.resistance", 20.0),
}


@pytest.mark.parametrize("rig", ODD_RIGS.values(), ids=ODD_RIGS.keys())
def test_odd_rigs_have_a_whole_page_too(rig: Rig, tmp_path: Path) -> None:
    # Without the search for remedies, which takes its time.
    sizing = Sizing(rig, "odd", Loads(rig), rows_of(rig), [])
    page = Page(write_page(sizing, tmp_path).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert sizing.verdict in page.text
    assert "nan" not in page.source


def test_a_page_that_cannot_be_written_is_an_error_and_leaves_nothing(
    sizing: Sizing, tmp_path: Path
) -> None:
    (tmp_path / "size.html").mkdir()
    (tmp_path / "size.html" / "mine").touch()
    with pytest.raises(OutputError, match=r"size\.html: cannot be written"):
        write_page(sizing, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["size.html"]
