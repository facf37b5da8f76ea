"""`hocklift drill`: what it prints, how it ends, and that a case can be run again.

That every case of the demo rig ends safe is the matter of `test_campaign`.
"""

import io
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, NamedTuple

import hocklift.commands.drill
import hocklift.drilling
import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.drilling import (
    NO_PROOF,
    Campaign,
    Ran,
    bounds,
    drill,
    random_case,
    row_summaries,
    run_random_case,
    run_table_case,
    summaries,
    table_cases,
)
from hocklift.errors import RigFileError
from hocklift.rigfile.file import rig_text
from hocklift.rigfile.keys import with_value_at
from legsim.drill import LIMITS, Drill, Outcome
from legsim.rig import Rig
from legsim.tables import FAULTS, PHASES
from legsim.troubles import DOUBLES, TROUBLES
from rich.console import Console

SEED = 1
RUNS = 20
QUIET = Console(file=io.StringIO(), quiet=True)


class Drilled(NamedTuple):
    """One run of the command: how it ended, what it printed, what it worked out."""

    code: int
    text: str
    campaign: Campaign


def drilled_by(*words: str) -> Drilled:
    """Run the command and catch what it worked out."""
    caught: list[Campaign] = []

    def catching(*args: Any) -> Campaign:
        caught.append(drill(*args))
        return caught[0]

    with pytest.MonkeyPatch.context() as patch, redirect_stdout(io.StringIO()) as text:
        patch.setattr(hocklift.commands.drill, "drill", catching)
        patch.setenv("COLUMNS", "80")
        code = main(["drill", *words])
    return Drilled(code, text.getvalue(), caught[0])


@pytest.fixture(scope="module")
def demo() -> Drilled:
    return drilled_by("--runs", str(RUNS), "--seed", str(SEED))


@pytest.fixture
def only_random(monkeypatch: pytest.MonkeyPatch) -> None:
    """The table takes its time, and some tests have no use for it."""

    def none(seed: int) -> Iterator[Any]:
        return iter(())

    monkeypatch.setattr(hocklift.drilling, "table_cases", none)


@pytest.fixture
def told(demo: Drilled, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    """Run the command again on what it has worked out already; returns exit code and text."""

    def run(*words: str, campaign: Campaign = demo.campaign) -> tuple[int, str]:
        monkeypatch.setattr(hocklift.commands.drill, "drill", lambda *args: campaign)
        return main(["drill", *words]), capsys.readouterr().out

    return run


def test_the_demo_rig_ends_with_0_and_says_how_many_cases_ended_safe(demo: Drilled) -> None:
    assert demo.code == 0
    assert len(demo.campaign.random) == RUNS
    assert f"All {len(demo.campaign.table) + RUNS} cases ended safe" in demo.text
    assert demo.campaign.unsafe == ()


def test_every_trouble_strikes_in_every_phase_of_either_leg_where_it_must_be_seen(
    demo: Drilled,
) -> None:
    struck = {
        (strike.trouble.name, strike.phase, strike.leg)
        for ran in demo.campaign.table
        if ran.outcome.struck
        for strike in ran.case.strikes
    }
    for trouble in TROUBLES:
        for sight in trouble.sights:
            for phase in sight.phases:
                assert {(trouble.name, phase, 0), (trouble.name, phase, 1)} <= struck


def test_the_table_fits_a_terminal_and_cuts_no_name_and_no_figure_off(demo: Drilled) -> None:
    lines = demo.text.splitlines()
    for row in summaries(demo.campaign):
        (line,) = [one for one in lines if one.startswith(f"  {row.trouble.name} ")]
        assert len(line.rstrip()) <= 80
        assert line.rstrip().endswith(f" {row.verdict}")
        # Read aloud, each figure is in its place: no cell is blank.
        assert len(line.removeprefix(f"  {row.trouble.name}").split()) >= 7
    assert "…" not in demo.text


def test_a_narrow_terminal_loses_nothing(
    told: Callable[..., tuple[int, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    _, text = told()
    assert "…" not in text
    assert all(f"  {trouble.name} " in text for trouble in TROUBLES)


def test_what_no_controller_can_prevent_is_told_with_its_bound_and_reason(demo: Drilled) -> None:
    told = bounds(demo.campaign)
    assert len(told) == sum(len(trouble.spared) for trouble in TROUBLES) + len(DOUBLES)
    for bound in told:
        assert f"- {bound.who}: {bound.text}, {bound.words}; {bound.reason}\n" in demo.text
        assert f"at most {bound.most:g} {LIMITS[bound.measure].unit}" in bound.words
        assert ("not reached" in bound.words) == (bound.found is not None and bound.found < 0)
        assert ("not tried" in bound.words) == (bound.found is None)
    assert ", -" not in demo.text


def test_whether_the_leg_beside_was_set_in_motion_is_told_and_what_a_drill_cannot_prove(
    told: Callable[..., tuple[int, str]], demo: Drilled
) -> None:
    assert "In none of the cases did a leg that nothing had struck begin to lift" in demo.text
    assert f"\n{NO_PROOF}\n" in demo.text
    driven = replace(demo.campaign.table[0].outcome, other_driven=True)
    table = (replace(demo.campaign.table[0], outcome=driven), *demo.campaign.table[1:])
    assert "In 1 of the cases did a leg" in told(campaign=replace(demo.campaign, table=table))[1]


def test_rows_of_the_fault_table_that_saw_nothing_are_named(demo: Drilled) -> None:
    seen = 0
    for ran in demo.campaign.ran:
        seen |= ran.outcome.fault_bits
    told = demo.text.partition("saw nothing in this drill: ")[2].partition(".")[0]
    assert set(filter(None, told.split(", "))) == {
        fault.name for fault in FAULTS if not fault.bit & seen
    }


def test_a_row_that_had_to_see_a_trouble_has_its_fastest_and_slowest_sight(demo: Drilled) -> None:
    trips_s = Drill(Rig()).trips_s
    within_s = {
        fault.bit: trips_s[fault.bit]
        + max(
            (
                sight.lag_s
                for trouble in TROUBLES
                for sight in trouble.sights
                if sight.rows & fault.bit
            ),
            default=0.0,
        )
        for fault in FAULTS
    }
    rows = row_summaries(demo.campaign)
    assert [row.fault for row in rows] == list(FAULTS)
    for row in rows:
        if row.fastest_s is not None and row.slowest_s is not None:
            assert 0 <= row.fastest_s <= row.slowest_s <= within_s[row.fault.bit]


def test_the_nearest_random_cases_are_told_with_seed_and_limit(demo: Drilled) -> None:
    nearest = demo.campaign.nearest
    assert [ran.nearness for ran in nearest] == sorted(ran.nearness for ran in nearest)[::-1]
    for ran in nearest:
        assert f", seed {ran.case.seed}: {ran.words}; {ran.nearest_words}\n" in demo.text
        limit = LIMITS[ran.nearest_limit[1]]
        assert ran.nearest_words.startswith(limit.text)


def test_json_is_valid_and_versioned_and_tells_every_case(
    told: Callable[..., tuple[int, str]], demo: Drilled
) -> None:
    code, text = told("--json")
    document = document_of("drill", text)
    assert document["met"] == (code == 0) == demo.campaign.met
    assert [row["trouble"] for row in document["troubles"]] == [one.name for one in TROUBLES]
    assert [row["row"] for row in document["rows"]] == [fault.name for fault in FAULTS]
    assert len(document["unavoidable"]) == len(bounds(demo.campaign))
    for told_rans, rans in (
        (document["table"], demo.campaign.table),
        (document["random"], demo.campaign.random),
    ):
        assert [(one["case"], one["seed"]) for one in told_rans] == [
            (ran.words, ran.case.seed) for ran in rans
        ]
        figures = {item.name for item in fields(Outcome)} - {"fault_bits"}
        assert all(figures <= set(one) for one in told_rans)


def test_the_same_seed_gives_the_same_table_to_the_bit(demo: Drilled) -> None:
    assert [ran.case for ran in demo.campaign.table] == list(table_cases(SEED))
    bench = Drill(Rig())
    # Ten minutes of walking more would show nothing more.
    short = [ran for ran in demo.campaign.table if ran.case.seconds < 100]
    assert [run_table_case(bench, ran.case) for ran in short] == short


def test_a_random_case_follows_from_its_seed_alone(demo: Drilled) -> None:
    bench = Drill(Rig())
    seeds = range(SEED, SEED + RUNS)
    assert [ran.case.seed for ran in demo.campaign.random] == list(seeds)
    # In another order, as nothing else has been drawn before.
    for i, seed in reversed(list(enumerate(seeds))):
        assert run_random_case(bench, random_case(seed)) == demo.campaign.random[i]


@pytest.mark.usefixtures("only_random")
def test_a_case_printed_with_its_seed_runs_again_with_one_run_of_that_seed(demo: Drilled) -> None:
    worst = demo.campaign.nearest[0]
    again = drilled_by("--runs", "1", "--seed", str(worst.case.seed))
    assert again.campaign.random == (worst,)
    assert f"seed {worst.case.seed}: {worst.words}" in again.text


@pytest.mark.usefixtures("only_random")
def test_no_runs_are_no_random_cases(demo: Drilled) -> None:
    none = drilled_by("--runs", "0")
    assert none.campaign.random == ()
    assert "random" not in none.text


def test_a_case_whose_moment_never_came_is_not_counted_as_tried(
    told: Callable[..., tuple[int, str]], demo: Drilled
) -> None:
    tried = tuple(replace(ran, failures=()) for ran in demo.campaign.table)
    code, text = told(campaign=replace(demo.campaign, table=tried, random=unstruck(demo)))
    assert code == 0
    assert f"In {RUNS} of them, random ones, the moment to strike never came." in text
    assert "nearest to a limit" not in text


def test_a_table_that_could_not_be_tried_ends_with_1_and_is_not_called_safe(
    told: Callable[..., tuple[int, str]], demo: Drilled
) -> None:
    # As with a rig that is too weak to lift a foot.
    code, text = told(campaign=replace(demo.campaign, table=unstruck(demo), random=()))
    assert code == 1
    assert f"{RUNS} of {RUNS} cases of the table could not be tried" in text
    assert "safe." not in text


def unstruck(demo: Drilled) -> tuple[Ran, ...]:
    """The random cases, had the moment of their strikes not come."""
    return tuple(
        Ran(ran.case, replace(ran.outcome, struck=False), ()) for ran in demo.campaign.random
    )


def test_a_trouble_that_never_struck_is_not_called_safe(demo: Drilled) -> None:
    for row in summaries(replace(demo.campaign, table=unstruck(demo))):
        assert (row.verdict, row.seen, row.must_be_seen) == ("-", 0, 0)


# Each slackens one protection, as a person might whose rig trips too often.
SLACK = {
    "a leg may fold too far for a second": (
        {"safety.sunk_time": 1.0, "safety.push_time": 1.0, "safety.stop_time": 1.0},
        "controller full up",
        "fold past the hard stop",
    ),
    # The ground is there again before the row has counted so far.
    "both feet may hang in the air": (
        {"safety.unborne_time": 2.0},
        "frame lifted",
        "to be seen by nothing bears",
    ),
}


@pytest.mark.parametrize(("changes", "trouble", "why"), SLACK.values(), ids=SLACK.keys())
def test_a_slackened_protection_ends_with_1_and_names_case_seed_figure_and_limit(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    changes: dict[str, float],
    trouble: str,
    why: str,
) -> None:
    rig = Rig()
    for key, value in changes.items():
        rig = with_value_at(rig, key, value)
    path = tmp_path / "slack.toml"
    path.write_text(rig_text(rig), encoding="utf-8")
    only = tuple(one for one in TROUBLES if one.name == trouble)
    monkeypatch.setattr(hocklift.drilling, "TROUBLES", only)
    slack = drilled_by(str(path), "--runs", "0", "--seed", "7")
    assert slack.code == 1
    assert f"Drill of {path}" in slack.text
    assert f"{len(slack.campaign.unsafe)} of {2 * len(PHASES)} cases ended unsafe." in slack.text
    failures = [one for ran in slack.campaign.unsafe for one in ran.failures if why in one.text]
    assert failures
    assert all(one.found > one.most for one in failures)
    for ran in slack.campaign.unsafe[:10]:
        (line,) = [one for one in slack.text.splitlines() if f"seed 7: {ran.words}: " in one]
        assert all(one.words in line for one in ran.failures)
        assert f"(seen: {ran.seen_words})" in line


def test_a_rig_file_that_is_not_there_ends_with_2(tmp_path: Path) -> None:
    with redirect_stderr(io.StringIO()) as text:
        assert main(["drill", str(tmp_path / "none.toml")]) == 2
    assert "no such file" in text.getvalue()


def test_a_rig_that_the_board_would_refuse_is_an_error_of_its_file() -> None:
    rig = replace(Rig(), wants=replace(Rig().wants, clearance_m=0.4))
    with pytest.raises(RigFileError, match=r"my\.toml: the board would refuse"):
        drill(rig, "my.toml", 1, SEED, QUIET)


def test_a_folder_that_cannot_be_written_is_told_before_anything_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hocklift.commands.drill, "drill", lambda *args: pytest.fail("it ran"))
    (tmp_path / "file").touch()
    with redirect_stderr(io.StringIO()) as text:
        assert main(["drill", "--out", str(tmp_path / "file")]) == 2
    assert "cannot be written" in text.getvalue()
