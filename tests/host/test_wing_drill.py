"""The drill of wings: every trouble ends safe, each is seen where it must be, none goes untried."""

import io
from dataclasses import replace
from math import radians
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.commands.wing_drill import print_campaign
from hocklift.rigfile.file import write_rig
from hocklift.wing_drill_rows import by_trouble, wing_bounds
from hocklift.wing_drilling import (
    WingCampaign,
    drill_wings,
    due_rows,
    random_case,
    run_random_case,
    run_table_case,
    table_cases,
)
from legcore.arming import STICK_AWAY
from legcore.faults import STICK
from legcore.wing_phases import FOLLOWING, OFF, RELEASING
from legsim.wing.drill import WING_LIMITS, WingCase, WingDrill
from legsim.wing.rig import WingRig
from legsim.wing.run import Show
from legsim.wing.script import first_s
from legsim.wing.tables import WING_FAULTS
from legsim.wing.troubles import AT_OFF, MOMENTS, WING_DOUBLES, WING_TROUBLES
from rich.console import Console

SEED = 1
RANDOM_CASES = 10_000
# Small enough that two test processes share them evenly.
CHUNK = 500
DEMO = WingRig()
BENCH = WingDrill(DEMO)


@pytest.mark.parametrize("trouble", WING_TROUBLES, ids=lambda trouble: trouble.name)
def test_every_trouble_at_every_moment_ends_safe(trouble: Any) -> None:
    cases = [case for case in table_cases(SEED) if case.strikes[0].trouble is trouble]
    assert len(cases) == 2 * len(MOMENTS)
    for case in cases:
        ran = run_table_case(BENCH, case)
        assert ran.outcome.struck, ran.words
        assert ran.failures == (), ran.words


@pytest.mark.parametrize("start", range(0, RANDOM_CASES, CHUNK))
def test_random_troubles_alone_and_in_pairs_end_safe(start: int, record_property: Any) -> None:
    # Other seeds than those that the command starts from.
    rans = [run_random_case(BENCH, random_case(10_000 + start + i)) for i in range(CHUNK)]
    assert [(ran.case.seed, ran.words, ran.failures) for ran in rans if ran.failures] == []
    pairs = sum(len(ran.case.strikes) == 2 for ran in rans)
    assert 0.4 * CHUNK < pairs < 0.6 * CHUNK
    record_property(
        f"random cases of wings {start} to {start + CHUNK}",
        f"{sum(ran.outcome.struck for ran in rans)} struck, {pairs} pairs,"
        f" {sum(bool(ran.outcome.fault_bits) for ran in rans)} seen",
    )


def test_a_drill_without_trouble_moves_the_wings_and_sees_nothing() -> None:
    trace = BENCH.show(WingCase((), SEED)).run()
    assert not np.any(trace["fault_bits"] | trace["left"]["fault_bits"])
    assert trace["left"]["lift_rad"].max() > radians(75)
    assert np.mean(trace["left"]["phase"] == FOLLOWING) > 0.3


def test_a_stick_off_its_centre_keeps_the_wings_from_arming() -> None:
    lines = BENCH.lines.copy()
    for name in ("left", "right"):
        lines[name]["command"] = 0.0
    lines["right"]["command"] = -0.4
    trace = Show(DEMO, lines, SEED).run()
    assert not np.any(trace["contactor"])
    assert np.all(trace["left"]["phase"] == OFF)


def test_an_arming_while_a_command_asks_for_motion_would_be_told_as_unsafe() -> None:
    """What the arming refuses, the drill measures by itself: from the trace of who did not ask."""
    case = next(case for case in table_cases(SEED) if case.strikes[0].moment == AT_OFF)
    show = BENCH.show(case)
    strikes = show.troubles
    trace = BENCH.show(WingCase((), SEED)).run()
    strikes["struck_tick"] = 1
    assert BENCH.judge(trace, strikes, False).excluded_ticks == 0
    trace["right"]["asked"][: round(first_s(DEMO) / DEMO.control.period_s)] = 100
    armed = BENCH.judge(trace, strikes, False).excluded_ticks
    assert armed > WING_LIMITS["excluded_ticks"].most
    assert armed == np.count_nonzero(trace["contactor"])


def test_a_command_pot_away_from_hanging_keeps_the_wings_from_arming() -> None:
    by_pot = replace(DEMO, control=replace(DEMO.control, command="pot"))
    lines = WingDrill(by_pot).lines.copy()
    lines["left"]["command"] = radians(40)
    show = Show(by_pot, lines, SEED)
    trace = show.run()
    assert not np.any(trace["contactor"])
    assert show.core["arm_blocks"][0] & STICK_AWAY


@pytest.mark.parametrize("ill", [1.0, 2.0], ids=["open", "shorted"])
def test_a_stick_lost_in_mid_move_lets_the_wings_down_slowly(ill: float) -> None:
    """The wiper goes as the wing rises: seen in a twentieth of a second, down at release speed."""
    period_s = DEMO.control.period_s
    at = round((first_s(DEMO) + 1.2) / period_s)
    show = Show(DEMO, BENCH.lines[:at], SEED)
    show.run()
    show.state["left"]["command_ill"] = ill
    more = Show(DEMO, BENCH.lines[at : at + round(9 / period_s)], SEED)
    more.core, more.words = show.core, show.words
    more.fresh, more.sealed, more.state = show.fresh, show.sealed, show.state
    more.arm[:] = 1
    trace = more.run()
    wing = trace["left"]
    assert wing["fault_bits"][-1] == STICK
    seen = int(np.argmax(wing["fault_bits"] != 0)) * period_s
    assert seen < 0.1
    assert np.any(wing["phase"] == RELEASING)
    assert trace["right"]["phase"][-1] == OFF
    falling = -wing["lift_radps"][round(1.0 / period_s) :]
    assert falling.max() < 1.3 * DEMO.control.release_speed_radps
    assert abs(wing["lift_rad"][-1]) < radians(5)
    assert trace["contactor"][-1] == 0


def test_a_trouble_that_nothing_watched_would_not_end_safe() -> None:
    """The limits bite: with the fault rows' times stretched out, a runaway passes them."""
    blind = replace(
        DEMO,
        safety=replace(
            DEMO.safety,
            rate_radps=radians(190),
            against_time_s=1.0,
            adrift_rad=radians(59),
            stop_time_s=1.0,
            stall_time_s=2.0,
            sunk_time_s=1.0,
        ),
    )
    bench = WingDrill(blind)
    failed = {
        case.strikes[0].trouble.name
        for case in table_cases(SEED)
        if case.strikes[0].trouble.family in ("drive", "rope", "outside")
        and run_table_case(bench, case).failures
    }
    assert failed >= {"controller full up", "controller full down", "motor reversed"}


@pytest.fixture(scope="module")
def rig_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("wings") / "wings.toml"
    write_rig(DEMO, path)
    return path


def test_the_command_tells_what_it_drilled_and_ends_with_0(
    rig_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["drill", str(rig_file), "--runs", "2", "--json", "--out", str(tmp_path)]) == 0
    told = document_of("drill-wings", capsys.readouterr().out)
    assert told["met"]
    assert len(told["table"]) == 2 * len(MOMENTS) * len(WING_TROUBLES)
    assert set(told["limits"]) == set(WING_LIMITS)
    assert len((tmp_path / "drill.csv").read_text().splitlines()) == len(told["table"]) + 3


RUNS = 20


@pytest.fixture(scope="module")
def campaign(rig_file: Path) -> WingCampaign:
    return drill_wings(DEMO, str(rig_file), RUNS, SEED, Console(file=io.StringIO()))


@pytest.fixture(scope="module")
def printed(campaign: WingCampaign) -> str:
    text = io.StringIO()
    print_campaign(campaign, Console(file=text, width=80))
    return text.getvalue()


def test_a_line_of_the_table_tells_how_many_sights_were_due_and_fits_a_terminal(
    campaign: WingCampaign, printed: str
) -> None:
    for trouble, rans in by_trouble(campaign):
        (line,) = [one for one in printed.splitlines() if one.startswith(f"  {trouble.name} ")]
        assert len(line.rstrip()) <= 80
        due = sum(due_rows(ran.case.strikes[0]) != 0 for ran in rans)
        assert f" {due} of {due} " in line or due == 0


def test_what_no_controller_can_prevent_is_told_with_bound_and_worst_two_at_once_too(
    campaign: WingCampaign, printed: str
) -> None:
    told = wing_bounds(campaign)
    assert len(told) == sum(len(one.spared) for one in WING_TROUBLES) + len(WING_DOUBLES)
    for bound in told:
        assert f"- {bound.who}: {bound.text}, {bound.words}; {bound.reason}\n" in printed
        assert "of at most" in bound.words


def test_the_nearest_random_cases_are_told_with_the_seed_that_runs_them_again(
    campaign: WingCampaign, printed: str
) -> None:
    nearest = [ran.nearest_limit[0] for ran in campaign.nearest]
    assert nearest == sorted(nearest, reverse=True)
    assert len(nearest) == 5
    for ran in campaign.nearest:
        assert f"- {ran.nearest_words}\n" in printed
        assert run_random_case(BENCH, random_case(ran.case.seed)) == ran


def test_rows_of_the_fault_table_that_saw_nothing_are_named(
    campaign: WingCampaign, printed: str
) -> None:
    seen = 0
    for ran in (*campaign.table, *campaign.random):
        seen |= ran.outcome.fault_bits
    told = printed.partition("saw nothing in this drill: ")[2].partition(".")[0]
    assert set(filter(None, told.split(", "))) == {
        fault.name for fault in WING_FAULTS if not fault.bit & seen
    }
