"""The closed loop with MuJoCo for the mechanism: same substeps, same drive, same core.

MuJoCo moves both legs: bars, plates, springs, ropes, stops, smooth ground. Controller,
battery, motor, tackle, sensors and wearer are legsim's compiled functions, the core is
plain Python. Left out in MuJoCo's favour: Coulomb friction of pins and ground.
"""

from math import cos
from typing import Any

import mujoco
import numpy as np
from legsim.board import sense
from legsim.compiled import native
from legsim.drive import (
    battery_V,
    controller_tick,
    draw,
    line_tension_N,
    tackle_force_N,
    turn_motor,
)
from legsim.heat import warm
from legsim.leg import pose
from legsim.linkage import GRAVITY_MPS2
from legsim.loop import obey
from legsim.plant import balance_N
from legsim.rig import Rig
from numpy.typing import NDArray

from benchmarks.mujoco_leg import model_xml, put
from benchmarks.plain_loop import PlainLoop

_FEET = ("left", "right")
_PARTS = {"hip": "hip_m", "thigh": "thigh_rad", "shank": "shank_rad"}


@native
def begin_tick(state: Any, rig: Any, core_rig: Any, lines: Any, i: int) -> float:
    """Wearer and controllers, once a tick; returns the battery's voltage at rest."""
    s, r, c = state[0], rig[0], core_rig[0]
    obey(s, lines[i])
    s.contactor = c.contactor
    controller_tick(s.left, r, s, c.left.pulse_us * 1e-6, r.control.period_s)
    controller_tick(s.right, r, s, c.right.pulse_us * 1e-6, r.control.period_s)
    s.left.tension_peak_N = s.right.tension_peak_N = 0.0
    s.left.current_peak_A = s.right.current_peak_A = 0.0
    return battery_V(r, s.used_C)


@native
def drive_leg(leg: Any, rig: Any, state: Any, dt: float) -> float:
    """Motor and rope of one leg over a substep; returns the pull of its tackle."""
    pose(leg, rig)
    tension_N = line_tension_N(leg, rig)
    pull_N = tackle_force_N(leg, rig, tension_N)
    turn_motor(leg, rig, state, tension_N, dt)
    return pull_N


@native
def take_over(leg: Any, rig: Any, qpos: Any, qvel: Any, places: Any) -> None:
    """Copy the pose of one leg out of MuJoCo; `places` is where hip, thigh and shank are."""
    hip, thigh, shank = places
    leg.hip_m, leg.hip_mps = qpos[hip], qvel[hip]
    leg.thigh_rad, leg.thigh_radps = qpos[thigh], qvel[thigh]
    leg.shank_rad, leg.shank_radps = qpos[shank], qvel[shank]
    m = rig.mechanism
    below_m = m.thigh_length_m * cos(leg.thigh_rad) + m.shank_length_m * cos(leg.shank_rad)
    leg.clearance_m = leg.hip_m - below_m


@native
def push_leg(
    leg: Any, rig: Any, hip_N: float, pull_N: float, hip: int, forces: Any, ctrl: Any
) -> None:
    """Hand one leg's forces to MuJoCo: on the hip, and rope, stirrup and push in `ctrl`."""
    # Half of the carried mass hangs on each hip slide already.
    share_N = GRAVITY_MPS2 * (leg.share - 0.5) * rig.mechanism.carried_mass_kg
    forces[hip] = hip_N - share_N
    # MuJoCo damps the plate against a foot that stands still; aim ahead of one that moves.
    w = rig.wearer
    lead_s = w.stirrup_Ns_per_m / w.stirrup_N_per_m
    ctrl[0], ctrl[2] = -pull_N, leg.push * w.push_N
    ctrl[1] = leg.foot_x_m + lead_s * leg.foot_x_mps


@native
def drive_both(
    state: Any, rig: Any, rest_V: float, qpos: Any, qvel: Any, forces: Any, ctrl: Any, places: Any
) -> None:
    """All that a substep does before MuJoCo moves the legs on."""
    s, r = state[0], rig[0]
    dt = r.control.period_s / int(r.derived.substeps)
    take_over(s.left, r, qpos, qvel, places[0])
    take_over(s.right, r, qpos, qvel, places[1])
    left_N, right_N = balance_N(s.left, r), balance_N(s.right, r)
    left_pull_N, right_pull_N = drive_leg(s.left, r, s, dt), drive_leg(s.right, r, s, dt)
    push_leg(s.left, r, left_N - right_N, left_pull_N, places[0, 0], forces, ctrl[:3])
    push_leg(s.right, r, right_N - left_N, right_pull_N, places[1, 0], forces, ctrl[3:])
    current_A = draw(s.left, s, dt) + draw(s.right, s, dt)
    s.used_C += current_A * dt
    s.bus_V = rest_V - r.battery.resistance_ohm * current_A


@native
def end_tick(
    state: Any, rig: Any, core_rig: Any, qpos: Any, qvel: Any, soles_N: Any, places: Any
) -> None:
    """Heat and readings, once MuJoCo has moved the legs and weighed their soles."""
    s, r = state[0], rig[0]
    take_over(s.left, r, qpos, qvel, places[0])
    take_over(s.right, r, qpos, qvel, places[1])
    s.left.load_N, s.right.load_N = soles_N
    warm(s.left, r, r.control.period_s)
    warm(s.right, r, r.control.period_s)
    sense(s, r, core_rig[0])


class MujocoLoop(PlainLoop):
    """The plain loop, the legs in it moved by MuJoCo."""

    def __init__(self, rig: Rig, lines: NDArray[np.void], seed: int) -> None:
        super().__init__(rig, lines, seed)
        step_s = rig.control.period_s / rig.substeps
        self.substeps = rig.substeps
        self.model = mujoco.MjModel.from_xml_string(model_xml(rig, step_s, stand=False, legs=_FEET))
        self.data = data = mujoco.MjData(self.model)
        for foot in _FEET:
            leg = self.walk.state[0][foot]
            where = {part: leg[key] for part, key in _PARTS.items()}
            put(self.model, data, foot, **where)
        # Each joint has one coordinate: its number is the coordinate's place.
        self.places = np.array(
            [[self.model.joint(f"{foot}_{part}").id for part in _PARTS] for foot in _FEET]
        )
        self.pose = data.qpos, data.qvel
        self.forces = data.qfrc_applied, data.ctrl

    def move(self, i: int) -> None:
        """Move the plant on by one tick, between outputs and readings."""
        walk = self.walk
        rest_V = begin_tick(walk.state, walk.rig, walk.core, walk.lines, i)
        for _ in range(self.substeps):
            drive_both(walk.state, walk.rig, rest_V, *self.pose, *self.forces, self.places)
            mujoco.mj_step(self.model, self.data)
        soles_N = self.data.sensordata
        end_tick(walk.state, walk.rig, walk.core, *self.pose, soles_N, self.places)
