"""Pin tables against what the chips can do, the page that shows them, the firmware's own text."""

import ast
import re
from pathlib import Path
from runpy import run_path

import pytest
from legsim.simboard.files import firmware_files
from legsim.simboard.page import (
    BOARDS,
    CONTACTS,
    CONVERTER,
    FACTS,
    INPUTS,
    OUTPUTS,
    board_page,
)

TOP = Path(__file__).parents[2]
RP2040 = run_path(str(firmware_files()["legboard/pins_rp2040.py"]))
ESP32 = run_path(str(firmware_files()["legboard/pins_esp32.py"]))
# What the chips' documents say. Pins of the larger RP2350 go up to 47.
RP2040_PINS = set(range(23)) | {26, 27, 28}
RP2350_ADC_PINS = set(range(40, 48))
SPI0 = {"clock": {2, 6, 18}, "out": {3, 7, 19}, "in": {0, 4, 16, 20}}
ESP32_INPUT_ONLY = {34, 35, 36, 37, 38, 39}
ESP32_FLASH = set(range(6, 12))
ESP32_PORT = {1, 3}
# Their level at power-on chooses how the chip starts.
ESP32_STRAPPING = {0, 2, 12, 15}
ESP32_ADC = set(range(32, 40)) | {0, 2, 4, 12, 13, 14, 15, 25, 26, 27}


def pins_of(table, names):
    return [table[name] for name, _ in names]


def used(table, wiring):
    """Every pin of a board that is built with a wiring."""
    pins = pins_of(table, OUTPUTS) + pins_of(table, CONTACTS)
    if wiring == "spi":
        return pins + pins_of(table, CONVERTER)
    if wiring == "multiplexer":
        return [*pins, table["MULTIPLEXED"], *table["MULTIPLEXER_SELECT"]]
    return [*pins, *table["DIRECT"]]


@pytest.mark.parametrize("wiring", ["spi", "multiplexer", "direct"])
def test_no_pin_is_used_twice_and_each_can_do_what_it_must(wiring):
    for table in (RP2040, ESP32):
        pins = used(table, wiring)
        assert len(set(pins)) == len(pins)
        assert sorted(pins_of(table, INPUTS)) == list(range(7))
        assert len(table["DIRECT"]) == 7
    assert set(used(RP2040, wiring)) <= RP2040_PINS | RP2350_ADC_PINS
    assert set(RP2040["DIRECT"]) <= RP2350_ADC_PINS
    assert RP2040["MULTIPLEXED"] in {26, 27, 28}
    assert RP2040["SPI_CLOCK"] in SPI0["clock"]
    assert RP2040["SPI_TO_CONVERTER"] in SPI0["out"]
    assert RP2040["SPI_FROM_CONVERTER"] in SPI0["in"]

    esp32 = set(used(ESP32, wiring))
    assert not esp32 & (ESP32_FLASH | ESP32_PORT | ESP32_STRAPPING)
    driven = pins_of(ESP32, OUTPUTS) + pins_of(ESP32, CONTACTS) + pins_of(ESP32, CONVERTER)
    assert not set(driven) & ESP32_INPUT_ONLY
    assert {*ESP32["DIRECT"], ESP32["MULTIPLEXED"]} <= ESP32_ADC


def test_pulses_are_where_a_soft_reset_leaves_them_running():
    """On RP2040: pins of slices 4 to 7, one slice each; a slice is two pins, eight in turn."""
    slices = {pin // 2 % 8 for pin in (RP2040["LEFT_PULSE"], RP2040["RIGHT_PULSE"])}
    assert len(slices) == 2
    assert slices <= {4, 5, 6, 7}


def test_readings_at_full_scale_stay_small_integers():
    for table in (RP2040, ESP32):
        for name in ("BATTERY_FULL_MV", "SUPPLY_FULL_MV"):
            assert 4095 * table[name] < 1 << 30
        # And within what the model declares.
        assert table["BATTERY_FULL_MV"] <= 100000
        assert table["SUPPLY_FULL_MV"] <= 20000


def test_a_pin_table_holds_numbers_and_the_name_of_a_wiring():
    for _, name in BOARDS:
        tree = ast.parse(firmware_files()[name].read_text(encoding="utf-8"))
        for node in tree.body[1:]:
            assert isinstance(node, ast.Assign)
            ast.literal_eval(node.value)


def test_the_firmware_never_stops_a_pulse():
    for name, path in firmware_files().items():
        assert "deinit" not in path.read_text(encoding="utf-8"), name


def test_the_loop_prints_nothing():
    """The port is the host's: text of its own would wait for whoever does not read it."""
    for name, path in firmware_files().items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            assert not (isinstance(node, ast.Name) and node.id == "print"), name


def test_only_the_board_touches_hardware_and_clock():
    for name, path in firmware_files().items():
        text = path.read_text(encoding="utf-8")
        if not name.startswith("legboard/"):
            assert not re.search(r"^\s*(import|from) (machine|time)\b", text, re.MULTILINE), name


def test_the_page_is_in_step_with_the_tables():
    # To write it anew: python -m legsim.simboard.page > docs/board.md
    assert (TOP / "docs/board.md").read_text(encoding="utf-8") == board_page()


def test_every_test_that_the_page_names_is_there():
    names = set()
    for path in (TOP / "tests").rglob("test_*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef):
                names.add(node.name)
    told = {name for facts in FACTS.values() for fact in facts for name in fact.tests}
    assert told <= names
    # What no simulation can show is few.
    assert sum(not fact.tests for facts in FACTS.values() for fact in facts) <= 2
