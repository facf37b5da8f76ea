"""The page of a recording: whole, self-contained, and telling all that a log holds."""

import builtins
import csv
from dataclasses import replace
from queue import SimpleQueue

import numpy as np
import pytest
from documents import document_of
from fakeboard import FakeBoard, walked_inputs
from hocklift.cli import main
from hocklift.device import Device
from hocklift.log import read_log
from hocklift.logfigures import BOARD_ROWS, LEG_ROWS, LEGS, board_figures, figures_of, leg_figures
from hocklift.pages.log_page import CSV, PAGE, PARQUET, trace_columns, write_page
from hocklift.pages.log_pictures import _thinned, plans_of
from hocklift.recording import record
from legcore.phases import LIFTING, STANDING, STOOPING
from pages import Page, assert_self_contained


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Five seconds with the stop pressed at the end, two marks and three lost frames."""
    folder = tmp_path_factory.mktemp("report")
    inputs = [list(row) for row in walked_inputs()]
    for row in inputs[1000:]:
        row[9] = 1
    board = FakeBoard(folder, inputs)
    board.link.note("a note <b>of</b> the board")
    marks = SimpleQueue()

    def show(recording):
        if recording.ticks in (200, 600):
            marks.put(f"mark {recording.ticks}")

    writes = []

    def spoil(data):
        writes.append(data)
        return b"" if 350 <= len(writes) < 353 else data

    board.spoil = spoil
    record(Device(board), folder / "a.log", None, 5.0, marks=marks, show=show)
    return folder / "a.log"


@pytest.fixture(scope="module")
def log(path):
    return read_log(path)


@pytest.fixture(scope="module")
def figures(log):
    return figures_of(log)


@pytest.fixture(scope="module")
def folder(figures, tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    assert write_page(figures, folder, parquet=True) == folder / PAGE
    return folder


@pytest.fixture(scope="module")
def page(folder):
    return Page((folder / PAGE).read_text(encoding="utf-8"))


def test_the_page_needs_nothing_but_itself(page):
    assert_self_contained(page)


def test_the_closer_look_is_at_the_first_fault_or_else_at_the_slowest_lift_or_a_stoop(figures, log):
    assert figures.moment_s == figures.faults[0].start_s
    calm = replace(figures, faults=())
    at = int(np.searchsorted(log.time_s, calm.moment_s))
    lifting = np.stack([log.ticks[f"{leg}_phase"] == LIFTING for leg in LEGS])
    assert (lifting[:, at] & ~lifting[:, at - 1]).any()
    # Where no foot is lifted, the legs may have stooped.
    stooped = log.ticks.copy()
    for leg in LEGS:
        stooped[f"{leg}_phase"] = STANDING
        stooped[f"{leg}_phase"][300:400] = STOOPING
        stooped[f"{leg}_phase"][500:900] = STOOPING
    assert replace(calm, log=replace(log, ticks=stooped)).moment_s == log.time_s[500]
    unmoved = replace(calm, log=replace(log, ticks=log.ticks[:10]))
    assert unmoved.moment_s == 0


def test_every_fault_is_told_with_its_time_and_remedy(page, figures):
    seen = {each.fault.name: each for each in figures.faults}
    assert set(seen) == {"emergency stop"}
    stop = seen["emergency stop"]
    assert (stop.leg, stop.start_s) == ("both", pytest.approx(4, abs=0.2))
    for words in (stop.fault.text, stop.fault.remedy, f"{stop.start_s:.2f} s"):
        assert " ".join(words.split()) in page.text
    assert figures.verdict in page.text
    assert not figures.clean


def test_every_figure_of_legs_and_board_is_told(page, log):
    legs, board = [leg_figures(log, leg) for leg in LEGS], board_figures(log)
    for what, words in LEG_ROWS:
        assert " ".join([what, *map(words, legs)]) in page.text
    for what, words in BOARD_ROWS:
        assert " ".join(f"{what} {words(board)}".split()) in page.text


def test_what_happened_is_told_in_order(page, figures, log):
    words = [event.words for event in figures.events]
    for wanted in ("mark: mark 200", "mark: mark 600", "armed: contactor closed"):
        assert wanted in words
    assert "the board notes: a note <b>of</b> the board" in page.text
    assert any("missing" in each for each in words)
    times = [event.time_s for event in figures.events]
    assert times == sorted(times)


def test_every_picture_is_there_under_its_heading(page, figures):
    plans = plans_of(figures)
    assert len(page.all("figure")) == len(plans)
    assert {plan.title for plan in plans} <= set(page.headings())


def test_legs_of_a_rig_that_the_recording_does_not_name_are_not_drawn(figures, log, tmp_path):
    nameless = replace(figures, log=replace(log, header={}))
    write_page(nameless, tmp_path, parquet=False)
    page = Page((tmp_path / PAGE).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert "Poses" not in page.headings()
    assert "Fold and setpoint" in page.headings()
    assert not page.all("script")


def test_the_trace_holds_every_channel_of_every_tick(folder, log):
    with (folder / CSV).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(log.ticks)
    assert [int(row["left_fold_cdeg"]) for row in rows] == log.ticks["left_fold_cdeg"].tolist()
    assert [int(row["stop"]) for row in rows] == (log.ticks["flags"] >> 1 & 1).tolist()
    assert [row["mark"] for row in rows if row["mark"]] == ["mark 200", "mark 600"]
    np.testing.assert_allclose([float(row["time_s"]) for row in rows], log.time_s, atol=1e-6)


def test_parquet_holds_the_same_as_csv(folder, log):
    from pyarrow import parquet

    table = parquet.read_table(folder / PARQUET)
    columns = trace_columns(log)
    assert table.column_names == list(columns)
    for name, values in columns.items():
        assert np.array_equal(table[name].to_pylist(), list(values))


def test_without_pyarrow_it_names_the_package_and_what_to_install(
    path, tmp_path, monkeypatch, capsys
):
    real = builtins.__import__

    def without(name, *rest):
        if name == "pyarrow":
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    assert main(["report", str(path), "--out", str(tmp_path), "--parquet"]) == 2
    assert "pip install 'hocklift[parquet]'" in capsys.readouterr().err


def test_the_command_writes_the_page_and_says_what_was_found(path, tmp_path, capsys):
    assert main(["report", str(path), "--out", str(tmp_path / "r")]) == 0
    out = capsys.readouterr().out
    assert "emergency stop, of the board, at" in out
    assert sorted(each.name for each in (tmp_path / "r").iterdir()) == [PAGE, CSV]


def test_json_tells_faults_events_and_all_figures(path, figures, tmp_path, capsys):
    assert main(["report", str(path), "--out", str(tmp_path), "--json"]) == 0
    said = capsys.readouterr()
    assert f"Pictures: {tmp_path / PAGE}" in said.err
    told = document_of("report", said.out)
    assert told["verdict"] == figures.verdict
    assert [(each["fault"], each["start_s"]) for each in told["faults"]] == [
        (each.fault.name, each.start_s) for each in figures.faults
    ]
    assert [each["words"] for each in told["events"]] == [each.words for each in figures.events]
    assert told["board"]["ticks"] == len(figures.log.ticks)
    assert sum(told["legs"]["left"]["phase_s"].values()) == pytest.approx(
        len(figures.log.ticks) * figures.log.period_s
    )


def test_a_clean_recording_is_told_as_clean(tmp_path):
    board = FakeBoard(tmp_path, walked_inputs())
    record(Device(board), tmp_path / "a.log", None, 1.0)
    assert figures_of(read_log(tmp_path / "a.log")).verdict == "No fault, and nothing was lost."


def test_a_recording_without_ticks_has_no_page(path, tmp_path, capsys):
    data = path.read_bytes()
    (tmp_path / "b.log").write_bytes(data[: data.index(b"\0") + 1])
    assert main(["report", str(tmp_path / "b.log"), "--out", str(tmp_path / "r")]) == 2
    assert "holds no tick" in capsys.readouterr().err


def test_a_report_of_what_was_cut_or_damaged_is_made_all_the_same(path, tmp_path, capsys):
    data = bytearray(path.read_bytes())
    data[3] ^= 1
    data[len(data) // 2] ^= 255
    (tmp_path / "b.log").write_bytes(data[: len(data) * 2 // 3])
    assert main(["report", str(tmp_path / "b.log"), "--out", str(tmp_path / "r")]) == 0
    out = capsys.readouterr().out
    assert "Its header is damaged" in out
    assert "breaks off" in out


def test_a_thinned_curve_keeps_its_least_and_its_most():
    time_s = np.arange(100_000.0)
    values = np.zeros(100_000)
    values[[12_345, 67_890]] = 5, -7
    thin_s, thin = _thinned(time_s, values)
    assert len(thin) <= 4200
    assert (thin.max(), thin.min()) == (5, -7)
    assert np.all(np.diff(thin_s) >= 0)
