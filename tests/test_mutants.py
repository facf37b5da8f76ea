"""What `python -m mutants` counts and asks for; that it runs, its smoke run in .ci/run shows."""

import pytest

from mutants import report as reports
from mutants.kept import Kept
from mutants.making import Mutant, mutants_of, pieces
from mutants.plan import CORE, FILES, RULES, TESTS
from mutants.report import report
from mutants.trying import NO_PROGRAM, SURVIVED


@pytest.fixture
def kept(tmp_path):
    return Kept(tmp_path / "kept.jsonl")


@pytest.fixture
def some():
    return list(mutants_of("limits.py"))[:20]


@pytest.fixture
def reasons(monkeypatch):
    """The table of survivors, empty."""
    found = {}
    monkeypatch.setattr(reports, "reasons", lambda: found)
    return found


def note(kept, mutants, survivors):
    for i, mutant in enumerate(mutants):
        kept.put(mutant, SURVIVED if i < survivors else "tests/core/test_limits.py::test_of_it")


def test_every_file_named_exists_and_every_test():
    assert all((CORE / file).exists() for file in FILES)
    assert all((TESTS / name).exists() for names in FILES.values() for name in (*names, *RULES))


def test_pieces_of_a_file_put_back_in_place_are_the_file():
    for file in FILES:
        whole = (CORE / file).read_text()
        assert all(piece.before + piece.text + piece.after == whole for piece in pieces(file))
        assert {piece.function for piece in pieces(file)} >= {""}


def test_a_mutant_differs_from_its_file_in_one_place_and_says_where():
    mutant = Mutant("limits.py", 3, "core/ReplaceComparisonOperator_Lt_LtE", 0)
    assert mutant.piece.function == "limit"
    assert mutant.words == "limits.py limit: if room < room_up: -> if room <= room_up:"
    assert (
        mutant.source.replace("room <= room_up", "room < room_up", 1)
        == (CORE / "limits.py").read_text()
    )


def test_enough_killed_and_a_reason_for_each_survivor_is_well(kept, some, reasons, capsys):
    note(kept, some, 1)
    reasons[some[0].words] = "no harm"
    assert report(some, kept, 95.0) == 0
    assert "95.0 %" in capsys.readouterr().out


def test_too_few_killed_is_a_failure_whatever_the_reasons(kept, some, reasons, capsys):
    note(kept, some, 2)
    reasons.update({mutant.words: "no harm" for mutant in some})
    assert report(some, kept, 95.0) == 1
    assert "95 % must be" in capsys.readouterr().out


def test_a_survivor_without_a_reason_is_named_and_a_failure(kept, some, reasons, capsys):
    note(kept, some, 1)
    assert report(some, kept, 95.0) == 1
    assert some[0].words in capsys.readouterr().out


def test_one_that_was_not_tried_is_a_failure_and_one_that_is_no_program_does_not_count(
    kept, some, reasons, capsys
):
    note(kept, some[1:], 0)
    assert report(some, kept, 95.0) == 1
    assert "1 were not tried" in capsys.readouterr().out
    kept.put(some[0], NO_PROGRAM)
    assert report(some, kept, 95.0) == 0
    assert " 19 " in capsys.readouterr().out


def test_what_was_tried_is_known_to_the_next_run_until_its_tests_or_the_core_change(kept, some):
    note(kept, some, 1)
    again = Kept(kept.path)
    assert [again.get(mutant) for mutant in some] == [kept.get(mutant) for mutant in some]
    again = Kept(kept.path)
    again.tests["test_limits.py"] = "changed"
    again.found.clear()
    again.read()
    assert [again.get(mutant) for mutant in some] == [None] * len(some)


def test_each_reason_is_a_sentence_and_each_survivor_is_named_once():
    table = reports.table()
    named = [words for group in table for words in group["mutants"]]
    assert len(named) == len(set(named))
    assert all(group["reason"].endswith(".") for group in table)
