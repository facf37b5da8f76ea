"""One leg left to itself: legsim's equations of motion, without core, motor and wearer."""

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from legsim.compiled import native
from legsim.leg import drift, kick, pose
from legsim.records import STATE, rig_record
from legsim.rig import Rig, Spring
from numpy.typing import NDArray

DEMO = Rig()
SHIPPED_STEP_S = DEMO.control.substep_s
NO_SPRING = Spring(rate_N_per_m=0, force_extended_N=0)
# Without its hard stop the leg swings through straight; the demo rig's own spring would
# throw it through at thousands of degrees a second.
SOFT_SPRING = replace(DEMO.spring, rate_N_per_m=6e3, force_extended_N=90)
# A gas spring beside the coil spring; its seal's friction left out.
GASSED = replace(
    DEMO, gas_spring=replace(DEMO.gas_spring, force_extended_N=300, progression=1.6, friction_N=0)
)
NEXT_TO_NOTHING_KG = 1e-9
# Feet hang in the air, even where the leg falls for seconds.
HIGH_M = 100.0


class Motion(NamedTuple):
    """Samples of a leg's motion, one for each step."""

    time_s: NDArray[np.float64]
    thigh_rad: NDArray[np.float64]
    shank_rad: NDArray[np.float64]
    hip_m: NDArray[np.float64]
    thigh_radps: NDArray[np.float64]
    shank_radps: NDArray[np.float64]
    hip_mps: NDArray[np.float64]


def bare(rig: Rig = DEMO, **mechanism: float) -> Rig:
    """The rig without anything that takes energy, without stops, and on smooth ground."""
    quiet = {
        "hinge_friction_Nm": 0.0,
        "hinge_damping_Nms": 0.0,
        "stop_stiffness_Nm": 0.0,
        "stop_damping_Nms": 0.0,
    }
    return replace(
        rig,
        mechanism=replace(rig.mechanism, **quiet | mechanism),
        wearer=replace(rig.wearer, stirrup_N_per_m=0, stirrup_Ns_per_m=0, harness_Ns_per_m=0),
        ground=replace(rig.ground, damping_Ns_per_m=0, friction=0),
    )


def swing(
    rig: Rig,
    thigh_rad: float,
    shank_rad: float,
    seconds: float,
    *,
    hip_m: float | None = None,
    pull_N: float | NDArray[np.float64] = 0.0,
    share: float = 0.5,
    step_s: float = SHIPPED_STEP_S,
) -> Motion:
    """Release a leg at rest, the tackle pulling with `pull_N`; without `hip_m` on the stand.

    The pull is one number, or one for each step.

    `share` is the leg's share of the carried weight.
    """
    state = np.zeros(1, STATE)
    state["stand"] = hip_m is None
    leg = state["left"]
    leg["thigh_rad"], leg["shank_rad"], leg["share"] = thigh_rad, shank_rad, share
    leg["hip_m"] = HIGH_M if hip_m is None else hip_m
    samples = np.zeros((round(seconds / step_s) + 1, 6))
    pulls_N = np.broadcast_to(np.asarray(pull_N, dtype=float), len(samples)).copy()
    _march(state, rig_record(rig), pulls_N, step_s, samples)
    return Motion(np.arange(len(samples)) * step_s, *samples.T)


@native
def _march(state: Any, rig: Any, pulls_N: Any, dt: float, samples: Any) -> None:
    leg = state[0].left
    for i in range(len(samples)):
        sample = samples[i]
        sample[0], sample[1], sample[2] = leg.thigh_rad, leg.shank_rad, leg.hip_m
        sample[3], sample[4], sample[5] = leg.thigh_radps, leg.shank_radps, leg.hip_mps
        drift(leg, dt / 2)
        pose(leg, rig[0])
        kick(leg, rig[0], state[0], pulls_N[i], 0.0, dt)
        drift(leg, dt / 2)
