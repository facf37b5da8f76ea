"""`hocklift margins`: what it says, draws and returns."""

from dataclasses import replace
from math import degrees

import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.loops.told import COLUMNS, Told, cells, told
from hocklift.pages.margins_page import write_page
from hocklift.pages.margins_pictures import PLANS
from hocklift.rigfile.file import rig_text
from legsim.rig import Rig
from pages import Page, assert_self_contained


@pytest.fixture(scope="module")
def found() -> Told:
    return told(Rig(), "my <first> rig")


def with_control(**values: float) -> Rig:
    return replace(Rig(), control=replace(Rig().control, **values))


def test_the_demo_rig_is_far_from_swinging_in_every_pose_and_phase(found: Told) -> None:
    assert found.met
    assert all(row.margins is not None and row.margins.stable for row in found.rows)
    assert found.verdict.startswith("Calm: all gains could grow ")


def test_the_verdict_tells_the_least_room_of_all_rows(found: Told) -> None:
    gain = min(row.margins.gain for row in found.rows if row.margins)
    delay_s = min(row.margins.delay_s for row in found.rows if row.margins)
    assert f"grow {gain:.3g}-fold" in found.verdict
    assert f"{1000 * delay_s:.3g} ms later" in found.verdict


# The sum of the error drives back as strongly as the error itself, a quarter turn late.
NERVOUS = {"kp_per_rad": 1.0, "ki_per_rad_s": 10.0}


def test_an_integral_that_outweighs_the_gain_makes_a_leg_nervous_and_the_command_fail(
    tmp_path, capsys
) -> None:
    path = tmp_path / "nervous.toml"
    path.write_text(rig_text(with_control(**NERVOUS)), encoding="utf-8")
    assert main(["margins", str(path)]) == 1
    assert "Nervous" in capsys.readouterr().out


def test_a_slow_filter_turns_an_integral_into_a_swing() -> None:
    # By Routh on k/s behind a filter: unstable once ki exceeds kp over the filter's time.
    swings = told(with_control(**NERVOUS, angle_filter_s=0.2), "swinging")
    assert not swings.met
    assert "swings by itself" in swings.verdict
    assert "swings" in cells(swings.worst)


def test_a_motor_too_weak_for_the_speed_is_looked_at_in_half_of_it(found: Told) -> None:
    fastest, slower = (row.loop for row in (found.rows[0], found.rows[3]))
    assert fastest and slower
    assert slower.rate_radps == pytest.approx(fastest.rate_radps / 2)


def test_json_has_every_loop_in_si(capsys) -> None:
    assert main(["margins", "--json"]) == 0
    document = document_of("margins", capsys.readouterr().out)
    assert document["met"] is True
    assert {loop["phase"] for loop in document["loops"]} == {"lifting", "held", "lowering"}
    for loop in document["loops"]:
        assert 60 < degrees(loop["fold_rad"]) < 93
        assert loop["margins"]["gain"] > 10


def test_the_page_tells_every_row_and_shows_every_picture(found: Told, tmp_path) -> None:
    page = Page(write_page(found, tmp_path).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert "my <first> rig" in page.text
    assert found.verdict in page.text
    for row in found.rows:
        assert " ".join([row.phase, *cells(row)]) in page.text
    for column in COLUMNS:
        assert f"{column.heading}: {column.what}" in page.text
    assert len(page.all("figure")) == len(PLANS)
    for plan in PLANS:
        assert plan.title in page.headings()


def test_a_missing_rig_file_is_said_and_ends_with_2(capsys) -> None:
    assert main(["margins", "nowhere.toml"]) == 2
    assert "nowhere.toml" in capsys.readouterr().err
