"""Statics of one wing: the torque that holds it, and the tension of both lines for a torque."""

from math import sin

from legsim.linkage import GRAVITY_MPS2, tackle_advantage
from legsim.wing.records import line_length_m, wing_derived
from legsim.wing.rig import WingRig


def weight_Nm(rig: WingRig, lift_rad: float, load_kg: float) -> float:
    """Torque of its weight, and of a load at its tip, that brings a wing to hang."""
    moment_kgm = rig.wing.mass_kg * rig.wing.centre_m + load_kg * rig.wing.tip_m
    return GRAVITY_MPS2 * moment_kgm * sin(lift_rad)


def carrying_Nm(rig: WingRig, lift_rad: float, load_kg: float, moving: int = 0) -> float:
    """Torque of both ropes that carries a wing, dry friction of its hinge against slow motion:
    `moving` 1 raises it, -1 lowers it, 0 leaves friction out."""
    return weight_Nm(rig, lift_rad, load_kg) + moving * rig.wing.hinge_friction_Nm


def lines_N(
    rig: WingRig, lift_rad: float, torque_Nm: float, moving: int = 0
) -> tuple[float, float]:
    """Tension of the upper and the lower lead line whose tackles make `torque_Nm` together.

    Both lines are stretched by the pretension; the drum then stretches one as it eases the
    other, until that lies loose. Friction of the sheaves helps the tackle that is let out.
    """
    rope = rig.rope
    parts, sheave = round(rope.parts), rope.sheave_efficiency
    hauling, out = tackle_advantage(parts, sheave), tackle_advantage(parts, 1 / sheave)
    middle = (hauling + out) / 2
    up, down = {1: (hauling, out), -1: (out, hauling), 0: (middle, middle)}[moving]
    set_m = wing_derived(rig)["set_m"]
    up_N_per_m = rope.line_EA_N / line_length_m(rig, lift_rad)
    down_N_per_m = rope.line_EA_N / line_length_m(rig, lift_rad, -1)
    pull_N = torque_Nm / rope.quadrant_m
    # How far the drum takes in the upper line beyond where both are stretched alike.
    up_rate, down_rate = up * up_N_per_m, down * down_N_per_m
    taken_m = (pull_N - set_m * (up_rate - down_rate)) / (up_rate + down_rate)
    if taken_m > set_m:
        return pull_N / up, 0.0
    if taken_m < -set_m:
        return 0.0, -pull_N / down
    return up_N_per_m * (set_m + taken_m), down_N_per_m * (set_m - taken_m)
