"""`hocklift calibrate` at a simulated board: poses in, tables on the board, or nothing at all."""

import struct
from collections.abc import Callable
from math import degrees, radians
from random import Random
from typing import Any

import numpy as np
import pytest
from benches import DAY, DEMO, at, interrupt, settings_bytes
from documents import document_of
from hocklift.calibrating import _leans_rad
from hocklift.checking import settings
from hocklift.checking.asker import NobodyError, Person
from hocklift.cli import main
from legsim.linkage import leans_under_hip_rad
from legsim.records import POT_ILLS
from legsim.simboard.files import settings_layout
from legwire import kept
from rich.console import Console

COMMAND = ["calibrate", "--port", "sim"]


def kept_words(data: bytes) -> tuple[int, list[int]]:
    """Day and integers of a board's file of settings."""
    count = len(settings.NAMES)
    state, day, values = kept.unpack(data, settings_layout(), count)
    assert state == kept.GOOD
    return day, list(struct.unpack(f"<{count}i", bytes(values)))


def table_of(words: list[int], name: str) -> list[int]:
    first = settings.first_word(name)
    return words[first : first + 12]


def test_both_legs_are_calibrated_to_within_a_protractors_reading(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with at() as cable:
        assert main([*COMMAND, "--json"]) == 0
        day, words = kept_words(settings_bytes(cable.board))
    found = document_of("calibrate", capsys.readouterr().out)
    assert day == settings.today()
    assert found["met"]
    assert found["kept"] == "Both legs' calibration is on the board."
    assert all(
        joint["residual_rad"] < radians(0.1) for leg in found["legs"] for joint in leg["joints"]
    )
    # The board now reads a pot with a bent track truly, at any fold of the leg.
    s = DEMO.sensors
    for fold_deg in (62, 75, 90, 100):
        for joint, lean_rad in zip(
            ("thigh", "shank"), leans_under_hip_rad(DEMO.mechanism, radians(fold_deg)), strict=True
        ):
            ratio = 0.5 + (lean_rad - s.pot_centre_rad) / s.pot_travel_rad
            ratio += s.pot_nonlinearity * np.sin(2 * np.pi * ratio)
            table = table_of(words, f"left_{joint}")
            read_deg = np.interp(ratio * 4095, table[:5], table[5:10]) / 100
            assert abs(read_deg - degrees(lean_rad)) < 0.3


def test_a_reversed_pot_is_told_and_taken_in(capsys: pytest.CaptureFixture[str]) -> None:
    with at() as cable:
        cable.board.turned = ("right_shank",)
        assert main(COMMAND) == 0
        _, words = kept_words(settings_bytes(cable.board))
    assert "right shank counts down as the lean rises" in capsys.readouterr().out
    table = table_of(words, "right_shank")
    assert table[:5] == sorted(table[:5])
    assert table[5:10] == sorted(table[5:10], reverse=True)


def test_a_frozen_pot_keeps_its_leg_from_being_written(capsys: pytest.CaptureFixture[str]) -> None:
    with at() as cable:
        cable.board.set_trouble("left.thigh_ill", POT_ILLS.index("frozen"))
        before = kept_words(settings_bytes(cable.board))[1]
        assert main(COMMAND) == 1
        words = kept_words(settings_bytes(cable.board))[1]
    said = " ".join(capsys.readouterr().out.split())
    assert "left thigh hardly moves" in said
    assert "The right leg's calibration is on the board; the other leg's is as it was." in said
    for name in settings.CALIBRATIONS:
        changed = table_of(words, name) != table_of(before, name)
        assert changed == name.startswith("right")


def test_a_board_without_settings_gets_the_rig_files_and_is_to_be_restarted(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with at(blank=True) as cable:
        assert main(COMMAND) == 0
        day, words = kept_words(settings_bytes(cable.board))
    assert day == settings.today()
    assert words[settings.NAMES.index("stage")] == 0
    assert "take its power and give it back" in capsys.readouterr().out


def interrupted(cable: Any, words: str, act: Any) -> int:
    with pytest.MonkeyPatch.context() as patch:
        interrupt(patch, words, act)
        return main(COMMAND)


def raise_interrupt() -> None:
    raise KeyboardInterrupt


@pytest.mark.parametrize("closed", [True, False], ids=["stream closed", "Ctrl-C"])
def test_stopped_among_the_first_legs_poses_nothing_is_written(
    closed: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    with at() as cable:
        before = settings_bytes(cable.board)
        act = cable.pull if closed else raise_interrupt
        assert interrupted(cable, "Left leg to the hard folded stop", act) == (2 if closed else 130)
        assert settings_bytes(cable.board) == before
    said = capsys.readouterr()
    assert "Nothing was written: the board's calibration is as it was." in said.out
    assert ("the connection has ended" if closed else "stopped") in said.err


def test_stopped_at_the_second_leg_the_first_one_is_kept_and_said_to_be(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with at() as cable:
        before = kept_words(settings_bytes(cable.board))[1]
        assert interrupted(cable, "Right leg to the hard folded stop", cable.pull) == 2
        _, words = kept_words(settings_bytes(cable.board))
    said = " ".join(capsys.readouterr().out.split())
    assert "The left leg's calibration is on the board; the other leg's is as it was." in said
    assert table_of(words, "left_thigh") != table_of(before, "left_thigh")
    assert table_of(words, "right_thigh") == table_of(before, "right_thigh")


@pytest.fixture(scope="module")
def lines() -> list[bytes]:
    """All that is said to a board while it is calibrated."""
    with at() as cable:
        assert main(COMMAND) == 0
        return cable.said


@pytest.mark.big
def test_a_cable_pulled_at_any_line_leaves_each_leg_old_or_new_and_the_next_run_gets_on(
    lines: list[bytes],
    capsys: pytest.CaptureFixture[str],
    record_property: Callable[[str, object], None],
) -> None:
    """At random ones, and at random ones of those that write."""
    chance = Random(11)
    writing = [i for i, line in enumerate(lines) if line.startswith((b"set", b"keep"))]
    cuts = sorted(
        {*chance.sample(range(1, len(lines)), 6), *chance.sample(writing, 4), writing[-1]}
    )
    for number, cut in enumerate(cuts):
        with at() as cable:
            _, before = kept_words(settings_bytes(cable.board))
            cable.pulled_after = cut
            assert main(COMMAND) == 2, cut
            said = capsys.readouterr()
            assert "the connection has ended" in said.err
            assert "Traceback" not in said.err
            # Nothing of what was said before has power to come; what is kept is whole.
            cable.board.advance(1.0)
            assert not cable.board.truth.contactor
            _, words = kept_words(settings_bytes(cable.board))
            new = [
                table_of(words, name) != table_of(before, name) for name in settings.CALIBRATIONS
            ]
            assert new in ([False] * 4, [True, True, False, False], [True] * 4), cut
            if cut in writing:
                assert "it then has the old one or the new one whole" in " ".join(said.out.split())
                cable.board.reset()
            if number % 4 == 0:
                cable.pulled_after = None
                assert main(COMMAND) == 0, cut
                capsys.readouterr()
    record_property("calibrate: cables pulled, at random lines", len(cuts))


def test_a_leg_alone_does_not_make_a_calibrated_board() -> None:
    with at(day=0) as cable:
        interrupted(cable, "Right leg to the hard folded stop", cable.pull)
        assert kept_words(settings_bytes(cable.board))[0] == 0
    assert DAY > 0


def test_a_port_that_is_not_there_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calibrate", "--port", "/nowhere/tty"]) == 2
    assert "there is no such port" in capsys.readouterr().err


def test_leans_are_two_numbers_of_degrees_and_nothing_else() -> None:
    assert _leans_rad("31.4 28.6") == pytest.approx((radians(31.4), radians(28.6)))
    assert _leans_rad("31.4, -2") == pytest.approx((radians(31.4), radians(-2)))
    for wrong in ("31.4", "a b", "1 2 3", "nan 3", "inf 3", "91 0", "31,4 28,6"):
        assert _leans_rad(wrong) is None


def test_a_question_that_nobody_answers_ends_with_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def nobody() -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", nobody)
    with pytest.raises(NobodyError, match="run this in a terminal"):
        Person(Console(quiet=True)).confirm("Is all of this so?")
