"""Editing a rig file: the values asked for, and every other byte as its owner wrote it."""

from math import radians
from pathlib import Path

import pytest
from hocklift.errors import RigFileError
from hocklift.rigfile.edit import edit_rig, edited_text
from hocklift.rigfile.file import parse_rig, read_rig, rig_text
from hocklift.rigfile.keys import KEYS, key_at, value_at
from hypothesis import given, settings
from hypothesis import strategies as st
from legsim.rig import Rig

TEXT = rig_text(Rig())
# What people do to their files.
LINED_UP = TEXT.replace('kp = "1.8 1/rad"', 'kp    = "1.8 1/rad"   # felt right on Monday')
assert LINED_UP != TEXT
SAME = parse_rig(TEXT, "my rig")


def test_only_the_lines_of_the_changed_keys_differ():
    edited = edited_text(TEXT, "my rig", {"control.kp": 2.5, "control.lag": radians(3)})
    changed = [
        (old, new)
        for old, new in zip(TEXT.split("\n"), edited.split("\n"), strict=True)
        if old != new
    ]
    assert changed == [
        ('lag = "2.5 deg"', 'lag = "3 deg"'),
        ('kp = "1.8 1/rad"', 'kp = "2.5 1/rad"'),
    ]


def test_a_comment_behind_a_value_and_the_spaces_around_it_stay():
    edited = edited_text(LINED_UP, "my rig", {"control.kp": 2.5})
    assert edited == LINED_UP.replace('"1.8 1/rad"   #', '"2.5 1/rad"   #')


def test_a_value_that_is_there_already_stays_as_its_owner_wrote_it():
    own_unit = TEXT.replace('lag = "2.5 deg"', 'lag = "2.50 deg"')
    assert edited_text(own_unit, "my rig", {"control.lag": radians(2.5)}) == own_unit


@given(
    st.dictionaries(
        st.sampled_from(["control.kp", "control.lag", "wants.rope_factor", "spring.rate"]),
        st.floats(0, 1),
    )
)
@settings(max_examples=10)
def test_what_is_written_reads_back(picked):
    changes = {
        path: key_at(path).low + (key_at(path).high - key_at(path).low) * share
        for path, share in picked.items()
    }
    rig = parse_rig(edited_text(TEXT, "my rig", changes), "my rig")
    for section, keys in KEYS.items():
        for key in keys.values():
            if key.path in changes:
                assert value_at(rig, key.path) == pytest.approx(changes[key.path], rel=1e-14)
            else:
                assert key.of(rig) == key.of(SAME), section


@pytest.mark.parametrize("ending", ["\n", "\r\n"], ids=["unix", "windows"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte order mark"])
def test_line_ends_and_byte_order_mark_stay(tmp_path: Path, ending: str, mark: bytes):
    path = tmp_path / "rig.toml"
    path.write_bytes(mark + TEXT.replace("\n", ending).encode())
    rig = edit_rig(path, {"control.kp": 2.5})
    new = TEXT.replace('kp = "1.8 1/rad"', 'kp = "2.5 1/rad"').replace("\n", ending)
    assert path.read_bytes() == mark + new.encode()
    assert rig == read_rig(path)


def test_a_value_out_of_its_range_is_refused_and_the_file_stays(tmp_path: Path):
    path = tmp_path / "rig.toml"
    path.write_text(TEXT, newline="")
    with pytest.raises(RigFileError, match=r"control\.kp"):
        edit_rig(path, {"control.kp": 60.0})
    assert path.read_bytes() == TEXT.encode()
    assert [one.name for one in tmp_path.iterdir()] == ["rig.toml"]
