"""A thousand minutes of ordinary walking on rigs that are not quite what their file says."""

import numpy as np
import pytest
from legcore.phases import LIFTING
from legsim.perturb import TOLERANCES, built, draws, misaligned
from legsim.rig import Rig
from legsim.run import Walk
from legsim.tables import fault_names
from legsim.wearer import metronome_raises, script
from rigs import DEMO, FEET, PERIOD_S, changed, gait_of

MINUTES = 10.0
RIGS = 100
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


def walk(seed: int) -> tuple[int, int, str]:
    """Feet raised and lifts made in a walk of another build, and its first fault in words."""
    rig = badly_built(seed)
    raises = (gait_of, metronome_raises)[seed % 2](rig, 60 * MINUTES)
    lines = script(rig, raises, 60 * MINUTES, seed)
    other = Walk(rig, lines, seed, believed=DEMO)
    misaligned(other.state, seed)
    for foot in FEET:
        for joint in ("thigh", "shank"):
            other.state[foot][f"{joint}_slip_rad"] *= SLIPS_WORSE
    trace = other.run()
    lifts = sum(int((np.diff((trace[foot]["phase"] == LIFTING) * 1) > 0).sum()) for foot in FEET)
    bits = trace["fault_bits"] | trace["left"]["fault_bits"] | trace["right"]["fault_bits"]
    tick = int(np.argmax(bits != 0))
    names = ", ".join(fault_names(int(bits[tick])))
    return len(raises), lifts, names and f"rig {seed}: {names} after {tick * PERIOD_S:.1f} s"


@pytest.mark.parametrize("seeds", HALVES, ids=lambda seeds: f"rigs {seeds[0]} to {seeds[-1]}")
def test_a_thousand_minutes_of_walking_on_a_hundred_builds_raise_no_fault(seeds, record_property):
    # The core believes the demo rig; mass, springs, friction, motor, battery, controller,
    # sensors, wearer and ground are each drawn within their tolerance and more, bumps and all.
    walks = [walk(seed) for seed in seeds]
    faults = [fault for _, _, fault in walks if fault]
    asked, made = (sum(column) for column in list(zip(*walks, strict=True))[:2])
    record_property(
        f"other builds walking, rigs {seeds[0]} to {seeds[-1]}",
        f"{len(seeds) * MINUTES:.0f} minutes, {made} lifts, {len(faults)} faults",
    )
    assert not faults, "\n".join(faults)
    # And no foot was kept down: a rig that refuses to step raises no false alarm either.
    assert made == asked > 30 * len(seeds) * MINUTES
