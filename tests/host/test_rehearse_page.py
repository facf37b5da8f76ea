"""The page of `hocklift rehearse`: whole, self-contained, and showing all that was figured out."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from hocklift.errors import OutputError
from hocklift.pages.rehearsal_page import PAGE, TRACE, write_page
from hocklift.pages.rehearsal_pictures import PLANS
from hocklift.rehearsal import LEGS, METRONOME, ROWS, Rehearsal, rehearse, verdict
from legsim.rig import Rig
from pages import Page, assert_self_contained
from rich.console import Console


@pytest.fixture(scope="module")
def rehearsal() -> Rehearsal:
    return rehearse(Rig(), "my <rig>", METRONOME, 6.0, 1, Console(stderr=True, quiet=True))


@pytest.fixture(scope="module")
def folder(rehearsal: Rehearsal, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rehearsal")
    assert write_page(rehearsal, folder) == folder / PAGE
    return folder


@pytest.fixture(scope="module")
def page(folder: Path) -> Page:
    return Page((folder / PAGE).read_text(encoding="utf-8"))


def test_the_page_needs_nothing_but_itself(page: Page) -> None:
    assert_self_contained(page)


def test_every_figure_of_both_legs_is_told(page: Page, rehearsal: Rehearsal) -> None:
    assert verdict(rehearsal) in page.text
    for what, figure, want in ROWS:
        words = [what, *(figure(rehearsal.legs[name]) for name in LEGS), want(rehearsal.rig)]
        assert " ".join(" ".join(words).split()) in page.text


def test_every_picture_is_there_under_its_heading(page: Page) -> None:
    assert len(page.all("figure")) == len(PLANS)
    for plan in PLANS:
        assert plan.title in page.headings()


def test_the_legs_that_move_are_those_of_the_walk(page: Page, rehearsal: Rehearsal) -> None:
    moved = json.loads(next(text for tag, text in page.texts if tag == "script"))
    step = round(moved["step_s"] / rehearsal.rig.control.period_s)
    for name, leg in zip(LEGS, moved["joints"], strict=True):
        trace = rehearsal.trace[name][::step]
        told = {what: np.cumsum(column) for what, column in leg.items()}
        for what in ("thigh", "shank"):
            told_deg = told[f"{what}_ddeg"] / 10
            np.testing.assert_allclose(told_deg, np.degrees(trace[f"{what}_rad"]), atol=0.051)
        assert told["phase"].tolist() == trace["phase"].tolist()
        # The ground gives way a little under a foot that stands on it.
        lifted_mm = np.maximum(0, 1000 * trace["clearance_m"])
        np.testing.assert_allclose(told["up_mm"], lifted_mm, atol=0.51)


def test_the_trace_holds_every_channel_of_every_tick(folder: Path, rehearsal: Rehearsal) -> None:
    with (folder / TRACE).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(rehearsal.trace)
    assert len(rows[0]) == 4 + 2 * len(rehearsal.trace.dtype["left"].names)
    for name in LEGS:
        told = [float(row[f"{name}_clearance_m"]) for row in rows]
        np.testing.assert_allclose(told, rehearsal.trace[name]["clearance_m"], rtol=1e-5)


def test_a_page_that_cannot_be_written_is_an_error_and_never_half_a_page(
    rehearsal: Rehearsal, tmp_path: Path
) -> None:
    (tmp_path / TRACE).mkdir()
    (tmp_path / TRACE / "mine").touch()
    with pytest.raises(OutputError, match="cannot be written"):
        write_page(rehearsal, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [TRACE]
