"""Figures that are good to know though nothing is wrong with any value of them."""

from collections.abc import Callable
from math import degrees, inf, pi
from typing import Any, NamedTuple

from legsim.linkage import fold_for_lift_rad, height_m, spring_force_N, springs_Nm

from hocklift.sizing import drums, gears, heat, motors, ropes, suspension, tackle
from hocklift.sizing.checks.line import DEAD_TURNS
from hocklift.sizing.loads import Loads

# Braided polyester on printed plastic (common practice, no source).
ROPE_FRICTION = 0.2


class Fact(NamedTuple):
    """One figure: what it is, and how it reads for a rig."""

    what: str
    # Of the loads of a rig of the kind that it is for.
    words: Callable[[Any], str]


def _span(values: list[float]) -> str:
    low, high = min(values), max(values)
    return f"{low:.3f}" if f"{low:.3f}" == f"{high:.3f}" else f"{low:.3f} to {high:.3f}"


def _travel_mm(loads: Loads) -> float:
    m = loads.rig.mechanism
    return 1000 * (height_m(m, m.fold_extended_rad) - height_m(m, m.fold_soft_stop_rad))


def _tackle_efficiency(loads: Loads) -> str:
    parts, sheave = round(loads.rig.rope.parts), loads.rig.rope.sheave_efficiency
    hauling = tackle.hauling_efficiency(parts, sheave)
    letting_out = tackle.letting_out_efficiency(parts, sheave)
    return f"{parts} to 1, {100 * hauling:.0f} % and {100 * letting_out:.0f} %"


def _turns(loads: Loads) -> str:
    drive, rope = loads.rig.drive, loads.rig.rope
    dead_m = DEAD_TURNS * 2 * pi * drive.drum_radius_m
    core_m = drive.drum_radius_m - rope.diameter_m / 2
    line_m = loads.lift_drum_turns * 2 * pi * drive.drum_radius_m + dead_m
    layers = drums.layers_for_line(line_m, core_m, rope.diameter_m, drive.drum_width_m)
    return f"{loads.lift_drum_turns:.1f} in {layers} layer{'s' if layers > 1 else ''}"


def _stretch_mm(loads: Loads) -> float:
    rope = loads.rig.rope
    length_m = rope.lead_length_m + rope.parts * loads.rope_span_m(loads.lift_fold_rad)
    return 1000 * ropes.rope_stretch_m(loads.lifting_line_N, length_m, rope.line_EA_N)


def _rate_needed(loads: Loads) -> str:
    """Coil spring rate at which the frame sinks on one leg by just what is wanted."""
    rig = loads.rig
    lift_m = min(rig.wants.sink_m, _travel_mm(loads) / 1000)
    fold_rad = fold_for_lift_rad(rig.mechanism, lift_m)
    spring_m = loads.spring_per_fold_m(fold_rad)
    gas_Nm = springs_Nm(rig, fold_rad) - spring_force_N(rig, fold_rad) * spring_m
    needed_N = (loads.standing_Nm(fold_rad, loads.one_leg_kg) - gas_Nm) / spring_m
    rate = (needed_N - rig.spring.force_extended_N) / loads.spring_squeeze_m(fold_rad)
    return f"{max(0.0, rate) / 1000:.0f} and {rig.spring.rate_N_per_m / 1000:.0f} N/mm"


def _line_m(loads: Loads) -> float:
    """Line to buy: tackle and lead with the leg extended, and what stays on the drum."""
    rig = loads.rig
    span_m = loads.rope_span_m(rig.mechanism.fold_extended_rad)
    dead_m = DEAD_TURNS * 2 * pi * rig.drive.drum_radius_m
    return rig.rope.lead_length_m + rig.rope.parts * span_m + dead_m


def _knot_share(loads: Loads) -> float:
    """What of the line's tension reaches the knot past the turns left on the drum."""
    return 1 / drums.capstan_ratio(ROPE_FRICTION, DEAD_TURNS * 2 * pi)


def _ratios(loads: Loads) -> str:
    g = loads.rig.gears
    stages = list(zip(g.pinion_teeth, g.wheel_teeth, strict=True))
    each = ", ".join(f"{gears.train_ratio([stage]):.2f}" for stage in stages)
    return f"{each}; {gears.train_ratio(stages):.1f} in all"


def _centres_mm(loads: Loads) -> str:
    g = loads.rig.gears
    stages = zip(g.module_m, g.pinion_teeth, g.wheel_teeth, strict=True)
    return ", ".join(f"{1000 * gears.centre_distance_m(*stage):.1f}" for stage in stages) + " mm"


def _stall(loads: Loads) -> str:
    resistance = loads.rig.drive.resistance_ohm
    torque_Nm = motors.stall_torque_Nm(loads.rest_V, resistance, loads.torque_Nm_per_A)
    current_A = motors.stall_current_A(loads.rest_V, resistance)
    limit_A = loads.rig.controller.current_limit_A
    return f"{torque_Nm:.1f} N*m at {current_A:.0f} A; the controller stops at {limit_A:.0f} A"


def _steady_K(loads: Loads) -> str:
    """Copper's feedback on the way to the air, and iron loss through the case."""
    drive = loads.rig.drive
    to_air = drive.winding_to_case_K_per_W + drive.case_to_air_K_per_W
    copper_W = loads.mean_square_A2 * drive.resistance_ohm
    # The case, warmed by iron loss, warms the copper, which then heats a little more.
    iron_K = loads.iron_W * drive.case_to_air_K_per_W
    warm_W = copper_W * heat.copper_resistance_ohm(1.0, iron_K)
    return f"{iron_K + heat.steady_rise_K(warm_W, to_air):.0f} K"


def _side_springs(loads: Loads) -> str:
    hip, m = loads.rig.hip, loads.rig.mechanism
    stiffness = suspension.hip_stiffness_Nm_per_rad(
        m.carried_mass_kg + hip.wearer_mass_kg * hip.lean_share,
        hip.height_m,
        hip.lean_rad,
        hip.wearer_lean_rad,
    )
    rate = suspension.bush_spring_rate_N_per_m(stiffness, hip.lean_spring_m)
    preload_N = suspension.bush_preload_N(hip.lean_spring_N_per_m, hip.lean_spring_m, hip.lean_rad)
    return f"{rate / 1000:.0f} N/mm each, and {preload_N:.0f} N preload so that none goes slack"


def _stoop_held(loads: Loads) -> str:
    """What keeps a stoop where it is, and for how long; a controller without sensors has no force
    at rest."""
    control, creep_radps = loads.rig.control, loads.stoop_creep_radps
    if creep_radps == 0:
        by = "friction alone"
    elif creep_radps == inf:
        by = "short pulses alone: nothing brakes between them"
    else:
        by = (
            f"gears and brake, between which the legs rise by {degrees(creep_radps):.1f}° a second,"
            f" and pulses that pull them back"
        )
    tired_K = loads.rig.safety.tired * loads.rig.drive.winding_limit_K
    return (
        f"{by}; after {control.stoop_time_s:.0f} s, or with a winding {tired_K:.0f} K over the air,"
        " they rise by themselves"
    )


FACTS = (
    Fact(
        "travel from the extended to the soft stop",
        lambda loads: f"{_travel_mm(loads):.0f} mm",
    ),
    Fact(
        "fold of a raised foot, and standing on one leg",
        lambda loads: (
            f"{degrees(loads.lift_fold_rad):.1f}° and"
            f" {degrees(loads.rest_fold_rad(loads.one_leg_kg)):.1f}°"
        ),
    ),
    Fact("spring rate needed for the sink wanted, and given", _rate_needed),
    Fact(
        "lever ratio, spring to foot",
        lambda loads: _span([loads.spring_lever(fold) for fold in loads.folds_rad]),
    ),
    Fact(
        "lever ratio, spring to rope",
        lambda loads: _span(
            [
                loads.spring_lever(fold) * loads.foot_lever_m(fold) / loads.rope_lever_m(fold)
                for fold in loads.folds_rad
            ]
        ),
    ),
    Fact(
        "spring force, foot raised",
        lambda loads: f"{spring_force_N(loads.rig, loads.lift_fold_rad):.0f} N",
    ),
    Fact(
        "pull of the tackle, foot raised",
        lambda loads: f"{loads.tackle_N(loads.lift_fold_rad):.0f} N",
    ),
    Fact(
        "lead line, hauling and let out",
        lambda loads: (
            f"{loads.line_N(loads.tackle_N(loads.lift_fold_rad)):.0f} N and"
            f" {loads.line_N(loads.tackle_N(loads.lift_fold_rad, -1), -1):.0f} N"
        ),
    ),
    Fact(
        "velocity ratio of the tackle, and its efficiency hauling and letting out",
        _tackle_efficiency,
    ),
    Fact("stretch of the line while hauling", lambda loads: f"{_stretch_mm(loads):.0f} mm"),
    Fact("line to buy, knots not counted", lambda loads: f"{_line_m(loads):.1f} m"),
    Fact(
        "tension that reaches the drum's knot past two turns",
        lambda loads: f"{100 * _knot_share(loads):.0f} %",
    ),
    Fact("turns of the drum, the most", _turns),
    Fact("ratio of each gear mesh", _ratios),
    Fact("centre distance of each mesh", _centres_mm),
    Fact(
        "motor at the top of a lift",
        lambda loads: (
            f"{loads.lift_point(loads.lift_fold_rad, 1.0).torque_Nm:.2f} N*m,"
            f" {loads.lift_point(loads.lift_fold_rad, 1.0).current_A:.1f} A"
        ),
    ),
    Fact(
        "current that speeds up the rotor, on top",
        lambda loads: f"{loads.speeding_up_A:.1f} A",
    ),
    Fact("stall of the motor at full battery voltage", _stall),
    Fact("winding over the air, walking for ever", _steady_K),
    Fact("walks on one charge", lambda loads: f"{loads.walks_per_charge:.1f}"),
    Fact("side springs needed", _side_springs),
    Fact("what holds a stoop when the stick is let go", _stoop_held),
    Fact(
        "what a controller without position sensors cannot do",
        lambda loads: (
            "hold at rest: a raised foot creeps down by"
            f" {1000 * loads.creep_mps:.1f} mm/s while it brakes; start smoothly under load"
            if loads.rig.controller.start_speed_radps > 0
            else "nothing of the kind: it has sensors"
        ),
    ),
)
