"""Checks of the springs: does the frame stand, sink and bounce as wanted, does the coil live."""

from collections.abc import Callable
from math import isnan, nan

from legsim.linkage import spring_force_N

from hocklift.sizing import (
    springs,
    wires,
)
from hocklift.sizing.checks.check import Check, Figure
from hocklift.sizing.loads import Loads

# Steps at which a bounce would build up: its frequency should be twice theirs, at least
# (common practice, no source).
BOUNCE_RATIO = 2.0
RATE_TOLERANCE = 0.10


def _of_wire(strength: Callable[[str, float], float]) -> Figure:
    """Strength of a rig's own wire; NaN where its diameter is unknown or in no table."""

    def figure(loads: Loads) -> float:
        spring = loads.rig.spring
        try:
            return strength(spring.material, spring.wire_m)
        except ValueError:
            return nan

    return figure


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


def _foot_lever_m(loads: Loads) -> float:
    """How much the leg shortens for each radian of fold, at the extended stop."""
    return loads.foot_lever_m(loads.rig.mechanism.fold_extended_rad)


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
)
