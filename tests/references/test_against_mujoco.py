"""The leg against the same leg in MuJoCo, built there of bars, pins, plates and tendons."""

from math import radians

import mujoco
import numpy as np
import pytest
from legsim.figures import LegFigures, leg_figures
from legsim.rig import Rig
from legsim.run import Walk
from legsim.wearer import metronome_raises, script
from swing import DEMO, SHIPPED_STEP_S, bare, swing

from benchmarks.mujoco_leg import model_xml, put
from benchmarks.mujoco_loop import MujocoLoop

# MuJoCo's constraints give a little, the less the shorter its step; Runge-Kutta of fourth
# order, and this step, are what its own answer needs to settle well within the bound.
MUJOCO_STEP_S = 5e-5
# Folded as far as the soft stop; it then swings through all the travel and past straight.
START_RAD = radians(52), radians(43)


def swing_in_mujoco(rig: Rig, pull_N: float, seconds: float) -> np.ndarray:
    """Leans of a leg released at rest on the stand, sampled at the shipped step."""
    model = mujoco.MjModel.from_xml_string(model_xml(rig, MUJOCO_STEP_S, stand=True))
    model.opt.integrator = mujoco.mjtIntegrator.mjINT_RK4
    data = mujoco.MjData(model)
    thigh, shank = (model.joint(f"leg_{link}").id for link in ("thigh", "shank"))
    put(model, data, "leg", thigh=START_RAD[0], shank=START_RAD[1])
    data.ctrl[:] = -pull_N
    leans = []
    for _ in range(round(seconds / SHIPPED_STEP_S) + 1):
        leans.append((data.qpos[thigh], data.qpos[shank]))
        mujoco.mj_step(model, data, nstep=round(SHIPPED_STEP_S / MUJOCO_STEP_S))
    return np.array(leans)


@pytest.mark.parametrize(
    ("pull_N", "within"),
    [
        pytest.param(0, 0.01, id="thrown straight by the spring"),
        pytest.param(600, 0.002, id="held against the spring by the rope"),
    ],
)
def test_a_released_leg_moves_as_real_parallelograms_do(pull_N, within, record_property):
    # The demo rig's spring and viscous damping; no Coulomb friction and no stops, which
    # each simulator smooths in its own way. In MuJoCo nothing but the second bars keeps
    # the plates level, and their masses sit off the pins.
    rig = bare(hinge_damping_Nms=DEMO.mechanism.hinge_damping_Nms)
    ours = swing(rig, *START_RAD, 2.0, pull_N=pull_N)
    theirs = swing_in_mujoco(rig, pull_N, 2.0)
    for name, lean_rad, other_rad in zip(
        ("thigh", "shank"), (ours.thigh_rad, ours.shank_rad), theirs.T, strict=True
    ):
        travel_rad = np.ptp(other_rad)
        off = abs(lean_rad - other_rad).max() / travel_rad
        record_property(
            f"{name} against MuJoCo, {pull_N} N of pull",
            f"{100 * off:.2f} % of {np.degrees(travel_rad):.0f} deg",
        )
        assert travel_rad > radians(45)
        assert off < within


@pytest.mark.parametrize("foot", ["left", "right"])
def test_the_whole_loop_walks_as_well_on_legs_that_mujoco_moves(foot, record_property):
    lines = script(DEMO, metronome_raises(DEMO, 14.0), 14.0)
    ours = leg_figures(Walk(DEMO, lines, 1).run(), foot, DEMO)
    theirs = leg_figures(MujocoLoop(DEMO, lines, 1).run(), foot, DEMO)
    record_property(f"a walk's {foot} leg, legsim", brief(ours))
    record_property(f"a walk's {foot} leg, MuJoCo", brief(theirs))
    assert ours.steps_made == theirs.steps_made == ours.steps_asked > 2
    # Ground and stops are soft in their own ways, and MuJoCo's pins have no Coulomb friction;
    # a lift may end three ticks earlier or later.
    assert ours.clearance_median_m == pytest.approx(theirs.clearance_median_m, abs=0.001)
    assert ours.lift_worst_s == pytest.approx(theirs.lift_worst_s, abs=0.012)
    assert ours.tension_peak_N == pytest.approx(theirs.tension_peak_N, rel=0.005)


def brief(leg: LegFigures) -> str:
    return (
        f"{leg.steps_made} steps, {1000 * leg.clearance_median_m:.1f} mm,"
        f" lifted in {leg.lift_worst_s:.3f} s, {leg.tension_peak_N:.1f} N in the line"
    )
