"""Everything that `hocklift size` checks: one table, a row for each part and situation.

A row compares a demand with a capacity, both worked out from a rig's loads; the rig keys
in `levers` are those that a person would change first to mend it.
"""

from collections.abc import Callable
from math import inf, isnan, nan, pi
from typing import NamedTuple

from legsim.linkage import GRAVITY_MPS2, spring_force_N
from legsim.rig import Rig

from hocklift.sizing import controllers, drums, gears, heat, pins, ropes, springs, suspension, wires
from hocklift.sizing.loads import Loads

# Below this a part is told to be tight: loads are estimates (common practice, no source).
TIGHT = 1.1
# Steel against yield, timber against the pressure at which a pin sinks in, seldom loaded to
# the full (common practice, no source).
STEEL_SAFETY = 1.5
TIMBER_SAFETY = 2.0
# Turns that stay on a drum, so that friction and not the knot holds (common practice, no
# source).
DEAD_TURNS = 2
# A foot should not move by more than this for one step of the pulse.
RESOLUTION_M = 1e-3
# Steps at which a bounce would build up: its frequency should be twice theirs, at least
# (common practice, no source).
BOUNCE_RATIO = 2.0
RATE_TOLERANCE = 0.10

Figure = Callable[[Loads], float]


class Check(NamedTuple):
    """One comparison: `demand` must not be above `capacity`; NaN where something is unknown."""

    part: str
    situation: str
    what: str
    unit: str
    demand: Figure
    capacity: Figure
    source: str
    levers: tuple[str, ...]
    applies: Callable[[Rig], bool] = lambda rig: True


class Row(NamedTuple):
    """One check of one rig, worked out; margin is capacity over demand."""

    check: Check
    demand: float
    capacity: float

    @property
    def margin(self) -> float:
        """Capacity over demand; infinite without demand, NaN where something is unknown."""
        if isnan(self.demand) or isnan(self.capacity):
            return nan
        if self.demand <= 0:
            return inf
        return self.capacity / self.demand

    @property
    def verdict(self) -> str:
        """One of `VERDICTS`."""
        if isnan(self.margin):
            return "unknown"
        if self.margin < 1:
            return "fails"
        return "tight" if self.margin < TIGHT else "holds"


VERDICTS = ("holds", "tight", "fails", "unknown")


def _of_coil(figure: Figure) -> Figure:
    """The figure where wire and coil sizes are known, else NaN."""

    def known(loads: Loads) -> float:
        spring = loads.rig.spring
        sizes = (spring.wire_m, spring.coil_m, spring.active_coils, spring.free_length_m)
        return nan if any(isnan(size) for size in sizes) else figure(loads)

    return known


def _spring_stress_Pa(loads: Loads, force_N: float) -> float:
    spring = loads.rig.spring
    return springs.coil_shear_stress_Pa(force_N, spring.wire_m, spring.coil_m)


def _of_wire(strength: Callable[[str, float], float]) -> Figure:
    """Strength of a rig's own wire; NaN where its diameter is unknown or in no table."""

    def figure(loads: Loads) -> float:
        spring = loads.rig.spring
        try:
            return strength(spring.material, spring.wire_m)
        except ValueError:
            return nan

    return figure


def _steps_of_life(kind: str, diameter_m: float) -> float:
    return wires.allowable_cyclic_shear_Pa(kind, diameter_m, 1e6)


def _wire_rate_error(loads: Loads) -> float:
    spring = loads.rig.spring
    try:
        modulus_Pa = wires.shear_modulus_Pa(spring.material, spring.wire_m)
    except StopIteration:
        return nan
    rate = springs.coil_rate_N_per_m(modulus_Pa, spring.wire_m, spring.coil_m, spring.active_coils)
    return abs(rate / spring.rate_N_per_m - 1)


def _solid_m(loads: Loads) -> float:
    spring = loads.rig.spring
    return springs.solid_height_m(spring.wire_m, spring.active_coils + 2, ground=True)


def _hook_stress_Pa(loads: Loads) -> float:
    spring = loads.rig.spring
    return springs.hook_stress_Pa(
        loads.spring_most_N, spring.wire_m, spring.coil_m, spring.coil_m / 2
    )


def _rope_strength_N(loads: Loads) -> float:
    rope = loads.rig.rope
    return ropes.weakened_strength_N(rope.breaking_N, [rope.knot_share])


def _one_layer_m(loads: Loads) -> float:
    drive = loads.rig.drive
    turns = max(0.0, drive.drum_width_m / loads.rig.rope.diameter_m - DEAD_TURNS)
    return turns * 2 * pi * drive.drum_radius_m


def _most_line_m(loads: Loads) -> float:
    return loads.wound_m(max(loads.lift_fold_rad, loads.rig.wants.stoop_fold_rad))


def _bend_ratio(diameter_m: float, loads: Loads) -> float:
    return drums.bend_ratio(diameter_m - loads.rig.rope.diameter_m, loads.rig.rope.diameter_m)


def _foot_lever_m(loads: Loads) -> float:
    """How much the leg shortens for each radian of fold, at the extended stop."""
    return loads.foot_lever_m(loads.rig.mechanism.fold_extended_rad)


def _knee_pin_N(loads: Loads) -> float:
    """No more than all forces that meet at the knee, as if they pulled one way."""
    tackle_N = loads.tackle_N(loads.rig.mechanism.fold_soft_stop_rad)
    return loads.spring_most_N + tackle_N + loads.one_leg_kg * GRAVITY_MPS2


def _rope_pin_N(loads: Loads) -> float:
    """The tackle, and the lead line that leaves beside it."""
    fold = loads.rig.wants.stoop_fold_rad
    tackle_N = max(loads.tackle_N(loads.lift_fold_rad), loads.stoop_tackle_N(fold))
    return tackle_N + loads.line_peak_N


def _pin_checks(name: str, key: str, force_N: Figure) -> list[Check]:
    """The four ways in which a pin through a timber link in a fork of two plates gives way."""

    def diameter_m(loads: Loads) -> float:
        return float(getattr(loads.rig.pins, f"{key}_m"))

    def bending_Pa(loads: Loads) -> float:
        p = loads.rig.pins
        moment_Nm = pins.pin_bending_moment_Nm(force_N(loads), p.link_m + p.plate_m, p.link_m)
        return pins.bending_stress_Pa(moment_Nm, diameter_m(loads))

    def timber_Pa(loads: Loads) -> float:
        return pins.bearing_stress_Pa(force_N(loads), diameter_m(loads), loads.rig.pins.link_m)

    def embedment_Pa(loads: Loads) -> float:
        if diameter_m(loads) > 0.030:
            return nan
        return pins.timber_embedment_Pa(diameter_m(loads), loads.rig.pins.timber_kg_per_m3)

    lever = f"pins.{key}"
    return [
        Check(
            name,
            "folded stop",
            "shear in two planes",
            "MPa",
            lambda loads: pins.double_shear_stress_Pa(force_N(loads), diameter_m(loads)),
            # Shear yields at 1/sqrt(3) of tension (von Mises).
            lambda loads: loads.rig.pins.yield_Pa / 3**0.5 / STEEL_SAFETY,
            "hibbeler",
            (lever,),
        ),
        Check(
            name,
            "folded stop",
            "bending between the fork's plates",
            "MPa",
            bending_Pa,
            lambda loads: loads.rig.pins.yield_Pa / STEEL_SAFETY,
            "roloff-matek",
            (lever, "pins.link"),
        ),
        Check(
            name,
            "folded stop",
            "pressure on each plate",
            "MPa",
            lambda loads: pins.bearing_stress_Pa(
                force_N(loads) / 2, diameter_m(loads), loads.rig.pins.plate_m
            ),
            lambda loads: loads.rig.pins.plate_Pa / STEEL_SAFETY,
            "hibbeler",
            ("pins.plate", lever),
        ),
        Check(
            name,
            "folded stop",
            "pressure on the timber",
            "MPa",
            timber_Pa,
            lambda loads: embedment_Pa(loads) / TIMBER_SAFETY,
            "eurocode-5",
            (lever, "pins.link"),
        ),
    ]


def _mesh_checks(rig: Rig) -> list[Check]:
    """Bending of the pinion's teeth and their speed, for each mesh of the train."""
    return [check for i in range(len(rig.gears.pinion_teeth)) for check in _mesh(i)]


def _mesh(i: int) -> list[Check]:
    names = ("first", "second", "third", "fourth", "fifth", "sixth")

    def ratio_before(loads: Loads) -> float:
        g = loads.rig.gears
        return gears.train_ratio(list(zip(g.pinion_teeth[:i], g.wheel_teeth[:i], strict=True)))

    def speed_mps(loads: Loads) -> float:
        g = loads.rig.gears
        speed_radps = loads.lift_peak_radps / ratio_before(loads)
        return gears.pitch_line_mps(speed_radps, g.module_m[i], g.pinion_teeth[i])

    def stress_Pa(loads: Loads) -> float:
        g, drive = loads.rig.gears, loads.rig.drive
        # What reaches this mesh from the drum's side, its own loss included.
        meshes_after = len(g.pinion_teeth) - i
        torque_Nm = (
            loads.line_peak_N
            * drive.drum_radius_m
            / (drive.gear_ratio / ratio_before(loads))
            / gears.train_efficiency(drive.mesh_efficiency, meshes_after)
        )
        force_N = gears.tangential_force_N(torque_Nm, g.module_m[i], g.pinion_teeth[i])
        return gears.tooth_stress_Pa(
            force_N, g.module_m[i], g.face_m[i], max(10, g.pinion_teeth[i]), speed_mps(loads)
        )

    return [
        Check(
            f"{names[i]} gear mesh",
            "lifting or stooping",
            "bending of the pinion's teeth",
            "MPa",
            stress_Pa,
            lambda loads: gears.allowable_tooth_stress_Pa(loads.rig.gears.material),
            "shigley",
            (f"gears.face[{i + 1}]", f"gears.module[{i + 1}]", "gears.material"),
        ),
        Check(
            f"{names[i]} gear mesh",
            "lifting",
            "speed of the teeth",
            "m/s",
            speed_mps,
            # Where the formula for the blows of the teeth ends.
            lambda loads: 10.0,
            "shigley",
            (f"gears.module[{i + 1}]", "wants.lift"),
        ),
    ]


def _sag_V(loads: Loads) -> float:
    battery = loads.rig.battery
    return loads.reserve_V - battery.resistance_ohm * loads.lift_peak_A


def _winding_rise_K(loads: Loads) -> float:
    drive = loads.rig.drive
    return heat.rise_after_K(
        loads.mean_square_A2 * drive.resistance_ohm,
        loads.iron_W,
        loads.rig.wants.walk_s,
        drive.winding_J_per_K,
        drive.case_J_per_K,
        drive.winding_to_case_K_per_W,
        drive.case_to_air_K_per_W,
    ).winding_K


def _walk_J(loads: Loads) -> float:
    rig = loads.rig
    return loads.step_energy_J * rig.wearer.cadence_per_s * rig.wants.walk_s


def _charge_J(loads: Loads) -> float:
    battery = loads.rig.battery
    mean_V = (loads.rest_V + loads.reserve_V) / 2
    return max(0.0, battery.charge - battery.reserve) * battery.capacity_C * mean_V


def _lower_s(loads: Loads) -> float:
    return loads.latency_s + loads.planned_s(loads.rig.control.lower_speed_radps)


def _stoop_speed_radps(loads: Loads) -> float:
    rig = loads.rig
    mean = (rig.wants.stoop_fold_rad - rig.mechanism.fold_extended_rad) / rig.wants.stoop_s
    # Half as fast again in its middle: a third of the time speeding up, a third slowing down.
    return 1.5 * mean * loads.motor_per_fold(rig.wants.stoop_fold_rad)


def _stoop_load_Nm(loads: Loads) -> float:
    return loads.motor_load_Nm(loads.stooping_line_N)


def _resolution_m(loads: Loads) -> float:
    rig = loads.rig
    c, m = rig.controller, rig.mechanism
    step = controllers.duty_per_pulse_step(max(c.resolution_s, 1e-9), c.span_s, c.deadband_s)
    full_radps = loads.lift_point(m.fold_extended_rad, 1.0).speed_radps / loads.motor_per_fold(
        m.fold_extended_rad
    )
    return step * full_radps * _foot_lever_m(loads) * c.frame_s


CHECKS: tuple[Check, ...] = (
    Check(
        "springs",
        "standing on two legs",
        "weight on each hip against what keeps it on the extended stop",
        "N",
        lambda loads: (
            loads.standing_Nm(
                loads.rig.mechanism.fold_extended_rad, loads.rig.mechanism.carried_mass_kg / 2
            )
            / _foot_lever_m(loads)
        ),
        lambda loads: loads.foot_force_N(loads.rig.mechanism.fold_extended_rad),
        "virtual-work",
        ("spring.force_extended", "mechanism.carried_mass"),
    ),
    Check(
        "springs",
        "standing on one leg",
        "sink of the frame",
        "mm",
        lambda loads: loads.sink_m(loads.one_leg_kg),
        lambda loads: loads.rig.wants.sink_m,
        "virtual-work",
        ("spring.rate", "spring.force_extended", "wants.sink"),
    ),
    Check(
        "springs",
        "standing on one leg",
        "steps a second, twice, against the frequency of the bounce",
        "Hz",
        lambda loads: BOUNCE_RATIO * loads.rig.wearer.cadence_per_s,
        lambda loads: loads.bounce_Hz,
        "wheel-rate",
        ("spring.rate", "wearer.cadence"),
    ),
    Check(
        "coil spring",
        "folded stop",
        "squeeze against the gap between its coils",
        "mm",
        lambda loads: loads.spring_most_N / loads.rig.spring.rate_N_per_m,
        _of_coil(lambda loads: loads.rig.spring.free_length_m - _solid_m(loads)),
        "shigley",
        ("spring.free_length", "spring.active_coils"),
        lambda rig: rig.spring.mount == "coil-over",
    ),
    Check(
        "coil spring",
        "at rest",
        "rate by its wire beside the rate given, apart by",
        "percent",
        _of_coil(_wire_rate_error),
        lambda loads: RATE_TOLERANCE,
        "shigley",
        ("spring.active_coils", "spring.coil"),
    ),
    Check(
        "coil spring",
        "folded stop",
        "shear in the wire, before it takes a set",
        "MPa",
        _of_coil(lambda loads: _spring_stress_Pa(loads, loads.spring_most_N)),
        _of_wire(wires.allowable_shear_Pa),
        "wahl",
        ("spring.wire", "spring.coil", "mechanism.fold_hard_stop"),
    ),
    Check(
        "coil spring",
        "lifting",
        "shear in the wire, a million times",
        "MPa",
        _of_coil(
            lambda loads: _spring_stress_Pa(loads, spring_force_N(loads.rig, loads.lift_fold_rad))
        ),
        _of_wire(_steps_of_life),
        "spring-life",
        ("spring.wire", "spring.coil"),
    ),
    Check(
        "coil spring",
        "folded stop",
        "tension in its hook",
        "MPa",
        _of_coil(_hook_stress_Pa),
        _of_wire(wires.allowable_hook_bending_Pa),
        "shigley",
        ("spring.wire", "spring.coil"),
        lambda rig: rig.spring.mount == "hooked",
    ),
    Check(
        "rope",
        "lifting or stooping",
        "tension times the factor wanted, against its strength at the knots",
        "N",
        lambda loads: loads.line_peak_N * loads.rig.wants.rope_factor,
        _rope_strength_N,
        "cordage-institute",
        ("rope.breaking", "rope.parts"),
    ),
    Check(
        "sheaves",
        "always",
        "least bend for fibre rope, against sheave over rope",
        "",
        lambda loads: drums.LEAST_BEND_RATIO,
        lambda loads: _bend_ratio(loads.rig.rope.sheave_m, loads),
        "toss",
        ("rope.sheave", "rope.diameter"),
    ),
    Check(
        "drum",
        "always",
        "least bend for fibre rope, against drum over rope",
        "",
        lambda loads: drums.LEAST_BEND_RATIO,
        lambda loads: _bend_ratio(2 * loads.rig.drive.drum_radius_m, loads),
        "toss",
        ("drive.drum_radius", "rope.diameter"),
    ),
    Check(
        "drum",
        "lifting or stooping",
        "line wound in against what one layer takes",
        "mm",
        _most_line_m,
        _one_layer_m,
        "drum-winder",
        ("drive.drum_width", "drive.drum_radius", "rope.parts"),
    ),
    Check(
        "motor",
        "lifting",
        "time to lift at most drive",
        "s",
        lambda loads: loads.fastest_lift_s,
        lambda loads: loads.rig.wants.lift_s,
        "motor-sheet",
        ("drive.gear_ratio", "control.lift_speed", "drive.speed_constant", "wants.lift"),
    ),
    Check(
        "motor",
        "lifting",
        "fastest moment of an even lift, against its speed there at most drive",
        "rpm",
        lambda loads: loads.lift_peak_radps,
        lambda loads: (
            loads.lift_point(loads.lift_fold_rad, loads.rig.control.drive_max).speed_radps
        ),
        "move-profiles",
        ("drive.gear_ratio", "drive.speed_constant", "wants.lift"),
    ),
    Check(
        "motor",
        "lowering",
        "time to lower as the controller does it",
        "s",
        _lower_s,
        lambda loads: loads.rig.wants.lower_s,
        "move-profiles",
        ("control.lower_speed", "wants.lower"),
    ),
    Check(
        "motor",
        "stooping",
        "speed into the stoop, against what it turns there at most drive",
        "rpm",
        _stoop_speed_radps,
        lambda loads: (
            loads.motor_point(_stoop_load_Nm(loads), loads.rig.control.drive_max).speed_radps
        ),
        "motor-sheet",
        ("wants.stoop", "drive.gear_ratio"),
    ),
    Check(
        "motor",
        "walking",
        "warmth of its winding over the air after one walk",
        "K",
        _winding_rise_K,
        lambda loads: loads.rig.drive.winding_limit_K,
        "copper",
        ("drive.gear_ratio", "drive.resistance", "drive.case_to_air"),
    ),
    Check(
        "speed controller",
        "lifting",
        "highest current",
        "A",
        lambda loads: loads.lift_peak_A,
        lambda loads: loads.rig.controller.current_limit_A,
        "motor-sheet",
        ("controller.current_limit", "drive.gear_ratio"),
    ),
    Check(
        "speed controller",
        "lifting",
        "current to start under load, against what it gives while it guesses",
        "A",
        lambda loads: (
            loads.motor_load_Nm(loads.line_N(loads.tackle_N(loads.rig.mechanism.fold_extended_rad)))
            / loads.torque_Nm_per_A
        ),
        lambda loads: loads.rig.controller.start_current_A,
        "motor-sheet",
        ("drive.gear_ratio", "controller.start_current"),
    ),
    Check(
        "speed controller",
        "holding",
        "creep of a raised foot in one second while it brakes",
        "mm",
        lambda loads: loads.creep_mps * 1.0,
        lambda loads: loads.rig.wants.clearance_m * loads.rig.wants.clearance_tolerance,
        "motor-sheet",
        ("drive.gear_ratio", "controller.at_neutral"),
    ),
    Check(
        "speed controller",
        "lifting",
        "foot travel for one step of the pulse in one frame",
        "mm",
        _resolution_m,
        lambda loads: RESOLUTION_M,
        "definition",
        ("controller.resolution", "controller.frame"),
    ),
    Check(
        "battery",
        "lifting",
        "highest current",
        "A",
        lambda loads: loads.lift_peak_A,
        lambda loads: loads.rig.battery.current_limit_A,
        "definition",
        ("battery.current_limit",),
    ),
    Check(
        "battery",
        "lifting",
        "controller's low-voltage cut, against its voltage under load at the reserve",
        "V",
        lambda loads: loads.rig.controller.low_voltage_cut_V,
        _sag_V,
        "definition",
        ("battery.resistance", "controller.low_voltage_cut"),
    ),
    Check(
        "battery",
        "walking",
        "energy of one walk against its charge",
        "kJ",
        _walk_J,
        _charge_J,
        "definition",
        ("battery.capacity", "wants.walk"),
    ),
    *_pin_checks("knee pin", "knee_pin", _knee_pin_N),
    *_pin_checks("spring pin", "spring_pin", lambda loads: loads.spring_most_N),
    *_pin_checks("rope pin", "rope_pin", _rope_pin_N),
    Check(
        "side-lean joint",
        "standing on one leg",
        "stiffness needed against its springs'",
        "N*m/rad",
        lambda loads: suspension.hip_stiffness_Nm_per_rad(
            loads.rig.mechanism.carried_mass_kg
            + loads.rig.hip.wearer_mass_kg * loads.rig.hip.lean_share,
            loads.rig.hip.height_m,
            loads.rig.hip.lean_rad,
            loads.rig.hip.wearer_lean_rad,
        ),
        lambda loads: suspension.bush_stiffness_Nm_per_rad(
            loads.rig.hip.lean_spring_N_per_m, loads.rig.hip.lean_spring_m
        ),
        "definition",
        ("hip.lean_spring_rate", "hip.lean_spring_arm"),
    ),
    Check(
        "turn-out joint",
        "walking",
        "turn of the foot",
        "deg",
        lambda loads: suspension.bush_angle_rad(
            loads.rig.hip.turn_Nm, loads.rig.hip.turn_bush_Nm_per_rad
        ),
        lambda loads: loads.rig.hip.turn_rad,
        "definition",
        ("hip.turn_bush",),
    ),
)


def checks_of(rig: Rig) -> list[Check]:
    """All checks that concern a rig: the table, and two for each gear mesh."""
    return [check for check in (*CHECKS, *_mesh_checks(rig)) if check.applies(rig)]


def rows_of(rig: Rig) -> list[Row]:
    """Work out every check of a rig."""
    loads = Loads(rig)
    return [Row(check, check.demand(loads), check.capacity(loads)) for check in checks_of(rig)]
