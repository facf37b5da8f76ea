"""`hocklift study`: what it counts, how it ends, and that a build can be walked again."""

import csv
import io
import shlex
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import hocklift.commands.rehearse
import hocklift.commands.study
import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.errors import CrewError, RigFileError
from hocklift.pages.study_page import BUILDS, PAGE
from hocklift.rehearsal import Rehearsal, rehearse_build
from hocklift.rigfile.file import rig_text
from hocklift.studying.crews import cores
from hocklift.studying.jobs import Ran
from hocklift.studying.study import WANTED, Study, missed_words, percent, share_of, study
from hocklift.wearerfile import built_in_gait
from hypothesis import given
from hypothesis import strategies as st
from legsim.figures import WANTS
from legsim.rig import Rig
from legsim.trial import trial
from pages import Page, assert_self_contained
from rich.console import Console

SECONDS = 8.0  # each foot is raised in it, even by the slowest wearer
SEED = 11
RIGS = 12
DEMO = Rig()
QUIET = Console(file=io.StringIO(), quiet=True)
# Wants that hardly anything can miss, and wants that nothing can meet.
EASY = replace(
    Rig(),
    wants=replace(Rig().wants, clearance_tolerance=0.5, clearance_worst_m=0.0, lift_s=1.0),
)
HARD = replace(Rig(), wants=replace(Rig().wants, lift_s=0.05))


def studied(rig: Rig = DEMO, rigs: int = RIGS, **how: Any) -> Study:
    return study(rig, "my rig", rigs, SEED, SECONDS, cores(1), QUIET, **how)


@pytest.fixture(scope="module")
def demo() -> Study:
    return studied()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the command leaves behind, sensitivity included."""
    folder = tmp_path_factory.mktemp("study")
    words = f"study --rigs {RIGS} --seconds {SECONDS:g} --seed {SEED} --sensitivity --out"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hocklift.commands.study, "WALKS", 3)
        assert main([*words.split(), str(folder)]) in (0, 1)
    return folder


@pytest.mark.parametrize(
    ("met", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_interval_of_a_share_is_that_of_published_examples(
    met: int, of: int, low: float, high: float
) -> None:
    # Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine
    # 17 (1998) 857-872, table I, method 3 (Wilson's); the values from memory.
    share = share_of(met, of)
    assert (share.low, share.high) == pytest.approx((low, high), abs=5e-5)
    # Counted the other way round, it is the same interval.
    other = share_of(of - met, of)
    assert (1 - other.high, 1 - other.low) == pytest.approx((share.low, share.high))


@given(st.integers(1, 100_000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_a_share_reads_as_all_or_nothing_only_if_it_is(counts: tuple[int, int]) -> None:
    met, of = counts
    assert (percent(met / of) == "100 %") == (met == of)
    assert (percent(met / of) == "0 %") == (met == 0)


def test_each_build_is_the_trial_of_its_seed_to_the_bit(demo: Study) -> None:
    assert [ran.seed for ran in demo.ran] == list(range(SEED, SEED + RIGS))
    for ran in demo.ran:
        walked = trial(Rig(), ran.seed, SECONDS, built_in_gait())
        assert ran.missed == walked.missed
        assert ran.met == walked.met
        assert set(ran.faults) == {name for leg in walked.legs.values() for name in leg.faults}


def test_a_share_counts_the_builds_that_meet_a_want(demo: Study) -> None:
    for i, (want, share) in enumerate(demo.wants):
        assert want is WANTS[i]
        assert share.of == RIGS
        assert share.met == RIGS - sum(ran.missed[i] > 0 for ran in demo.ran)
    assert demo.share.met <= min(share.met for _, share in demo.wants)


def test_the_worst_builds_are_those_farthest_past_a_limit() -> None:
    hard = studied(HARD)
    farthest = max(ran.nearest for ran in hard.ran)
    assert hard.worst[0].nearest == farthest
    assert [ran.nearest for ran in hard.worst] == sorted(
        (ran.nearest for ran in hard.worst), reverse=True
    )
    assert "time to lift" in missed_words(hard.worst[0])


def test_wants_that_nothing_misses_end_well_but_few_builds_prove_little() -> None:
    easy = studied(EASY)
    assert easy.met
    assert easy.worst == ()
    assert easy.most_missed is None
    assert "take more" in easy.verdict
    # So many without a miss put the whole interval above what is wanted.
    assert share_of(400, 400).low > WANTED
    many = replace(easy, ran=tuple(easy.ran[0]._replace(seed=i) for i in range(400)))
    assert "take more" not in many.verdict


def test_a_want_that_nothing_meets_is_named_with_what_to_do() -> None:
    hard = studied(HARD)
    assert not hard.met
    assert hard.share.met == 0
    assert hard.most_missed is not None
    assert hard.most_missed[0].name == "time to lift"
    assert hard.most_missed[0].advice in hard.verdict


def test_just_99_of_100_builds_are_enough_and_98_are_not() -> None:
    good = Ran(1, 1, (0.0,) * len(WANTS), ())
    bad = Ran(1, 1, (0.0,) * (len(WANTS) - 1) + (0.1,), ())
    for missing, enough in ((1, True), (2, False)):
        rans = (*[good] * (100 - missing), *[bad] * missing)
        assert Study(Rig(), "x", 1, 20.0, rans).met is enough


def test_a_want_that_is_never_met_reads_as_never() -> None:
    missed = [0.0] * len(WANTS)
    missed[4] = inf
    assert missed_words(Ran(1, 1, tuple(missed), ())) == "time to lift (never)"
    missed[0] = 2.0
    assert missed_words(Ran(1, 1, tuple(missed), ("stall", "rope slack"))) == (
        "time to lift (never), faults (stall, rope slack)"
    )


@pytest.mark.parametrize("seed", [SEED, SEED + 1])
def test_a_build_is_walked_again_by_its_seed_with_its_own_wearer(demo: Study, seed: int) -> None:
    again = rehearse_build(Rig(), "my rig", SECONDS, seed, QUIET)
    ran = demo.ran[seed - SEED]
    missed = tuple(
        max(want.missed(leg, again.rig) for leg in again.legs.values()) for want in WANTS
    )
    assert missed == ran.missed
    assert bool(again.unmet) == (not ran.met)
    assert again.wearer_name == ("a metronome" if seed % 2 else "the built-in recorded gait")


def test_a_build_tells_what_it_has_otherwise(capsys: pytest.CaptureFixture[str]) -> None:
    again = rehearse_build(Rig(), "my rig", SECONDS, 5, QUIET)
    told = {path: (in_file, own) for path, in_file, own in again.build}
    assert told["mechanism.carried_mass"][0] == "34 kg"
    assert told["mechanism.carried_mass"][1] == f"{again.rig.mechanism.carried_mass_kg:.4g} kg"
    main(["rehearse", "--built", "5", "--seconds", "8"])
    text = capsys.readouterr().out
    path, in_file, own = again.build[0]
    assert f"{path}: {own}, not {in_file}" in text
    assert "as seed 5 builds it" in text


def test_the_command_that_it_tells_walks_the_worst_build(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    rig_file = tmp_path / "my rig.toml"
    rig_file.write_text(rig_text(HARD), encoding="utf-8")
    assert main(["study", str(rig_file), "--rigs", "3", "--seconds", "8"]) == 1
    lines = capsys.readouterr().out.splitlines()
    (command,) = [line.strip() for line in lines if line.startswith("  hocklift rehearse ")]
    (worst, *_) = [line for line in lines if line.startswith("- seed ")]
    caught: list[Rehearsal] = []

    def catching(*args: Any) -> Rehearsal:
        caught.append(rehearse_build(*args))
        return caught[0]

    monkeypatch.setattr(hocklift.commands.rehearse, "rehearse_build", catching)
    assert main(shlex.split(command)[1:]) == 1
    assert worst.startswith(f"- seed {caught[0].seed}: ")
    assert caught[0].unmet


def test_a_build_with_a_wearer_or_a_seed_of_its_own_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["rehearse", "--built", "5", "--wearer", "metronome"]) == 2
    assert "brings its own wearer" in capsys.readouterr().err
    with pytest.raises(SystemExit) as end:
        main(["rehearse", "--built", "5", "--seed", "3"])
    assert end.value.code == 2


def test_as_json_it_holds_every_share_and_the_worst_builds(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code = main(["study", "--rigs", "6", "--seconds", "8", "--seed", str(SEED), "--json"])
    told = document_of("study", capsys.readouterr().out)
    expected = studied(rigs=6)
    assert told["met"] == expected.met == (code == 0)
    assert told["every_want"]["met"] == expected.share.met
    assert told["every_want"]["interval"] == [expected.share.low, expected.share.high]
    assert {one["want"]: one["met"] for one in told["wants"]} == {
        want.name: share.met for want, share in expected.wants
    }
    assert [one["seed"] for one in told["worst"]] == [ran.seed for ran in expected.worst]
    assert told["effects"] == []


def test_the_page_needs_nothing_but_itself_and_tells_every_want_and_tolerance(folder: Path) -> None:
    page = Page((folder / PAGE).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert len(page.all("figure")) == 3
    assert all(want.name in page.text for want in WANTS)
    assert "sensors.pot_centre" in page.text
    assert "Local codes" in page.text


def test_the_table_of_builds_holds_each_to_the_bit(folder: Path, demo: Study) -> None:
    rows = list(csv.DictReader((folder / BUILDS).read_text(encoding="utf-8").splitlines()))
    assert [int(row["seed"]) for row in rows] == [ran.seed for ran in demo.ran]
    for row, ran in zip(rows, demo.ran, strict=True):
        assert tuple(float(row[want.name]) for want in WANTS) == ran.missed
        assert row["met"] == str(int(ran.met))


def test_a_rig_whose_settings_no_board_would_take_is_refused_before_anything_walks() -> None:
    wrong = replace(Rig(), wants=replace(Rig().wants, clearance_m=0.3))
    with pytest.raises(RigFileError, match="my rig: the board would refuse"):
        studied(wrong)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--seed", "4294967295", "--rigs", "2"], "seeds end with 4294967295"),
        (["--cluster", "tcp://127.0.0.1:9", "--rigs", "2"], "no Dask scheduler answers there"),
        (["--cluster", "nowhere at all", "--rigs", "2"], "no Dask scheduler answers there"),
    ],
)
def test_what_cannot_be_done_ends_with_2_and_what_to_do(
    words: list[str], expected: str, capsys: pytest.CaptureFixture[str], monkeypatch: Any
) -> None:
    monkeypatch.setattr("hocklift.studying.crews._ANSWER_S", 1)
    assert main(["study", *words]) == 2
    assert expected in capsys.readouterr().err


def test_without_their_packages_sensitivity_and_cluster_say_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "SALib.sample.morris", None)
    with pytest.raises(CrewError, match=r"pip install 'hocklift\[study\]'"):
        studied(rigs=1, sensitivity_walks=2)
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    from hocklift.studying.crews import cluster

    with pytest.raises(CrewError, match=r"pip install 'hocklift\[study\]'"):
        study(Rig(), "x", 1, 1, SECONDS, cluster("tcp://127.0.0.1:9"), QUIET)


def test_help_tells_each_option(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(["study", "--help"])
    assert end.value.code == 0
    told = capsys.readouterr().out
    for option in ("--rigs", "--seconds", "--seed", "--sensitivity", "--cluster", "--json"):
        assert option in told
