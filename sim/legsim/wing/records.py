"""The simulator's memory of a rig with wings, as `legsim.records` has it for legs."""

from dataclasses import fields
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim.linkage import tackle_advantage
from legsim.records import BOARD_STATE
from legsim.wing.rig import WING_SECTIONS, WingRig

# One wing of the plant.
WING_STATE = np.dtype(
    [
        # Mechanism: angle from hanging with its derivatives, and what hangs at the tip.
        *[(name, np.float64) for name in ("lift_rad", "lift_radps", "lift_radps2", "load_kg")],
        # Drive, as `legsim.drive` has it.
        ("motor_radps", np.float64),
        ("wound_m", np.float64),  # line taken in above, and let out below, since half way up
        ("current_A", np.float64),
        ("duty", np.float64),
        *[(name, np.float64) for name in ("demand", "frame_s", "direction", "reverse_ready")],
        ("cut", np.float64),
        # Heat: rises over the air, and what this tick has made so far.
        *[(name, np.float64) for name in ("winding_K", "case_K", "resistance_ohm")],
        *[(name, np.float64) for name in ("copper_J", "iron_J")],
        # What the wearer asks now: deflection of a stick, -1 to 1, or an angle of a pot, rad.
        ("command", np.float64),
        # Sensors.
        *[(name, np.float64) for name in ("play_rad", "pot_lost_s", "command_lost_s")],
        *[(name, np.float64) for name in ("pot_count", "command_count")],  # as last read
        # What is wrong with this wing, all zero while it is well; `legsim.strike` sets them.
        *[(name, np.float64) for name in ("pot_ill", "command_ill")],  # index into POT_ILLS
        ("pot_slip_rad", np.float64),
        ("drive_ill", np.float64),  # into DRIVE_ILLS
        *[(name, np.float64) for name in ("up_snapped", "down_snapped")],
        ("jammed", np.float64),  # the drum does not turn
        ("drag_Nm", np.float64),  # friction at the motor that should not be there
        ("push_Nm", np.float64),  # on the hinge from outside, upward: a gust, a hand
        ("caught", np.float64),  # 1: something holds the wing where it is
        ("command_push", np.float64),  # what a hand adds to the command, unmeant
        # Readings for the trace; peaks are over the substeps of one tick.
        *[(name, np.float64) for name in ("up_N", "down_N", "up_peak_N", "down_peak_N")],
        *[(name, np.float64) for name in ("up_slack_m", "down_slack_m")],  # at the tackle
        *[(name, np.float64) for name in ("tension_N", "tension_peak_N", "current_peak_A")],
        ("energy_J", np.float64),  # electrical, taken from the battery since the start
    ]
)

WINGS_STATE = np.dtype(
    [
        ("left", WING_STATE),
        ("right", WING_STATE),
        ("random", np.uint64),
        ("used_C", np.float64),  # charge taken from the battery
        ("bus_V", np.float64),
        ("contactor", np.float64),  # 1: closed, the controllers have power
        ("battery_dip_V", np.float64),  # a bad contact in the battery's lead
        ("board", BOARD_STATE),
    ]
)

_DERIVED = np.dtype(
    [
        (name, np.float64)
        for name in (
            "inertia_kgm2",
            "moment_kgm",
            "middle_rad",
            "low_rad",
            "high_rad",
            "set_m",
            "play_m",
            "torque_Nm_per_A",
            "no_load_radps",
            "advantage_up",
            "advantage_down",
            "gear_efficiency",
            "substeps",
        )
    ]
)
# What only sizing needs; the simulator leaves it out.
SIZING_SECTIONS = ("gears", "pins")
_SECTIONS = tuple(section for section in WING_SECTIONS if section not in SIZING_SECTIONS)


@cache
def wing_rig_dtype() -> np.dtype[np.void]:
    """What the simulator needs of a `WingRig`; a choice becomes the index of its word."""
    parts: list[Any] = [
        (section, [(item.name, np.float64) for item in fields(getattr(WingRig(), section))])
        for section in _SECTIONS
    ]
    return np.dtype([*parts, ("derived", _DERIVED)])


def wing_rig_record(rig: WingRig) -> NDArray[np.void]:
    """Copy a rig into a one-element array of `wing_rig_dtype()`, derived values included."""
    record = np.zeros(1, wing_rig_dtype())
    for section in _SECTIONS:
        part = getattr(rig, section)
        for item in fields(part):
            value = getattr(part, item.name)
            if "words" in item.metadata:
                value = item.metadata["words"].index(value)
            record[section][item.name] = value
    for name, value in wing_derived(rig).items():
        record["derived"][name] = value
    return record


def wing_derived(rig: WingRig) -> dict[str, float]:
    """Sums and products of a rig's numbers that do not change during a run."""
    wing, rope, drive = rig.wing, rig.rope, rig.drive
    parts = round(rope.parts)
    return {
        # Of the wing alone; what hangs at its tip comes on top.
        "inertia_kgm2": wing.mass_kg * wing.gyration_m**2,
        "moment_kgm": wing.mass_kg * wing.centre_m,
        "middle_rad": wing.middle_rad,
        "low_rad": wing.hard_lowered_rad,
        "high_rad": wing.hard_raised_rad,
        # How far both lines are stretched when the wing hangs free of weight.
        "set_m": rope.pretension_N * line_length_m(rig, wing.middle_rad) / rope.line_EA_N,
        "play_m": rope.play_rad * drive.drum_radius_m,
        # In SI units the torque constant is the inverse of the speed constant.
        "torque_Nm_per_A": 1 / drive.speed_constant_radps_per_V,
        "no_load_radps": drive.speed_constant_radps_per_V
        * (drive.no_load_V - drive.no_load_current_A * drive.resistance_ohm),
        "advantage_up": tackle_advantage(parts, rope.sheave_efficiency),
        "advantage_down": tackle_advantage(parts, 1 / rope.sheave_efficiency),
        "gear_efficiency": drive.mesh_efficiency**drive.gear_stages,
        "substeps": rig.substeps,
    }


def line_length_m(rig: WingRig, lift_rad: float, side: int = 1) -> float:
    """Line that stretches in one tackle and its lead: of the upper one, or (-1) the lower one."""
    rope = rig.rope
    tackle_m = rope.tackle_m - side * rope.quadrant_m * (lift_rad - rig.wing.middle_rad)
    return rope.lead_length_m + rope.parts * tackle_m
