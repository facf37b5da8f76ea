"""Motion of one wing: both its ropes, its weight, and one integration step.

One coordinate, the angle q from hanging straight down; with I, S the inertia and the moment of
mass about the hinge, load included:

    I q'' = r (F_up - F_down) - g S sin(q) - friction + stops + what pushes from outside

Two equal tackles pull at a quadrant of radius r, so their levers never change. Their lead lines
are wound opposite ways on one drum: what one takes in, the other lets out. SI units throughout.
"""

from math import sin
from typing import Any

from legsim.compiled import native
from legsim.drive import stretched_N, tackled_N, turn_motor
from legsim.leg import FRICTION_RADPS, smooth_sign, stops_Nm
from legsim.linkage import GRAVITY_MPS2


@native
def beyond_play_m(taken_m: float, play_m: float) -> float:
    """What of the line taken in is left when the drum has turned through its gears' play.

    Nothing but the two lines turns the drum, so within the play it stands where both pull alike.
    """
    half_m = play_m / 2
    return taken_m - min(max(taken_m, -half_m), half_m)


@native
def pull_lines(wing: Any, rig: Any) -> None:
    """Work out the tension of both lead lines, and how much of either lies loose."""
    rope, drive, d = rig.rope, rig.drive, rig.derived
    travel_m = rope.quadrant_m * (wing.lift_rad - d.middle_rad)
    taken_m = wing.wound_m - rope.parts * travel_m
    beyond_m = beyond_play_m(taken_m, d.play_m)
    taken_mps = 0.0
    if beyond_m != 0:
        line_mps = wing.motor_radps * drive.drum_radius_m / drive.gear_ratio
        taken_mps = line_mps - rope.parts * rope.quadrant_m * wing.lift_radps
    wing.up_N = stretched_N(rope, d.set_m + beyond_m, taken_mps, rope.tackle_m - travel_m)
    wing.down_N = stretched_N(rope, d.set_m - beyond_m, -taken_mps, rope.tackle_m + travel_m)
    wing.up_slack_m = max(0.0, -d.set_m - beyond_m) / rope.parts
    wing.down_slack_m = max(0.0, beyond_m - d.set_m) / rope.parts
    if wing.up_snapped != 0:
        wing.up_N = 0.0
    if wing.down_snapped != 0:
        wing.down_N = 0.0
    wing.up_peak_N = max(wing.up_peak_N, wing.up_N)
    wing.down_peak_N = max(wing.down_peak_N, wing.down_N)


@native
def swing(wing: Any, rig: Any, dt: float) -> None:
    """Change the wing's speed by all its torques over `dt`; `pull_lines` has been called.

    Torques that depend on speed use the speed foreseen for the middle of the step, which keeps
    the whole scheme (half drift, kick, half drift) of second order.
    """
    w, d = rig.wing, rig.derived
    speed = wing.lift_radps + wing.lift_radps2 * dt / 2
    line_mps = wing.motor_radps * rig.drive.drum_radius_m / rig.drive.gear_ratio
    ropes_N = tackled_N(d, wing.up_N, line_mps) - tackled_N(d, wing.down_N, -line_mps)
    moment_kgm = d.moment_kgm + wing.load_kg * w.tip_m
    torque_Nm = (
        rig.rope.quadrant_m * ropes_N
        - GRAVITY_MPS2 * moment_kgm * sin(wing.lift_rad)
        - w.hinge_friction_Nm * smooth_sign(speed, FRICTION_RADPS)
        - w.hinge_damping_Nms * speed
        + stops_Nm(w, wing.lift_rad, speed, d.low_rad, d.high_rad)
        + wing.push_Nm
    )
    wing.lift_radps2 = torque_Nm / (d.inertia_kgm2 + wing.load_kg * w.tip_m * w.tip_m)
    if wing.caught != 0:
        wing.lift_radps = wing.lift_radps2 = 0.0
    wing.lift_radps += wing.lift_radps2 * dt


@native
def step_wing(wing: Any, rig: Any, state: Any, dt: float) -> None:
    """One substep of one wing: half drift, torques, half drift."""
    wing.lift_rad += wing.lift_radps * dt / 2
    pull_lines(wing, rig)
    swing(wing, rig, dt)
    turn_motor(wing, rig, state, wing.up_N - wing.down_N, dt)
    wing.lift_rad += wing.lift_radps * dt / 2
