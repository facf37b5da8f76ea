"""What the board is told of the leg: pots and switches with the faults that real ones have."""

from itertools import pairwise
from math import radians, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim import core
from legsim.plant import start_state
from legsim.records import CONTACT_ILLS, POT_ILLS, rig_record
from legsim.rig import Rig
from legsim.sensors import FULL_SCALE, noise, play, pot_count, sense_leg, uniform
from legsim.settings import core_rig
from rigs import DEMO, PERIOD_S, changed, walk

PERFECT = {
    "pot_nonlinearity": 0.0,
    "pot_backlash_rad": 0.0,
    "noise_count": 0.0,
    "lift_off_per_s": 0.0,
}
LEANS_RAD = st.floats(radians(-60), radians(140))


class Board:
    """One leg's inputs, read tick by tick while something moves it."""

    def __init__(self, rig: Rig, seed: int = 1) -> None:
        self.rig = rig_record(rig)[0]
        self.state = start_state(rig, seed)[0]
        self.leg = self.state["left"]
        self.core = core.to_record(core_rig(rig))[0]["left"]

    def read(self, **leg: float) -> tuple[int, int]:
        """Thigh count and switch in the next tick."""
        for name, value in leg.items():
            self.leg[name] = value
        sense_leg(self.leg, self.rig, self.state, self.core)
        return int(self.core["thigh"]["count"]), int(self.core["switch"])

    def sole(self, **leg: float) -> int:
        """Sole contact in the next tick."""
        self.read(**leg)
        return int(self.core["sole"])

    def count(self, lean_rad: float) -> int:
        """Count of a pot whose shaft stands so."""
        return int(pot_count(self.rig, self.state, lean_rad))


def ideal_count(lean_rad: float) -> float:
    s = DEMO.sensors
    return FULL_SCALE * (0.5 + (lean_rad - s.pot_centre_rad) / s.pot_travel_rad)


@given(st.floats(radians(-100), radians(180)))
def test_a_perfect_pot_reads_its_lean_to_the_nearest_count(lean_rad):
    assert abs(Board(changed(sensors=PERFECT)).count(lean_rad) - ideal_count(lean_rad)) <= 0.5


@given(st.floats(-1e3, 1e3), st.floats(0, 200))
def test_a_count_stays_within_the_converters_range(lean_rad, noise_count):
    board = Board(changed(sensors={"noise_count": noise_count, "reference_error": 0.1}))
    assert 0 <= board.count(lean_rad) <= FULL_SCALE


def test_readings_scatter_by_the_noise_and_by_rounding():
    # Theory: rounding to whole counts adds a variance of 1/12.
    board = Board(changed(sensors=PERFECT | {"noise_count": 5.0}))
    counts = np.array([board.count(0.7) for _ in range(20000)])
    assert counts.std() == pytest.approx(sqrt(5**2 + 1 / 12), rel=0.02)
    assert counts.mean() == pytest.approx(ideal_count(0.7), abs=0.15)


def test_noise_has_unit_variance_and_no_mean():
    state = start_state(DEMO, 3)[0]
    drawn = np.array([noise(state) for _ in range(20000)])
    assert drawn.mean() == pytest.approx(0, abs=0.03)
    assert drawn.var() == pytest.approx(1, rel=0.03)


def test_random_numbers_fill_their_range_evenly():
    state = start_state(DEMO, 3)[0]
    drawn = np.array([uniform(state) for _ in range(20000)])
    assert np.histogram(drawn, 10, (0, 1))[0] == pytest.approx(2000, abs=200)
    assert 0 <= drawn.min() < drawn.max() < 1


def test_the_track_is_bowed_by_its_nonlinearity_at_most_and_true_at_middle_and_ends():
    bowed = Board(changed(sensors=PERFECT | {"pot_nonlinearity": 0.01}))
    s = DEMO.sensors
    leans_rad = s.pot_centre_rad + np.linspace(-0.5, 0.5, 41) * s.pot_travel_rad
    off = np.array([bowed.count(float(lean)) - ideal_count(float(lean)) for lean in leans_rad])
    assert abs(off).max() == pytest.approx(0.01 * FULL_SCALE, abs=1)
    assert off[[0, 20, 40]] == pytest.approx([0, 0, 0], abs=0.6)


def test_a_reference_that_reads_high_scales_every_count():
    board = Board(changed(sensors=PERFECT | {"reference_error": 0.02}))
    assert board.count(0.5) == pytest.approx(1.02 * ideal_count(0.5), abs=0.5)


@given(st.lists(LEANS_RAD, min_size=2, max_size=30), st.floats(0, radians(10)))
def test_a_shaft_with_play_follows_within_half_of_it_and_never_overtakes(leans_rad, backlash_rad):
    shaft_rad = leans_rad[0]
    for before_rad, lean_rad in pairwise(leans_rad):
        moved_rad = play(shaft_rad, lean_rad, backlash_rad) - shaft_rad
        assert moved_rad * (lean_rad - before_rad) >= -1e-12
        shaft_rad += moved_rad
        assert abs(shaft_rad - lean_rad) <= backlash_rad / 2 + 1e-12


def test_on_turning_back_a_pot_stands_until_its_play_is_taken_up():
    board = Board(changed(sensors=PERFECT | {"pot_backlash_rad": radians(2)}))
    there, _ = board.read(thigh_rad=radians(50))
    assert board.read(thigh_rad=radians(48.1))[0] == there
    back, _ = board.read(thigh_rad=radians(46))
    assert back == pytest.approx(there - 2 / 300 * FULL_SCALE, abs=1)


def test_a_wiper_off_its_track_reads_nothing_for_a_moment_and_then_again():
    rig = changed(sensors=PERFECT | {"lift_off_per_s": 2.0, "lift_off_s": 0.02})
    board = Board(rig)
    lost = np.array([board.read()[0] == 0 for _ in range(50000)])
    starts = np.flatnonzero(lost[1:] & ~lost[:-1])
    assert len(starts) == pytest.approx(2.0 * 50000 * PERIOD_S, rel=0.15)
    assert lost.sum() / len(starts) == pytest.approx(0.02 / PERIOD_S, rel=0.1)


def test_a_lift_off_of_one_tick_does_not_reach_the_fold_that_the_core_sees():
    # A reading outside the window is left out whole, where a low-pass would smear it.
    def off_deg(lift_off_per_s: float) -> float:
        leg = walk(changed(sensors={"lift_off_per_s": lift_off_per_s}))["left"]
        assert ((leg["thigh_count"] == 0).sum() > 10) == (lift_off_per_s > 0)
        assert not leg["fault_bits"].any()
        fold_deg = np.degrees(leg["thigh_rad"] + leg["shank_rad"])
        return float(abs(leg["fold_cdeg"] / 100 - fold_deg).max())

    assert off_deg(1.0) < 1.2 * off_deg(0.0)


def test_a_switch_closes_only_under_its_force():
    hardly = Board(changed(wearer={"push_N": DEMO.sensors.switch_force_N}))
    assert all(hardly.read(push=1.0)[1] == 0 for _ in range(100))
    board = Board(changed(sensors={"switch_bounce_s": 0.0}))
    assert board.read(push=1.0)[1] == 1
    assert board.read(push=0.0)[1] == 0


@pytest.mark.parametrize("seed", range(5))
def test_a_switch_chatters_after_it_moves_and_then_is_quiet(seed):
    bounce_s = 0.2
    board = Board(changed(sensors={"switch_bounce_s": bounce_s}), seed)
    board.leg["switch_moved_s"] = 1.0
    read = [board.read(push=1.0)[1] for _ in range(100)]
    chatter = round(bounce_s / PERIOD_S)
    assert 0 < sum(read[:chatter]) < chatter
    assert all(read[chatter:])


@pytest.mark.parametrize("seed", range(5))
def test_the_core_takes_a_chattering_switch_for_one_press(seed):
    trace = walk(changed(sensors={"switch_bounce_s": 0.010}), 10.0, seed)
    asked = (np.diff((trace["right"]["push"] > 0).astype(int)) > 0).sum()
    raw, pressed = ((np.diff(trace["right"][name]) > 0).sum() for name in ("switch", "pressed"))
    assert pressed == asked < raw


def test_a_sole_contact_closes_when_the_load_on_its_foot_plate_passes_its_force():
    board = Board(DEMO)
    assert board.sole(load_N=DEMO.sensors.sole_force_N - 1) == 0
    assert board.sole(load_N=DEMO.sensors.sole_force_N + 1) == 1
    assert board.sole(load_N=0.0) == 0


def with_pot(ill: str) -> Board:
    """A perfect board whose left thigh's pot is ill."""
    board = Board(changed(sensors=PERFECT))
    board.read(thigh_rad=radians(40))
    board.leg["thigh_ill"] = POT_ILLS.index(ill)
    return board


def test_a_pot_with_an_open_wire_reads_nothing_and_a_shorted_one_everything():
    assert {with_pot("open").read(thigh_rad=radians(lean))[0] for lean in (20, 60)} == {0}
    assert {with_pot("shorted").read(thigh_rad=radians(lean))[0] for lean in (20, 60)} == {
        FULL_SCALE
    }


def test_a_frozen_pot_reads_on_what_it_read_last():
    board = with_pot("frozen")
    there = round(ideal_count(radians(40)))
    assert [board.read(thigh_rad=radians(lean))[0] for lean in (41, 60, 12)] == [there] * 3


def test_a_jumping_pot_reads_anything_every_other_time_and_else_the_truth():
    board, there = with_pot("jumping"), round(ideal_count(radians(40)))
    counts = np.array([board.read()[0] for _ in range(2000)])
    assert (counts == there).mean() == pytest.approx(0.5, abs=0.05)
    wild = counts[counts != there]
    assert np.histogram(wild, 4, (0, FULL_SCALE))[0] == pytest.approx(len(wild) / 4, rel=0.2)


def test_a_pot_that_has_slipped_on_its_shaft_is_off_by_as_much_at_every_lean():
    board = Board(changed(sensors=PERFECT))
    for lean in (20, 40, 60):
        straight, _ = board.read(thigh_rad=radians(lean), thigh_slip_rad=0.0)
        slipped, _ = board.read(thigh_slip_rad=radians(10))
        assert slipped - straight == pytest.approx(10 / 300 * FULL_SCALE, abs=1)


def test_only_the_joint_that_is_ill_reads_wrong():
    board = with_pot("open")
    board.read(shank_rad=radians(30))
    assert board.core["shank"]["count"] == round(ideal_count(radians(30)))


@pytest.mark.parametrize("contact", ["switch", "sole"])
def test_a_contact_that_is_stuck_or_open_does_not_feel_what_presses_it(contact):
    board = Board(DEMO)
    for ill, reads in (("closed", 1), ("open", 0)):
        board.leg[f"{contact}_ill"] = CONTACT_ILLS.index(ill)
        for pressed in (0.0, 1.0):
            for _ in range(50):
                board.read(push=pressed, load_N=200 * pressed)
                assert board.core[contact] == reads


@pytest.mark.parametrize("contact", ["switch", "sole"])
def test_a_chattering_contact_is_closed_half_of_the_time(contact):
    board = Board(DEMO)
    board.leg[f"{contact}_ill"] = CONTACT_ILLS.index("chattering")
    read = []
    for _ in range(2000):
        board.read()
        read.append(int(board.core[contact]))
    assert np.mean(read) == pytest.approx(0.5, abs=0.05)
