"""`hocklift relay` at a simulated board: what it finds, and that it stays safe whatever happens."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import hocklift.commands.relay
import numpy as np
import pytest
from benches import DEMO, Cable, settings_bytes, wired
from documents import document_of
from hocklift import swinging
from hocklift.checking import settings
from hocklift.checking.asker import SimHands
from hocklift.checking.bench import Bench
from hocklift.checking.ticks import Ticks
from hocklift.cli import main
from hocklift.commands.output import print_json
from hocklift.device import Device
from hocklift.loops.swung import Relay, leg_cells
from hocklift.pages.relay_page import write_page
from hocklift.rigfile.file import rig_text
from hocklift.safety.cautions import BEFORE_MOTION
from legcore.stages import STAGES, STAND
from legsim.core import word_of
from legsim.rig import Rig
from legsim.simboard.files import settings_file
from pages import Page, assert_self_contained

PUSH = word_of("settings.relay_permille")
# A leg that is all but at its height.
UP_RAD = np.radians(75)


def staged(stage: str) -> Rig:
    return replace(DEMO, control=replace(DEMO.control, stage=stage))


@contextmanager
def bench(stage: str = "stand", **options: Any) -> Iterator[Cable]:
    """A board at the other end of whatever port `relay` opens, its settings of a stage."""
    with wired(DEMO, **options) as board, pytest.MonkeyPatch.context() as patch:
        if not options.get("blank"):
            (board.files / "settings.bin").write_bytes(settings_file(staged(stage), 9000))
        cable = Cable(patch, board)
        patch.setattr(hocklift.commands.relay, "open_port", cable.open)
        yield cable


@pytest.fixture(scope="module")
def swung(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """One whole experiment: what came of it, its settings, and the board's own before and after."""
    results: list[Relay] = []
    words: list[list[int]] = []
    really = swinging._swing

    def spied(one: Bench, *rest: Any) -> Any:
        words.append(list(one.words))
        return really(one, *rest)

    with bench() as cable, pytest.MonkeyPatch.context() as patch:
        patch.setattr(swinging, "_swing", spied)
        patch.setattr(
            hocklift.commands.relay, "deliver", lambda args, relay, **_: results.append(relay)
        )
        before = settings_bytes(cable.board)
        code = main(["relay", "--port", "sim", "--json"])
        same = settings_bytes(cable.board) == before
        now = settings.read(Device(cable.open("sim", DEMO)))
    return {
        "code": code,
        "relay": results[0],
        "kept": same,
        "now": now,
        "words": words,
        "page": write_page(results[0], tmp_path_factory.mktemp("relay")),
        "json": hocklift.commands.relay.as_json(results[0]),
    }


def test_both_legs_swing_and_first_gains_are_named(swung: dict[str, Any], record_property) -> None:
    relay = swung["relay"]
    assert swung["code"] == 0
    assert relay.doubts == []
    for one in relay.swung:
        assert one.swing.cycles >= 5
        record_property(f"relay, {one.leg} leg", ", ".join(leg_cells(one)[1:]))
    # The linear loop without friction, play or dead zone swings at a higher gain and faster:
    # each of these slows the real swing down.
    assert 5 < relay.ultimate.gain < 81
    assert 0.08 < relay.ultimate.period_s < 1.0
    assert {first.rule.name for first in relay.first} >= {"Ziegler-Nichols PID", "SIMC PI"}


def test_it_stays_within_force_travel_and_time(swung: dict[str, Any]) -> None:
    rest = settings.staged(DEMO, "stand")
    for words in swung["words"]:
        assert 0 < words[PUSH] <= rest.stall_drive_permille
        assert words[word_of("settings.stage")] == STAND
        assert words[word_of("settings.drive_max_permille")] <= STAGES[STAND][1]
    for one in swung["relay"].swung:
        assert one.time_s[-1] <= rest.hold_ticks * DEMO.control.period_s
        away = np.degrees(np.array(one.fold_rad)) - rest.lift_fold_cdeg / 100
        assert abs(away).max() < DEMO.control.lag_rad * 180 / np.pi + 1
        assert max(abs(drive) for drive in one.drive) <= 0.25


def test_the_boards_own_settings_are_as_before(swung: dict[str, Any]) -> None:
    assert swung["kept"]
    assert swung["now"] == settings.fresh(DEMO, "stand")
    assert swung["now"][PUSH] == 0


def test_json_and_page_tell_all_of_it(
    swung: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    relay = swung["relay"]
    print_json(swung["json"])
    found = document_of("relay", capsys.readouterr().out)
    assert found["met"] is True
    assert all(row["source"] for row in found["gains"])
    page = Page(swung["page"].read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert relay.verdict in page.text
    for first in relay.first:
        assert f"{first.rule.name} " in page.text
        assert first.rule.source in page.text


def strike_when_swinging(patch: pytest.MonkeyPatch, cable: Cable, act: Any) -> None:
    """Do something to the rig in the middle of the first leg's swings."""
    watch = Bench.watch
    done: list[int] = []

    def struck(self: Bench, seconds: float | None = None, until: Any = None) -> Any:
        swings = self.words and self.words[PUSH] and cable.board.truth.left.fold_rad > UP_RAD
        if not swings or done:
            return watch(self, seconds, until)
        done.append(1)
        # Some swings are let pass.
        rows = watch(self, 1.0).rows
        act(cable.board)
        return Ticks(rows + watch(self, seconds, until).rows, self.period_s)

    patch.setattr(Bench, "watch", struck)


STRIKES = {
    "leg blocked": (lambda board: board.block(0, True), "stall"),
    "pot stuck": (lambda board: board.set_trouble("left.thigh_ill", 3.0), ""),
    "emergency stop": (lambda board: board.stop(True), "stop"),
    "disarmed": (lambda board: board.arm(False), ""),
    "rope snaps": (lambda board: board.set_trouble("left.snapped", 1.0), ""),
}


@pytest.mark.parametrize("what", STRIKES)
def test_whatever_strikes_a_swinging_leg_it_ends_down_and_without_power(
    what: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    act, fault = STRIKES[what]
    with bench() as cable:
        strike_when_swinging(monkeypatch, cable, act)
        assert main(["relay", "--port", "sim", "--json"]) in (1, 2)
        cable.board.block(0, False)
        truth = cable.board.truth
        assert not truth.contactor
        assert truth.left.fold_rad < DEMO.mechanism.fold_soft_stop_rad
        assert truth.left.pulse_us in (0, 1500)
        assert settings.read(Device(cable.open("sim", DEMO)))[PUSH] == 0
    said = capsys.readouterr()
    if fault:
        assert fault in said.out + said.err


def test_a_board_that_was_not_commissioned_so_far_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with bench("unloaded"):
        assert main(["relay", "--port", "sim"]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "at the stage unloaded, expected stand or later; run hocklift check first" in said


def test_a_rig_whose_hold_is_nearly_a_stall_is_refused_before_anything_moves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rig = replace(DEMO, safety=replace(DEMO.safety, stall_drive=0.03))
    path = tmp_path / "stalls.toml"
    path.write_text(rig_text(rig), encoding="utf-8")
    with bench() as cable:
        assert main(["relay", str(path)]) == 2
        assert not cable.board.truth.contactor
    assert "leaves nothing to swing it with" in " ".join(capsys.readouterr().err.split())


def test_a_person_who_says_no_sees_nothing_move(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(SimHands, "confirm", lambda self, words: False)
    with bench() as cable:
        assert main(["relay", "--port", "sim"]) == 1
        assert not cable.board.truth.contactor
    said = " ".join(capsys.readouterr().out.split())
    assert "Nothing was moved." in said
    for words in BEFORE_MOTION:
        assert words[:40] in said


def test_a_folder_that_cannot_be_written_is_told_before_anything_moves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").touch()
    assert main(["relay", "--out", str(tmp_path / "file" / "x")]) == 2
    said = capsys.readouterr()
    assert "cannot be written" in said.err
    assert "motors turn" not in said.out
