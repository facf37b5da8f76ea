"""A thousand minutes of ordinary walking, a stoop after each, on rigs not quite as their file."""

import numpy as np
import pytest
from legcore.phases import LIFTING, STOOPING
from legsim.acts import Act, play
from legsim.perturb import TOLERANCES, built, draws, misaligned
from legsim.rig import Rig
from legsim.run import Walk
from legsim.tables import fault_names
from rigs import DEMO, FEET, PERIOD_S, built_in_gait, changed

MINUTES = 10
RIGS = 100
# Each minute of walking ends on whatever ground the feet have come to; there the wearer stoops.
MINUTE = (
    Act("walk", {"time": 60.0}),
    Act("stand", {"time": 1.0}),
    Act("stoop", {"time": 4.5, "stick": 1.0}),
    Act("stand", {"time": 2.5}),
    Act("rise", {"time": 4.5, "stick": 1.0}),
    Act("stand", {"time": 2.5}),
)
# Two tests, since that is how many run at a time.
HALVES = (range(RIGS // 2), range(RIGS // 2, RIGS))
# No alarm may come of a rig that walks badly, either: sensors set by one reading of a level and
# never calibrated, a reference that drifts, ground as soft as a mattress, hurried wearers.
WORSE = {"sensors.pot_centre_rad": 2.5, "sensors.reference_error": 3.0}
SLIPS_WORSE = 5 / 3


def badly_built(seed: int) -> Rig:
    """Another build of the demo rig, by more than its tolerances where `WORSE` says so."""
    drawn = {row.key: one for row, one in zip(TOLERANCES, draws(seed), strict=True)}
    rig = built(DEMO, [one * WORSE.get(key, 1.0) for key, one in drawn.items()])
    soft = DEMO.ground.stiffness_N_per_m * (1 + 0.6 * drawn["ground.stiffness_N_per_m"])
    return changed(rig, ground={"stiffness_N_per_m": soft})


def walk(seed: int) -> tuple[int, int, int, str]:
    """Feet raised, lifts and stoops made in a walk of another build; its first fault in words."""
    rig = badly_built(seed)
    lines = play(rig, list(MINUTE) * MINUTES, (built_in_gait(), None)[seed % 2], seed)
    other = Walk(rig, lines, seed, believed=DEMO)
    misaligned(other.state, seed)
    for foot in FEET:
        for joint in ("thigh", "shank"):
            other.state[foot][f"{joint}_slip_rad"] *= SLIPS_WORSE
    trace = other.run()
    asked = sum(times(lines[foot]["push"] > 0.5) for foot in FEET)
    lifts = sum(times(trace[foot]["phase"] == LIFTING) for foot in FEET)
    stoops = times(trace["left"]["phase"] == STOOPING)
    bits = trace["fault_bits"] | trace["left"]["fault_bits"] | trace["right"]["fault_bits"]
    tick = int(np.argmax(bits != 0))
    names = ", ".join(fault_names(int(bits[tick])))
    return asked, lifts, stoops, names and f"rig {seed}: {names} after {tick * PERIOD_S:.1f} s"


def times(condition) -> int:
    """How often a condition comes about."""
    return int((np.diff(condition * 1) > 0).sum())


@pytest.mark.parametrize("seeds", HALVES, ids=lambda seeds: f"rigs {seeds[0]} to {seeds[-1]}")
def test_a_thousand_minutes_of_walking_on_a_hundred_builds_raise_no_fault(seeds, record_property):
    # The core believes the demo rig; mass, springs, friction, motor, battery, controller,
    # sensors, wearer and ground are each drawn within their tolerance and more, bumps and all.
    walks = [walk(seed) for seed in seeds]
    faults = [fault for *_, fault in walks if fault]
    asked, made, stoops = (sum(column) for column in list(zip(*walks, strict=True))[:3])
    record_property(
        f"other builds walking, rigs {seeds[0]} to {seeds[-1]}",
        f"{len(seeds) * MINUTES} minutes, {made} lifts, {stoops} stoops, {len(faults)} faults",
    )
    assert not faults, "\n".join(faults)
    # And no foot was kept down: a rig that refuses to step raises no false alarm either.
    assert made == asked > 30 * len(seeds) * MINUTES
    assert stoops == len(seeds) * MINUTES
