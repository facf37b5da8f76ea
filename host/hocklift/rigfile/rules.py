"""What the numbers of a rig must be to each other: one table, each row a rule and its reason."""

from collections.abc import Callable
from decimal import ROUND_FLOOR
from math import degrees, inf, radians
from typing import Any, NamedTuple

from legcore.model import VISIT_TICKS
from legsim.linkage import GRAVITY_MPS2, fold_for_lift_rad, height_m, leans_under_hip_rad
from legsim.rig import Rig
from legsim.stiffness import coarsest_substep_s
from legsim.tables import STAGES

from hocklift.rigfile.units import show, with_unit

# Sums of decimals miss each other by this much without anybody having meant it.
_ROUNDING = 1e-9
_RATIO_TOLERANCE = 0.01


class Rule(NamedTuple):
    """A rule over several keys: which, whether a rig keeps it, what must be.

    `seen` tells the derived value that broke it, where the keys alone do not show it.
    """

    keys: tuple[str, ...]
    # Of a rig of the kind whose keys these are.
    kept: Callable[[Any], bool]
    must: str
    seen: Callable[[Any], str] = lambda rig: ""


def _lean_inside(link: str, stop: str, pose: str) -> Rule:
    """Rule that a link's lean, the foot below the hip, keeps the margin to its joint's ends."""

    def lean_rad(rig: Rig) -> float:
        fold_rad = getattr(rig.mechanism, f"fold_{stop}_rad")
        return leans_under_hip_rad(rig.mechanism, fold_rad)[link == "shank"]

    def kept(rig: Rig) -> bool:
        margin_rad = rig.control.joint_margin_rad
        low_rad: float = getattr(rig.mechanism, f"{link}_min_rad") + margin_rad
        high_rad: float = getattr(rig.mechanism, f"{link}_max_rad") - margin_rad
        return low_rad - _ROUNDING <= lean_rad(rig) <= high_rad + _ROUNDING

    return Rule(
        (
            f"mechanism.fold_{stop}",
            f"mechanism.{link}_min",
            f"mechanism.{link}_max",
            "control.joint_margin",
        ),
        kept,
        f"{pose}, the {link}'s lean must be inside its least and most by the margin",
        lambda rig: f"it leans {with_unit(show(lean_rad(rig), 'deg', 4), 'deg')}",
    )


def _together(rig: Rig, end: str) -> str:
    """Tell the fold that both leans at one end make."""
    m = rig.mechanism
    fold_rad = getattr(m, f"thigh_{end}_rad") + getattr(m, f"shank_{end}_rad")
    return f"together they are {with_unit(show(fold_rad, 'deg', 4), 'deg')}"


def _anchor_on_link(part: str, link: str) -> Rule:
    """Rule that an anchor of spring or rope is no farther from the knee than the link's end."""
    return Rule(
        (f"{part}.{link}_anchor", f"mechanism.{link}_length"),
        lambda rig: bool(
            getattr(getattr(rig, part), f"{link}_anchor_m")
            <= getattr(rig.mechanism, f"{link}_length_m")
        ),
        f"the {part.replace('_', ' ')}'s anchor must be on the {link}, "
        "so no farther from the knee than it is long",
    )


def _pot_covers(link: str) -> Rule:
    """Rule that a pot's electrical travel reaches past its joint's leans by the margin."""

    def kept(rig: Rig) -> bool:
        sensors, margin_rad = rig.sensors, rig.safety.pot_margin_rad
        half_rad = sensors.pot_travel_rad / 2
        low_rad: float = getattr(rig.mechanism, f"{link}_min_rad") - margin_rad
        high_rad: float = getattr(rig.mechanism, f"{link}_max_rad") + margin_rad
        return (
            sensors.pot_centre_rad - half_rad <= low_rad
            and high_rad <= sensors.pot_centre_rad + half_rad
        )

    return Rule(
        (
            "sensors.pot_centre",
            "sensors.pot_travel",
            f"mechanism.{link}_min",
            f"mechanism.{link}_max",
            "safety.pot_margin",
        ),
        kept,
        f"the pot's travel about its centre must reach past the {link}'s leans by the margin",
    )


def _travel_m(rig: Rig) -> float:
    """How far the leg shortens from the extended stop to the soft stop."""
    m = rig.mechanism
    return height_m(m, m.fold_extended_rad) - height_m(m, m.fold_soft_stop_rad)


def _swing_s(rig: Rig) -> float:
    """How long a foot is off its share of the ground in one stride, which is two steps."""
    return (1 - rig.wearer.stance_share) * 2 / rig.wearer.cadence_per_s


def _steps_fit(rig: Rig) -> bool:
    try:
        return rig.substeps > 0
    except ValueError:
        return False


def _fastest_radps(rig: Rig) -> float:
    """Fastest that the setpoint of a leg moves, at the rig's stage of commissioning."""
    control = rig.control
    (most_cdps,) = (stage.speed_cdps for stage in STAGES if stage.name == control.stage)
    speeds = (
        control.lift_speed_radps,
        control.lower_speed_radps,
        control.release_speed_radps,
        control.stoop_speed_radps,
    )
    return min(max(speeds), radians(most_cdps / 100))


def _past_rest_rad(rig: Rig, shorter_m: float) -> float:
    """How far beyond its rest a leg that is so much shorter is folded; infinite if it cannot be."""
    try:
        fold_rad = fold_for_lift_rad(rig.mechanism, shorter_m)
    except ValueError:
        return inf
    return fold_rad - rig.mechanism.fold_extended_rad - rig.control.rest_margin_rad


def _braking_rad(rig: Rig) -> float:
    """How far the setpoint of a lifting leg moves on while it stops."""
    return rig.control.lift_speed_radps**2 / (2 * rig.control.accel_radps2)


# Of the 10 deg that the drill lets a motor fold a leg on which weight has come, the motor's own
# coast and the time until the contact is seen take the rest: 2.2 deg of the demo rig's, drilled.
_ONTO_WEIGHT_RAD = radians(7.5)


def _stoop_rad(rig: Rig) -> float:
    """How far a stoop folds both legs past their rest."""
    rest_rad = rig.mechanism.fold_extended_rad + rig.control.rest_margin_rad
    return rig.wants.stoop_fold_rad - rest_rad


# What must hold between limits of the fault table and the work that they watch, so that no
# limit trips in ordinary work and none lies where it would never be reached.
SAFETY_RULES = (
    Rule(
        ("safety.adrift", "control.lag", "control.lift_speed", "control.accel"),
        lambda rig: rig.safety.adrift_rad > rig.control.lag_rad + _braking_rad(rig),
        "a fold behind its setpoint must be a fault only beyond the lag at which the setpoint "
        "begins to wait, and its braking from the lift's speed, or a jammed leg would be taken "
        "for a broken rope",
        lambda rig: f"braking takes {with_unit(show(_braking_rad(rig), 'deg', 3), 'deg')}",
    ),
    Rule(
        ("safety.push", "control.lag"),
        lambda rig: rig.safety.push_rad > rig.control.lag_rad,
        "a fold past its setpoint must be a fault only beyond the lag at which the setpoint "
        "waits for the leg, or it would trip in ordinary work",
    ),
    Rule(
        ("safety.weight_time", "control.lift_speed", "control.accel"),
        lambda rig: (
            rig.control.lift_speed_radps * rig.safety.weight_time_s + _braking_rad(rig)
            <= _ONTO_WEIGHT_RAD
        ),
        "a lift must stop within 7.5 deg of the moment when weight comes onto the leg, "
        "or it would fold under the wearer",
    ),
    Rule(
        (
            "safety.rate",
            "control.lift_speed",
            "control.lower_speed",
            "control.release_speed",
            "control.stoop_speed",
            "control.stage",
        ),
        lambda rig: rig.safety.rate_radps > _fastest_radps(rig),
        "the rate that is a fault must be more than the fastest that the setpoint moves",
        lambda rig: f"that is {with_unit(show(degrees(_fastest_radps(rig)), 'deg/s', 4), 'deg/s')}",
    ),
    Rule(
        ("safety.pot_jump", "safety.rate", "control.period"),
        lambda rig: (
            rig.safety.pot_jump_rad > rig.safety.rate_radps * rig.control.period_s * VISIT_TICKS
        ),
        "a reading that jumps must be farther than a leg at the rate that is a fault turns "
        "between two readings, or motion would be taken for a bad sensor",
    ),
    Rule(
        ("safety.frozen", "wants.clearance", "mechanism.fold_extended"),
        lambda rig: rig.safety.frozen_rad < _past_rest_rad(rig, rig.wants.clearance_m),
        "a frozen sensor must show within one lift, or a walk would never tell",
    ),
    Rule(
        ("safety.hanging", "safety.sunk"),
        lambda rig: rig.safety.hanging_rad <= rig.safety.sunk_rad,
        "a leg that bears nothing may fold no farther than one that bears",
    ),
    Rule(
        ("safety.sunk", "wants.sink", "mechanism.fold_extended"),
        lambda rig: rig.safety.sunk_rad > _past_rest_rad(rig, rig.wants.sink_m),
        "a standing leg's fold must be a fault only beyond what the wanted sink folds it",
    ),
    Rule(
        ("safety.sunk", "wants.clearance", "mechanism.fold_extended"),
        lambda rig: rig.safety.sunk_rad < _past_rest_rad(rig, rig.wants.clearance_m),
        "a standing leg's fold must be a fault before the leg is lifted as for a step",
    ),
    Rule(
        ("safety.stuck_time", "control.hold_time"),
        lambda rig: rig.safety.stuck_time_s > rig.control.hold_time_s,
        "a switch must count as stuck only after the longest time that a foot may be held up",
    ),
    Rule(
        ("control.down_time", "wants.clearance", "control.release_speed", "control.lower_speed"),
        lambda rig: (
            rig.control.down_time_s
            > _past_rest_rad(rig, min(rig.wants.clearance_m, _travel_m(rig)))
            / min(rig.control.release_speed_radps, rig.control.lower_speed_radps)
        ),
        "letting a foot down must have more time than the way down takes at its speed, "
        "or the power would go while the foot is in the air",
    ),
    Rule(
        ("control.down_time", "wants.stoop_fold", "control.release_speed"),
        lambda rig: rig.control.down_time_s > _stoop_rad(rig) / rig.control.release_speed_radps,
        "rising from a stoop must have more time than the way takes at the speed of letting down, "
        "or the power would go half way up",
    ),
    Rule(
        (
            "safety.apart",
            "safety.push",
            "safety.adrift",
            "control.stoop_speed",
            "control.stoop_accel",
        ),
        lambda rig: (
            rig.safety.apart_rad
            + rig.control.stoop_speed_radps**2 / (2 * rig.control.stoop_accel_radps2)
            < min(rig.safety.push_rad, rig.safety.adrift_rad)
        ),
        "a stoop must have stopped for a leg behind it before that leg is a fault by itself",
    ),
    Rule(
        ("control.keep", "safety.apart"),
        lambda rig: rig.control.keep_rad < rig.safety.apart_rad,
        "a held stoop must be pulled back before it counts as apart from the other leg",
    ),
    Rule(
        ("control.watchdog", "control.period"),
        lambda rig: rig.control.watchdog_s >= 3 * rig.control.period_s - _ROUNDING,
        "the watchdog must wait for three periods at least, or one late tick would reset the board",
    ),
    Rule(
        ("safety.battery_V_per_cell", "battery.cells", "controller.low_voltage_cut"),
        lambda rig: (
            rig.safety.battery_V_per_cell * rig.battery.cells > rig.controller.low_voltage_cut_V
        ),
        "the board must let the foot down before the speed controllers stop driving",
    ),
    Rule(
        ("safety.supply", "sensors.supply"),
        lambda rig: rig.safety.supply_V < rig.sensors.supply_V,
        "the supply that is a fault must be less than the supply",
    ),
    Rule(
        ("safety.stick_edge", "safety.stick_zone", "sensors.stick_rest"),
        lambda rig: (
            rig.safety.stick_edge
            < min(rig.sensors.stick_rest, 1 - rig.sensors.stick_rest) - rig.safety.stick_zone
        ),
        "the stick's middle must lie inside its travel, clear of both edges",
    ),
    Rule(
        ("sensors.sole_force", "mechanism.carried_mass"),
        lambda rig: rig.sensors.sole_force_N < GRAVITY_MPS2 * rig.mechanism.carried_mass_kg / 2,
        "a sole contact must close under half of the carried mass, or standing on both feet "
        "it would tell of none",
        lambda rig: f"that weighs {GRAVITY_MPS2 * rig.mechanism.carried_mass_kg / 2:.0f} N",
    ),
    Rule(
        ("sensors.sole_force", "mechanism.foot_plate_mass"),
        lambda rig: rig.sensors.sole_force_N > GRAVITY_MPS2 * rig.mechanism.foot_plate_mass_kg,
        "a sole contact must need more than the weight of its own foot plate",
        lambda rig: f"that weighs {GRAVITY_MPS2 * rig.mechanism.foot_plate_mass_kg:.1f} N",
    ),
)

RULES = (
    Rule(
        ("mechanism.fold_extended", "mechanism.fold_soft_stop"),
        lambda rig: rig.mechanism.fold_extended_rad < rig.mechanism.fold_soft_stop_rad,
        "the extended stop must come before the soft stop",
    ),
    Rule(
        ("mechanism.fold_soft_stop", "safety.stop_margin", "mechanism.fold_hard_stop"),
        lambda rig: (
            rig.mechanism.fold_soft_stop_rad + rig.safety.stop_margin_rad
            < rig.mechanism.fold_hard_stop_rad
        ),
        "the soft stop and its margin must together be less than the hard stop",
    ),
    Rule(
        ("mechanism.thigh_min", "mechanism.thigh_max"),
        lambda rig: rig.mechanism.thigh_min_rad < rig.mechanism.thigh_max_rad,
        "the thigh's least lean must be less than its most",
    ),
    Rule(
        ("mechanism.shank_min", "mechanism.shank_max"),
        lambda rig: rig.mechanism.shank_min_rad < rig.mechanism.shank_max_rad,
        "the shank's least lean must be less than its most",
    ),
    Rule(
        ("mechanism.fold_hard_stop", "mechanism.thigh_max", "mechanism.shank_max"),
        lambda rig: (
            rig.mechanism.fold_hard_stop_rad
            <= rig.mechanism.thigh_max_rad + rig.mechanism.shank_max_rad + _ROUNDING
        ),
        "the hard stop is beyond the linkage's reach: it must be at most both leans' most together",
        lambda rig: _together(rig, "max"),
    ),
    Rule(
        ("mechanism.fold_extended", "mechanism.thigh_min", "mechanism.shank_min"),
        lambda rig: (
            rig.mechanism.fold_extended_rad
            >= rig.mechanism.thigh_min_rad + rig.mechanism.shank_min_rad - _ROUNDING
        ),
        "the extended stop is beyond the linkage's reach: "
        "it must be at least both leans' least together",
        lambda rig: _together(rig, "min"),
    ),
    *(
        _lean_inside(link, stop, pose)
        for stop, pose in (("extended", "standing"), ("soft_stop", "folded to the soft stop"))
        for link in ("thigh", "shank")
    ),
    Rule(
        ("spring.coil", "spring.wire"),
        # Not "coil > 2 wire": what is unknown breaks no rule.
        lambda rig: not rig.spring.coil_m <= 2 * rig.spring.wire_m,
        "a coil's mean diameter must be more than twice its wire's",
    ),
    *(
        _anchor_on_link(part, link)
        for part in ("spring", "gas_spring", "rope")
        for link in ("thigh", "shank")
    ),
    *(_pot_covers(link) for link in ("thigh", "shank")),
    Rule(
        ("wants.clearance", "mechanism.fold_extended", "mechanism.fold_soft_stop"),
        lambda rig: rig.wants.clearance_m < _travel_m(rig),
        "the wanted clearance must be less than the leg shortens up to its soft stop",
        lambda rig: f"it shortens {with_unit(show(_travel_m(rig), 'mm', 4), 'mm')}",
    ),
    Rule(
        ("wants.clearance_worst", "wants.clearance"),
        lambda rig: rig.wants.clearance_worst_m <= rig.wants.clearance_m,
        "the worst step's clearance must be no more than the wanted one",
    ),
    Rule(
        ("wants.lift", "wants.lower", "wearer.stance_share", "wearer.cadence"),
        lambda rig: rig.wants.lift_s + rig.wants.lower_s <= _swing_s(rig) + _ROUNDING,
        "lifting and lowering must fit into the part of a stride that a foot is up",
        lambda rig: f"that is {with_unit(show(_swing_s(rig), 's', 4), 's')}",
    ),
    Rule(
        (
            "drive.gear_stages",
            "gears.pinion_teeth",
            "gears.wheel_teeth",
            "gears.module",
            "gears.face",
        ),
        lambda rig: all(
            len(entries) == rig.drive.gear_stages
            for entries in (
                rig.gears.pinion_teeth,
                rig.gears.wheel_teeth,
                rig.gears.module_m,
                rig.gears.face_m,
            )
        ),
        "each list of the gears must have one entry for each stage",
    ),
    Rule(
        ("drive.gear_ratio", "gears.pinion_teeth", "gears.wheel_teeth"),
        lambda rig: abs(rig.gears.ratio / rig.drive.gear_ratio - 1) <= _RATIO_TOLERANCE,
        "the teeth must make the gear ratio, within 1 %",
        lambda rig: f"they make {rig.gears.ratio:.4g}",
    ),
    Rule(
        ("wants.stoop_fold", "mechanism.fold_extended", "mechanism.fold_soft_stop"),
        lambda rig: (
            rig.mechanism.fold_extended_rad
            < rig.wants.stoop_fold_rad
            <= rig.mechanism.fold_soft_stop_rad
        ),
        "the stooped fold must lie between the extended stop and the soft stop",
    ),
    Rule(
        ("wants.stoop_fold", "control.stoop_margin", "control.rest_margin"),
        lambda rig: rig.control.stoop_margin_rad <= _stoop_rad(rig),
        "a stoop must reach farther than where a step is allowed again",
    ),
    Rule(
        ("sensors.stick_rest", "sensors.stick_throw", "safety.stick_edge"),
        lambda rig: (
            abs(rig.sensors.stick_rest - 0.5) + rig.sensors.stick_throw
            <= 0.5 - rig.safety.stick_edge + _ROUNDING
        ),
        "the stick must stay within its readings to both ends of its throw",
    ),
    Rule(
        ("sensors.stick_throw", "safety.stick_zone"),
        lambda rig: rig.sensors.stick_throw > rig.safety.stick_zone,
        "the stick's throw must be more than its middle",
    ),
    Rule(
        ("control.period",),
        lambda rig: (
            abs(1 / rig.control.period_s - round(1 / rig.control.period_s)) < _ROUNDING * 1000
        ),
        "one second must hold a whole number of periods, as with 4 ms or 5 ms",
        lambda rig: f"it holds {1 / rig.control.period_s:.6g}",
    ),
    Rule(
        ("control.substep", "control.period"),
        _steps_fit,
        "the period must be a whole number of substeps",
    ),
    Rule(
        ("control.substep", "rope.line_EA", "rope.line_damping", "mechanism.hinge_friction"),
        lambda rig: not _steps_fit(rig) or rig.control.substep_s <= coarsest_substep_s(rig),
        "the substep is too long for so stiff a line or so much friction; write a shorter one",
        lambda rig: (
            f"at most {with_unit(show(coarsest_substep_s(rig), 'ms', 2, ROUND_FLOOR), 'ms')}"
        ),
    ),
    Rule(
        ("control.drive_min", "control.drive_max"),
        lambda rig: rig.control.drive_min < rig.control.drive_max,
        "the least drive must be less than the most",
    ),
    Rule(
        ("safety.stall_drive", "control.drive_max"),
        lambda rig: rig.safety.stall_drive <= rig.control.drive_max,
        "a stall must be no more drive than the most given, or it would never be noticed",
    ),
    *SAFETY_RULES,
)
