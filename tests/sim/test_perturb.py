"""Other builds of a rig: within their tolerances, within the simulator's reach, by seed alone."""

from dataclasses import fields, replace
from math import radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legsim.perturb import (
    ABOVE,
    FACTOR,
    LESS,
    MORE,
    OFFSET,
    TOLERANCES,
    Tolerance,
    misaligned,
    perturbed,
)
from legsim.plant import start_state
from legsim.rig import SECTIONS, SIZING_SECTIONS, Rig
from legsim.stiffness import coarsest_substep_s
from rigs import DEMO, FEET, changed

SEEDS = range(200)
BUILDS = [perturbed(DEMO, seed) for seed in SEEDS]
seeds = st.integers(0, 2**64)
# What the builder chooses, or what sizing alone needs: it is what the file says.
CHOSEN = ("control", "safety", "wants", *SIZING_SECTIONS)


def value(rig: Rig, key: str) -> float:
    section, name = key.split(".")
    return getattr(getattr(rig, section), name)


def span(tolerance: Tolerance) -> tuple[float, float]:
    """The least and the most that a number of the demo rig may become."""
    at, spread = value(DEMO, tolerance.key), tolerance.spread
    low, high = {
        FACTOR: (at * (1 - spread), at * (1 + spread)),
        MORE: (at, at * (1 + spread)),
        LESS: (at * (1 - spread), at),
        OFFSET: (at - spread, at + spread),
        ABOVE: (at, at + spread),
    }[tolerance.way]
    return low, high


@pytest.mark.parametrize("tolerance", TOLERANCES, ids=lambda one: one.key)
def test_a_number_is_drawn_evenly_over_all_of_its_spread(tolerance):
    low, high = span(tolerance)
    drawn = np.array([value(rig, tolerance.key) for rig in BUILDS])
    assert low - 1e-12 <= drawn.min() < low + 0.1 * (high - low)
    assert high - 0.1 * (high - low) < drawn.max() <= high + 1e-12
    assert drawn.mean() == pytest.approx((low + high) / 2, abs=0.1 * (high - low))


def test_every_tolerance_is_of_another_number_and_has_its_reason():
    assert len({one.key for one in TOLERANCES}) == len(TOLERANCES)
    assert all(one.reason and one.spread > 0 for one in TOLERANCES)


def test_what_the_builder_chooses_is_as_the_file_says():
    for rig in BUILDS:
        for section in CHOSEN:
            # But for the simulator's own step.
            step_s = {"substep_s": DEMO.control.substep_s} if section == "control" else {}
            assert replace(getattr(rig, section), **step_s) == getattr(DEMO, section)


def test_every_other_section_differs_in_something():
    sections = {one.key.split(".")[0] for one in TOLERANCES}
    assert sections == set(SECTIONS) - {*CHOSEN, "gas_spring"}


@given(seeds)
def test_the_same_seed_gives_the_same_build(seed):
    assert perturbed(DEMO, seed) == perturbed(DEMO, seed) != perturbed(DEMO, seed + 1)


@given(seeds, st.floats(5e3, 4e5), st.floats(100, 5000))
def test_whatever_is_drawn_the_simulator_can_follow_it(seed, line_EA_N, damping_Ns_per_m):
    stiff = changed(rope={"line_EA_N": line_EA_N}, ground={"damping_Ns_per_m": damping_Ns_per_m})
    rig = perturbed(stiff, seed)
    assert rig.control.substep_s <= coarsest_substep_s(rig)
    assert rig.substeps * rig.control.substep_s == pytest.approx(DEMO.control.period_s)


@given(seeds)
def test_a_number_at_the_end_of_its_range_stays_within_it(seed):
    edge = changed(
        drive={"mesh_efficiency": 1.0}, battery={"charge": 0.02}, mechanism={"carried_mass_kg": 1.0}
    )
    rig = perturbed(edge, seed)
    for section in ("drive", "battery", "mechanism"):
        for item in fields(getattr(rig, section)):
            number = getattr(getattr(rig, section), item.name)
            assert item.metadata["low"] <= number <= item.metadata["high"]


@given(seeds)
def test_each_joints_sensor_is_a_little_off_its_calibration_on_its_own(seed):
    state = start_state(DEMO, 1)
    misaligned(state, seed)
    slips_rad = [
        state[foot][f"{joint}_slip_rad"][0] for foot in FEET for joint in ("thigh", "shank")
    ]
    assert len(set(slips_rad)) == 4
    assert np.abs(slips_rad).max() <= radians(0.3)
