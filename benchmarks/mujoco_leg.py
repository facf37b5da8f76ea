"""The leg as MuJoCo sees it: real bars, pins and plates, not the two angles of legsim.

Each link is two bars. One carries the plate below it, the other closes the parallelogram
by a constraint, and nothing but these loops keeps knee block and foot plate level. Spring
and rope are tendons. The plates' masses sit off their pins: a level plate cannot tell.
"""

import mujoco
from legsim.linkage import GRAVITY_MPS2, span_m
from legsim.rig import Rig

# From the first bar of a link to its second, alike on both plates that they join: x, y, z.
_THIGH_GAP_M = "-0.06 0 0.03"
_SHANK_GAP_M = "0.05 0 0.04"
_SOLE_M = 0.02
# A spring that cannot pull: between its free length and this it is limp.
_LIMP_M = 100


def model_xml(rig: Rig, step_s: float, *, stand: bool, legs: tuple[str, ...] = ("leg",)) -> str:
    """Model of these legs, hips held by a stand, or sliding up and down over smooth ground.

    Joints "<leg>_thigh" and "<leg>_shank" are the leans, "<leg>_hip" is the height of a
    hip that slides; `put` sets them, and the joints that follow them. Actuator
    "<leg>_rope" takes minus the pull of the tackle; legs that slide also have
    "<leg>_stirrup", which takes the place of the wearer's foot, and "<leg>_push", and a
    sensor each, the load on the sole. On the stand there are no stops: how they give is
    each simulator's own.
    """
    bodies, loops, tendons, motors, sensors = (
        "".join(part(rig, step_s, stand, leg) for leg in legs)
        for part in (_bodies, _loops, _tendons, _motors, _sensors)
    )
    floor = "" if stand else '<geom type="plane" size="9 9 1" condim="1"/>'
    return f"""
    <mujoco>
      <compiler angle="radian" autolimits="true"/>
      <option timestep="{step_s}" gravity="0 0 {-GRAVITY_MPS2}" integrator="implicitfast"/>
      <worldbody>{floor}{bodies}</worldbody>
      <equality>{loops}</equality>
      <tendon>{tendons}</tendon>
      <actuator>{motors}</actuator>
      <sensor>{sensors}</sensor>
    </mujoco>"""


def put(model: mujoco.MjModel, data: mujoco.MjData, leg: str, **where: float) -> None:
    """Put a leg's hip (m), thigh and shank (rad) where they are told, loops closed."""
    for i in range(model.njnt):
        # Each joint has one coordinate, and the second word of its name is its part.
        side, part, *_ = model.joint(i).name.split("_")
        if side == leg:
            data.qpos[i] = where[part]


def _bodies(rig: Rig, step_s: float, stand: bool, leg: str) -> str:
    m = rig.mechanism
    bar = _bar(m.thigh_links_mass_kg / 2, m.thigh_length_m)
    end = f'pos="0 0 {-m.thigh_length_m}"'
    stops = "" if stand else f'range="{m.thigh_min_rad} {m.thigh_max_rad}"'
    return f"""
    <body>{"" if stand else _hip_slide(rig, leg)}<site name="{leg}_hip"/>
      <body pos="{_THIGH_GAP_M}">{_pin(rig, f"{leg}_thigh_back", 1)}{bar}
        <site name="{leg}_thigh_end" {end}/>
      </body>
      <body>{_pin(rig, f"{leg}_thigh", 1, stops)}{bar}
        <site name="{leg}_thigh_spring" pos="0 0 {rig.spring.thigh_anchor_m - m.thigh_length_m}"/>
        <site name="{leg}_thigh_rope" pos="0 0 {rig.rope.thigh_anchor_m - m.thigh_length_m}"/>
        <body {end}>{_pin(rig, f"{leg}_thigh_knee", -1)}
          {_plate(m.knee_block_mass_kg, _THIGH_GAP_M)}
          <site name="{leg}_thigh_met" pos="{_THIGH_GAP_M}"/>
          {_below_knee(rig, stand, leg)}
        </body>
      </body>
    </body>"""


def _below_knee(rig: Rig, stand: bool, leg: str) -> str:
    m = rig.mechanism
    bar = _bar(m.shank_links_mass_kg / 2, m.shank_length_m)
    end = f'pos="0 0 {-m.shank_length_m}"'
    stops = "" if stand else f'range="{m.shank_min_rad} {m.shank_max_rad}"'
    # A plate that stays level needs no more than a point to stand on.
    sole = ""
    if not stand:
        # What the sensor is to count of the contacts must lie inside its site.
        sole = f"""<geom size="{_SOLE_M}" pos="0 0 {_SOLE_M}" condim="1" mass="0"/>
              <site name="{leg}_sole" size="{2 * _SOLE_M}" pos="0 0 {_SOLE_M}"/>"""
    return f"""
          <body pos="{_SHANK_GAP_M}">{_pin(rig, f"{leg}_shank_back", -1)}{bar}
            <site name="{leg}_shank_end" {end}/>
          </body>
          <body>{_pin(rig, f"{leg}_shank", -1, stops)}{bar}
            <site name="{leg}_shank_spring" pos="0 0 {-rig.spring.shank_anchor_m}"/>
            <site name="{leg}_shank_rope" pos="0 0 {-rig.rope.shank_anchor_m}"/>
            <body {end}>{_pin(rig, f"{leg}_shank_foot", 1)}
              {_plate(m.foot_plate_mass_kg, _SHANK_GAP_M)}
              <site name="{leg}_foot"/>{sole}<site name="{leg}_shank_met" pos="{_SHANK_GAP_M}"/>
            </body>
          </body>"""


def _pin(rig: Rig, name: str, y: int, stops: str = "") -> str:
    """A hinge, about y or against it; three pins share a joint's friction, the closing has none."""
    damping = f'damping="{rig.mechanism.hinge_damping_Nms / 3}"'
    return f'<joint name="{name}" axis="0 {y} 0" {damping} {stops}/>'


def _hip_slide(rig: Rig, leg: str) -> str:
    """What carries a hip that is free: half the frame, damped by body and harness."""
    slide = f'type="slide" axis="0 0 1" damping="{rig.wearer.harness_Ns_per_m}"'
    return f'<joint name="{leg}_hip" {slide}/>{_plate(rig.mechanism.carried_mass_kg / 2, "0 0 0")}'


def _bar(mass_kg: float, length_m: float) -> str:
    """A uniform slender bar hanging from its pin."""
    across_kgm2 = mass_kg * length_m**2 / 12
    inertia = f'diaginertia="{across_kgm2} {across_kgm2} 1e-9"'
    return f'<inertial pos="0 0 {-length_m / 2}" mass="{mass_kg}" {inertia}/>'


def _plate(mass_kg: float, place_m: str) -> str:
    """A mass that never turns, so any inertia will do."""
    return f'<inertial pos="{place_m}" mass="{mass_kg}" diaginertia="1e-2 1e-2 1e-2"/>'


def _loops(rig: Rig, step_s: float, stand: bool, leg: str) -> str:
    # As stiff as MuJoCo lets a constraint be at this step.
    stiff = f'solref="{2 * step_s} 1" solimp="0.9999 0.9999 0.001"'
    return "".join(
        f'<connect site1="{leg}_{link}_end" site2="{leg}_{link}_met" {stiff}/>'
        for link in ("thigh", "shank")
    )


def _tendons(rig: Rig, step_s: float, stand: bool, leg: str) -> str:
    m, spring = rig.mechanism, rig.spring
    extended_m = span_m(spring.thigh_anchor_m, spring.shank_anchor_m, m.fold_extended_rad)
    free_m = extended_m + spring.force_extended_N / spring.rate_N_per_m
    fold_stops = f"""
      <fixed range="{m.fold_extended_rad} {m.fold_hard_stop_rad}">
        <joint joint="{leg}_thigh" coef="1"/><joint joint="{leg}_shank" coef="1"/>
      </fixed>"""
    return f"""
      <spatial stiffness="{spring.rate_N_per_m}" springlength="{free_m} {_LIMP_M}">
        <site site="{leg}_thigh_spring"/><site site="{leg}_shank_spring"/>
      </spatial>
      <spatial name="{leg}_rope">
        <site site="{leg}_thigh_rope"/><site site="{leg}_shank_rope"/>
      </spatial>{"" if stand else fold_stops}"""


def _motors(rig: Rig, step_s: float, stand: bool, leg: str) -> str:
    rope = f'<motor name="{leg}_rope" tendon="{leg}_rope"/>'
    if stand:
        return rope
    w = rig.wearer
    return f"""{rope}
      <position name="{leg}_stirrup" site="{leg}_foot" refsite="{leg}_hip" gear="1 0 0 0 0 0"
        kp="{w.stirrup_N_per_m}" kv="{w.stirrup_Ns_per_m}"/>
      <motor name="{leg}_push" site="{leg}_foot" gear="0 0 1 0 0 0"/>"""


def _sensors(rig: Rig, step_s: float, stand: bool, leg: str) -> str:
    return "" if stand else f'<touch name="{leg}_sole" site="{leg}_sole"/>'
