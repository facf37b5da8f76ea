"""A script of acts: read with its units, told by act and key where it is wrong, played in order."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.errors import ScriptFileError
from hocklift.rigfile.file import write_rig
from hocklift.scriptfile import FILE_NAME, LEG_TRACK, WING_TRACK, Track, example, read_script
from legsim.acts import Act, Number, play, seconds_of
from legsim.rig import Rig
from legsim.wearer import first_s
from legsim.wing.rig import WingRig

STAND = '[[act]]\ndo = "stand"\ntime = "2 s"\n'


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "show.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("track", [LEG_TRACK, WING_TRACK], ids=lambda track: track.name)
def test_the_example_has_a_track_for_either_kind_of_rig_and_explains_each_act(
    tmp_path: Path, track: Track
) -> None:
    acts = read_script(written(tmp_path, example()), track)
    explained = [line for line in example().splitlines() if line.startswith("#   ")]
    for kind in track.kinds:
        keys = ", ".join(key.name for key in kind.keys)
        assert any(line.startswith(f"#   {kind.name} ") and keys in line for line in explained)
    assert {act.kind for act in acts} <= {kind.name for kind in track.kinds}


def test_both_tracks_of_the_example_take_about_as_long(tmp_path: Path) -> None:
    """They run side by side, so a show ends for legs and wings together."""
    path = written(tmp_path, example())
    legs_s, wings_s = (
        sum(act.values["time"] for act in read_script(path, track))
        for track in (LEG_TRACK, WING_TRACK)
    )
    assert wings_s == pytest.approx(legs_s, abs=5)


def test_any_unit_that_converts_will_do_and_what_is_left_out_has_its_default(
    tmp_path: Path,
) -> None:
    text = '[[act]]\ndo = "load"\nmass = "10 lb"\n[[act]]\ndo = "stoop"\ntime = "4500 ms"\n'
    load, stoop = read_script(written(tmp_path, text))
    # The international pound is 0.45359237 kg by definition (from memory: 1959 agreement).
    assert load.values == {"mass": pytest.approx(4.5359237), "time": 1.0}
    assert stoop.values == {"time": 4.5, "stick": 1.0}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", r"found nothing, and nothing under \[\[act\]\]"),
        (
            '[[wing]]\ndo = "hold"\ntime = "2 s"\n',
            r"found \[\[wing\]\], and nothing under \[\[act\]\], which is what a rig with legs",
        ),
        (STAND + "[[wings]]\n", r"found 'wings', expected only entries \[\[act\]\] for legs and"),
        ('act = "walk"\n', r"act: found a single value .* begin with \[\[act\]\]"),
        (
            STAND + '[[act]]\ndo = "wave"\ntime = "4 s"\n',
            r"act 2: do: found 'wave', .*; it is what wings do, under \[\[wing\]\]",
        ),
        # Told of either track, whichever the rig plays.
        (
            STAND + '[[wing]]\ndo = "raise"\ntime = "2 s"\nwing = "up"\n',
            r"wing 1 \(raise\): wing: found 'up', expected both or left or right",
        ),
        ("x = ", "is no TOML"),
        ("speed = 3\n" + STAND, "'speed'"),
        ('[[act]]\ntime = "2 s"\n', "act 1: has no do"),
        (STAND + '[[act]]\ndo = "fly"\n', "act 2: do: found 'fly', expected one of stand, walk"),
        ('[[act]]\ndo = "stand"\n', r"act 1 \(stand\): time: found nothing"),
        ('[[act]]\ndo = "stand"\ntime = 2\n', "time: found 2, expected a text with a unit"),
        ('[[act]]\ndo = "stand"\ntime = "2 kg"\n', "kg does not convert to s"),
        ('[[act]]\ndo = "stand"\ntime = "2"\n', "it has no unit"),
        ('[[act]]\ndo = "walk"\ntime = "0.5 s"\n', "1 s to 3600 s"),
        (
            '[[act]]\ndo = "stand"\ntime = "2 s"\nleg = "left"\n',
            "leg: is no key of it; it has time",
        ),
        ('[[act]]\ndo = "stumble"\nleg = "front"\n', "found 'front', expected left or right"),
        (STAND.replace("2 s", "3000 s") * 2, "all acts take 6000 s"),
        (STAND * 501, "501 acts"),
    ],
)
def test_what_is_wrong_is_told_by_file_act_and_key(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(ScriptFileError, match=told) as caught:
        read_script(written(tmp_path, text))
    assert str(caught.value).startswith(str(tmp_path / "show.toml"))


def test_a_file_that_is_not_there_is_told_with_where_to_get_one(tmp_path: Path) -> None:
    with pytest.raises(ScriptFileError, match=f"cannot be read.*{FILE_NAME}"):
        read_script(tmp_path / "none.toml")


def test_acts_are_played_one_after_another() -> None:
    rig = Rig()
    acts = [
        Act("stoop", {"time": 2.0, "stick": 0.5}),
        Act("rise", {"time": 2.0, "stick": 1.0}),
        Act("load", {"time": 1.0, "mass": 5.0}),
        Act("lean", {"time": 3.0, "leg": "right", "share": 0.8}),
        Act("stumble", {"time": 1.0, "leg": "left"}),
    ]
    lines = play(rig, acts, None, 1)
    assert len(lines) == round(seconds_of(rig, acts) / rig.control.period_s)

    def at(seconds: float) -> np.void:
        return lines[round((first_s(rig) + seconds) / rig.control.period_s)]

    assert [at(s)["stick"] for s in (-0.1, 1.0, 3.0, 4.5)] == [0, 0.5, -1, 0]
    assert [at(s)["load_kg"] for s in (3.9, 5.0, 9.0)] == [0, 5, 5]
    assert at(6.5)["right"]["share"] == pytest.approx(0.8)
    assert at(8.5)["left"]["stumble"] == 1


def test_between_two_walks_the_wearer_stands_with_both_feet_together() -> None:
    rig = Rig()
    walk, stand = Act("walk", {"time": 6.0}), Act("stand", {"time": 4.0})
    lines = play(rig, [walk, stand, walk], None, 1)
    standing = lines[round((first_s(rig) + 9.0) / rig.control.period_s)]
    assert standing["walk_mps"] == 0
    for leg in ("left", "right"):
        assert standing[leg]["foot_x_m"] == standing[leg]["raised"] == standing[leg]["push"] == 0
        assert standing[leg]["share"] == pytest.approx(0.5)
        assert np.count_nonzero(np.diff(lines[leg]["push"] > 0.5)) >= 4


def test_every_number_of_an_act_names_a_range_that_holds_its_default() -> None:
    for kind in (*LEG_TRACK.kinds, *WING_TRACK.kinds):
        for key in kind.keys:
            if isinstance(key, Number) and key.default is not None:
                assert key.low <= key.default <= key.high
            elif not isinstance(key, Number):
                assert key.default is None or key.default in key.words


def test_a_walk_too_short_for_a_step_is_told_with_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, STAND + '[[act]]\ndo = "walk"\ntime = "1 s"\n')
    assert main(["rehearse", "--script", str(path)]) == 2
    assert "act 2 (walk): time is too short for one whole step" in capsys.readouterr().err


def test_a_script_takes_no_seconds_beside_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, STAND)
    assert main(["rehearse", "--script", str(path), "--seconds", "5"]) == 2
    assert "the script says how long it takes" in capsys.readouterr().err


def test_a_played_stoop_is_judged_by_the_wants_of_the_rig(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    acts = [("stoop", "4.5 s"), ("stand", "5 s"), ("rise", "4.5 s")]
    text = "".join(f'[[act]]\ndo = "{name}"\ntime = "{time}"\n' for name, time in acts)
    assert main(["rehearse", "--script", str(written(tmp_path, text)), "--json"]) == 0
    document = document_of("rehearse", capsys.readouterr().out)
    assert document["met"]
    stoop = document["legs"]["left"]["stoop"]
    assert stoop["count"] == 1
    assert 0 < stoop["down_s"] <= Rig().wants.stoop_s
    assert stoop["apart_rad"] < Rig().wants.stoop_apart_rad


# Wings.


def wing_file(tmp_path: Path, **control: object) -> str:
    path = tmp_path / "wings.toml"
    rig = WingRig()
    write_rig(replace(rig, control=replace(rig.control, **control)), path)
    return str(path)


@pytest.mark.parametrize("command", ["stick", "pot"])
def test_wings_play_their_own_track_of_the_example_by_stick_and_by_pot(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    words = ["rehearse", wing_file(tmp_path, command=command)]
    words += ["--script", str(written(tmp_path, example())), "--json"]
    assert main(words) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["met"]
    for wing in document["wings"].values():
        assert wing["moves_made"] == wing["moves_asked"] >= 1
        assert wing["holds"] >= 3
        assert wing["up_raise_N"] > 0


def test_a_wave_too_short_for_its_beat_is_told_with_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, '[[wing]]\ndo = "wave"\ntime = "2 s"\nevery = "3 s"\n')
    assert main(["rehearse", wing_file(tmp_path), "--script", str(path)]) == 2
    told = capsys.readouterr().err
    assert "wing 1 (wave): time is too short for one wave of 3 s; give it more" in told


def test_legs_only_are_no_show_for_wings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rehearse", wing_file(tmp_path), "--script", str(written(tmp_path, STAND))]) == 2
    assert "nothing under [[wing]], which is what a rig with wings plays" in capsys.readouterr().err


def test_a_show_too_short_to_raise_a_wing_says_how_long_it_must_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rehearse", wing_file(tmp_path), "--seconds", "12"]) == 2
    assert "--seconds: found 12, " in (told := capsys.readouterr().err)
    assert main(["rehearse", wing_file(tmp_path), "--seconds", told.split()[-3]]) == 0
