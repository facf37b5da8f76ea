"""`hocklift size --sweep`: its values, its figures beside `size`'s own, its errors, its page."""

import csv
import io
from itertools import product
from math import isnan, nan
from pathlib import Path

import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.commands.output import print_json
from hocklift.commands.sweep import as_json, print_sweep
from hocklift.errors import HockliftError, OutputError
from hocklift.pages.sweep_page import PAGE, TABLE, sweep_csv, write_page
from hocklift.rigfile.keys import value_at, with_value_at
from hocklift.rigfile.units import split, to_si
from hocklift.sizing.axes import axes_of
from hocklift.sizing.checks import rows_of
from hocklift.sizing.loads import Loads
from hocklift.sizing.sweep import HEADLINES, Sweep, margin_words, name_of, sweep
from legsim.rig import Rig
from pages import Page, assert_self_contained
from rich.console import Console

RIG = Rig()


def swept(*arguments: str, rig: Rig = RIG) -> Sweep:
    return sweep(rig, "my rig", axes_of(rig, arguments), Console(quiet=True))


def values_of(argument: str) -> tuple[float, ...]:
    return axes_of(RIG, [argument])[0].values


# Values.


@pytest.mark.parametrize(
    ("argument", "written"),
    [
        ("spring.rate=40..90 N/mm:6", [f"{n} N/mm" for n in (40, 50, 60, 70, 80, 90)]),
        ("spring.rate = 40 N/mm .. 90 N/mm : 3", ["40 N/mm", "65 N/mm", "90 N/mm"]),
        ("spring.rate=0.1..0.3 kN/mm:3", ["100 N/mm", "200 N/mm", "300 N/mm"]),
        ("spring.rate=300..400 lbf/in:3", ["300 lbf/in", "350 lbf/in", "400 lbf/in"]),
        ("control.drive_max=50..95 %:4", ["50 %", "65 %", "80 %", "95 %"]),
        ("mechanism.thigh_min=-10..10 deg:5", ["-10 deg", "-5 deg", "0 deg", "5 deg", "10 deg"]),
        ("gears.face[3]=10..30 mm:5", ["10 mm", "15 mm", "20 mm", "25 mm", "30 mm"]),
        ("spring.force_extended=0..1e3 N:3", ["0 N", "500 N", "1000 N"]),
        ("mechanism.fold_extended=10..150 deg:2", ["10 deg", "150 deg"]),
    ],
)
def test_values_are_to_the_bit_those_that_a_rig_file_would_give(
    argument: str, written: list[str]
) -> None:
    assert values_of(argument) == tuple(to_si(split(text)) for text in written)


def test_ends_in_two_units_meet_in_the_second() -> None:
    (axis,) = axes_of(RIG, ["drive.drum_radius=1 cm..20 mm:3"])
    assert axis.span == "drive.drum_radius from 10 to 20 mm"
    assert axis.values == (0.010, 0.015, 0.020)


def test_whole_numbers_stay_whole_and_bare() -> None:
    assert values_of("rope.parts=2..6:5") == (2, 3, 4, 5, 6)
    assert values_of("rope.parts=2..6:3") == (2, 4, 6)
    assert values_of("spring.active_coils=5..6:3") == (5, 5.5, 6)


ERRORS = {
    "an unknown key": ("spring.rat=1..2 N/mm:3", "did you mean spring.rate?"),
    "an unknown key like none": ("x=1..2:3", "look into the rig file"),
    "a word": ("spring.mount=1..2:3", "spring.mount, which is a word"),
    "a whole list": ("gears.face=1..2 mm:3", "did you mean gears.face["),
    "an entry beyond the list": ("gears.face[4]=1..2 mm:3", "did you mean gears.face["),
    "an entry of no list": ("spring.rate[1]=1..2 N/mm:3", "did you mean spring.rate?"),
    "no unit": ("spring.rate=40..90:11", "it has no unit, expected 0.1 to 1000 N/mm"),
    "a wrong unit": ("spring.rate=40..90 mm:3", "mm does not convert to N/mm"),
    "a wrong unit first": ("spring.rate=40 mm..90 N/mm:3", "'40 mm', but mm does not convert"),
    "a unit where none belongs": ("rope.parts=2..6 mm:5", "'6 mm', but it is not a bare number"),
    "a share without percent": ("control.drive_max=0.5..0.9:3", "it has no unit, expected 5 to"),
    "no number": ("spring.rate=a..90 N/mm:3", "it is not a number with a unit"),
    "nothing before the dots": ("spring.rate=..90 N/mm:3", "'', but it is not a number"),
    "no dots": ("spring.rate=40 N/mm:3", "expected KEY=FROM..TO:N"),
    "no N": ("spring.rate=40..90 N/mm", "put it in quotes"),
    "a rig file after it": ("my.toml", "a rig file before --sweep"),
    "one value": ("spring.rate=40..90 N/mm:1", "'1' for N, expected a whole number from 2 to 201"),
    "too many values": ("spring.rate=40..90 N/mm:202", "'202' for N"),
    "N with digits without end": (f"spring.rate=40..90 N/mm:{'9' * 5000}", "for N, expected"),
    "N that is no number": ("spring.rate=40..90 N/mm:²", "'²' for N"),
    "the ends swapped": ("spring.rate=90..40 N/mm:3", "expected FROM less than TO"),
    "both ends equal": ("spring.rate=40..40 N/mm:3", "expected FROM less than TO"),
    "below its range": ("spring.rate=0..90 N/mm:3", "'0', which is out of range, expected 0.1 to"),
    "beyond its range": ("rope.parts=1..1e999:3", "'1e999', which is out of range"),
    "not whole between": ("rope.parts=2..6:4", "3.333 among its values, expected whole numbers"),
    "not whole at an end": ("rope.parts=2.5..3.5:2", "2.5 among its values"),
}


@pytest.mark.parametrize(("argument", "expected"), ERRORS.values(), ids=ERRORS.keys())
def test_what_cannot_be_swept_is_told_by_its_name(argument: str, expected: str) -> None:
    with pytest.raises(HockliftError) as error:
        axes_of(RIG, [argument])
    assert argument in str(error.value)
    assert expected in str(error.value)


def test_a_key_given_twice_or_too_many_keys_or_combinations_are_told() -> None:
    rate, parts, mass = "spring.rate=40..90 N/mm:72", "rope.parts=2..4:3", "mechanism.carried_mass"
    with pytest.raises(HockliftError, match=r"spring\.rate: found twice"):
        axes_of(RIG, [rate, rate])
    with pytest.raises(HockliftError, match="found 4 keys, expected 1 to 3"):
        axes_of(RIG, [rate, parts, f"{mass}=20..40 kg:2", "drive.gear_ratio=20..30:2"])
    with pytest.raises(HockliftError, match="found 5184 combinations, expected at most 5000"):
        axes_of(RIG, [rate, f"{mass}=20..40 kg:72"])


def test_the_command_ends_with_2_and_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["size", "--sweep", "spring.rat=1..2 N/mm:3"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("hocklift: --sweep spring.rat=1..2 N/mm:3: found ")
    assert told.err.count("\n") == 1


# Figures.


@pytest.mark.parametrize(
    "argument",
    [
        "spring.rate=31..93 N/mm:3",
        "rope.parts=3..5:3",
        "drive.gear_ratio=23..25:3",
        "gears.wheel_teeth[3]=44..46:3",
        "control.drive_max=90..100 %:3",
    ],
)
def test_at_the_rigs_own_value_the_figures_are_those_of_size(argument: str) -> None:
    result = swept(argument)
    assert result.axes[0].values[1] == value_at(RIG, result.axes[0].path)
    own = result.combinations[1]
    rows, loads = rows_of(RIG), Loads(RIG)
    demand = {name_of(row.check): row.demand for row in rows}
    figures = dict(zip((headline.name for headline in HEADLINES), own.figures, strict=True))
    assert figures["sink_m"] == demand["springs, standing on one leg: sink of the frame"]
    assert figures["current_A"] == demand["battery, lifting: highest current"]
    assert figures["lift_s"] == demand["motor, lifting: time to lift at most drive"]
    assert figures["tackle_N"] == loads.tackle_N(loads.lift_fold_rad)
    assert figures["line_N"] == loads.line_peak_N
    known = [row for row in rows if not isnan(row.margin)]
    assert own.margins == tuple(sorted(row.margin for row in known))
    assert own.why == name_of(min(known, key=lambda row: row.margin).check)
    assert own.failing == sum(row.verdict == "fails" for row in rows)


def test_the_last_key_runs_fastest_and_every_combination_is_there() -> None:
    result = swept("rope.parts=3..5:3", "mechanism.carried_mass=20..40 kg:2")
    expected = list(product(*(axis.values for axis in result.axes)))
    assert [one.values for one in result.combinations] == expected


def test_a_rope_too_weak_fails_by_the_rope_and_a_strong_one_does_not() -> None:
    weak, strong = swept("rope.breaking=0.2..20 kN:2").combinations
    assert weak.verdict == "fails"
    assert weak.why.startswith("rope, lifting or stooping: tension, against its strength")
    assert not strong.why.startswith("rope,")
    assert strong.margin > weak.margin


def test_what_is_no_possible_rig_has_the_rule_it_breaks_as_its_reason() -> None:
    result = swept("mechanism.fold_extended=60..110 deg:2")
    assert [one.verdict == "no rig" for one in result.combinations] == [False, True]
    one = result.combinations[1]
    assert one.why == "the extended stop must come before the soft stop"
    assert all(map(isnan, (*one.figures, one.margin)))
    assert one.failing == 0


def test_a_sweep_through_nothing_but_impossible_rigs_is_told_and_drawn(tmp_path: Path) -> None:
    result = swept("mechanism.fold_extended=100..110 deg:3", "rope.parts=3..5:3")
    assert result.verdict.startswith("None of this is a possible rig: the extended stop")
    assert not result.met
    assert_self_contained(Page(write_page(result, tmp_path).read_text(encoding="utf-8")))


def test_coils_follow_the_rate_so_that_the_wire_still_makes_it() -> None:
    result = swept("spring.rate=31..93 N/mm:3")
    assert result.followed == ("spring.active_coils",)
    assert "spring.active_coils changed along" in result.notes[0]
    assert not any("rate by its wire" in one.why for one in result.combinations)


def test_coils_follow_the_rate_where_their_diameter_is_unknown_too() -> None:
    rig = with_value_at(RIG, "spring.coil", nan)
    own = swept("spring.rate=31..93 N/mm:3", rig=rig).combinations[1]
    assert own.margins == tuple(sorted(m for r in rows_of(rig) if not isnan(m := r.margin)))


def test_teeth_follow_the_ratio_and_the_ratio_follows_teeth() -> None:
    assert swept("drive.gear_ratio=20..30:2").followed == ("gears.wheel_teeth[3]",)
    by_teeth = swept("gears.wheel_teeth[1]=20..80:2")
    assert by_teeth.followed == ("drive.gear_ratio",)
    assert by_teeth.combinations[0].figures != by_teeth.combinations[1].figures
    assert all(one.verdict != "no rig" for one in by_teeth.combinations)


def test_what_is_swept_itself_follows_nothing() -> None:
    assert swept("spring.rate=50..60 N/mm:2", "spring.active_coils=5..8:2").followed == ()
    both = swept("drive.gear_ratio=20..24:2", "gears.wheel_teeth[3]=45..46:2")
    assert both.followed == ()
    verdicts = {one.values: one.verdict for one in both.combinations}
    assert verdicts[20, 45] == "no rig"
    assert verdicts[24, 45] != "no rig"


def test_the_best_has_the_largest_worst_margin_and_the_sentence_names_it() -> None:
    result = swept("rope.breaking=0.5..5 kN:10")
    best = max(result.combinations, key=lambda one: one.margin)
    assert result.best_first[0].margin == best.margin
    words = result.axes[0].words(result.best_first[0].values[0])
    assert f"{words}, with the largest worst margin, {margin_words(best)}" in result.verdict


def test_what_fails_never_reads_like_what_passes() -> None:
    combinations = swept("rope.breaking=1.7..2.1 kN:41").combinations
    for one in combinations:
        assert (float(margin_words(one)) >= 1) == (one.verdict == "passes")


def test_it_ends_with_0_if_anything_passes_and_with_1_if_nothing_does(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for argument in ("rope.breaking=0.1..0.2 kN:2", "drive.drum_width=40..80 mm:2"):
        code = main(["size", "--sweep", argument, "--json"])
        told = document_of("sweep", capsys.readouterr().out)
        assert code == (0 if any(row["verdict"] == "passes" for row in told["rows"]) else 1)
        assert told["met"] == (code == 0)
    assert swept("rope.breaking=0.1..0.2 kN:2").met is False


# What the person gets.


def printed(result: Sweep) -> str:
    text = io.StringIO()
    print_sweep(result, Console(file=text, width=100))
    return text.getvalue()


def test_a_small_sweep_is_printed_whole_and_a_big_one_by_its_best() -> None:
    small, big = swept("rope.parts=2..6:5"), swept("rope.breaking=1..3 kN:41")
    assert all(f"\n{parts:>5}" in printed(small) for parts in range(2, 7))
    told = printed(big)
    assert "The best 10 of 41 combinations" in told
    assert sum(line.split()[-1:] == ["A"] for line in told.splitlines()) <= 10
    assert "pass every check" in told
    for result in (small, big):
        assert result.verdict in printed(result)
        assert all(result.marks[one.why] for one in result.combinations)


def test_json_has_every_row_in_the_units_given(capsys: pytest.CaptureFixture[str]) -> None:
    result = swept("mechanism.fold_extended=60..110 deg:3")
    print_json(as_json(result))
    told = document_of("sweep", capsys.readouterr().out)
    assert told["keys"] == ["mechanism.fold_extended"]
    assert told["units"] == ["deg"]
    assert [row["values"] for row in told["rows"]] == [[60], [85], [110]]
    assert told["rows"][0]["sink_m"] == result.combinations[0].figures[0]
    assert told["rows"][2]["sink_m"] is None


def test_the_table_reads_back_to_the_same_values_and_figures() -> None:
    result = swept("spring.rate=301..399 lbf/in:7", "mechanism.fold_extended=58..97 deg:4")
    rows = list(csv.DictReader(io.StringIO(sweep_csv(result))))
    assert len(rows) == len(result.combinations)
    for row, one in zip(rows, result.combinations, strict=True):
        assert row["verdict"] == one.verdict
        assert row["why"] == one.why
        rate = to_si(split(f"{row['spring.rate (lbf/in)']} lbf/in"))
        fold = to_si(split(f"{row['mechanism.fold_extended (deg)']} deg"))
        assert (rate, fold) == pytest.approx(one.values, rel=1e-15)
        if one.verdict != "no rig":
            assert tuple(float(row[headline.name]) for headline in HEADLINES) == one.figures
            assert float(row["worst_margin"]) == one.margin


def test_one_key_makes_lines_with_every_failing_reason_in_words(tmp_path: Path) -> None:
    result = swept("mechanism.fold_extended=50..90 deg:31")
    assert write_page(result, tmp_path) == tmp_path / PAGE
    assert (tmp_path / TABLE).exists()
    page = Page((tmp_path / PAGE).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert len(page.all("figure")) == 1
    assert "Figures over mechanism.fold_extended" in page.headings()
    drawn = " ".join(text for tag, text in page.texts if tag in {"text", "tspan"})
    failing = {one.why for one in result.combinations if one.verdict != "passes"}
    assert failing
    for why in failing:
        assert result.marks[why] in drawn.split()
        assert why.split()[-1] in drawn


def test_two_keys_make_a_map(tmp_path: Path) -> None:
    result = swept("rope.breaking=1..3 kN:9", "drive.drum_radius=7..18 mm:8")
    page = Page(write_page(result, tmp_path).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert "Worst margin over rope.breaking and drive.drum_radius" in page.headings()
    assert len(page.all("pattern")) >= len(
        {one.why for one in result.combinations if one.verdict == "fails"}
    )
    assert len(page.all("tr")) == 1 + len(result.combinations)
    assert "rope. breaking, kN drive. drum_radius, mm worst margin" in page.text


def test_three_keys_make_a_table_only_and_the_page_says_so(tmp_path: Path) -> None:
    result = swept("rope.parts=3..5:3", "spring.rate=50..70 N/mm:2", "wants.lift=0.5..0.9 s:2")
    page = Page(write_page(result, tmp_path).read_text(encoding="utf-8"))
    assert_self_contained(page)
    assert page.all("figure") == []
    assert "Three keys at once make no picture" in page.text
    assert len(page.all("tr")) == 1 + 12


def test_a_page_that_cannot_be_written_is_an_error_and_never_half_a_page(tmp_path: Path) -> None:
    (tmp_path / TABLE).mkdir()
    (tmp_path / TABLE / "mine").touch()
    with pytest.raises(OutputError, match="cannot be written"):
        write_page(swept("rope.parts=3..5:3"), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [TABLE]


def test_a_place_that_cannot_be_written_is_told_before_any_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").touch()
    argument = "rope.parts=3..5:3"
    assert main(["size", "--sweep", argument, "--out", str(tmp_path / "file")]) == 2
    assert capsys.readouterr().out == ""


def test_a_change_of_a_key_is_that_of_the_rig_with_it() -> None:
    (one, _) = swept("rope.parts=3..5:2").combinations
    changed = with_value_at(RIG, "rope.parts", 3.0)
    figures = dict(zip((headline.name for headline in HEADLINES), one.figures, strict=True))
    assert figures["line_N"] == Loads(changed).line_peak_N
