"""How a real build differs from its rig file: one tolerance a row, and rigs drawn from them.

The control core believes the rig file; what walks is another rig. `perturbed` draws one
such rig, `misaligned` puts its joint sensors a little off their calibration.
"""

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from functools import cache, lru_cache
from math import ceil, radians
from random import Random
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from legsim.rig import Rig
from legsim.stiffness import coarsest_substep_s

# How a spread is meant. By a factor: the value changes by up to this share of itself, both
# ways, or only to more, or only to less. By an offset: it changes by up to so much.
FACTOR, MORE, LESS, OFFSET, ABOVE = "factor", "more", "less", "offset", "above"
# Way -> change of a value for each of its spread, by what is drawn.
_CHANGES: dict[str, Callable[[float, float], float]] = {
    FACTOR: lambda value, drawn: value * drawn,
    MORE: lambda value, drawn: value * abs(drawn),
    LESS: lambda value, drawn: -value * abs(drawn),
    OFFSET: lambda value, drawn: drawn,
    ABOVE: lambda value, drawn: abs(drawn),
}


_Rig = TypeVar("_Rig", bound=Any)


class Tolerance(NamedTuple):
    """By how much one number of a rig may differ, and why; a key is "section.field"."""

    key: str
    way: str
    spread: float
    reason: str


# All spreads are common practice without a source, unless the reason names one.
TOLERANCES = (
    Tolerance("mechanism.carried_mass_kg", FACTOR, 0.10, "weighed part by part, and never all"),
    Tolerance("mechanism.thigh_links_mass_kg", FACTOR, 0.10, "planks differ in density"),
    Tolerance("mechanism.shank_links_mass_kg", FACTOR, 0.10, "planks differ in density"),
    Tolerance("mechanism.knee_block_mass_kg", FACTOR, 0.10, "bolts and plates as they come"),
    Tolerance("mechanism.foot_plate_mass_kg", FACTOR, 0.15, "rubber, mud, a costume's toes"),
    Tolerance("mechanism.hinge_friction_Nm", FACTOR, 0.5, "pins bind when tight, wear when loose"),
    Tolerance("mechanism.hinge_damping_Nms", FACTOR, 0.5, "grease is stiff when cold"),
    Tolerance("spring.rate_N_per_m", FACTOR, 0.10, "coil springs are sold to about 10 % of rate"),
    Tolerance("spring.force_extended_N", FACTOR, 0.10, "preload is set by hand, with a nut"),
    Tolerance("rope.sheave_efficiency", OFFSET, 0.02, "bearings dry, dirty or new"),
    Tolerance("rope.line_EA_N", FACTOR, 0.3, "line stretches in with use and softens when wet"),
    Tolerance("rope.line_damping_s", FACTOR, 0.5, "nobody measures it"),
    Tolerance("drive.mesh_efficiency", OFFSET, 0.02, "printed teeth, more or less grease"),
    Tolerance("drive.drum_radius_m", FACTOR, 0.02, "how the line beds in on the drum"),
    Tolerance("drive.speed_constant_radps_per_V", FACTOR, 0.07, "hobby motors miss their label"),
    Tolerance("drive.resistance_ohm", FACTOR, 0.15, "leads and plugs count too"),
    Tolerance("drive.no_load_current_A", FACTOR, 0.3, "bearings and magnets differ"),
    Tolerance("drive.rotor_inertia_kgm2", FACTOR, 0.15, "pinion and coupling are guessed"),
    Tolerance("battery.charge", LESS, 0.5, "a walk may begin with a pack half empty"),
    Tolerance("battery.resistance_ohm", MORE, 1.0, "an old pack has twice that of a new one"),
    Tolerance("battery.capacity_C", LESS, 0.3, "an old pack holds less"),
    Tolerance("controller.frame_s", FACTOR, 0.05, "its clock is no quartz"),
    Tolerance("controller.neutral_s", OFFSET, 8e-6, "set by a pot or learned at power-on"),
    Tolerance("controller.deadband_s", FACTOR, 0.4, "makers tell it roughly"),
    Tolerance("controller.span_s", FACTOR, 0.03, "learned from somebody's transmitter"),
    Tolerance("controller.resolution_s", MORE, 3.0, "some tell only 4 us apart"),
    Tolerance("controller.ramp_s", FACTOR, 0.5, "makers do not tell it"),
    Tolerance("controller.start_current_A", FACTOR, 0.2, "a firmware's choice"),
    Tolerance("sensors.pot_centre_rad", OFFSET, radians(0.2), "a digital level's own error"),
    Tolerance("sensors.pot_nonlinearity", FACTOR, 0.5, "what calibrated points leave of it"),
    Tolerance("sensors.pot_backlash_rad", MORE, 2.0, "a worn or printed coupling"),
    Tolerance("sensors.noise_count", MORE, 2.0, "a motor's wires beside a pot's"),
    Tolerance("sensors.reference_error", OFFSET, 0.001, "drift since calibration: 50 ppm/K, 20 K"),
    Tolerance("sensors.lift_off_per_s", MORE, 4.0, "an old track"),
    Tolerance("sensors.switch_bounce_s", MORE, 0.6, "a worn switch; 10 ms is much for a small one"),
    Tolerance("sensors.switch_force_N", FACTOR, 0.25, "springs of small switches"),
    Tolerance("sensors.sole_force_N", FACTOR, 0.5, "foam and foil, cold or warm"),
    Tolerance("sensors.battery_error", OFFSET, 0.02, "a divider of 1 % resistors"),
    Tolerance("sensors.stick_rest", OFFSET, 0.02, "a worn centring spring"),
    Tolerance("wearer.cadence_per_s", FACTOR, 0.15, "people hurry and dawdle"),
    Tolerance("wearer.step_length_m", FACTOR, 0.4, "people hurry and dawdle"),
    Tolerance("wearer.stance_share", OFFSET, 0.02, "people shift their weight in their own time"),
    Tolerance("wearer.push_N", FACTOR, 0.2, "just harder than the switch, to a tired leg"),
    Tolerance("wearer.stirrup_N_per_m", FACTOR, 0.3, "boots and straps"),
    Tolerance("wearer.stirrup_Ns_per_m", FACTOR, 0.3, "boots and straps"),
    Tolerance("wearer.balance_N_per_m", FACTOR, 0.3, "how firmly somebody stands"),
    Tolerance("wearer.harness_Ns_per_m", FACTOR, 0.3, "padding, and how tight it is"),
    Tolerance("ground.stiffness_N_per_m", MORE, 0.6, "a lawn gives 12 mm to a person; stages less"),
    Tolerance("ground.damping_Ns_per_m", FACTOR, 0.4, "from a lawn to a stage"),
    Tolerance("ground.friction", FACTOR, 0.4, "from wet paving to rubber"),
    Tolerance("ground.bump_m", ABOVE, 0.015, "cobbles, cables, an uneven stage"),
)

# A joint's sensor against its calibration, each on its own. A level is read to half a degree
# (common practice, no source), but a line is laid through four poses: it is 0.14 deg (rms) off in
# the middle of the travel and 0.24 deg at its ends, as by an even spread of 0.25 to 0.42 deg.
_ALIGNED_RAD = radians(0.3)


@cache
def _ranges(kind: Any) -> dict[str, Any]:
    """What is declared of each number of a kind of rig, by its key."""
    demo = kind()
    return {
        f"{part.name}.{item.name}": item.metadata
        for part in fields(kind)
        for item in fields(getattr(demo, part.name))
    }


def perturbed(rig: Rig, seed: int) -> Rig:
    """Another build of `rig`, every tolerance drawn evenly within its spread."""
    return built(rig, draws(seed))


@lru_cache(maxsize=2048)
def draws(seed: int) -> tuple[float, ...]:
    """What chance has for each row of `TOLERANCES`, -1 to 1; the same for the same seed."""
    return drawn_of(TOLERANCES, seed)


def drawn_of(tolerances: Sequence[Tolerance], seed: int) -> tuple[float, ...]:
    """What chance has for each row, -1 to 1."""
    # A row's own chance, so that another row more leaves all rigs otherwise as they were.
    return tuple(Random(f"{seed} {tolerance.key}").uniform(-1, 1) for tolerance in tolerances)


def built(rig: Rig, drawn: Sequence[float]) -> Rig:
    """The build of `rig` that has `drawn`, -1 to 1, of each row of `TOLERANCES`.

    Values stay in their keys' ranges; where the other rig is too stiff for the simulator's
    step, its step is made shorter.
    """
    return followed(with_tolerances(rig, TOLERANCES, drawn), coarsest_substep_s)


def with_tolerances(rig: _Rig, tolerances: Sequence[Tolerance], drawn: Sequence[float]) -> _Rig:
    """The rig with `drawn`, -1 to 1, of each tolerance; values stay in their keys' ranges."""
    changes: dict[str, dict[str, float]] = {}
    kind: Any = type(rig)
    ranges = _ranges(kind)
    for tolerance, one in zip(tolerances, drawn, strict=True):
        section, name = tolerance.key.split(".")
        value = getattr(getattr(rig, section), name)
        value += tolerance.spread * _CHANGES[tolerance.way](value, one)
        declared = ranges[tolerance.key]
        changes.setdefault(section, {})[name] = min(max(value, declared["low"]), declared["high"])
    return replace(
        rig, **{section: replace(getattr(rig, section), **new) for section, new in changes.items()}
    )


def followed(rig: _Rig, coarsest: Callable[[_Rig], float]) -> _Rig:
    """The same rig with a step short enough for its stiffest part."""
    coarsest_s = coarsest(rig)
    if rig.control.substep_s <= coarsest_s:
        return rig
    finer_s = rig.control.period_s / ceil(rig.control.period_s / coarsest_s)
    return replace(rig, control=replace(rig.control, substep_s=finer_s))


def misaligned(state: NDArray[np.void], seed: int) -> None:
    """Turn each joint's sensor of a plant's start a little off its calibration."""
    chance = Random(seed)
    for leg in ("left", "right"):
        for joint in ("thigh", "shank"):
            state[leg][f"{joint}_slip_rad"] = chance.uniform(-_ALIGNED_RAD, _ALIGNED_RAD)
