"""`hocklift check` at a simulated board: a sound rig passes, and each wrong wire fails its step."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from benches import Cable, at, check_from, interrupt, settings_bytes
from documents import document_of
from hocklift.checking import settings
from hocklift.checking.asker import SimHands
from hocklift.checking.bench import Figure
from hocklift.checking.record import FILE
from hocklift.checking.steps import STEPS
from hocklift.cli import main
from hocklift.commands.check import default_folder
from hocklift.safety.cautions import BEFORE_MOTION
from legcore.faults import STALL
from legsim.records import CONTACT_ILLS, DRIVE_ILLS
from legsim.tables import STAGES
from test_calibrate import kept_words, raise_interrupt

STAGE = settings.NAMES.index("stage")
NAMES = [step.name for step in STEPS]


def record_of(folder: Path) -> dict[str, dict[str, object]]:
    document = document_of("check-record", (folder / FILE).read_text(encoding="utf-8"))
    return {step["step"]: step for step in document["steps"]}


def stage_on(cable: Cable) -> str:
    return STAGES[kept_words(settings_bytes(cable.board))[1][STAGE]].name


def test_the_demo_rig_passes_every_step_and_ends_at_the_rig_files_stage(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], record_property: Callable[..., None]
) -> None:
    with at() as cable:
        assert main(["check", "--port", "sim", "--out", str(tmp_path)]) == 0
        assert stage_on(cable) == "walking"
        record_property("check of the demo rig", f"{cable.board.now_s:.0f} s of simulated time")
    said = " ".join(capsys.readouterr().out.split())
    assert "Every step has passed" in said
    steps = record_of(tmp_path)
    assert list(steps) == NAMES
    assert all(step["passed"] and step["figures"] for step in steps.values())
    cautions = said.index(BEFORE_MOTION[0][:40])
    moving = next(step.name for step in STEPS if step.moves)
    still = next(step.name for step in reversed(STEPS) if not step.moves)
    assert said.index(still) < cautions < said.index(f"yes {moving}")


BATTERY = "supplies"
FOLD = "joint sensors, folding, left"
SWING = "joint sensors, swinging, left"
DIRECTION = "motor's direction, left"


def no_stall_cut_out(cable: Cable) -> None:
    watch = cable.board.files / "legcore" / "watch.py"
    text = watch.read_text(encoding="utf-8")
    # A board's files hold the values of constants in place of their names.
    raised = f"|= {STALL}\n"
    assert text.count(raised) == 1
    watch.write_text(text.replace(raised, "|= 0\n"), encoding="utf-8")


def swap(*names: str) -> Callable[[Cable], None]:
    def wrong(cable: Cable) -> None:
        first, second = names
        cable.board.swapped = {first: second, second: first}

    return wrong


def trouble(place: str, value: float) -> Callable[[Cable], None]:
    return lambda cable: cable.board.set_trouble(place, value)


def turn_round(cable: Cable) -> None:
    cable.board.turned = ("left_thigh",)


def turn_stick(cable: Cable) -> None:
    cable.board.turned = ("stick",)


def open_stop_wire(cable: Cable) -> None:
    cable.board.fixed = {"stop": 0}


# (what is wrong, how it is made so, the step that must fail, what its remedy must name)
WRONG = {
    "battery low": (trouble("battery_dip_V", 6.0), BATTERY, "Charge the battery"),
    "left and right pot swapped": (
        swap("left_thigh", "right_thigh"),
        FOLD,
        "left and right are swapped",
    ),
    "thigh and shank pot swapped": (
        swap("left_thigh", "left_shank"),
        SWING,
        "thigh and shank are swapped",
    ),
    "pot turned round": (turn_round, FOLD, "calibrate again"),
    "switch stuck": (
        trouble("left.switch_ill", CONTACT_ILLS.index("closed")),
        "foot switch, left",
        "free the switch",
    ),
    "sole contact dead": (
        trouble("right.sole_ill", CONTACT_ILLS.index("open")),
        "sole contact, right",
        "broken wire",
    ),
    "stick turned round": (turn_stick, "stick", "outer two wires"),
    "stop wire open": (open_stop_wire, "emergency stop", "open wire"),
    "motor reversed": (
        trouble("left.drive_ill", DRIVE_ILLS.index("reversed")),
        DIRECTION,
        "swap two of the motor's three wires",
    ),
    "motor dead": (
        trouble("left.drive_ill", DRIVE_ILLS.index("dead")),
        DIRECTION,
        "speed controller's signal",
    ),
    "one motor dead in a stoop": (
        trouble("right.drive_ill", DRIVE_ILLS.index("dead")),
        "stooping",
        "One leg behind",
    ),
    "no stall cut-out": (no_stall_cut_out, "stall cut-out, left", "Do not go on without it"),
}


@pytest.mark.parametrize(("spoil", "step", "remedy"), WRONG.values(), ids=WRONG.keys())
def test_what_is_wrong_fails_its_own_step_with_a_remedy_and_opens_no_later_stage(
    spoil: Callable[[Cable], None],
    step: str,
    remedy: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    with at() as cable:
        spoil(cable)
        assert check_from(cable, step, tmp_path) == 1
        own = next(one for one in STEPS if one.name == step)
        assert stage_on(cable) == own.stage
        assert not cable.board.truth.contactor
    found = record_of(tmp_path)[step]
    assert not found["passed"]
    assert remedy in str(found["remedy"])
    said = " ".join(capsys.readouterr().out.split())
    assert f"Not passed: {step}" in said
    tried = list(record_of(tmp_path))
    later = [
        one for one in STEPS if one.stage != own.stage and NAMES.index(one.name) > NAMES.index(step)
    ]
    assert not [one.name for one in later if one.name in tried]


def test_after_a_failure_nothing_moves(tmp_path: Path) -> None:
    with at() as cable:
        cable.board.set_trouble("right.sole_ill", CONTACT_ILLS.index("open"))
        assert check_from(cable, "sole contact, right", tmp_path) == 1
    assert list(record_of(tmp_path))[-1] == "emergency stop"


def test_what_has_passed_is_not_done_again_unless_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    last = NAMES[-1]
    with at() as cable:
        assert check_from(cable, last, tmp_path, "--json") == 0
        printed = capsys.readouterr()
        assert document_of("check", printed.out)["passed"]
        said = " ".join(printed.err.split())
        assert "is continued" in said
        assert "foot switch" not in said
        before = record_of(tmp_path)
        cable.board.set_trouble("battery_dip_V", 6.0)
        again = ["check", "--port", "sim", "--out", str(tmp_path), "--anew"]
        assert main(again) == 1
    assert all(step["passed"] for step in before.values())
    assert not record_of(tmp_path)["supplies"]["passed"]


def test_the_record_of_another_calibration_does_not_count(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / FILE).write_text(
        json.dumps({"schema": "hocklift check record 1", "rig": "", "mark": "other", "steps": []}),
        encoding="utf-8",
    )
    with at() as cable:
        cable.board.set_trouble("battery_dip_V", 6.0)
        assert main(["check", "--port", "sim", "--out", str(tmp_path)]) == 1
    assert "begun anew" in " ".join(capsys.readouterr().out.split())


def test_a_file_that_is_no_record_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / FILE).write_text("{half", encoding="utf-8")
    with at():
        assert main(["check", "--port", "sim", "--out", str(tmp_path)]) == 2
    assert "cannot be continued" in capsys.readouterr().err
    assert (tmp_path / FILE).read_text(encoding="utf-8") == "{half"


def test_without_a_yes_to_the_cautions_nothing_moves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(SimHands, "confirm", lambda self, words: False)
    with at() as cable:
        assert check_from(cable, "arming", tmp_path) == 1
        assert not cable.board.truth.contactor
    assert "Nothing was moved" in " ".join(capsys.readouterr().out.split())
    assert "arming" not in record_of(tmp_path)


@pytest.mark.parametrize("closed", [True, False], ids=["stream closed", "Ctrl-C"])
def test_stopped_in_mid_air_the_power_goes_and_what_passed_is_kept(
    closed: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with at() as cable, pytest.MonkeyPatch.context() as patch:
        interrupt(patch, "the leg still up", cable.pull if closed else raise_interrupt)
        code = check_from(cable, "release when disarmed, left", tmp_path)
        assert code == (2 if closed else 130)
        # The host is in charge and says nothing more: the board lets the leg down by itself.
        cable.board.advance(4.0)
        assert not cable.board.truth.contactor
        low_rad = cable.board.rig.mechanism.fold_extended_rad + 0.05
        assert cable.board.truth.left.fold_rad < low_rad
    said = " ".join(capsys.readouterr().out.split())
    assert "the same command continues there" in said
    steps = record_of(tmp_path)
    assert list(steps) == NAMES[: NAMES.index("release when disarmed, left")]
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_the_record_lies_in_a_folder_of_the_day_beside_the_rig_file() -> None:
    folder = default_folder(Path("my-rig/heron.toml"))
    assert folder.parent == Path("my-rig")
    assert re.fullmatch(r"check-\d{4}-\d\d-\d\d", folder.name)
    assert default_folder(None).parent == Path()


def test_a_figure_that_was_never_seen_or_is_out_of_its_limits_is_not_good() -> None:
    assert not Figure("time", None, "s", None, 1).good
    assert not Figure("time", 2, "s", None, 1).good
    assert Figure("time", 0.5, "s", None, 1).good
    assert "never seen, expected at most 1 s" in Figure("time", None, "s", None, 1).words
