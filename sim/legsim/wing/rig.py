"""Every number of a rig with wings, declared once, as `legsim.rig` does for one with legs.

The defaults are the Marsh Heron's wings: light ash and cloth, raised and lowered through
100 degrees. Angles are from hanging straight down; up is positive, and a wing that is tucked
in under the body is below zero.
"""

from dataclasses import dataclass, field, fields, replace
from math import radians
from typing import Any

from legsim.rig import (
    Battery,
    Control,
    Controller,
    Drive,
    Gears,
    Pins,
    Rig,
    Rope,
    Safety,
    Sensors,
    Wants,
    choice,
    key,
    whole_substeps,
)


def alike(part: type, name: str, default: Any = None) -> Any:
    """Declare a number as a rig with legs has it, with another default where one is given."""
    (there,) = (item for item in fields(part) if item.name == name)
    return field(default=there.default if default is None else default, metadata=there.metadata)


@dataclass(frozen=True)
class Wing:
    """One wing about its shoulder hinge; angles from hanging straight down, up is positive."""

    mass_kg: float = key(2.4, "kg", 0.01, 200, "the wing itself")
    centre_m: float = key(0.55, "mm", 0.01, 5, "from the hinge to its centre of mass")
    gyration_m: float = key(0.68, "mm", 0.01, 5, "its radius of gyration about the hinge")
    tip_m: float = key(1.30, "mm", 0.01, 5, "from the hinge to where a load hangs")
    lowered_rad: float = key(
        radians(-20), "deg", radians(-120), radians(80), "lowest that the controller goes"
    )
    raised_rad: float = key(
        radians(80), "deg", radians(-80), radians(150), "highest that the controller goes"
    )
    beyond_rad: float = key(
        radians(6), "deg", radians(1), radians(40), "from either of these to its hard stop"
    )
    hinge_friction_Nm: float = key(0.8, "N*m", 0, 200, "Coulomb friction of the hinge")
    hinge_damping_Nms: float = key(0.5, "N*m*s/rad", 0, 200, "viscous friction, cloth in the air")
    stop_stiffness_Nm: float = key(2000, "N*m/rad", 100, 1e5, "hard stops, at the hinge")
    stop_damping_Nms: float = key(40, "N*m*s/rad", 0, 1000, "hard stops, at the hinge")

    @property
    def hard_lowered_rad(self) -> float:
        """The lower hard stop."""
        return self.lowered_rad - self.beyond_rad

    @property
    def hard_raised_rad(self) -> float:
        """The upper hard stop."""
        return self.raised_rad + self.beyond_rad

    @property
    def travel_rad(self) -> float:
        """All that the controller goes through."""
        return self.raised_rad - self.lowered_rad

    @property
    def middle_rad(self) -> float:
        """Half way up."""
        return (self.raised_rad + self.lowered_rad) / 2


@dataclass(frozen=True)
class WingRope:
    """Two equal tackles from the frame to a quadrant on the hinge, one to pull up, one down.

    One lead line is wound over the drum and the other one under it, so that one comes in as
    the other goes out.
    """

    quadrant_m: float = key(
        0.150, "mm", 0.01, 1, "radius of the quadrant, to the middle of the line"
    )
    parts: float = alike(Rope, "parts")
    sheave_efficiency: float = alike(Rope, "sheave_efficiency")
    line_EA_N: float = alike(Rope, "line_EA_N", 60e3)
    lead_length_m: float = alike(Rope, "lead_length_m", 0.8)
    tackle_m: float = key(0.5, "mm", 0.02, 5, "each tackle, block to block, the wing half way up")
    line_damping_s: float = alike(Rope, "line_damping_s")
    pretension_N: float = key(20, "N", 0, 5000, "in both lead lines, the wing free of weight")
    play_rad: float = key(
        radians(1.5), "deg", 0, radians(45), "what the drum can turn between its gears' teeth"
    )
    breaking_N: float = alike(Rope, "breaking_N", 4000)
    diameter_m: float = alike(Rope, "diameter_m", 0.003)
    knot_share: float = alike(Rope, "knot_share")
    sheave_m: float = alike(Rope, "sheave_m")


@dataclass(frozen=True)
class WingPins:
    """The shoulder's hinge pin, through the wing's spar held in a fork of two plates."""

    hinge_pin_m: float = key(0.012, "mm", 0.001, 0.1, "hinge pin, diameter")
    link_m: float = alike(Pins, "link_m", 0.030)
    plate_m: float = alike(Pins, "plate_m")
    yield_Pa: float = alike(Pins, "yield_Pa")
    plate_Pa: float = alike(Pins, "plate_Pa")
    timber_kg_per_m3: float = alike(Pins, "timber_kg_per_m3")


@dataclass(frozen=True)
class WingSensors:
    """A pot on each hinge, a stick or second pot to command each wing, and the converter."""

    pot_travel_rad: float = alike(Sensors, "pot_travel_rad")
    pot_centre_rad: float = key(
        radians(30), "deg", radians(-90), radians(150), "angle at which each pot stands at half"
    )
    pot_nonlinearity: float = alike(Sensors, "pot_nonlinearity")
    pot_backlash_rad: float = alike(Sensors, "pot_backlash_rad")
    noise_count: float = alike(Sensors, "noise_count")
    reference_error: float = alike(Sensors, "reference_error")
    lift_off_per_s: float = alike(Sensors, "lift_off_per_s")
    lift_off_s: float = alike(Sensors, "lift_off_s")
    battery_error: float = alike(Sensors, "battery_error")
    supply_V: float = alike(Sensors, "supply_V")
    stick_rest: float = alike(Sensors, "stick_rest")


@dataclass(frozen=True)
class WingControl:
    """What a person may tune."""

    command: str = choice(
        "stick",
        ("stick", "pot"),
        "what moves a wing: a stick asks for a speed, a pot for an angle",
    )
    period_s: float = alike(Control, "period_s")
    substep_s: float = alike(Control, "substep_s")
    angle_filter_s: float = alike(Control, "angle_filter_s")
    rate_filter_s: float = alike(Control, "rate_filter_s")
    follow_speed_radps: float = key(
        radians(36), "deg/s", radians(1), radians(100), "fastest setpoint, either way"
    )
    release_speed_radps: float = alike(Control, "release_speed_radps", radians(20))
    accel_radps2: float = alike(Control, "accel_radps2", radians(120))
    lag_rad: float = alike(Control, "lag_rad", radians(4))
    down_time_s: float = alike(Control, "down_time_s", 8)
    stage: str = alike(Control, "stage")
    arm_time_s: float = alike(Control, "arm_time_s")
    watchdog_s: float = alike(Control, "watchdog_s")
    kp_per_rad: float = alike(Control, "kp_per_rad", 3.6)
    ki_per_rad_s: float = alike(Control, "ki_per_rad_s", 0.8)
    kd_s_per_rad: float = alike(Control, "kd_s_per_rad", 0.06)
    integral: float = alike(Control, "integral")
    feed_load: float = key(
        0.5, "percent", 0, 1, "of the load, that the feed-forward reckons to be at the tip"
    )
    stop_zone_rad: float = alike(Control, "stop_zone_rad")
    stop_ahead_s: float = alike(Control, "stop_ahead_s")
    drive_max: float = alike(Control, "drive_max")
    drive_min: float = alike(Control, "drive_min")
    slew_per_s: float = alike(Control, "slew_per_s")
    arrive_rad: float = alike(Control, "arrive_rad", radians(1.5))
    call_rad: float = key(
        radians(3), "deg", radians(0.2), radians(45), "a pot this near to hanging asks for nothing"
    )


@dataclass(frozen=True)
class WingSafety:
    """When a fault trips: limits, and for how long each must be passed."""

    pot_margin_rad: float = alike(Safety, "pot_margin_rad", radians(12))
    pot_time_s: float = alike(Safety, "pot_time_s")
    pot_jump_rad: float = alike(Safety, "pot_jump_rad")
    sunk_rad: float = key(
        radians(15), "deg", radians(1), radians(60), "a wing at rest may swing so far"
    )
    sunk_time_s: float = alike(Safety, "sunk_time_s", 0.1)
    stall_drive: float = alike(Safety, "stall_drive")
    stall_move_rad: float = alike(Safety, "stall_move_rad")
    stall_time_s: float = alike(Safety, "stall_time_s", 0.4)
    against_radps: float = alike(Safety, "against_radps", radians(10))
    against_time_s: float = alike(Safety, "against_time_s", 0.1)
    rate_radps: float = alike(Safety, "rate_radps", radians(80))
    rate_time_s: float = alike(Safety, "rate_time_s")
    adrift_rad: float = alike(Safety, "adrift_rad", radians(9))
    adrift_time_s: float = alike(Safety, "adrift_time_s", 0.04)
    stop_margin_rad: float = alike(Safety, "stop_margin_rad", radians(2))
    stop_time_s: float = alike(Safety, "stop_time_s", 0.04)
    heat_doubt: float = alike(Safety, "heat_doubt")
    battery_V_per_cell: float = alike(Safety, "battery_V_per_cell")
    battery_time_s: float = alike(Safety, "battery_time_s")
    supply_V: float = alike(Safety, "supply_V")
    supply_time_s: float = alike(Safety, "supply_time_s")
    stick_edge: float = alike(Safety, "stick_edge")
    stick_zone: float = alike(Safety, "stick_zone")
    stick_time_s: float = alike(Safety, "stick_time_s")
    late: float = alike(Safety, "late")


@dataclass(frozen=True)
class WingWants:
    """What the wings are built for; `rehearse` judges by these."""

    load_kg: float = key(2.0, "kg", 0, 200, "load at each tip that must be held and moved")
    raise_s: float = key(3.5, "s", 0.2, 60, "from lowered to raised")
    lower_s: float = key(3.5, "s", 0.2, 60, "from raised to lowered")
    track_rad: float = key(
        radians(4), "deg", radians(0.1), radians(30), "most that a wing may be off its setpoint"
    )
    hold_s: float = key(5, "s", 0.5, 120, "how long a wing is held still")
    drift_rad: float = key(
        radians(1.5), "deg", radians(0.1), radians(30), "most that it may drift while it is"
    )
    slack_m: float = alike(Wants, "slack_m", 0.020)
    cycles_per_s: float = key(
        2 / 60, "1/min", 0.001, 2, "how often it is raised, held, and lowered"
    )
    work_s: float = key(1200, "min", 60, 36000, "for how long on end")
    rope_factor: float = alike(Wants, "rope_factor")


# The same motor, gears, controller and battery as a leg of the demo rig has.
_DEMO = Rig()
# But a wider drum, since two lines share it.
_DRIVE = replace(_DEMO.drive, drum_width_m=0.064)
# And its controller set to little more than the work takes: a wing may meet somebody's hand.
_CONTROLLER = replace(_DEMO.controller, current_limit_A=20.0, start_current_A=8.0)


@dataclass(frozen=True)
class WingRig:
    """A whole rig with two wings; `WingRig()` is the demo rig's."""

    wing: Wing = Wing()
    rope: WingRope = WingRope()
    drive: Drive = _DRIVE
    gears: Gears = _DEMO.gears
    pins: WingPins = WingPins()
    controller: Controller = _CONTROLLER
    battery: Battery = _DEMO.battery
    sensors: WingSensors = WingSensors()
    control: WingControl = WingControl()
    safety: WingSafety = WingSafety()
    wants: WingWants = WingWants()

    @property
    def substeps(self) -> int:
        """How many simulator steps make one control period: a whole number, checked."""
        return whole_substeps(self.control.period_s, self.control.substep_s)


WING_SECTIONS = tuple(part.name for part in fields(WingRig))
