"""The rig file: what people may write, what they are told, and that nothing is lost."""

import os
from contextlib import suppress
from dataclasses import fields, replace
from fractions import Fraction
from math import isclose, isnan, nan, radians
from pathlib import Path

import pytest
from hocklift import files
from hocklift.errors import OutputError, RigFileError
from hocklift.rigfile.file import parse_rig, read_rig, rig_text, write_rig
from hocklift.rigfile.keys import KEYS, Key
from hocklift.rigfile.rules import RULES
from hocklift.rigfile.units import QuantityError, split, to_si
from hypothesis import given
from hypothesis import strategies as st
from legsim.rig import SECTIONS, Rig

TEXT = rig_text(Rig())
ALL_KEYS = [key for section in KEYS.values() for key in section.values()]

# NIST SP 811 (2008), appendix B: exact by the international yard and pound agreement of 1959.
POUND_KG = Fraction("0.45359237")
POUND_FORCE_N = Fraction("4.4482216152605")
INCH_M = Fraction("0.0254")


def key_at(path: str) -> Key:
    section, name = path.split(".")
    return KEYS[section][name]


def with_value(path: str, value: str, text: str = TEXT) -> str:
    """Return the text with another value at a key, as in `with_value("rope.parts", "3")`."""
    section, name = path.split(".")
    before, head, body = text.partition(f"[{section}]\n")
    lines = body.split("\n")
    at = next(i for i, line in enumerate(lines) if line.startswith(f"{name} = "))
    lines[at] = f"{name} = {value}"
    return before + head + "\n".join(lines)


def without_line(path: str) -> str:
    return with_value(path, "?").replace(f"{path.split('.')[1]} = ?\n", "")


def complaint(text: str) -> str:
    with pytest.raises(RigFileError) as caught:
        parse_rig(text, "my.toml")
    return str(caught.value)


def read_back(tmp_path: Path, data: str | bytes) -> Rig:
    path = tmp_path / "my.toml"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read_rig(path)


def same_rig(one: Rig, other: Rig, slack: float) -> bool:
    def same(a: float | str | tuple[float, ...], b: float | str | tuple[float, ...]) -> bool:
        if isinstance(a, str) or isinstance(b, str):
            return a == b
        if isinstance(a, tuple) or isinstance(b, tuple):
            return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
        return isclose(a, b, rel_tol=slack) or (isnan(a) and isnan(b))

    return all(same(key.of(one), key.of(other)) for key in ALL_KEYS)


# Writing


@st.composite
def rigs(draw: st.DrawFn) -> Rig:
    """Draw any rig whose values are each within their range, possible as a whole or not."""

    def number(key: Key) -> float:
        if key.unknown and draw(st.booleans()):
            return nan
        if key.whole:
            return float(draw(st.integers(int(key.low), int(key.high))))
        return draw(st.floats(key.low, key.high))

    def value(key: Key) -> float | str | tuple[float, ...]:
        if key.words:
            return draw(st.sampled_from(key.words))
        if isinstance(key.default, tuple):
            return tuple(number(key) for _ in range(draw(st.integers(1, 6))))
        return number(key)

    sections = {
        section: replace(
            getattr(Rig(), section), **{key.field: value(key) for key in keys.values()}
        )
        for section, keys in KEYS.items()
    }
    return replace(Rig(), **sections)


@given(rigs())
def test_any_rig_reads_back_from_its_text(rig: Rig) -> None:
    assert same_rig(parse_rig(rig_text(rig), "any"), rig, 1e-15)


def test_the_demo_file_reads_back_to_the_demo_rig(tmp_path: Path) -> None:
    write_rig(Rig(), tmp_path / "demo.toml")
    assert same_rig(read_rig(tmp_path / "demo.toml"), Rig(), 1e-15)


@pytest.mark.parametrize(
    "line",
    [
        'thigh_length = "440 mm"',
        'fold_extended = "60 deg"',
        'rate = "62 N/mm"',
        "parts = 4",
        'sheave_efficiency = "96.2 %"',
        'breaking = "1.9 kN"',
        'speed_constant = "620 rpm/V"',
        'rotor_inertia = "20 kg*mm^2"',
        'at_neutral = "brake"',
        'capacity = "5 A*hour"',
        'pot_backlash = "0.15 deg"',
        'cadence = "36 1/min"',
        "friction = 0.7",
    ],
)
def test_values_are_written_as_people_write_them(line: str) -> None:
    assert f"\n{line}\n" in TEXT


def test_every_key_has_a_comment_with_its_range_right_above() -> None:
    lines = TEXT.splitlines()
    for key in ALL_KEYS:
        above = [lines[i - 1] for i, line in enumerate(lines) if line.startswith(f"{key.name} = ")]
        assert any(line.startswith(f"# {key.meaning} (") for line in above), key.path


def test_every_field_of_a_rig_has_a_key_of_its_own() -> None:
    for section in SECTIONS:
        declared = [field.name for field in fields(getattr(Rig(), section))]
        assert [key.field for key in KEYS[section].values()] == declared


@pytest.mark.parametrize("key", ALL_KEYS, ids=lambda key: key.path)
def test_the_demo_value_is_within_its_range(key: Key) -> None:
    if key.words:
        assert key.default in key.words
        return
    numbers = key.default if isinstance(key.default, tuple) else (key.default,)
    assert all(key.low <= float(number) <= key.high for number in numbers)


def test_a_list_has_one_entry_for_each_gear_mesh_and_tells_what_is_wrong_with_one() -> None:
    assert "\nwheel_teeth = [40, 42, 45]\n" in TEXT
    assert "which is not a list" in complaint(with_value("gears.module", '"1 mm"'))
    assert "which is out of range" in complaint(with_value("gears.wheel_teeth", "[40, 0, 45]"))
    assert "which has no unit" in complaint(with_value("gears.module", '["1 mm", 1.25, "2 mm"]'))


def test_a_spring_whose_wire_nobody_measured_may_say_so() -> None:
    rig = parse_rig(with_value("spring.wire", '"unknown"'), "my.toml")
    assert isnan(rig.spring.wire_m)
    assert '\nwire = "unknown"\n' in rig_text(rig)
    # What the rig cannot walk without must be known.
    assert "number with a unit" in complaint(with_value("spring.rate", '"unknown"'))


# Units


@pytest.mark.parametrize(
    ("path", "written", "si"),
    [
        ("spring.rate", "355 lbf/in", 355 * POUND_FORCE_N / INCH_M),
        ("mechanism.carried_mass", "75 lb", 75 * POUND_KG),
        ("mechanism.carried_mass", "34000 g", 34),
        ("mechanism.thigh_length", "17.5 in", Fraction("17.5") * INCH_M),
        ("mechanism.thigh_length", "1.5 ft", 18 * INCH_M),
        ("mechanism.thigh_length", "0.44m", 0.44),
        ("mechanism.hinge_friction", "0.6 Nm", 0.6),
        ("mechanism.hinge_friction", "5 lbf*in", 5 * POUND_FORCE_N * INCH_M),
        ("mechanism.stop_stiffness", "3 kN·m/rad", 3000),
        ("mechanism.fold_extended", "1.1 rad", 1.1),
        ("mechanism.fold_extended", "61°", radians(61)),
        ("mechanism.thigh_min", "-5 deg", radians(-5)),
        ("rope.line_EA", "3600 lbf", 3600 * POUND_FORCE_N),
        ("rope.sheave_efficiency", "962 permille", 0.962),
        ("rope.sheave_efficiency", "96.2%", 0.962),
        ("drive.speed_constant", "65 rad/s/V", 65),
        ("drive.resistance", "0.055 Ω", 0.055),
        ("drive.rotor_inertia", "0.2 kg*cm²", 2e-5),
        ("controller.neutral_pulse", "1.5 ms", 1.5e-3),
        ("controller.deadband", "25 µs", 25e-6),
        ("battery.capacity", "5200 mAh", 5.2 * 3600),
        ("wearer.cadence", "0.6 Hz", 0.6),
        ("wearer.cadence", "36 / min", 0.6),
        ("control.lift_speed", "5 rpm", radians(30)),
    ],
)
def test_any_unit_that_converts_gives_its_exact_si_value(
    path: str, written: str, si: float | Fraction
) -> None:
    rig = parse_rig(with_value(path, f'"{written}"'), "my.toml")
    assert key_at(path).of(rig) == pytest.approx(float(si), rel=1e-15)


@given(st.decimals(2, 78, places=6), st.sampled_from(["in", "inch", "inches"]))
def test_inches_are_25_4_mm_each(inches: object, unit: str) -> None:
    in_mm = Fraction(str(inches)) * Fraction("25.4")
    assert to_si(split(f"{inches} {unit}")) == float(in_mm / 1000)


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [
        ("mechanism.thigh_length", "440", "found 440, which has no unit"),
        ("mechanism.thigh_length", '"440"', 'found "440", but it has no unit'),
        ("mechanism.thigh_length", '"440 kg"', "kg does not convert to mm"),
        ("mechanism.thigh_length", '"440 mmm"', "no unit is called mmm"),
        ("mechanism.thigh_length", '"mm 440"', "not a number with a unit"),
        ("mechanism.thigh_length", '"440,5 mm"', ",5 mm is not how a unit is written"),
        ("mechanism.thigh_length", '""', "not a number with a unit"),
        ("mechanism.thigh_length", '"nan mm"', "not a finite number"),
        ("mechanism.thigh_length", '"-inf mm"', "not a finite number"),
        ("mechanism.thigh_length", '"1e400 mm"', "not a finite number"),
        ("mechanism.thigh_length", '"1e308 Gm"', "out of range; write 5e-11 to 2e-9 Gm"),
        ("mechanism.thigh_length", "true", "found true, which is not a number with a unit"),
        ("mechanism.thigh_length", "[440]", "found a list"),
        ("mechanism.thigh_length", "{ mm = 440 }", "found a section"),
        ("mechanism.thigh_length", "2024-02-29", "found a date or time"),
        ("mechanism.carried_mass", '"-3 kg"', 'found "-3 kg", which is out of range'),
        ("mechanism.carried_mass", '"700 lb"', "write 2.20463 to 661.386 lb"),
        ("mechanism.thigh_max", '"74 %"', "% does not convert to deg"),
        ("mechanism.hinge_damping", '"0.3 N*m*s"', "does not convert to N*m*s/rad"),
        ("spring.rate", '"355 lb/in"', "as forces, kg and lb are kgf and lbf"),
        ("rope.breaking", '"12 AWG"', "no unit is called AWG"),
        ("rope.breaking", '"9^9^9^9 kN"', "is not how a unit is written"),
        ("rope.breaking", '"2 kN^9^9^9^9"', "is not how a unit is written"),
        ("rope.sheave_efficiency", '"0.962"', "it has no unit"),
        ("rope.sheave_efficiency", "0.962", "found 0.962, which has no unit"),
        ("rope.parts", "4.5", "found 4.5, which is not whole; write a whole number, 1 to 12"),
        ("rope.parts", '"4"', 'found "4", which is not a bare number'),
        ("rope.parts", "true", "found true, which is not a bare number"),
        ("rope.parts", "0x" + "f" * 5000, "found inf, which is not a finite number"),
        ("rope.parts", "13", "out of range; write a whole number, 1 to 12, as in parts = 4"),
        ("drive.gear_ratio", "nan", "found nan, which is not a finite number"),
        ("wearer.cadence", '"36 rpm"', "rpm does not convert to 1/min"),
        ("controller.at_neutral", '"brakes"', 'write "brake" or "coast"'),
        ("controller.at_neutral", "[]", "found a list"),
        ("controller.at_neutral", r'"\u001b[31m"', r'found "\x1b[31m"'),
    ],
)
def test_a_value_that_cannot_stand_is_named_with_what_was_found(
    path: str, value: str, expected: str
) -> None:
    told = complaint(with_value(path, value))
    assert told.startswith("my.toml: ")
    assert f"\n  {path}: found " in told
    assert expected in told


def test_a_missing_unit_is_an_error_that_shows_an_example() -> None:
    assert 'write 50 to 2000 mm, as in thigh_length = "440 mm"' in complaint(
        with_value("mechanism.thigh_length", "440")
    )


@pytest.mark.parametrize(
    ("path", "written"),
    [
        ("mechanism.carried_mass", "2.20463 lb"),
        ("mechanism.carried_mass", "661.386 lb"),
        ("mechanism.thigh_length", "2000 mm"),
        ("mechanism.thigh_max", "89 deg"),
        ("battery.capacity", "0.0277778 A*hour"),
        ("drive.speed_constant", "9549.29 rpm/V"),
    ],
)
def test_the_ends_of_a_range_that_an_error_shows_are_accepted(path: str, written: str) -> None:
    end, unit = written.split()
    assert end in complaint(with_value(path, f'"1e9 {unit}"'))
    parse_rig(with_value(path, f'"{written}"'), "my.toml")


# Keys and sections


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (TEXT.replace("thigh_length", "thigh_lenght"), "mechanism.thigh_lenght: no such key; did"),
        (TEXT.replace("thigh_length", "thigh_length_m"), "did you mean thigh_length?"),
        (TEXT.replace("[spring]\n", "[spring]\nparts = 4\n"), "did you mean rope.parts?"),
        (
            TEXT.replace("[spring]\n", "[spring]\nflavour = 4\n"),
            "spring.flavour: no such key; take",
        ),
        (
            TEXT.replace("[spring]", "[springs]"),
            "[springs]: no such section; did you mean [spring]?",
        ),
        (TEXT.replace("[spring]", "[springs]"), "[spring]: missing; copy the whole section"),
        ("parts = 4\n" + TEXT, "parts: stands in no section; move it under [rope]"),
        ("spring = 4\n" + TEXT.replace("[spring]", "[x]"), "spring: found 4; write a section"),
        (TEXT.replace("[spring]", "[[spring]]"), "spring: found a list; write a section"),
        (TEXT.replace("[spring]\n", '[spring]\n"\\u001b" = 1\n'), r"spring.\x1b: no such key"),
    ],
)
def test_a_name_that_is_not_known_gets_the_nearest_one(text: str, expected: str) -> None:
    assert expected in complaint(text)


@pytest.mark.parametrize("key", ALL_KEYS, ids=lambda key: key.path)
def test_a_missing_key_takes_no_silent_default(key: Key) -> None:
    told = complaint(without_line(key.path))
    assert f"\n  {key.path}: missing; write " in told
    assert "`hocklift new DIR`" in told


def test_all_that_is_wrong_is_told_at_once_a_line_each() -> None:
    text = with_value("mechanism.carried_mass", '"-3 kg"')
    text = with_value("rope.parts", "4.5", text)
    text = with_value("control.period", "4", text)
    assert [line.split(":")[0].strip() for line in complaint(text).splitlines()[1:-1]] == [
        "mechanism.carried_mass",
        "rope.parts",
        "control.period",
    ]


# Whole files


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "is empty; `hocklift new DIR` writes"),
        (b"\n# nothing yet\n", "is empty"),
        (b"[mechanism]\nthigh_length = 440 mm\n", "at line 2, column 20"),
        (
            b"[mechanism]\n[mechanism]\n",
            "TOML: the same key or section stands there before",
        ),
        (
            b"[spring]\nrate = 1\nrate = 2\n",
            "TOML: the same key or section stands there before",
        ),
        (b"x = " + b"[" * 100_000, "is not valid TOML"),
        (b"x = " + b"9" * 10_000, "is not valid TOML"),
        (b'[mechanism]\nthigh_length = "440 \xb5m"\n', "line 2 is not UTF-8"),
        (b"\x00\xff\xfe", "is not UTF-8"),
        (b"#" * 1_000_000, "far too long for a rig file"),
    ],
)
def test_a_file_that_is_no_rig_file_is_told_so(tmp_path: Path, data: bytes, expected: str) -> None:
    with pytest.raises(RigFileError, match=r"my\.toml: ") as caught:
        read_back(tmp_path, data)
    assert expected in str(caught.value)


def test_a_missing_file_a_folder_and_an_endless_file_are_told_so(tmp_path: Path) -> None:
    for path, expected in (
        (tmp_path / "none.toml", "no such file"),
        (tmp_path, "is a folder"),
        (Path("/dev/zero"), "far too long"),
    ):
        with pytest.raises(RigFileError, match=expected):
            read_rig(path)


def test_line_ends_and_byte_order_mark_of_other_editors_are_read(tmp_path: Path) -> None:
    data = b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode()
    assert same_rig(read_back(tmp_path, data), Rig(), 1e-15)


@given(st.binary(max_size=300))
def test_arbitrary_bytes_never_end_in_anything_but_a_rig_file_error(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    with pytest.raises(RigFileError):
        read_back(tmp_path_factory.getbasetemp(), data)


@given(
    st.sampled_from(ALL_KEYS),
    st.one_of(
        st.text(st.characters(exclude_characters="'\n\r", codec="utf-8"), max_size=70),
        st.text("0123456789.eE+-*/^()[]{}%°·² kgmNlbfinhsrad_", max_size=70),
    ),
)
def test_arbitrary_values_never_end_in_anything_but_a_rig_file_error(key: Key, text: str) -> None:
    with suppress(RigFileError):
        parse_rig(with_value(key.path, f"'{text}'"), "my.toml")


@given(st.text("0123456789.eE+-*/^()%°·² kgmNlbfinhsrad", max_size=60))
def test_arbitrary_text_is_a_quantity_or_a_quantity_error(text: str) -> None:
    with suppress(QuantityError):
        assert to_si(split(text)) == to_si(split(f" {text} "))


# Keys against each other

# Changes to the demo rig, and the start of the rule that each must break.
BROKEN: list[tuple[dict[str, str], str]] = [
    ({"mechanism.fold_extended": '"97 deg"'}, "the extended stop must come before"),
    ({"mechanism.fold_hard_stop": '"97.5 deg"'}, "the soft stop and its margin must"),
    ({"mechanism.thigh_min": '"75 deg"'}, "the thigh's least lean must be less"),
    ({"mechanism.shank_min": '"71 deg"'}, "the shank's least lean must be less"),
    ({"mechanism.fold_hard_stop": '"144.1 deg"'}, "the hard stop is beyond the linkage's reach"),
    (
        {"mechanism.thigh_min": '"40 deg"', "mechanism.shank_min": '"21 deg"'},
        "the extended stop is beyond the linkage's reach",
    ),
    ({"mechanism.thigh_min": '"30 deg"'}, "standing, the thigh's lean must"),
    ({"mechanism.shank_min": '"28 deg"'}, "standing, the shank's lean must"),
    ({"mechanism.thigh_max": '"50 deg"'}, "folded to the soft stop, the thigh's lean must"),
    ({"mechanism.shank_max": '"48 deg"'}, "folded to the soft stop, the shank's lean must"),
    ({"spring.thigh_anchor": '"441 mm"'}, "the spring's anchor must be on the thigh"),
    ({"spring.shank_anchor": '"481 mm"'}, "the spring's anchor must be on the shank"),
    ({"rope.thigh_anchor": '"441 mm"'}, "the rope's anchor must be on the thigh"),
    ({"rope.shank_anchor": '"481 mm"'}, "the rope's anchor must be on the shank"),
    (
        {"sensors.pot_travel": '"70 deg"'},
        "the pot's travel about its centre must reach past the thigh",
    ),
    (
        {"sensors.pot_travel": '"70 deg"'},
        "the pot's travel about its centre must reach past the shank",
    ),
    ({"spring.coil": '"25 mm"'}, "a coil's mean diameter must be more than"),
    ({"gas_spring.thigh_anchor": '"441 mm"'}, "the gas spring's anchor must be on the thigh"),
    ({"gas_spring.shank_anchor": '"481 mm"'}, "the gas spring's anchor must be on the shank"),
    ({"drive.gear_stages": "2"}, "each list of the gears must have one entry"),
    ({"drive.gear_ratio": "20"}, "the teeth must make the gear ratio"),
    ({"wants.stoop_fold": '"97 deg"'}, "the stooped fold must lie between"),
    ({"wants.clearance": '"190 mm"'}, "the wanted clearance must be less"),
    ({"wants.clearance": '"1000 mm"'}, "the wanted clearance must be less"),
    ({"wants.clearance_worst": '"81 mm"'}, "the worst step's clearance must"),
    ({"wearer.stance_share": '"56 %"'}, "lifting and lowering must fit"),
    ({"control.period": '"3 ms"'}, "one second must hold a whole number of periods"),
    ({"control.substep": '"1.5 ms"'}, "the period must be a whole number of substeps"),
    ({"rope.line_EA": '"200 kN"'}, "the substep is too long for so stiff a line"),
    ({"control.drive_max": '"5 %"', "control.drive_min": '"6 %"'}, "the least drive must be less"),
    ({"safety.stall_drive": '"96 %"'}, "a stall must be no more drive"),
    ({"safety.adrift": '"2.4 deg"'}, "a fold behind its setpoint must be a fault only beyond"),
    ({"control.accel": '"150 deg/s^2"'}, "a fold behind its setpoint must be a fault only beyond"),
    ({"safety.weight_time": '"130 ms"'}, "a lift must stop within"),
    ({"control.lag": '"4.5 deg"'}, "a fold past its setpoint must be a fault only beyond"),
    ({"safety.rate": '"37 deg/s"'}, "the rate that is a fault must be more"),
    ({"control.lower_speed": '"97 deg/s"'}, "the rate that is a fault must be more"),
    ({"safety.pot_jump": '"0.7 deg"'}, "a reading that jumps must be farther"),
    ({"safety.frozen": '"18 deg"'}, "a frozen sensor must show within one lift"),
    ({"safety.hanging": '"18 deg"'}, "a leg that bears nothing may fold no farther"),
    ({"wants.sink": '"80 mm"'}, "a standing leg's fold must be a fault only beyond"),
    ({"safety.sunk": '"18 deg"'}, "a standing leg's fold must be a fault before"),
    ({"safety.stuck_time": '"6 s"'}, "a switch must count as stuck only after"),
    ({"control.release_speed": '"4 deg/s"'}, "letting a foot down must have more time"),
    ({"control.watchdog": '"20 ms"', "control.period": '"8 ms"'}, "the watchdog must wait"),
    ({"controller.low_voltage_cut": '"20 V"'}, "the board must let the foot down before"),
    ({"battery.cells": "5"}, "the board must let the foot down before"),
    ({"sensors.supply": '"4.4 V"'}, "the supply that is a fault must be less"),
    ({"sensors.stick_rest": '"10 %"'}, "the stick's middle must lie inside its travel"),
    ({"safety.stick_zone": '"40 %"', "sensors.stick_rest": '"60 %"'}, "the stick's middle must"),
    ({"sensors.stick_throw": '"48 %"'}, "the stick must stay within its readings"),
    ({"sensors.stick_throw": '"12 %"', "safety.stick_zone": '"13 %"'}, "the stick's throw must"),
    ({"control.stoop_margin": '"19 deg"', "wants.stoop_fold": '"79 deg"'}, "a stoop must reach"),
    ({"control.release_speed": '"7.9 deg/s"'}, "rising from a stoop must have more time"),
    ({"safety.apart": '"4.5 deg"'}, "a stoop must have stopped for a leg"),
    ({"control.keep": '"1.6 deg"'}, "a held stoop must be pulled back before"),
    ({"sensors.sole_force": '"170 N"'}, "a sole contact must close under half"),
    ({"mechanism.carried_mass": '"16 kg"'}, "a sole contact must close under half"),
    ({"sensors.sole_force": '"8 N"'}, "a sole contact must need more"),
]


@pytest.mark.parametrize(("changes", "expected"), BROKEN)
def test_numbers_that_do_not_fit_each_other_are_told_with_the_rule(
    tmp_path: Path, changes: dict[str, str], expected: str
) -> None:
    text = TEXT
    for path, value in changes.items():
        text = with_value(path, value, text)
    with pytest.raises(RigFileError) as caught:
        read_back(tmp_path, text)
    (line,) = [line for line in str(caught.value).splitlines() if expected in line]
    assert all(f"{path} = {value}" in line for path, value in changes.items())


def test_every_rule_is_broken_by_one_of_these_and_names_real_keys() -> None:
    for rule in RULES:
        assert any(rule.must.startswith(start) for _, start in BROKEN), rule.must
        assert all(key_at(path) for path in rule.keys)


# Files on disk


def test_a_failed_write_leaves_the_old_file_and_nothing_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "my.toml"
    path.write_text("old")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"my.toml: cannot be written: No space left"):
        write_rig(Rig(), path)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_is_made_and_left_empty_when_it_is_checked_for_writing(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "b"
    files.check_writable(folder)
    assert list(folder.iterdir()) == []


def test_a_folder_below_a_file_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for write in (files.check_writable, lambda path: files.write_atomically(path / "x", "")):
        with pytest.raises(OutputError, match="cannot be written"):
            write(tmp_path / "file" / "folder")
