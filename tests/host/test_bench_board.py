"""What a page does to a board: gains and limits, recordings, marks, and a board that goes away."""

import pytest
from fakeboard import Breaking, walked_inputs
from hocklift.benchpage.live import Live
from hocklift.benchpage.telling import settings
from hocklift.benchpage.tuning import PATHS, Tuning, stage_most
from hocklift.checking.settings import NAMES, fresh
from hocklift.errors import BoardError, PortError
from hocklift.log import read_log
from hocklift.replaying import replay
from hocklift.rigfile.file import parse_rig, rig_text
from hocklift.rigfile.keys import key_at, value_at
from legcore.stages import STAND
from legsim.rig import Rig
from legsim.settings import core_rig
from legwire.kept import FILE
from serving import PacedBoard, Visitor, served

KP = "control.kp"


@pytest.fixture
def resting(tmp_path):
    board = PacedBoard(tmp_path, walked_inputs()[:1])
    with served(lambda: board, tmp_path) as bench:
        bench.board = board
        yield bench


@pytest.fixture
def walking(tmp_path):
    board = PacedBoard(tmp_path, walked_inputs(20))
    board.at = 20
    with served(lambda: board, tmp_path) as bench:
        bench.board = board
        yield bench


def ready(page):
    """The page is in charge, and the board's settings have been read."""
    page.beats = True
    page.until(lambda one: one["kind"] == "settings" and one["rows"], "settings")
    page.state(lambda one: one["flags"]["host"], "host in charge")


# Gains and limits.


def test_a_gain_changes_on_the_board_and_undo_takes_it_back(resting):
    core = resting.board.rig.settings
    before = core.kp_q16
    with Visitor(resting) as page:
        ready(page)
        answer = page.answer("change", path=KP, value="2.4")
        assert answer["done"], answer
        # From 1.8 to 2.4 1/rad: a third more, whatever the core counts in.
        assert core.kp_q16 == pytest.approx(before * 4 / 3, abs=1)
        row = next(row for row in settings(resting.live)["rows"] if row["path"] == KP)
        assert (row["value"], row["changed"]) == ("2.4", True)
        assert settings(resting.live)["lines"] == ['[control] kp = "2.4 1/rad"']
        assert page.answer("undo")["done"]
        assert core.kp_q16 == before
        assert page.answer("undo")["words"] == "there is nothing to undo"


def test_what_is_kept_is_in_the_boards_file_and_not_before(resting, tmp_path):
    before = (tmp_path / FILE).read_bytes()
    with Visitor(resting) as page:
        ready(page)
        assert page.answer("change", path=KP, value="2.4")["done"]
        assert (tmp_path / FILE).read_bytes() == before
        assert page.answer("keep")["words"] == "kept on the board"
    assert (tmp_path / FILE).read_bytes() != before


def test_nothing_changes_while_a_leg_may_move(walking):
    with Visitor(walking) as page:
        ready(page)
        page.state(lambda one: one["flags"]["contactor"], "armed")
        before = walking.board.rig.settings.kp_q16
        answer = page.answer("change", path=KP, value="2.4")
        assert not answer["done"]
        assert "only while both legs are off" in answer["words"]
        assert walking.board.rig.settings.kp_q16 == before
        # As if it had never been tried.
        assert settings(walking.live)["lines"] == []
        assert settings(walking.live)["undo"] == 0


WRONG = {
    "no number": (KP, "much", "is not a number with a unit"),
    "out of range": (KP, "60", "out of range"),
    "a unit of its own": (KP, "2 mm", "does not convert"),
    "no key": ("control.nothing", "1", "is not changed here"),
    "not for this page": ("mechanism.thigh_length", "440", "is not changed here"),
    "against another key": ("wants.clearance", "400", "must be less than the leg shortens"),
    "as before": (KP, "1.8", "the same value as before"),
}


@pytest.mark.parametrize(("path", "text", "why"), WRONG.values(), ids=WRONG.keys())
def test_a_value_that_cannot_stand_is_refused_in_words(path, text, why):
    tuning = Tuning(Rig())
    with pytest.raises(BoardError, match=why):
        tuning.change(path, text, fresh(Rig(), "walking"))
    assert tuning.rig == Rig()
    assert not tuning.done


@pytest.mark.parametrize(
    ("path", "stage", "over", "most"),
    [
        ("control.drive_max", "unloaded", "30", "25 %"),
        ("control.lift_speed", "stand", "21", "20 deg/s"),
        ("safety.stall_time", "gantry", "260", "250 ms"),
    ],
)
def test_no_value_goes_past_the_stage(path, stage, over, most):
    words = fresh(Rig(), stage)
    with pytest.raises(BoardError, match=f"at the stage {stage} it may be at most {most}"):
        Tuning(Rig()).change(path, over, words)
    row = next(row for row in Tuning(Rig()).rows(words) if row["path"] == path)
    assert row["staged"]
    assert float(row["value"]) <= float(row["high"])


def test_every_knob_can_be_turned_and_changes_only_what_follows_from_it():
    words = fresh(Rig(), "walking")
    for path in PATHS:
        tuning = Tuning(Rig())
        key, value = key_at(path), value_at(Rig(), path)
        row = next(row for row in tuning.rows(words) if row["path"] == path)
        # So far: the coarsest of the core's integers, of a stoop's acceleration, goes by a twelfth.
        lower = float(row["low"]) + 0.92 * (float(row["value"]) - float(row["low"]))
        change = tuning.change(path, f"{lower:.4g}", words)
        assert change.words, path
        assert value_at(tuning.rig, path) < value
        # The rig file that the page proposes is one that reads, and gives these very settings.
        read = parse_rig(rig_text(tuning.rig), "tuned")
        then = fresh(read, "walking")
        for word, setting in change.words:
            assert then[word] == setting, NAMES[word]
        assert stage_most(path, 3) >= value, key


def test_a_board_with_other_settings_than_the_rig_file_is_told_of():
    words = fresh(Rig(), "walking")
    words[NAMES.index("kp_q16")] += 5
    assert Tuning(Rig()).odd(words) == ["kp_q16"]
    # A calibration is the board's own.
    words = fresh(Rig(), "walking")
    words[NAMES.index("left_thigh.count[0]")] += 5
    assert Tuning(Rig()).odd(words) == []


def test_settings_that_the_board_would_not_be_armed_with_are_never_sent():
    words = fresh(Rig(), "walking")
    words[NAMES.index("stage")] = core_rig(Rig()).settings.stage
    words[NAMES.index("drive_max_permille")] = 0
    with pytest.raises(BoardError, match="the board would refuse to be armed"):
        Tuning(Rig()).change(KP, "2", words)


# Feet in the page's name.


def test_a_page_raises_no_foot_where_somebody_may_stand_in_it(resting):
    with Visitor(resting) as page:
        ready(page)
        answer = page.answer("press", leg=0, on=True)
        assert not answer["done"]
        assert "only at the stages unloaded and stand" in answer["words"]


def test_at_the_stand_a_page_raises_a_foot_only_while_it_is_in_charge(resting):
    resting.board.rig.settings.stage = STAND
    asks = resting.board.link.asks
    with Visitor(resting) as page:
        ready(page)
        assert page.answer("press", leg=1, on=True)["done"]
        assert (asks.press_left, asks.press_right) == (0, 1)
        page.ask("leave")
        page.state(lambda one: not one["flags"]["host"], "host has left")
        assert (asks.press_left, asks.press_right) == (0, 0)


# Recordings.


def test_a_recording_from_the_page_steps_again_to_the_bit(walking, tmp_path):
    with Visitor(walking) as page:
        ready(page)
        answer = page.answer("record", on=True)
        assert answer["done"], answer
        page.state(lambda one: one["recording"], "recording")
        page.state(lambda one: one["flags"]["contactor"], "armed")
        page.take_in(1.0)
        assert page.answer("mark", text="now")["words"] == "marked"
        assert not page.answer("record", on=True)["done"]
        page.take_in(0.5)
        assert page.answer("record", on=False)["done"]
    (path,) = tmp_path.glob("hocklift-*.log")
    log = read_log(path)
    found = replay(log)
    assert (log.damaged, log.lost, log.missing_ticks) == (0, 0, 0)
    assert found.differences == ()
    assert found.compared > 250
    assert [mark.text for mark in log.marks] == ["now"]
    assert log.ended["why"] == "stopped from the page"


def test_a_recording_under_way_is_whole_when_the_bench_is_ended(tmp_path):
    board = PacedBoard(tmp_path, walked_inputs()[:1])
    with served(lambda: board, tmp_path) as bench, Visitor(bench) as page:
        ready(page)
        assert page.answer("record", on=True)["done"]
        page.take_in(0.5)
    (path,) = tmp_path.glob("hocklift-*.log")
    assert read_log(path).ended["why"] == "the bench was ended"


def test_a_folder_that_cannot_be_written_is_told_and_the_bench_goes_on(tmp_path):
    board = PacedBoard(tmp_path, walked_inputs()[:1])
    (tmp_path / "taken").write_text("a file, no folder")
    with served(lambda: board, tmp_path / "taken") as bench, Visitor(bench) as page:
        ready(page)
        answer = page.answer("record", on=True)
        assert not answer["done"]
        assert "cannot be written" in answer["words"]
        page.state(lambda one: not one["recording"] and not one["trouble"], "goes on")


def test_a_mark_without_a_recording_is_shown_and_says_so(resting):
    with Visitor(resting) as page:
        ready(page)
        answer = page.answer("mark", text=" here ")
        assert answer["words"] == "marked here only: nothing is being recorded"
    assert [event.words for event in resting.live.history.kept if event.kind == "mark"] == ["here"]


# A board that goes away.


class Pulled(Breaking, PacedBoard):
    """Its cable is pulled after so many bytes."""


def test_a_cable_that_is_pulled_is_told_and_the_board_found_again(tmp_path):
    boards = []

    def open_port():
        folder = tmp_path / str(len(boards))
        folder.mkdir()
        board = Pulled(folder, walked_inputs()[:1])
        board.bytes_left = 30_000 if not boards else 10**9
        boards.append(board)
        return board

    with served(open_port, tmp_path) as bench, Visitor(bench) as page:
        ready(page)
        state = page.state(lambda one: one["trouble"], "trouble")
        assert "the connection has ended" in state["trouble"]
        page.state(lambda one: not one["trouble"] and one["synced"], "found again")
        assert page.answer("change", path=KP, value="2.4")["done"]
    assert len(boards) == 2


def test_without_a_board_at_the_start_there_is_no_bench(tmp_path):
    board = Pulled(tmp_path, walked_inputs()[:1])
    board.bytes_left = 0
    with pytest.raises(PortError):
        Live(lambda: board, Rig(), None, tmp_path)
