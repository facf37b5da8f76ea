"""Checks of hinge pins and anchor bolts."""

from math import nan

from legsim.linkage import GRAVITY_MPS2

from hocklift.sizing import pins
from hocklift.sizing.checks.check import Check, Figure
from hocklift.sizing.loads import Loads

# Steel against yield, timber against the pressure at which a pin sinks in, seldom loaded to
# the full (common practice, no source).
STEEL_SAFETY = 1.5
TIMBER_SAFETY = 2.0


def _knee_pin_N(loads: Loads) -> float:
    """No more than all forces that meet at the knee, as if they pulled one way."""
    tackle_N = loads.tackle_N(loads.rig.mechanism.fold_soft_stop_rad)
    return loads.spring_most_N + tackle_N + loads.one_leg_kg * GRAVITY_MPS2


def _rope_pin_N(loads: Loads) -> float:
    """The tackle, and the lead line that leaves beside it."""
    fold = loads.rig.wants.stoop_fold_rad
    tackle_N = max(loads.tackle_N(loads.lift_fold_rad), loads.stoop_tackle_N(fold))
    return tackle_N + loads.line_peak_N


def pin_checks(name: str, key: str, force_N: Figure, situation: str = "folded stop") -> list[Check]:
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
            situation,
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
            situation,
            "bending between the fork's plates",
            "MPa",
            bending_Pa,
            lambda loads: loads.rig.pins.yield_Pa / STEEL_SAFETY,
            "roloff-matek",
            (lever, "pins.link"),
        ),
        Check(
            name,
            situation,
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
            situation,
            "pressure on the timber",
            "MPa",
            timber_Pa,
            lambda loads: embedment_Pa(loads) / TIMBER_SAFETY,
            "eurocode-5",
            (lever, "pins.link"),
        ),
    ]


CHECKS: tuple[Check, ...] = (
    *pin_checks("knee pin", "knee_pin", _knee_pin_N),
    *pin_checks("spring pin", "spring_pin", lambda loads: loads.spring_most_N),
    *pin_checks("rope pin", "rope_pin", _rope_pin_N),
)
