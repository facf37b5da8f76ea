"""The page of `hocklift drill`: whole, self-contained, and telling every trouble and row."""

import csv
import io
from dataclasses import fields, replace
from math import inf
from pathlib import Path

import pytest
from hocklift.drilling import (
    COLUMNS,
    Campaign,
    Failure,
    Ran,
    bounds,
    random_case,
    row_summaries,
    run_random_case,
    run_table_case,
    summaries,
    table_cases,
    words_or_dash,
)
from hocklift.errors import OutputError
from hocklift.pages.drill_looks import looks_of
from hocklift.pages.drill_page import CASES, PAGE, write_page
from hocklift.pages.drill_pictures import plans_of
from legsim.drill import LIMITS, Drill, Outcome
from legsim.rig import Rig
from legsim.tables import PHASES
from pages import Page, assert_self_contained

SEED = 3


@pytest.fixture(scope="module")
def campaign() -> Campaign:
    """Half a drill: of the left leg, and without the walks of ten minutes."""
    bench = Drill(Rig())
    table = [case for case in table_cases(SEED) if case.first == 0 and case.seconds < 100]
    return Campaign(
        Rig(),
        "my <first> rig & bird",
        SEED,
        tuple(run_table_case(bench, case) for case in table),
        tuple(run_random_case(bench, random_case(SEED + i)) for i in range(10)),
    )


@pytest.fixture(scope="module")
def folder(campaign: Campaign, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drill")
    assert write_page(campaign, folder) == folder / PAGE
    return folder


@pytest.fixture(scope="module")
def page(folder: Path) -> Page:
    return read(folder)


@pytest.fixture(scope="module")
def unsafe(campaign: Campaign) -> Campaign:
    """The same drill, had every case of two troubles ended unsafe."""
    failure = Failure("landing_mps", 3.0, 1.0, LIMITS["landing_mps"].text)
    table = [
        replace(ran, failures=(failure,))
        if ran.case.strikes[0].trouble.name in ("pot open", "loop late")
        else replace(ran, failures=())
        for ran in campaign.table
    ]
    return replace(campaign, table=tuple(table))


def read(folder: Path) -> Page:
    return Page((folder / PAGE).read_text(encoding="utf-8"))


def test_the_page_needs_nothing_but_itself(page: Page) -> None:
    assert_self_contained(page)


def test_verdict_what_was_drilled_limits_and_cautions_are_told(
    page: Page, campaign: Campaign
) -> None:
    assert f"Drill of {campaign.rig_name}" in page.text
    assert campaign.words in page.text
    assert campaign.verdict in page.text
    for limit in LIMITS.values():
        assert f"{limit.text}: at most {limit.most:g} {limit.unit}" in page.text
    for words in (
        "proves nothing about yours until each protection has been tried on the stand",
        "no safety function in the sense of any standard",
        "springs of this rig hold energy",
        "pinch points",
        "can fall",
        "Local codes and licensed practice take precedence",
    ):
        assert words in page.text


def test_every_trouble_is_told_in_words_with_its_figures(page: Page, campaign: Campaign) -> None:
    for row in summaries(campaign):
        figures = " ".join(figure(row) for _, figure in COLUMNS)
        assert f"{row.trouble.name}: {row.trouble.text} {figures}" in page.text
    told = [text for tag, text in page.texts if tag == "div"]
    assert {row.trouble.family for row in summaries(campaign)} <= set(told)


def test_every_row_of_the_fault_table_is_told_with_what_it_does_and_a_remedy(
    page: Page, campaign: Campaign
) -> None:
    for row in row_summaries(campaign):
        fault = row.fault
        times = [words_or_dash(time_s, "s", 2) for time_s in (row.fastest_s, row.slowest_s)]
        assert (
            f"{fault.name}: {fault.text} {fault.remedy} {fault.action_words} {row.cases or 'none'}"
            f" {' '.join(times)}" in page.text
        )


def test_what_no_controller_can_prevent_is_told_with_bound_and_reason(
    page: Page, campaign: Campaign
) -> None:
    for bound in bounds(campaign):
        assert f"{bound.who}: {bound.reason} {bound.text} {bound.words}" in page.text


def test_the_nearest_random_cases_are_told_and_how_to_run_one_again(
    page: Page, campaign: Campaign
) -> None:
    for ran in campaign.nearest:
        assert f"{ran.nearness:.2f}, seed {ran.case.seed}: {ran.words}; {ran.nearest_words}" in (
            page.text
        )
    assert f"hocklift drill --runs 1 --seed {campaign.nearest[0].case.seed}" in page.text


def test_every_picture_is_there_under_its_heading(page: Page, campaign: Campaign) -> None:
    titles = [plan.title for plan in plans_of(campaign)]
    titles += [look.ran.words for look in looks_of(campaign)]
    assert len(page.all("figure")) == len(titles)
    assert set(titles) <= set(page.headings())


def test_each_case_that_is_looked_at_says_why_and_moves(page: Page, campaign: Campaign) -> None:
    looks = looks_of(campaign)
    assert len([a for a in page.all("section") if a.get("class") == "player"]) == len(looks)
    captions = [text for tag, text in page.texts if tag == "figcaption"]
    for look in looks:
        assert f"{look.why[0].upper()}{look.why[1:]}." in captions


def test_pictures_tell_troubles_rows_phases_and_moments_in_words(
    page: Page, campaign: Campaign
) -> None:
    drawn = {text for tag, text in page.texts if tag == "text"}
    assert {row.trouble.name for row in summaries(campaign)} <= drawn
    assert {row.fault.name for row in row_summaries(campaign)} <= drawn
    assert {phase.name for phase in PHASES} <= drawn
    for look in looks_of(campaign):
        assert {strike.trouble.name for strike in look.ran.case.strikes} & drawn
    assert any(text.startswith("seen: ") for text in drawn)


def test_unsafe_cases_are_told_with_seed_figure_and_limit_and_looked_at_first(
    unsafe: Campaign, tmp_path: Path
) -> None:
    write_page(unsafe, tmp_path)
    page = read(tmp_path)
    assert unsafe.verdict in page.text
    assert "Unsafe cases" in page.headings()
    for ran in unsafe.unsafe:
        assert (
            f"seed {SEED}: {ran.words}: a foot's speed at the ground: 3.00 m/s, at most 1 m/s"
            f" (seen: {ran.seen_words})" in page.text
        )
    # Of each trouble one: more of the same would tell nothing new.
    first = [look.ran.case.strikes[0].trouble.name for look in looks_of(unsafe)][:2]
    assert first == ["pot open", "loop late"]
    captions = [text for tag, text in page.texts if tag == "figcaption"]
    assert sum(text.startswith("Unsafe: ") for text in captions) == 2


def test_a_drill_without_random_cases_has_a_whole_page_too(
    campaign: Campaign, tmp_path: Path
) -> None:
    write_page(replace(campaign, random=()), tmp_path)
    page = read(tmp_path)
    assert_self_contained(page)
    assert "Random cases nearest to a limit" not in page.headings()


def test_the_page_has_no_infinite_time_and_nothing_that_is_no_number(page: Page) -> None:
    assert not {"inf", "nan", "None"} & set(page.text.replace(",", " ").split())


def test_the_cases_file_holds_every_figure_of_every_case(folder: Path, campaign: Campaign) -> None:
    text = (folder / CASES).read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == len(campaign.ran)
    figures = [
        item.name for item in fields(Outcome) if item.name not in ("fault_bits", "rows_seen_s")
    ]
    for row, ran in zip(rows, campaign.ran, strict=True):
        assert (row["case"], row["seed"]) == (ran.words, str(ran.case.seed))
        assert row["phases"].split("; ") == [
            PHASES[strike.phase].name for strike in ran.case.strikes
        ]
        assert row["safe"] == str(int(not ran.failures))
        assert row["failures"] == "; ".join(one.words for one in ran.failures)
        assert row["faults"].count(" s") >= len(ran.outcome.rows_seen_s)
        for name in figures:
            value = float(getattr(ran.outcome, name))
            if value == inf:
                assert row[name] == ""
            else:
                assert float(row[name]) == pytest.approx(value, rel=1e-5)


def test_a_page_that_cannot_be_written_is_an_error_and_never_half_a_page(
    campaign: Campaign, tmp_path: Path
) -> None:
    (tmp_path / CASES).mkdir()
    (tmp_path / CASES / "mine").touch()
    with pytest.raises(OutputError, match="cannot be written"):
        write_page(campaign, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [CASES]


def test_a_drill_in_which_nothing_could_strike_has_a_whole_page_and_is_not_called_safe(
    campaign: Campaign, tmp_path: Path
) -> None:
    missed = [
        Ran(ran.case, replace(ran.outcome, struck=False, rows_seen_s={}), ())
        for ran in campaign.table
    ]
    write_page(replace(campaign, table=tuple(missed), random=()), tmp_path)
    page = read(tmp_path)
    assert_self_contained(page)
    assert "could not be tried" in page.text
    assert "safe" not in [text for tag, text in page.texts if tag == "td"]
