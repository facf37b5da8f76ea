"""A rig file of wings: known by its own section, read back whole, refused where it is wrong."""

from pathlib import Path

import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.errors import RigFileError
from hocklift.rigfile.file import read_any_rig, read_rig, rig_text, write_rig
from hocklift.rigfile.keys import WING_KEYS
from hocklift.rigfile.wing_rules import WING_RULES
from legsim.rig import Rig
from legsim.wing.rig import WING_SECTIONS, WingRig

TEXT = rig_text(WingRig())
KEYS = [key for section in WING_KEYS.values() for key in section.values()]


def read(tmp_path: Path, text: str) -> object:
    path = tmp_path / "my-wings.toml"
    path.write_text(text, encoding="utf-8")
    return read_any_rig(path)


def with_line(section: str, name: str, value: str) -> str:
    """The demo wings' file with another value of one key."""
    head, mark, tail = TEXT.partition(f"[{section}]\n")
    assert mark
    lines = tail.split("\n")
    (at,) = [i for i, line in enumerate(lines) if line.startswith(f"{name} = ")][:1]
    lines[at] = f"{name} = {value}"
    return head + mark + "\n".join(lines)


def test_the_wings_file_reads_back_to_the_same_rig(tmp_path: Path) -> None:
    rig = read(tmp_path, TEXT)
    assert isinstance(rig, WingRig)
    for key in KEYS:
        assert key.of(rig) == (
            key.of(WingRig())
            if isinstance(key.default, str | tuple)
            else pytest.approx(key.of(WingRig()), rel=1e-12)
        ), key.path


def test_every_number_of_a_rig_with_wings_has_its_key() -> None:
    assert tuple(WING_KEYS) == WING_SECTIONS
    for section, keys in WING_KEYS.items():
        declared = list(type(getattr(WingRig(), section)).__dataclass_fields__)
        assert [key.field for key in keys.values()] == declared


def test_a_missing_key_a_wrong_unit_and_a_stray_key_are_named(tmp_path: Path) -> None:
    text = with_line("wing", "tip", '"1.3 kg"').replace("hinge_friction = ", "hinge_fraction = ")
    with pytest.raises(RigFileError) as found:
        read(tmp_path, text)
    told = str(found.value)
    assert "wing.tip" in told
    assert "wing.hinge_friction: missing" in told
    assert "wing.hinge_fraction: no such key; did you mean hinge_friction?" in told


def test_a_command_for_legs_says_what_it_found_and_what_takes_wings(tmp_path: Path) -> None:
    path = tmp_path / "my-wings.toml"
    write_rig(WingRig(), path)
    with pytest.raises(RigFileError, match=r"section \[wing\].*size, rehearse, .* take either"):
        read_rig(path)


# What breaks each rule of the wings' own table, by its keys.
BROKEN = {
    ("wing.lowered", "wing.raised"): ("wing", "lowered", '"5 deg"'),
    ("safety.stop_margin", "wing.beyond"): ("safety", "stop_margin", '"4 deg"'),
    ("rope.tackle", "rope.quadrant", "wing.lowered", "wing.raised", "wing.beyond"): (
        "rope",
        "tackle",
        '"100 mm"',
    ),
    (
        "sensors.pot_centre",
        "sensors.pot_travel",
        "wing.lowered",
        "wing.raised",
        "wing.beyond",
        "safety.pot_margin",
    ): ("sensors", "pot_travel", '"90 deg"'),
    ("safety.rate", "control.follow_speed", "control.release_speed"): (
        "control",
        "follow_speed",
        '"90 deg/s"',
    ),
    ("control.down_time", "control.release_speed", "wing.lowered", "wing.raised"): (
        "control",
        "down_time",
        '"2 s"',
    ),
    ("control.arrive", "control.call"): ("control", "arrive", '"4 deg"'),
    ("control.arrive", "safety.sunk"): ("safety", "sunk", '"1.2 deg"'),
    ("control.substep", "rope.line_EA", "rope.line_damping", "wing.hinge_friction"): (
        "rope",
        "line_EA",
        '"10000 kN"',
    ),
}


@pytest.mark.parametrize("rule", WING_RULES[: len(BROKEN)], ids=lambda rule: " ".join(rule.keys))
def test_each_rule_is_kept_by_the_demo_rig_and_told_where_it_is_broken(
    tmp_path: Path, rule: object
) -> None:
    assert rule.kept(WingRig())  # type: ignore[attr-defined]
    with pytest.raises(RigFileError) as found:
        read(tmp_path, with_line(*BROKEN[rule.keys]))  # type: ignore[attr-defined]
    assert rule.must in str(found.value)  # type: ignore[attr-defined]


def test_rules_over_what_wings_and_legs_share_hold_for_wings_too(tmp_path: Path) -> None:
    with pytest.raises(RigFileError, match="within 1 %"):
        read(tmp_path, with_line("drive", "gear_ratio", "30"))


def test_new_writes_both_demo_rigs_and_each_is_sized_and_rehearsed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(tmp_path)]) == 0
    wings = tmp_path / "marsh-heron-wings.toml"
    assert isinstance(read_any_rig(wings), WingRig)
    assert isinstance(read_any_rig(tmp_path / "marsh-heron.toml"), Rig)
    assert main(["size", str(wings)]) == 0
    assert "Every part bears what it has to." in capsys.readouterr().out
    assert main(["rehearse", str(wings), "--json"]) == 0
    told = document_of("rehearse-wings", capsys.readouterr().out)
    assert "both meet every want" in told["verdict"]


def test_a_wearer_is_no_use_to_wings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "w.toml"
    write_rig(WingRig(), path)
    assert main(["rehearse", str(path), "--wearer", "metronome"]) == 2
    assert "--wearer" in capsys.readouterr().err
