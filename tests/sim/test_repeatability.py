"""Same rig, same script, same seed: the same walk, to the bit, however it is run."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from legsim.figures import leg_figures
from legsim.run import Walk
from legsim.wearer import metronome_raises, script
from rigs import DEMO, FEET, changed, walk

from benchmarks.plain_loop import PlainLoop

LINES = script(DEMO, metronome_raises(DEMO, 8.0), 8.0)


def test_the_same_seed_gives_the_same_walk_to_the_bit():
    assert walk(seed=7).tobytes() == walk(seed=7).tobytes()


@given(st.integers(-(2**63), 2**64), st.integers(-(2**63), 2**64))
@settings(max_examples=30)
def test_another_seed_gives_another_walk(one, other):
    ones, others = (Walk(DEMO, LINES[:300], seed).run() for seed in (one, other))
    assert (ones.tobytes() == others.tobytes()) == ((one - other) % 2**64 == 0)


@given(st.integers(1, 2000))
@settings(max_examples=30)
def test_a_walk_run_in_pieces_is_the_walk_run_at_once(chunk):
    pieces = Walk(DEMO, LINES, 5)
    done = list(pieces.ticks(chunk))
    assert done[-1] == len(LINES)
    assert pieces.trace.tobytes() == Walk(DEMO, LINES, 5).run().tobytes()


@pytest.mark.parametrize("seed", [1, 2])
def test_plain_and_compiled_core_make_the_same_walk_to_the_bit(seed):
    # So what is found in a million compiled walks holds for the core as Python runs it.
    compiled = Walk(DEMO, LINES, seed).run()
    assert PlainLoop(DEMO, LINES, seed).run().tobytes() == compiled.tobytes()
    assert compiled["left"]["phase"].max() > 3


@pytest.mark.parametrize("substep_s", [0.004, 0.002, 0.001, 0.0005, 0.00025, 0.0008])
def test_substeps_divide_the_period(substep_s):
    count = changed(control={"substep_s": substep_s}).substeps
    assert count * substep_s == pytest.approx(DEMO.control.period_s)


@pytest.mark.parametrize("substep_s", [0.003, 0.0009, 0.005, 0.1])
def test_a_substep_that_does_not_divide_the_period_is_refused(substep_s):
    # Else the plant would run slower or faster than the loop that controls it.
    with pytest.raises(ValueError, match="substep"):
        walk(changed(control={"substep_s": substep_s}), seconds=1.0)


@pytest.mark.parametrize("foot", FEET)
def test_half_the_substep_changes_a_walk_by_little(foot, record_property):
    # The figures are the rig's, not the integrator's.
    shipped = DEMO.control.substep_s
    ours, finer = (
        leg_figures(walk(rig), foot, rig)
        for rig in (DEMO, changed(control={"substep_s": shipped / 2}))
    )
    record_property(
        f"half the substep, {foot} leg",
        f"{1000 * (finer.clearance_median_m - ours.clearance_median_m):+.2f} mm of clearance,"
        f" {100 * (finer.energy_per_step_J / ours.energy_per_step_J - 1):+.2f} % of energy",
    )
    assert finer.steps_made == ours.steps_made
    assert finer.clearance_median_m == pytest.approx(ours.clearance_median_m, abs=0.0005)
    assert finer.lift_worst_s == pytest.approx(ours.lift_worst_s, abs=0.012)
    assert finer.lower_worst_s == pytest.approx(ours.lower_worst_s, abs=0.012)
    assert finer.tension_peak_N == pytest.approx(ours.tension_peak_N, rel=0.01)
    assert finer.energy_per_step_J == pytest.approx(ours.energy_per_step_J, rel=0.01)
    assert finer.current_mean_A == pytest.approx(ours.current_mean_A, rel=0.04)


def test_a_short_walk_is_the_beginning_of_a_long_one():
    # Nothing in a tick may look ahead.
    whole = Walk(DEMO, LINES, 3).run()
    part = Walk(DEMO, LINES[:1200], 3).run()
    assert part.tobytes() == whole[:1200].tobytes()
    assert np.ptp(part["left"]["clearance_m"]) > 0.05
