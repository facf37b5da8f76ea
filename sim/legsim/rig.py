"""Every number that describes a rig, declared once: SI value, unit for people, range, meaning.

The defaults are the demo rig, the Marsh Heron, a walking bird invented for hocklift.
Field names end in their SI unit; a ratio has no ending. The rig file, its comments,
its checks and the manual are made from these declarations.
"""

from dataclasses import dataclass, field, fields
from math import pi, prod, radians
from typing import Any

_RPM = 2 * pi / 60


def key(
    default: float | tuple[float, ...],
    unit: str,
    low: float,
    high: float,
    meaning: str,
    *,
    whole: bool = False,
    unknown: bool = False,
) -> Any:
    """Declare a number: SI default and range (ends included), and the unit to show it in.

    A tuple declares a list, one number for each gear mesh. Where `unknown`, a person may
    say so instead of giving a number, which is then NaN.
    """
    return field(
        default=default,
        metadata={
            "unit": unit,
            "low": low,
            "high": high,
            "meaning": meaning,
            "whole": whole,
            "unknown": unknown,
        },
    )


def choice(default: str, words: tuple[str, ...], meaning: str) -> Any:
    """Declare a word out of a few."""
    return field(default=default, metadata={"words": words, "meaning": meaning})


def whole_substeps(period_s: float, substep_s: float) -> int:
    """How many simulator steps make one control period; ValueError if they do not."""
    count = round(period_s / substep_s)
    if count < 1 or abs(count * substep_s - period_s) > 1e-9:
        raise ValueError("control.substep does not divide control.period")
    return count


@dataclass(frozen=True)
class Mechanism:
    """Two parallelograms to a leg; angles are leans from vertical, fold is their sum."""

    carried_mass_kg: float = key(34, "kg", 1, 300, "frame, costume and battery; not the wearer")
    thigh_links_mass_kg: float = key(1.1, "kg", 0.01, 50, "both thigh links of one leg")
    knee_block_mass_kg: float = key(0.7, "kg", 0.01, 50, "knee block of one leg")
    shank_links_mass_kg: float = key(1.2, "kg", 0.01, 50, "both shank links of one leg")
    foot_plate_mass_kg: float = key(0.9, "kg", 0.01, 50, "foot plate of one leg")
    thigh_length_m: float = key(0.440, "mm", 0.05, 2, "thigh link, pivot to pivot")
    shank_length_m: float = key(0.480, "mm", 0.05, 2, "shank link, pivot to pivot")
    fold_extended_rad: float = key(
        radians(60), "deg", radians(10), radians(150), "fold at the hard extended stop"
    )
    fold_soft_stop_rad: float = key(
        radians(96), "deg", radians(12), radians(170), "fold the controller never drives past"
    )
    fold_hard_stop_rad: float = key(
        radians(102), "deg", radians(15), radians(175), "fold at the hard folded stop"
    )
    thigh_min_rad: float = key(radians(10), "deg", radians(-80), radians(80), "thigh lean, least")
    thigh_max_rad: float = key(radians(74), "deg", radians(-80), radians(89), "thigh lean, most")
    shank_min_rad: float = key(radians(6), "deg", radians(-80), radians(80), "shank lean, least")
    shank_max_rad: float = key(radians(70), "deg", radians(-80), radians(89), "shank lean, most")
    hinge_friction_Nm: float = key(
        0.6, "N*m", 0, 50, "Coulomb friction at each of the two joints, all pins of it together"
    )
    hinge_damping_Nms: float = key(0.3, "N*m*s/rad", 0, 50, "viscous friction at each joint")
    stop_stiffness_Nm: float = key(3000, "N*m/rad", 100, 1e5, "hard stops, at the joint")
    stop_damping_Nms: float = key(15, "N*m*s/rad", 0, 1000, "hard stops, at the joint")

    @property
    def leg_mass_kg(self) -> float:
        """Moving mass of one leg."""
        return (
            self.thigh_links_mass_kg
            + self.knee_block_mass_kg
            + self.shank_links_mass_kg
            + self.foot_plate_mass_kg
        )


@dataclass(frozen=True)
class Spring:
    """The coil spring across the knee; it pushes the anchors apart and so extends the leg."""

    thigh_anchor_m: float = key(0.115, "mm", 0.005, 1, "from the knee, on the thigh")
    shank_anchor_m: float = key(0.115, "mm", 0.005, 1, "from the knee, on the shank")
    rate_N_per_m: float = key(62e3, "N/mm", 100, 1e6, "spring rate")
    force_extended_N: float = key(900, "N", 0, 20000, "spring force at the extended stop")
    wire_m: float = key(0.0125, "mm", 1e-4, 0.05, "wire diameter", unknown=True)
    coil_m: float = key(0.084, "mm", 1e-3, 0.5, "mean coil diameter", unknown=True)
    active_coils: float = key(6.41, "", 1, 200, "coils that work", unknown=True)
    free_length_m: float = key(0.185, "mm", 0.005, 2, "length without load", unknown=True)
    material: str = choice(
        "oil-tempered steel",
        ("music wire", "oil-tempered steel", "stainless steel"),
        "what the wire is made of",
    )
    mount: str = choice("coil-over", ("coil-over", "hooked"), "how the spring is held")


@dataclass(frozen=True)
class GasSpring:
    """A gas spring beside the coil spring, between anchors of its own; force 0: there is none."""

    thigh_anchor_m: float = key(0.140, "mm", 0.005, 1, "from the knee, on the thigh")
    shank_anchor_m: float = key(0.140, "mm", 0.005, 1, "from the knee, on the shank")
    force_extended_N: float = key(0, "N", 0, 20000, "force at the extended stop")
    progression: float = key(1.3, "", 1, 5, "force at full stroke over force at its start")
    stroke_m: float = key(0.080, "mm", 0.005, 1, "stroke over which it progresses")
    friction_N: float = key(20, "N", 0, 1000, "its seal's friction")


@dataclass(frozen=True)
class Rope:
    """The tackle between thigh and shank, and its line to the drum; it only pulls."""

    thigh_anchor_m: float = key(0.360, "mm", 0.005, 2, "from the knee, on the thigh")
    shank_anchor_m: float = key(0.380, "mm", 0.005, 2, "from the knee, on the shank")
    parts: float = key(4, "", 1, 12, "parts of line that pull between the anchors", whole=True)
    sheave_efficiency: float = key(
        0.962, "percent", 0.5, 1, "of each sheave; ball-bearing about 96 %, plain about 92 %"
    )
    line_EA_N: float = key(16e3, "kN", 500, 1e7, "force that would double the line's length")
    lead_length_m: float = key(0.6, "m", 0.01, 10, "line from tackle to drum")
    line_damping_s: float = key(0.004, "ms", 0, 1, "damping of the line over its stiffness")
    breaking_N: float = key(1900, "kN", 50, 1e6, "breaking load of the line, knots not counted")
    diameter_m: float = key(0.004, "mm", 5e-4, 0.05, "line diameter")
    knot_share: float = key(0.6, "percent", 0.2, 1, "strength that knots or splices leave it")
    sheave_m: float = key(0.030, "mm", 0.003, 0.5, "sheave diameter, to the middle of the line")


@dataclass(frozen=True)
class Drive:
    """Drum, printed gears and brushless motor, the motor as its direct-current equivalent."""

    drum_radius_m: float = key(0.011, "mm", 0.002, 0.5, "drum, to the middle of the line")
    drum_width_m: float = key(0.046, "mm", 0.002, 0.5, "between the drum's flanges")
    gear_ratio: float = key(24, "", 1, 1000, "turns of the motor for one of the drum")
    gear_stages: float = key(3, "", 1, 6, "meshes in the train", whole=True)
    mesh_efficiency: float = key(0.95, "percent", 0.5, 1, "of each mesh")
    speed_constant_radps_per_V: float = key(620 * _RPM, "rpm/V", 1, 1000, "motor speed per volt")
    resistance_ohm: float = key(0.055, "mohm", 0.001, 20, "motor, line to line, when cold")
    no_load_current_A: float = key(0.9, "A", 0, 50, "motor running free")
    no_load_V: float = key(10, "V", 1, 100, "voltage of that free run")
    rotor_inertia_kgm2: float = key(20e-6, "kg*mm^2", 1e-8, 0.1, "rotor and first pinion")
    motor_mass_kg: float = key(0.190, "g", 0.005, 20, "motor")
    winding_J_per_K: float = key(17, "J/K", 0.1, 5000, "heat that warms the winding by 1 K")
    case_J_per_K: float = key(65, "J/K", 0.5, 50000, "heat that warms the rest of the motor by 1 K")
    winding_to_case_K_per_W: float = key(0.9, "K/W", 0.001, 100, "winding to case")
    case_to_air_K_per_W: float = key(5.0, "K/W", 0.01, 500, "case to air")
    winding_limit_K: float = key(80, "K", 10, 200, "most that the winding may warm over the air")


@dataclass(frozen=True)
class Gears:
    """Spur gears of 20 degree involute form; lists begin at the motor, one entry a mesh."""

    pinion_teeth: tuple[float, ...] = key((14, 15, 15), "", 6, 200, "driving gear", whole=True)
    wheel_teeth: tuple[float, ...] = key((40, 42, 45), "", 6, 400, "driven gear", whole=True)
    module_m: tuple[float, ...] = key(
        (0.001, 0.00125, 0.00175), "mm", 2e-4, 0.02, "pitch diameter over teeth"
    )
    face_m: tuple[float, ...] = key((0.016, 0.020, 0.025), "mm", 0.001, 0.2, "face width")
    material: str = choice(
        "nylon", ("PLA", "PETG", "nylon", "steel"), "what they are made of, printed where plastic"
    )

    @property
    def ratio(self) -> float:
        """Turns of the motor for one of the drum, by the teeth."""
        return prod(self.wheel_teeth) / prod(self.pinion_teeth)


@dataclass(frozen=True)
class Pins:
    """Hinge pins and anchor bolts, each through a timber link held in a fork of two plates."""

    knee_pin_m: float = key(0.012, "mm", 0.001, 0.1, "knee hinge pin, diameter")
    spring_pin_m: float = key(0.012, "mm", 0.001, 0.1, "spring anchor bolt, diameter")
    rope_pin_m: float = key(0.008, "mm", 0.001, 0.1, "rope anchor bolt, diameter")
    link_m: float = key(0.025, "mm", 0.001, 0.3, "timber of the link, along the pin")
    plate_m: float = key(0.003, "mm", 0.0005, 0.1, "each plate of the fork")
    yield_Pa: float = key(
        640e6, "MPa", 1e7, 3e9, "yield strength of pins, as 640 MPa for 8.8 bolts"
    )
    plate_Pa: float = key(235e6, "MPa", 1e7, 2e9, "yield strength of the plates")
    timber_kg_per_m3: float = key(680, "kg/m^3", 200, 1200, "density of the timber, ash about 680")


@dataclass(frozen=True)
class Hip:
    """Passive joints between frame and leg that follow the wearer: side-lean and turn-out."""

    wearer_mass_kg: float = key(75, "kg", 20, 200, "the wearer, who leans on the frame")
    lean_share: float = key(
        0.1, "percent", 0, 1, "of the wearer's weight that a lean puts on the frame"
    )
    height_m: float = key(0.35, "mm", 0.01, 2, "centre of frame and lean above the side-lean axis")
    wearer_lean_rad: float = key(
        radians(4), "deg", 0, radians(45), "lean of the wearer that the joint must take"
    )
    lean_rad: float = key(
        radians(6), "deg", radians(1), radians(45), "further lean at which its springs must hold"
    )
    lean_spring_N_per_m: float = key(25e3, "N/mm", 100, 1e7, "each of the two side springs")
    lean_spring_m: float = key(0.080, "mm", 0.005, 0.5, "side springs from the axis")
    turn_Nm: float = key(5, "N*m", 0, 200, "turning of the foot that the turn-out joint must take")
    turn_rad: float = key(radians(15), "deg", radians(1), radians(90), "turn-out allowed")
    turn_bush_Nm_per_rad: float = key(25, "N*m/rad", 0.1, 1e5, "turn-out bush")


@dataclass(frozen=True)
class Controller:
    """The speed controller between board and motor: servo pulses in, duty out."""

    frame_s: float = key(0.020, "ms", 0.001, 0.05, "period of the servo pulses")
    neutral_s: float = key(1500e-6, "us", 1e-3, 2e-3, "pulse at rest")
    deadband_s: float = key(
        25e-6, "us", 0, 200e-6, "either side of neutral, where it stays at rest"
    )
    span_s: float = key(500e-6, "us", 200e-6, 1e-3, "from neutral to full drive")
    resolution_s: float = key(1e-6, "us", 0, 50e-6, "smallest step of pulse that it tells apart")
    ramp_s: float = key(0.05, "ms", 0, 2, "from rest to full duty, at its own fastest")
    neutral: str = choice("brake", ("brake", "coast"), "what the motor does at neutral")
    reverse: str = choice(
        "direct",
        ("direct", "brake first"),
        "whether the first reverse command only brakes, until neutral has been seen",
    )
    current_limit_A: float = key(40, "A", 1, 500, "most motor current")
    low_voltage_cut_V: float = key(18, "V", 0, 100, "battery voltage at which it stops driving")
    start_speed_radps: float = key(
        400 * _RPM,
        "rpm",
        0,
        2000,
        "below this a sensorless controller only guesses; 0 with sensors",
    )
    start_duty: float = key(0.04, "percent", 0, 0.5, "least duty that starts the motor")
    start_current_A: float = key(25, "A", 1, 500, "current limit while it guesses")


@dataclass(frozen=True)
class Battery:
    """A lithium-polymer pack: voltage from charge, less its internal resistance."""

    cells: float = key(6, "", 1, 24, "cells in series", whole=True)
    capacity_C: float = key(5 * 3600, "A*hour", 100, 1e6, "capacity")
    resistance_ohm: float = key(0.018, "mohm", 0, 5, "whole pack")
    charge: float = key(0.9, "percent", 0.02, 1, "state of charge at the start")
    current_limit_A: float = key(100, "A", 0.1, 2000, "most current that the pack may give")
    reserve: float = key(0.2, "percent", 0, 0.9, "charge to be left in it")


@dataclass(frozen=True)
class Sensors:
    """A pot on each joint, a switch over each foot, and the converter that reads them."""

    pot_travel_rad: float = key(
        radians(300), "deg", radians(20), radians(3600), "electrical travel of each pot"
    )
    pot_centre_rad: float = key(
        radians(42), "deg", radians(-90), radians(90), "lean at which each pot stands at half"
    )
    pot_nonlinearity: float = key(0.003, "percent", 0, 0.1, "largest bow of the track, of supply")
    pot_backlash_rad: float = key(radians(0.15), "deg", 0, radians(10), "play in each pot's drive")
    noise_count: float = key(1.0, "", 0, 200, "rms noise of one reading, in counts of 4096")
    reference_error: float = key(
        0.0, "percent", -0.1, 0.1, "converter reference against pot supply"
    )
    lift_off_per_s: float = key(
        0.02, "1/s", 0, 50, "how often a wiper loses its track for a moment"
    )
    lift_off_s: float = key(0.003, "ms", 0, 1, "for how long it does")
    switch_bounce_s: float = key(0.006, "ms", 0, 0.2, "how long a switch chatters after it moves")
    switch_force_N: float = key(12, "N", 0.1, 500, "push of the raised foot that closes the switch")
    sole_force_N: float = key(80, "N", 1, 2000, "load on a foot plate that closes its sole contact")
    battery_error: float = key(0.01, "percent", -0.2, 0.2, "of the battery's reading")
    supply_V: float = key(5, "V", 1, 20, "the board's own supply")
    stick_rest: float = key(0.5, "percent", 0.05, 0.95, "of its travel, where the stick rests")
    stick_throw: float = key(
        0.40, "percent", 0.1, 0.5, "of its travel, from rest to either end; more reads: stoop"
    )


@dataclass(frozen=True)
class Wearer:
    """Who walks in it: when a foot is raised, where it goes, how weight moves across."""

    cadence_per_s: float = key(36 / 60, "1/min", 0.05, 4, "steps, left and right together")
    stance_share: float = key(0.55, "percent", 0.5, 0.9, "of a stride that a foot is down")
    step_length_m: float = key(0.20, "mm", 0, 1, "foot fall to foot fall of the other foot")
    push_N: float = key(20, "N", 0, 500, "of a raised foot against its switch")
    stirrup_N_per_m: float = key(1500, "N/m", 0, 1e5, "foot against stirrup, fore and aft")
    stirrup_Ns_per_m: float = key(60, "N*s/m", 0, 1e4, "the same, damping")
    balance_N_per_m: float = key(
        6000, "N/m", 0, 1e5, "how firmly the hip of a raised leg is kept up"
    )
    harness_Ns_per_m: float = key(
        400, "N*s/m", 0, 1e4, "what body and harness damp of each hip's bounce"
    )


@dataclass(frozen=True)
class Ground:
    """What the foot plate meets: it pushes, never pulls."""

    stiffness_N_per_m: float = key(60e3, "N/mm", 1e3, 1e7, "under one foot plate")
    damping_Ns_per_m: float = key(500, "N*s/m", 0, 1e5, "under one foot plate")
    friction: float = key(0.7, "", 0.05, 2, "foot plate on ground")
    bump_m: float = key(0, "mm", 0, 0.2, "highest bump that a foot may come down on")


@dataclass(frozen=True)
class Control:
    """What a person may tune."""

    period_s: float = key(0.004, "ms", 0.001, 0.02, "one tick of the control loop")
    substep_s: float = key(0.001, "ms", 1e-5, 0.02, "simulator's step; divides the period exactly")
    angle_filter_s: float = key(0.006, "ms", 0, 0.2, "time constant of the joint angle filter")
    rate_filter_s: float = key(0.016, "ms", 0, 0.5, "time constant of the fold rate filter")
    debounce_s: float = key(
        0.012, "ms", 0.001, 0.5, "a switch must agree with itself for this long"
    )
    lift_speed_radps: float = key(
        radians(38), "deg/s", radians(1), radians(100), "fastest setpoint, up"
    )
    lower_speed_radps: float = key(
        radians(30), "deg/s", radians(1), radians(100), "fastest setpoint, down"
    )
    release_speed_radps: float = key(
        radians(15), "deg/s", radians(1), radians(100), "fastest setpoint while letting down safely"
    )
    accel_radps2: float = key(
        radians(260), "deg/s^2", radians(20), radians(2000), "of the setpoint, up and down"
    )
    lag_rad: float = key(
        radians(2.5),
        "deg",
        radians(0.2),
        radians(20),
        "setpoint waits when the leg is so far behind",
    )
    hold_time_s: float = key(6, "s", 0.1, 120, "longest time a foot may be held up")
    down_time_s: float = key(4, "s", 0.1, 120, "letting a foot down takes no longer than this")
    stage: str = choice(
        "walking",
        ("unloaded", "stand", "gantry", "walking"),
        "of commissioning; bounds drive, speed and stall time, and the board refuses more",
    )
    arm_time_s: float = key(2, "s", 0.5, 10, "arming must be held for this long")
    watchdog_s: float = key(
        0.1, "ms", 0.02, 5, "a board whose loop is silent for this long starts anew"
    )
    kp_per_rad: float = key(1.8, "1/rad", 0, 5.7, "drive per fold error; 1 is full drive")
    ki_per_rad_s: float = key(1.5, "1/(rad*s)", 0, 35, "drive per fold error and second")
    kd_s_per_rad: float = key(0.01, "s/rad", 0, 0.7, "drive against fold rate")
    integral: float = key(0.15, "percent", 0, 1, "most drive that the integral may hold")
    stop_zone_rad: float = key(
        radians(4), "deg", radians(1), radians(60), "end stops brake from here"
    )
    stop_ahead_s: float = key(0.04, "ms", 0, 0.4, "end stops look ahead by this time")
    drive_max: float = key(0.95, "percent", 0.05, 1, "most drive given")
    drive_min: float = key(0.015, "percent", 0, 0.3, "less than this is given as neutral")
    slew_per_s: float = key(20, "1/s", 1, 250, "fastest change of drive; 1 is full drive")
    joint_margin_rad: float = key(
        radians(3), "deg", 0, radians(20), "soft stops inside each joint's own"
    )
    rest_margin_rad: float = key(
        radians(0.2), "deg", 0, radians(5), "lowering ends this short of the stop"
    )
    arrive_rad: float = key(
        radians(1), "deg", radians(0.1), radians(10), "near enough to its target"
    )
    slack_time_s: float = key(
        0.1, "ms", 0.01, 2, "lowering is over when the foot has met something so long"
    )
    stoop_speed_radps: float = key(
        radians(10), "deg/s", radians(1), radians(60), "fastest setpoint of a stoop, either way"
    )
    stoop_accel_radps2: float = key(
        radians(30), "deg/s^2", radians(5), radians(500), "of that setpoint, and near its ends"
    )
    stoop_time_s: float = key(120, "s", 1, 600, "after so long stooped the legs rise by themselves")
    stoop_margin_rad: float = key(
        radians(3), "deg", 0, radians(20), "past its rest fold a stoop must end before a step"
    )
    keep_rad: float = key(
        radians(0.15), "deg", radians(0.05), radians(5), "a held stoop is pulled back from so far"
    )
    stick_curve: float = key(
        0.5, "percent", 0, 1, "of the stick's speed that is fine near its middle"
    )


@dataclass(frozen=True)
class Safety:
    """When a fault trips: limits, and for how long each must be passed."""

    pot_margin_rad: float = key(
        radians(8), "deg", radians(1), radians(45), "past a joint's travel, where a pot is faulty"
    )
    pot_time_s: float = key(0.03, "ms", 0.001, 1, "bad readings for this long are a faulty pot")
    pot_jump_rad: float = key(
        radians(3), "deg", radians(0.5), radians(45), "more than this in one tick is a bad reading"
    )
    frozen_rad: float = key(
        radians(8), "deg", radians(1), radians(90), "a pot is frozen that stays while the fold goes"
    )
    frozen_pot_rad: float = key(radians(0.1), "deg", 0, radians(5), "a pot within this stays")
    skew_rad: float = key(
        radians(45), "deg", radians(5), radians(90), "most of thigh lean against shank lean"
    )
    skew_time_s: float = key(0.04, "ms", 0.001, 1, "for this long")
    stuck_time_s: float = key(12, "s", 0.5, 300, "a foot switch pressed for so long is stuck")
    chatter: float = key(
        60, "", 16, 1000, "8 for each change of a switch, less 31 a second", whole=True
    )
    unseen_lifts: float = key(
        4, "", 1, 200, "lifts of one leg without one of the other", whole=True
    )
    weight_time_s: float = key(0.1, "ms", 0.001, 1, "weight on a raised leg for this long")
    asked_time_s: float = key(1, "s", 0.1, 4, "a foot raised under weight for this long")
    unborne_time_s: float = key(0.2, "ms", 0.01, 2, "neither leg bears for this long")
    hanging_rad: float = key(
        radians(4), "deg", radians(0.5), radians(30), "a standing leg that bears nothing may fold"
    )
    hanging_time_s: float = key(0.5, "ms", 0.01, 4, "hanging folded for this long")
    sunk_rad: float = key(
        radians(16), "deg", radians(1), radians(60), "weight may fold a standing leg, past its rest"
    )
    sunk_time_s: float = key(0.02, "ms", 0.001, 1, "farther for this long")
    stall_drive: float = key(0.20, "percent", 0.01, 1, "a stall is this much drive")
    stall_move_rad: float = key(
        radians(1), "deg", radians(0.1), radians(20), "that gains less fold than this"
    )
    stall_time_s: float = key(0.25, "ms", 0.01, 2, "in this time")
    against_radps: float = key(
        radians(14), "deg/s", radians(1), radians(200), "unfolding so fast under drive to fold"
    )
    against_time_s: float = key(0.04, "ms", 0.001, 1, "for this long")
    rate_radps: float = key(
        radians(96), "deg/s", radians(5), radians(200), "a leg may fold or unfold so fast"
    )
    rate_time_s: float = key(0.02, "ms", 0.001, 1, "faster for this long")
    adrift_rad: float = key(
        radians(6), "deg", radians(0.5), radians(60), "the fold may lag its setpoint so far"
    )
    adrift_time_s: float = key(0.02, "ms", 0.001, 1, "farther for this long")
    push_rad: float = key(
        radians(4), "deg", radians(0.5), radians(60), "a raised leg may fold past its setpoint"
    )
    push_time_s: float = key(0.04, "ms", 0.001, 1, "farther for this long")
    apart_rad: float = key(
        radians(1.5), "deg", radians(0.2), radians(20), "a stoop waits for a leg so far behind it"
    )
    apart_time_s: float = key(0.5, "ms", 0.01, 2, "waiting for this long is a fault")
    tired: float = key(
        0.85, "percent", 0.1, 1, "of the winding's limit, from which a stoop ends by itself"
    )
    stop_margin_rad: float = key(
        radians(1.5), "deg", 0, radians(20), "past the soft stop where it is a fault"
    )
    stop_time_s: float = key(0.02, "ms", 0.001, 1, "for this long")
    heat_doubt: float = key(
        0.16, "percent", 0, 1, "drive that the model of heat cannot tell from a motor's tolerance"
    )
    battery_V_per_cell: float = key(3.3, "V", 0.5, 5, "an emptier cell is a fault")
    battery_time_s: float = key(2, "s", 0.01, 4, "for this long")
    supply_V: float = key(4.5, "V", 1, 20, "the board's own supply must not fall under this")
    supply_time_s: float = key(0.02, "ms", 0.001, 1, "for this long")
    stick_edge: float = key(
        0.03, "percent", 0.001, 0.2, "of its travel, at each end, is no reading"
    )
    stick_zone: float = key(0.08, "percent", 0.01, 0.4, "of its travel, either side, is its middle")
    stick_time_s: float = key(0.05, "ms", 0.001, 1, "no reading for this long")
    host_time_s: float = key(0.5, "ms", 0.02, 4, "a host in charge may be silent for this long")
    late: float = key(64, "", 16, 1000, "missed periods, 16 for each, less 1 a tick", whole=True)


@dataclass(frozen=True)
class Wants:
    """What the rig is built for; `rehearse` judges by these."""

    clearance_m: float = key(0.080, "mm", 0.005, 1, "foot clearance of a step")
    clearance_tolerance: float = key(
        0.10, "percent", 0.01, 0.5, "of the median clearance, either way"
    )
    clearance_worst_m: float = key(0.060, "mm", 0, 1, "clearance of the worst step")
    lift_s: float = key(0.7, "s", 0.05, 10, "from the raised foot to the clearance less tolerance")
    lower_s: float = key(0.8, "s", 0.05, 10, "from letting go to the foot on the ground")
    sink_m: float = key(0.050, "mm", 0.001, 1, "most that the frame may sink on one leg")
    slack_m: float = key(0.015, "mm", 0, 1, "loose rope at the tackle while the foot is up")
    stoop_fold_rad: float = key(
        radians(92), "deg", radians(10), radians(170), "fold of both legs, stooped"
    )
    stoop_s: float = key(4, "s", 0.2, 60, "from standing to stooped")
    stoop_apart_rad: float = key(
        radians(2), "deg", radians(0.2), radians(30), "most of one leg's fold against the other's"
    )
    stoop_drift_rad: float = key(
        radians(1.5), "deg", radians(0.1), radians(30), "change of a held stoop in 5 s"
    )
    walk_s: float = key(1200, "min", 60, 36000, "length of one walk")
    rope_factor: float = key(5, "", 1, 20, "breaking load over the highest tension in the line")


@dataclass(frozen=True)
class Rig:
    """A whole rig; `Rig()` is the demo rig."""

    mechanism: Mechanism = Mechanism()
    spring: Spring = Spring()
    gas_spring: GasSpring = GasSpring()
    rope: Rope = Rope()
    drive: Drive = Drive()
    gears: Gears = Gears()
    pins: Pins = Pins()
    hip: Hip = Hip()
    controller: Controller = Controller()
    battery: Battery = Battery()
    sensors: Sensors = Sensors()
    wearer: Wearer = Wearer()
    ground: Ground = Ground()
    control: Control = Control()
    safety: Safety = Safety()
    wants: Wants = Wants()

    @property
    def substeps(self) -> int:
        """How many simulator steps make one control period: a whole number, checked."""
        return whole_substeps(self.control.period_s, self.control.substep_s)


SECTIONS = tuple(part.name for part in fields(Rig))
# What only sizing needs; the simulator leaves it out.
SIZING_SECTIONS = ("gears", "pins", "hip")
