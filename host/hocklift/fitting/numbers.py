"""The numbers that a recording may tell something of, and what is known of each beforehand.

Beforehand a number is somewhere within its tolerance about what the rig file says. That is also
what remains where the recording tells nothing, so each number counts here in the standard
deviations of its tolerance: `u` is 0 where the number is likeliest, and mostly between -2 and 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, log, radians, sqrt
from typing import NamedTuple

from legsim.perturb import LESS, MORE, OFFSET, TOLERANCES, Tolerance
from legsim.rig import Rig

from hocklift.rigfile.keys import KEYS, Key

LEGS = ("left", "right")
JOINTS = ("thigh", "shank")
# An even spread is so many times its standard deviation; one that goes one way is half as wide.
EVEN = sqrt(3)
# A pot against its calibration: a level's error, and what a line through four poses leaves.
_POT_RAD = hypot(radians(0.2), radians(0.3)) / EVEN


class Group(NamedTuple):
    """Numbers that are told together: a heading, and fields as `TOLERANCES` has them."""

    name: str
    fields: tuple[str, ...]


# Masses and lengths are not among them: scales and a tape measure tell them far better than any
# motion does, and forces are told only by the weight that they carry.
GROUPS = (
    Group("spring", ("spring.rate_N_per_m", "spring.force_extended_N")),
    Group("friction", ("mechanism.hinge_friction_Nm", "mechanism.hinge_damping_Nms")),
    Group("rope", ("rope.sheave_efficiency", "rope.line_EA_N", "rope.line_damping_s")),
    Group("gears and drum", ("drive.mesh_efficiency", "drive.drum_radius_m")),
    Group(
        "motor",
        (
            "drive.speed_constant_radps_per_V",
            "drive.resistance_ohm",
            "drive.no_load_current_A",
            "drive.rotor_inertia_kgm2",
        ),
    ),
    Group("battery", ("battery.resistance_ohm", "sensors.battery_error")),
    Group(
        "speed controller",
        (
            "controller.frame_s",
            "controller.neutral_s",
            "controller.deadband_s",
            "controller.span_s",
            "controller.ramp_s",
        ),
    ),
    Group("joint sensors", ("sensors.pot_nonlinearity", "sensors.pot_backlash_rad")),
    Group("wearer", ("wearer.push_N", "wearer.harness_Ns_per_m")),
)
FRAME = "controller.frame_s"
# What is the wearer's that day, or a matter of calibration, does not go into a rig file.
_NOT_WRITTEN = ("wearer", "sensors")


@dataclass(frozen=True)
class Number:
    """One of them: as in a rig's field, or how far a pot is off where `key` is None.

    `centre` is where it is likeliest, `spread` its standard deviation: a share of it where
    `factor`, and else in SI.
    """

    field: str
    group: str
    name: str
    unit: str
    centre: float
    spread: float
    factor: bool
    key: Key | None

    def value(self, u: float) -> float:
        """In SI, at so many standard deviations; no farther than its key's range."""
        value = self.centre * exp(self.spread * u) if self.factor else self.centre + self.spread * u
        return value if self.key is None else min(max(value, self.key.low), self.key.high)

    def u(self, value: float) -> float:
        """The other way round, within the range."""
        if self.factor:
            return log(value / self.centre) / self.spread
        return (value - self.centre) / self.spread

    def per_u(self, u: float) -> float:
        """How much of it one standard deviation is, in SI."""
        return self.spread * (self.value(u) if self.factor else 1.0)

    @property
    def written(self) -> bool:
        """Whether it belongs into a rig file."""
        return self.key is not None and self.key.section not in _NOT_WRITTEN


def numbers_of(rig: Rig) -> tuple[Number, ...]:
    """All numbers to look for, about what `rig` has; a share of 0 is no tolerance."""
    tolerances = {one.key: one for one in TOLERANCES}
    found = []
    for group in GROUPS:
        for field in group.fields:
            number = _number(rig, field, group.name, tolerances[field])
            if number.centre != 0 or not number.factor:
                found.append(number)
    return (
        *found,
        *(
            Number(
                f"{leg}.{joint}",
                "joint sensors",
                f"{leg} {joint} reads off by",
                "deg",
                0.0,
                _POT_RAD,
                False,
                None,
            )
            for leg in LEGS
            for joint in JOINTS
        ),
    )


def _number(rig: Rig, field: str, group: str, tolerance: Tolerance) -> Number:
    section, name = field.split(".")
    key = next(key for key in KEYS[section].values() if key.field == name)
    value = float(key.of(rig))
    spread, centre = tolerance.spread / EVEN, value
    if tolerance.way in (MORE, LESS):
        spread /= 2
        centre *= 1 + tolerance.spread / 2 * (1 if tolerance.way == MORE else -1)
    return Number(field, group, key.path, key.unit, centre, spread, tolerance.way != OFFSET, key)


def rig_with(rig: Rig, numbers: Sequence[Number], values: Sequence[float]) -> Rig:
    """The rig with these values, in SI, of the numbers that are its own."""
    changes: dict[str, dict[str, float]] = {}
    for number, value in zip(numbers, values, strict=True):
        if number.key is not None:
            changes.setdefault(number.key.section, {})[number.key.field] = value
    return replace(
        rig, **{section: replace(getattr(rig, section), **new) for section, new in changes.items()}
    )
