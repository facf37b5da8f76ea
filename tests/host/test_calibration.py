"""The line through a joint's poses: exact where nothing is uncertain, and as theory has it else."""

from math import degrees, pi, radians

import numpy as np
import pytest
from hocklift.calibration import (
    Fit,
    FitError,
    Pose,
    fit,
    pose,
    remarks,
    stop_remark,
    table,
    window_remarks,
)
from hypothesis import assume, given
from hypothesis import strategies as st
from legcore.estimate import joint_angle_cdeg
from legcore.model import make
from legsim.rig import Rig
from legsim.sensors import FULL_SCALE

RIG = Rig()
LEANS = np.radians([30, 38, 46, 54])
MARGIN = RIG.safety.pot_margin_rad

travels = st.floats(radians(120), radians(360))
centres = st.floats(radians(20), radians(60))
ways = st.sampled_from((-1, 1))


def counts_of(travel: float, centre: float, way: int, leans: np.ndarray) -> np.ndarray:
    return (0.5 + way * (leans - centre) / travel) * FULL_SCALE


def poses_of(counts: np.ndarray, leans: np.ndarray = LEANS) -> list[Pose]:
    return [Pose(float(lean), float(count)) for lean, count in zip(leans, counts, strict=True)]


@given(travels, centres, ways)
def test_a_known_pot_is_recovered_exactly_whichever_way_it_counts(
    travel: float, centre: float, way: int
) -> None:
    line = fit(poses_of(counts_of(travel, centre, way, LEANS)))
    assert line.rad_per_count == pytest.approx(way * travel / FULL_SCALE, rel=1e-9)
    assert line.lean_rad(FULL_SCALE / 2) == pytest.approx(centre, abs=1e-9)
    assert line.residual_rad < 1e-9
    assert line.reversed == (way < 0)


@given(travels, centres, ways, st.integers(0, 2**32 - 1))
def test_with_a_noisy_protractor_slope_and_height_err_as_least_squares_does(
    travel: float, centre: float, way: int, seed: int
) -> None:
    sigma = radians(0.3)
    counts = counts_of(travel, centre, way, LEANS)
    measured = LEANS + sigma * np.random.default_rng(seed).standard_normal(len(LEANS))
    line = fit(poses_of(counts, measured))
    # Standard errors of a straight line: sigma / sqrt(sum of squares), and sigma / sqrt(n) at
    # the mean of its points.
    slope_error = sigma / np.sqrt(np.sum((counts - counts.mean()) ** 2))
    assert abs(line.rad_per_count - way * travel / FULL_SCALE) < 5 * slope_error
    assert abs(line.lean_rad(counts.mean()) - LEANS.mean()) < 5 * sigma / np.sqrt(len(LEANS))


@given(st.lists(st.tuples(st.floats(-1, 1), st.integers(50, 4000)), min_size=2, max_size=8))
def test_the_line_is_the_one_that_numpy_fits(points: list[tuple[float, int]]) -> None:
    leans, counts = np.array([p[0] for p in points]), np.array([p[1] for p in points])
    assume(np.ptp(counts) >= 20 and np.ptp(leans) > 0.01)
    slope, zero = np.polyfit(counts, leans, 1)
    assume(abs(slope) > 1e-7)
    line = fit(poses_of(counts, leans))
    assert (line.zero_rad, line.rad_per_count) == pytest.approx((zero, slope), abs=1e-7)


@given(travels, centres, ways, st.floats(radians(12), radians(72)))
def test_the_core_reads_back_through_the_table_what_the_pot_shows(
    travel: float, centre: float, way: int, lean: float
) -> None:
    line = fit(poses_of(counts_of(travel, centre, way, LEANS)))
    try:
        made = table(line, radians(10), radians(74), MARGIN)
    except FitError:
        assume(False)
    count = round(float(counts_of(travel, centre, way, np.array(lean))))
    assume(made.low_count <= count <= made.high_count)
    joint, calibration = make("Joint"), make("Calibration")
    joint.count = joint.good_count = count
    for i in range(5):
        calibration.count[i] = made.counts[i]
        calibration.angle_cdeg[i] = made.angles_cdeg[i]
    calibration.low_count, calibration.high_count = made.low_count, made.high_count
    angle_cdeg = joint_angle_cdeg(joint, calibration, 4095, 1)
    # Half a count, and two roundings of a hundredth of a degree.
    tolerance = travel / FULL_SCALE / 2 * 18000 / pi + 2
    assert abs(angle_cdeg - degrees(lean) * 100) <= tolerance


def test_points_rise_in_count_and_the_window_holds_them_with_its_margin() -> None:
    for way in (-1, 1):
        line = fit(poses_of(counts_of(radians(300), radians(42), way, LEANS)))
        made = table(line, radians(10), radians(74), MARGIN)
        assert list(made.counts) == sorted(set(made.counts))
        margin = MARGIN / radians(300) * FULL_SCALE
        assert made.counts[0] - made.low_count == pytest.approx(margin, abs=1)
        assert made.high_count - made.counts[-1] == pytest.approx(margin, abs=1)
        assert len(made.words) == 12


def test_a_reversed_pot_is_told_and_is_no_fault() -> None:
    poses = poses_of(counts_of(radians(300), radians(42), -1, LEANS))
    (remark,) = remarks(poses, fit(poses), RIG)
    assert remark.harmless and "counts down" in remark.words


@pytest.mark.parametrize(
    ("poses", "words", "stops"),
    [
        (poses_of(np.array([1900, 2000, 2100, 4095])), "turn the pot on its shaft", True),
        (poses_of(np.array([1900, 1903, 1905, 1908])), "hardly moves", True),
        ([Pose(lean, 1900 + 700 * lean, 9) for lean in LEANS], "noisy: 9.0 counts", False),
        ([Pose(lean, 1900 + 782 * lean, 1, 0.1) for lean in LEANS], "leaps: 10 %", False),
        (poses_of(np.array([1900, 2050, 2100, 2210])), "off a straight line", False),
        (poses_of(np.array([1900, 2060, 2220, 2380])), "sensors.pot_travel", False),
    ],
)
def test_what_is_wrong_with_a_pot_is_told_with_what_was_expected(
    poses: list[Pose], words: str, stops: bool
) -> None:
    found = [one for one in remarks(poses, fit(poses), RIG) if words in one.words]
    assert [one.stops for one in found] == [stops]
    assert not found[0].harmless


def test_a_wiper_that_leaves_its_track_for_a_moment_is_no_noise() -> None:
    counts = [2000, 2001, 1999, 2000] * 60 + [0]
    found = pose(0.5, counts, 40)
    assert (found.count, round(found.noise_count, 2)) == (2000, 0.71)
    assert found.leaps == pytest.approx(1 / 241)


def test_a_stop_elsewhere_than_in_the_rig_file_is_told() -> None:
    assert stop_remark("the hard folded stop", radians(101), radians(102)) is None
    remark = stop_remark("the hard folded stop", radians(97), radians(102))
    assert remark is not None
    assert "97.0 deg" in remark.words and "102.0" in remark.words


def test_poses_without_any_turn_make_no_line() -> None:
    with pytest.raises(FitError, match="same in every pose"):
        fit(poses_of(np.full(4, 2000)))
    with pytest.raises(FitError, match="few counts"):
        table(Fit(0.0, 1.0, (0.0,)), radians(10), radians(74), MARGIN)


def test_a_travel_that_ends_with_the_converter_leaves_no_room_to_see_an_open_wire() -> None:
    line = fit(poses_of(counts_of(radians(300), radians(150), 1, LEANS)))
    (remark,) = window_remarks(table(line, radians(0), radians(74), MARGIN))
    assert remark.stops and "open or shorted" in remark.words
