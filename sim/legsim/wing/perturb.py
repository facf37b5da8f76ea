"""How a real pair of wings differs from its rig file, as `legsim.perturb` has it for legs."""

from collections.abc import Sequence
from functools import lru_cache
from math import radians, sqrt
from random import Random

import numpy as np
from numpy.typing import NDArray

from legsim.leg import FRICTION_RADPS
from legsim.perturb import (
    FACTOR,
    MORE,
    TOLERANCES,
    Tolerance,
    drawn_of,
    followed,
    with_tolerances,
)
from legsim.stiffness import SHARE
from legsim.wing.records import line_length_m, wing_derived
from legsim.wing.rig import WingRig

# All spreads are common practice without a source, unless the reason names one.
_OWN = (
    Tolerance("wing.mass_kg", FACTOR, 0.10, "laths differ in density, cloth gets wet"),
    Tolerance("wing.centre_m", FACTOR, 0.05, "found by balancing it on an edge"),
    Tolerance("wing.gyration_m", FACTOR, 0.05, "reckoned from a drawing"),
    Tolerance("wing.hinge_friction_Nm", FACTOR, 0.5, "pins bind when tight, wear when loose"),
    Tolerance("wing.hinge_damping_Nms", FACTOR, 0.5, "grease, and cloth in the air"),
    Tolerance("rope.quadrant_m", FACTOR, 0.01, "sawn by hand"),
    Tolerance("rope.pretension_N", FACTOR, 0.6, "set by feel, and the line creeps"),
    Tolerance("rope.play_rad", MORE, 2.0, "printed teeth wear"),
)
# What wings have in common with legs is as uncertain in them.
WING_TOLERANCES = _OWN + tuple(
    row
    for row in TOLERANCES
    if row.key.partition(".")[0] in ("rope", "drive", "battery", "controller", "sensors")
    and hasattr(getattr(WingRig(), row.key.partition(".")[0]), row.key.partition(".")[2])
)
# A hinge's sensor against its calibration: common practice, no source.
_ALIGNED_RAD = radians(0.5)


def coarsest_wing_substep_s(rig: WingRig) -> float:
    """Longest step at which everything stiff in the plant is still followed."""
    wing, rope, d = rig.wing, rig.rope, wing_derived(rig)
    # Shortest where a wing is at an end, and both lines may pull.
    line_N_per_m = sum(
        rope.line_EA_N / line_length_m(rig, wing.hard_raised_rad, i) for i in (1, -1)
    )
    rope_Nm = line_N_per_m * rope.parts * d["advantage_down"] * rope.quadrant_m**2
    friction_Nms = wing.hinge_friction_Nm / FRICTION_RADPS + wing.hinge_damping_Nms
    springs = (
        (rope_Nm, rope_Nm * rope.line_damping_s),
        (wing.stop_stiffness_Nm, wing.stop_damping_Nms),
        (0.0, friction_Nms),
    )
    inertia = d["inertia_kgm2"]
    return min(
        SHARE / max(sqrt(stiffness / inertia), damping / inertia, 1e-9)
        for stiffness, damping in springs
    )


@lru_cache(maxsize=2048)
def wing_draws(seed: int) -> tuple[float, ...]:
    """What chance has for each row of `WING_TOLERANCES`, -1 to 1."""
    return drawn_of(WING_TOLERANCES, seed)


def built_wings(rig: WingRig, drawn: Sequence[float]) -> WingRig:
    """The build of `rig` that has `drawn`, -1 to 1, of each row of `WING_TOLERANCES`."""
    return followed(with_tolerances(rig, WING_TOLERANCES, drawn), coarsest_wing_substep_s)


def perturbed_wings(rig: WingRig, seed: int) -> WingRig:
    """Another build of `rig`, every tolerance drawn evenly within its spread."""
    return built_wings(rig, wing_draws(seed))


def misalign_wings(state: NDArray[np.void], seed: int) -> None:
    """Turn each hinge's sensor of a plant's start a little off its calibration."""
    chance = Random(seed)
    for name in ("left", "right"):
        state[name]["pot_slip_rad"] = chance.uniform(-_ALIGNED_RAD, _ALIGNED_RAD)
