"""A recorded gait with something wrong in it: told by file, line and column, with exit code 2."""

from pathlib import Path

import numpy as np
import pytest
from hocklift.cli import main
from hocklift.errors import WearerFileError
from hocklift.wearerfile import built_in_gait, read_gait

HEADER = "time_s,left_knee_deg,right_knee_deg\n"
ROWS = [f"{i / 100},{i % 60},{(i + 30) % 60}" for i in range(50)]


def gait(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "gait.csv"
    path.write_text(text, encoding="utf-8")
    return path


def with_row(row: str) -> str:
    """A good file but for its tenth line."""
    return HEADER + "\n".join([*ROWS[:8], row, *ROWS[9:]]) + "\n"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("time,left,right\n", "line 1 has no column time_s"),
        (HEADER, "two strides need"),
        (with_row("0.08,nan,3"), "line 10, left_knee_deg: found 'nan'"),
        (with_row("0.08,3,inf"), "line 10, right_knee_deg: found 'inf'"),
        (with_row("0.08,3"), "line 10, right_knee_deg: found 'nothing'"),
        (with_row("0.08,3,400"), "degrees from -30 to 180"),
        (with_row("0.01,3,3"), "line 10, time_s: 0.01 does not come after 0.07"),
        (with_row("0.07,3,3"), "time must grow"),
        (HEADER + "\n".join(f"{i / 100},0,0" for i in range(300)), "no"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, told: str
) -> None:
    path = gait(tmp_path, text)
    out = tmp_path / "out"
    assert main(["rehearse", "--wearer", str(path), "--out", str(out)]) == 2
    message = capsys.readouterr().err
    assert str(path) in message and told in message and "Traceback" not in message
    assert not list(out.glob("*"))


def test_a_missing_file_and_an_unwritable_folder_end_with_two(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rehearse", "--wearer", str(tmp_path / "none.csv")]) == 2
    assert "none.csv" in capsys.readouterr().err
    # A file stands where the folder should be: nobody can write into it, root neither.
    (tmp_path / "taken").write_text("")
    assert main(["rehearse", "--out", str(tmp_path / "taken")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_the_recording_that_comes_along_is_the_published_one() -> None:
    # Fukuchi, Fukuchi & Duarte 2018, PeerJ 6:e4640: 150 Hz; peaks of knee flexion in walking
    # are about 60 to 70 degrees.
    recorded = built_in_gait()
    assert len(recorded.time_s) == 374
    assert np.diff(recorded.time_s) == pytest.approx(1 / 150, abs=2e-5)
    for angle in (recorded.left_deg, recorded.right_deg):
        assert 55 < angle.max() < 75


def test_columns_may_stand_in_any_order_and_others_beside_them(tmp_path: Path) -> None:
    swapped = "right_knee_deg,note,time_s,left_knee_deg\n" + "\n".join(
        f"{i},x,{i / 100},{2 * i}" for i in range(30)
    )
    read = read_gait(gait(tmp_path, swapped))
    assert read.left_deg[3] == 6 and read.right_deg[3] == 3
    with pytest.raises(WearerFileError):
        read_gait(tmp_path)
