"""Legs of all proportions, pulled at random, against the same legs in MuJoCo.

As in test_against_mujoco: real bars, pins and plates there, two leans here.
"""

from dataclasses import replace
from math import radians

import mujoco
import numpy as np
import pytest
from legsim.rig import Rig
from swing import DEMO, SHIPPED_STEP_S, Motion, bare, swing

from benchmarks.mujoco_leg import model_xml, put

SECONDS = 2.0
MUJOCO_STEP_S = 1e-4
# The pull changes so often, to another random value.
HOLD_S = 0.1


def random_leg(rng: np.random.Generator) -> Rig:
    """Links, masses, spring and rope of any proportion that somebody might build."""
    thigh_m, shank_m = rng.uniform(0.3, 0.6, 2)
    spring_m = rng.uniform(0.08, 0.15)
    masses = ("thigh_links", "knee_block", "shank_links", "foot_plate")
    rig = replace(
        DEMO,
        spring=replace(
            DEMO.spring,
            thigh_anchor_m=spring_m,
            shank_anchor_m=spring_m * rng.uniform(0.8, 1.2),
            rate_N_per_m=rng.uniform(5e3, 20e3),
            force_extended_N=rng.uniform(100, 300),
        ),
        rope=replace(
            DEMO.rope,
            thigh_anchor_m=thigh_m * rng.uniform(0.6, 0.95),
            shank_anchor_m=shank_m * rng.uniform(0.6, 0.95),
        ),
    )
    return bare(
        rig,
        thigh_length_m=thigh_m,
        shank_length_m=shank_m,
        hinge_damping_Nms=rng.uniform(0.3, 1.0),
        **{f"{name}_mass_kg": rng.uniform(0.4, 1.5) for name in masses},
    )


def random_pulls_N(rng: np.random.Generator, steps: int) -> np.ndarray:
    """Pull of the tackle for each step, held for a moment: about what the spring needs."""
    held = round(HOLD_S / SHIPPED_STEP_S)
    return np.repeat(rng.uniform(100, 400, steps // held + 1), held)[:steps]


def moved_by_mujoco(rig: Rig, start_rad: tuple[float, float], pulls_N: np.ndarray) -> np.ndarray:
    """Leans of the leg on its stand, sampled before each shipped step."""
    model = mujoco.MjModel.from_xml_string(model_xml(rig, MUJOCO_STEP_S, stand=True))
    model.opt.integrator = mujoco.mjtIntegrator.mjINT_RK4
    data = mujoco.MjData(model)
    put(model, data, "leg", thigh=start_rad[0], shank=start_rad[1])
    joints = [model.joint(f"leg_{link}").id for link in ("thigh", "shank")]
    leans = []
    for pull_N in pulls_N:
        leans.append(data.qpos[joints].copy())
        data.ctrl[:] = -pull_N
        mujoco.mj_step(model, data, nstep=round(SHIPPED_STEP_S / MUJOCO_STEP_S))
    return np.array(leans)


def inside(motion: Motion) -> bool:
    """Whether a motion stays where a leg can be: its stops would end the rest."""
    folds = motion.thigh_rad + motion.shank_rad
    return bool(folds.min() > radians(20) and folds.max() < radians(140))


@pytest.mark.parametrize("seed", range(20))
def test_a_leg_of_any_proportion_moves_under_random_pulls_as_in_mujoco(seed, record_property):
    rng = np.random.default_rng(seed)
    steps = round(SECONDS / SHIPPED_STEP_S) + 1
    for _ in range(200):
        rig, pulls_N = random_leg(rng), random_pulls_N(rng, steps)
        start_rad = radians(rng.uniform(25, 45)), radians(rng.uniform(25, 45))
        ours = swing(rig, *start_rad, SECONDS, pull_N=pulls_N)
        if inside(ours):
            break
    else:
        pytest.fail("no leg of this seed stays between its stops")
    theirs = moved_by_mujoco(rig, start_rad, pulls_N)
    for name, ours_rad, theirs_rad in zip(
        ("thigh", "shank"), (ours.thigh_rad, ours.shank_rad), theirs.T, strict=True
    ):
        travel_rad = np.ptp(theirs_rad)
        off = abs(ours_rad - theirs_rad).max() / travel_rad
        record_property(f"leg {seed}, {name} off MuJoCo", f"{100 * off:.2f} % of its travel")
        assert travel_rad > radians(10)
        assert off < 0.01
