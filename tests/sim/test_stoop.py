"""The stoop in the simulator: in time, level, steady, and safe whatever the stick does."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import degrees, inf, radians
from typing import Any

import numpy as np
import pytest
from hocklift.sizing.loads import Loads
from legcore.phases import LIFTING, OFF, STANDING, STOOPING
from legsim.figures import leg_figures
from legsim.perturb import misaligned, perturbed
from legsim.rig import Rig
from legsim.run import Walk
from legsim.stoops import StoopFigures, stoop_figures
from legsim.wearer import Push, Raise, first_s, script

DEMO = Rig()
BEGIN_S = first_s(DEMO)
BUILDS = 200
# Down for as long as is wanted and a little, a rest, and up.
DOWN = Push(BEGIN_S, BEGIN_S + 4.5, 1.0)
UP = Push(BEGIN_S + 6.0, BEGIN_S + 10.5, -1.0)
# Let go half way, held for five seconds and a little, and up.
HALF = Push(BEGIN_S, BEGIN_S + 2.0, 1.0)
AWAY = Push(BEGIN_S + 8.0, BEGIN_S + 11.5, -1.0)


def walk_of(
    pushes: Sequence[Push],
    raises: Sequence[Raise] = (),
    seconds: float = BEGIN_S + 12.0,
    seed: int | None = None,
    rig: Rig = DEMO,
) -> Walk:
    """Who stoops on the demo rig, or on another build of it, one foot on a bump."""
    made = rig if seed is None else perturbed(rig, seed)
    lines = script(made, list(raises), seconds, seed or 1, pushes)
    if seed is not None:
        lines["left"]["ground_m"] = made.ground.bump_m
    walk = Walk(made, lines, seed or 1, believed=rig)
    if seed is not None:
        misaligned(walk.state, seed)
    return walk


def figures(walk: Walk, rig: Rig = DEMO) -> StoopFigures:
    found = stoop_figures(walk.run(), rig)
    assert found is not None
    return found


def phases(walk: Walk) -> dict[str, Any]:
    trace = walk.run()
    return {name: trace[name]["phase"] for name in ("left", "right")}


def faults(walk: Walk) -> int:
    trace = walk.trace
    bits = trace["fault_bits"] | trace["left"]["fault_bits"] | trace["right"]["fault_bits"]
    return int(np.bitwise_or.reduce(bits))


@pytest.mark.big
@pytest.mark.parametrize("first", range(1, BUILDS, 50))
def test_builds_of_the_rig_stoop_and_rise_in_time_and_level(
    first: int, record_property: Any
) -> None:
    """Whatever the battery, the friction, the ground under one foot, and the calibration."""
    worst = {"down_s": 0.0, "up_s": 0.0, "apart_deg": 0.0, "deepest_deg": 0.0}
    for seed in range(first, first + 50):
        walk = walk_of([DOWN, UP], seed=seed)
        made = figures(walk)
        assert faults(walk) == 0, seed
        folds = [walk.trace[leg]["thigh_rad"] + walk.trace[leg]["shank_rad"] for leg in LEGS]
        deepest_rad = float(np.max(folds))
        assert deepest_rad <= DEMO.mechanism.fold_soft_stop_rad, seed
        assert made.down_s <= DEMO.wants.stoop_s, seed
        assert made.up_s <= DEMO.wants.stoop_s, seed
        assert made.apart_rad < DEMO.wants.stoop_apart_rad, seed
        worst["down_s"] = max(worst["down_s"], made.down_s)
        worst["up_s"] = max(worst["up_s"], made.up_s)
        worst["apart_deg"] = max(worst["apart_deg"], degrees(made.apart_rad))
        worst["deepest_deg"] = max(worst["deepest_deg"], degrees(deepest_rad))
    told = ", ".join(f"{name} {value:.2f}" for name, value in worst.items())
    record_property(f"stoops of builds {first} to {first + 49}, worst", told)


LEGS = ("left", "right")
# A held leg turns its pots by less than their play before they notice, and rises by that.
DRIFT_DEG = 1.5


@pytest.mark.big
@pytest.mark.parametrize("first", range(1, BUILDS, 50))
def test_a_stick_let_go_half_way_keeps_the_height(first: int, record_property: Any) -> None:
    drifts_deg = []
    for seed in range(first, first + 50):
        walk = walk_of([HALF, AWAY], seed=seed)
        drifts_deg.append(degrees(figures(walk).drift_rad))
        assert faults(walk) == 0, seed
    record_property(
        f"drift of held stoops in 5 s, builds {first} to {first + 49}",
        f"median {np.median(drifts_deg):.2f}, most {max(drifts_deg):.2f} deg",
    )
    assert max(drifts_deg) < DRIFT_DEG


def test_a_held_stoop_hardly_warms_its_motors() -> None:
    """Gears and a brake at neutral hold; only pulses take current."""
    down = Push(BEGIN_S, BEGIN_S + 4.5, 1.0)
    walk = walk_of([down], seconds=BEGIN_S + 60.0)
    trace = walk.run()
    assert faults(walk) == 0
    assert trace["left"]["phase"][-1] == STOOPING
    assert max(trace[leg]["winding_K"].max() for leg in LEGS) < 10


def test_legs_that_stoop_for_too_long_rise_by_themselves_and_wait_for_the_stick() -> None:
    rig = replace(DEMO, control=replace(DEMO.control, stoop_time_s=6.0))
    held = Push(BEGIN_S, BEGIN_S + 20.0, 1.0)
    walk = walk_of([held], seconds=BEGIN_S + 15.0, rig=rig)
    phase = phases(walk)["left"]
    assert faults(walk) == 0
    assert phase[-1] == STANDING
    # The stick is still pushed: once is enough.
    assert np.count_nonzero(np.diff((phase == STOOPING).astype(int)) == 1) == 1


def test_legs_too_warm_rise_before_the_winding_is_at_its_limit() -> None:
    small = replace(DEMO.drive, winding_J_per_K=2.0, case_J_per_K=3.0, case_to_air_K_per_W=30.0)
    rig = replace(DEMO, drive=small)
    pushes = [Push(at, at + 3.0, 1.0 - 2.0 * (i % 2)) for i, at in enumerate(np.arange(3, 60, 4))]
    walk = walk_of(pushes, seconds=65.0, rig=rig)
    phase = phases(walk)["left"]
    assert faults(walk) == 0
    assert max(walk.trace[leg]["winding_K"].max() for leg in LEGS) < rig.drive.winding_limit_K
    begun = np.flatnonzero(np.diff((phase == STOOPING).astype(int)) == 1)
    assert len(begun) < len(pushes) / 2


def test_a_raised_foot_waits_until_the_legs_have_risen() -> None:
    """Stepping is refused while stooped, and so is stooping while a foot is up."""
    foot = Raise(0, BEGIN_S + 5.0, BEGIN_S + 6.0, BEGIN_S + 6.8)
    early = [replace(foot, start_s=foot.start_s + s, end_s=foot.end_s + s) for s in (0.0, 1.5)]
    walk = walk_of([DOWN], early)
    assert LIFTING not in phases(walk)["left"]
    up = replace(foot, start_s=BEGIN_S, end_s=BEGIN_S + 3.0, down_s=BEGIN_S + 3.8)
    walk = walk_of([replace(DOWN, start_s=BEGIN_S + 1.0)], [up], seconds=BEGIN_S + 9.0)
    for leg in phases(walk).values():
        assert STOOPING not in leg
    assert faults(walk) == 0


def test_a_foot_raised_near_the_top_ends_the_stoop_and_is_lifted() -> None:
    dip = Push(BEGIN_S, BEGIN_S + 0.25, 1.0)
    foot = Raise(0, BEGIN_S + 2.0, BEGIN_S + 3.5, BEGIN_S + 4.3)
    walk = walk_of([dip], [foot], seconds=BEGIN_S + 6.0)
    left = phases(walk)["left"]
    changes = [int(left[0]), *(int(b) for a, b in pairwise(left) if a != b)]
    assert changes[:4] == [OFF, STANDING, STOOPING, STANDING]
    assert changes[4] == LIFTING


def test_nothing_arms_with_the_stick_off_its_middle() -> None:
    walk = walk_of([Push(0.0, 10.0, 0.5)], seconds=8.0)
    assert set(phases(walk)["left"].tolist()) == {OFF}


def leaning(share: float, since_s: float) -> Walk:
    """Who stoops and rises with so much of the weight on the left leg from a moment on."""
    walk = walk_of([DOWN, UP])
    since = round(since_s / DEMO.control.period_s)
    walk.lines["left"]["share"][since:] = share
    walk.lines["right"]["share"][since:] = 1 - share
    return walk


@pytest.mark.parametrize("share", [0.6, 0.75])
def test_weight_mostly_on_one_leg_neither_mismatches_nor_stops_the_stoop(share: float) -> None:
    walk = leaning(share, BEGIN_S - 0.6)
    made = figures(walk)
    assert faults(walk) == 0
    assert 0 < made.down_s <= DEMO.wants.stoop_s
    assert 0 < made.up_s <= DEMO.wants.stoop_s
    # Only while a rope is loose, so that weight alone folds its leg, are they farther apart.
    assert made.apart_rad < DEMO.wants.stoop_apart_rad
    assert walk.trace["left"]["phase"][-1] == STANDING


@pytest.mark.parametrize("share", [0.75, 0.9, 1.0])
def test_weight_that_moves_onto_one_leg_in_mid_stoop_is_borne_or_ends_it_gently(
    share: float,
) -> None:
    """A rope cannot push: more than springs bear folds a leg, and then both are let rise."""
    walk = leaning(share, BEGIN_S + 2.0)
    walk.run()
    period_s = DEMO.control.period_s
    folds = [walk.trace[leg]["thigh_rad"] + walk.trace[leg]["shank_rad"] for leg in LEGS]
    assert np.max(folds) <= DEMO.mechanism.fold_hard_stop_rad
    risen_s = np.flatnonzero(walk.trace["left"]["phase"] != STOOPING)
    assert risen_s.size
    # The frame comes up no faster than a stoop's own speed and what a spring's ring adds.
    rises = -np.diff(np.mean(folds, axis=0)) / period_s
    assert (
        np.percentile(rises[round(BEGIN_S / period_s) :], 99) < 3 * DEMO.control.stoop_speed_radps
    )
    if share < 0.8:
        assert faults(walk) == 0


def test_a_stoop_is_refused_while_one_foot_bears_nothing() -> None:
    """With a tenth of the weight on it a sole is not closed: that foot is as good as raised."""
    walk = leaning(0.9, BEGIN_S - 0.6)
    assert STOOPING not in phases(walk)["left"]
    assert faults(walk) == 0


def test_legs_that_rise_by_themselves_are_told_with_how_long_they_were_held() -> None:
    rig = replace(DEMO, control=replace(DEMO.control, stoop_time_s=12.0))
    made = figures(walk_of([DOWN], seconds=BEGIN_S + 20.0, rig=rig), rig)
    assert made.risen == 1
    # Held for what is left of the twelve seconds, then risen in less than four.
    assert 12.0 - 4.65 <= made.held_s <= 12.0 - 4.65 + rig.wants.stoop_s
    assert 0 < made.drift_rad < rig.wants.stoop_drift_rad
    assert figures(walk_of([DOWN, UP])).risen == 0


def test_between_its_pulses_a_stoop_rises_as_fast_as_it_was_sized_to(record_property: Any) -> None:
    """Springs turn the braked motor back through gears and rope: sized by closed formulas."""
    patient = replace(DEMO, control=replace(DEMO.control, keep_rad=radians(5)))
    walk = walk_of([DOWN], seconds=BEGIN_S + 10.0, rig=patient)
    trace = walk.run()
    fold = trace["left"]["thigh_rad"] + trace["left"]["shank_rad"]
    start = round((DOWN.end_s + 1.0) / DEMO.control.period_s)
    risen_radps = (fold[start] - fold[start + round(2 / DEMO.control.period_s)]) / 2
    sized_radps = Loads(DEMO).stoop_creep_radps
    record_property(
        "a stoop between its pulses",
        f"rises {degrees(risen_radps):.3f} deg/s, sized {degrees(sized_radps):.3f}",
    )
    assert risen_radps == pytest.approx(sized_radps, rel=0.1)
    coasting = replace(DEMO, controller=replace(DEMO.controller, neutral="coast"))
    assert Loads(coasting).stoop_creep_radps == inf
    stiff = replace(DEMO, drive=replace(DEMO.drive, no_load_current_A=12.0))
    assert Loads(stiff).stoop_creep_radps == 0


def test_a_controller_that_coasts_at_neutral_holds_less_still_and_warms_more() -> None:
    """Without a brake nothing but friction holds between the pulses."""
    coasting = replace(DEMO, controller=replace(DEMO.controller, neutral="coast"))
    walks = {rig: walk_of([HALF, AWAY], rig=rig) for rig in (DEMO, coasting)}
    drifts = {rig: figures(walk).drift_rad for rig, walk in walks.items()}
    warmth = {rig: walk.trace["left"]["winding_K"].max() for rig, walk in walks.items()}
    assert drifts[DEMO] < drifts[coasting]
    assert warmth[DEMO] < warmth[coasting]


def test_a_walk_without_a_stoop_has_no_figures_of_one() -> None:
    walk = walk_of([])
    trace = walk.run()
    assert stoop_figures(trace, DEMO) is None
    assert leg_figures(trace, "left", DEMO).stoop is None
