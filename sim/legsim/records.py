"""The simulator's memory: nested structured records of floats, for compiled code."""

from collections.abc import Callable
from dataclasses import fields
from functools import cache
from itertools import groupby
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim.linkage import GRAVITY_MPS2, span_m, tackle_advantage
from legsim.rig import SECTIONS, SIZING_SECTIONS, Rig

# One leg of the plant. Positions are relative to the ground below the hip.
LEG_STATE = np.dtype(
    [
        # Mechanism: leans and hip height with their first and second time derivatives.
        *[(name, np.float64) for name in ("thigh_rad", "shank_rad", "hip_m")],
        *[(name, np.float64) for name in ("thigh_radps", "shank_radps", "hip_mps")],
        *[(name, np.float64) for name in ("thigh_radps2", "shank_radps2", "hip_mps2")],
        # What several forces need of the pose; `pose` keeps it up to date.
        *[(name, np.float64) for name in ("sin_thigh", "cos_thigh", "sin_shank", "cos_shank")],
        *[(name, np.float64) for name in ("sin_fold", "cos_fold")],
        ("rope_m", np.float64),  # span between the rope's anchors
        ("rope_per_fold_m", np.float64),  # and its derivative by fold
        ("bristle_m", np.float64),  # how far friction has bent before the foot slips
        # Drive.
        ("motor_radps", np.float64),
        ("wound_m", np.float64),  # line taken in since the rope was straight at the extended stop
        ("current_A", np.float64),
        ("duty", np.float64),
        ("demand", np.float64),  # duty asked for by the last pulse that the controller took in
        ("frame_s", np.float64),  # time since that pulse
        ("direction", np.float64),  # of the last drive: -1, 0 or 1
        ("reverse_ready", np.float64),
        ("cut", np.float64),
        # Heat: rises over the air, and what this tick has made so far.
        *[(name, np.float64) for name in ("winding_K", "case_K", "resistance_ohm")],
        *[(name, np.float64) for name in ("copper_J", "iron_J")],
        # What the wearer does to this leg now.
        *[(name, np.float64) for name in ("share", "push", "raised", "foot_x_m", "foot_x_mps")],
        # Sensors.
        *[(name, np.float64) for name in ("thigh_play_rad", "shank_play_rad")],
        *[(name, np.float64) for name in ("thigh_lost_s", "shank_lost_s")],
        *[(name, np.float64) for name in ("switch_closed", "switch_moved_s")],
        *[(name, np.float64) for name in ("thigh_count", "shank_count")],  # as last read
        ("ground_m", np.float64),  # height of the ground under this foot
        # What is wrong with this leg, all zero while it is well; `legsim.strike` sets them.
        *[(name, np.float64) for name in ("thigh_ill", "shank_ill")],  # index into POT_ILLS
        *[(name, np.float64) for name in ("thigh_slip_rad", "shank_slip_rad")],
        *[(name, np.float64) for name in ("switch_ill", "sole_ill")],  # into CONTACT_ILLS
        ("drive_ill", np.float64),  # into DRIVE_ILLS
        ("snapped", np.float64),  # the rope is broken
        ("jammed", np.float64),  # the drum does not turn
        ("drag_Nm", np.float64),  # friction at the motor that should not be there
        ("stumble", np.float64),  # share of all weight that falls on this leg, whatever is meant
        ("lifts", np.float64),  # 1: the wearer raises this foot, whatever the script says
        ("foot_N", np.float64),  # upward on the foot, from outside
        ("hip_N", np.float64),  # downward on the hip, from outside
        # Readings for the trace; peaks are over the substeps of one tick.
        *[(name, np.float64) for name in ("clearance_m", "slack_m", "load_N")],
        *[(name, np.float64) for name in ("tension_N", "tension_peak_N", "current_peak_A")],
        ("energy_J", np.float64),  # electrical, taken from the battery since the start
    ]
)

# Illnesses by their index.
POT_ILLS = ("well", "open", "shorted", "frozen", "jumping")
CONTACT_ILLS = ("well", "closed", "open", "chattering")
DRIVE_ILLS = ("well", "dead", "full up", "full down", "holds its last", "reversed")

# The board around the control core: its clock, its supply, and what is wrong with it.
BOARD_STATE = np.dtype(
    [
        ("tick", np.float64),  # how many have begun
        ("unfed_s", np.float64),  # since the watchdog was last fed
        ("boot_s", np.float64),  # until a board that starts anew is ready
        ("missed_ticks", np.float64),  # periods gone by since the last tick
        ("checked", np.float64),  # next word of the settings to be compared with its copy
        ("crashed", np.float64),  # the program has ended; outputs are neutral
        # All zero while it is well.
        ("hung", np.float64),
        ("late_ticks", np.float64),  # every tick misses so many periods
        ("supply_dip_V", np.float64),
        ("stop", np.float64),
        ("stick_ill", np.float64),  # 1: reads nothing; else how far off its rest, of its travel
        ("settings_bad", np.float64),
        ("host", np.float64),  # 1: a host is in charge; 2: it was, and has fallen silent
    ]
)

STATE = np.dtype(
    [
        ("left", LEG_STATE),
        ("right", LEG_STATE),
        ("random", np.uint64),
        ("used_C", np.float64),  # charge taken from the battery
        ("bus_V", np.float64),
        ("walk_mps", np.float64),
        ("load_kg", np.float64),  # what the frame carries besides; it hangs, and swings with nobody
        ("stick", np.float64),  # where the wearer holds it, -1 to 1; 1 is farthest into the stoop
        ("contactor", np.float64),  # 1: closed, the controllers have power
        ("stand", np.float64),  # 1: the hips are held by a stand and do not move
        ("battery_dip_V", np.float64),  # a bad contact in the battery's lead
        ("board", BOARD_STATE),
    ]
)

# What `derived` works out.
_DERIVED = np.dtype(
    [
        (name, np.float64)
        for name in (
            "inertia_thigh_kgm2",
            "inertia_shank_kgm2",
            "coupling_kgm2",
            "moment_thigh_kgm",
            "moment_shank_kgm",
            "leg_kg",
            "hip_kg",
            "spring_extended_m",
            "gas_extended_m",
            "rope_extended_m",
            "standing_m",
            "standing_hip_m",
            "torque_Nm_per_A",
            "no_load_radps",
            "advantage_up",
            "advantage_down",
            "gear_efficiency",
            "substeps",
        )
    ]
)


_KEYS = tuple(
    (section, item)
    for section in SECTIONS
    if section not in SIZING_SECTIONS
    for item in fields(getattr(Rig(), section))
)
# Made once, as a study makes records of many thousand rigs: what reads all numbers of a rig,
# and which of these are words.
_read: Callable[[Rig], tuple[Any, ...]] = attrgetter(
    *(f"{section}.{item.name}" for section, item in _KEYS)
)
_WORDS = tuple(
    (i, item.metadata["words"]) for i, (_, item) in enumerate(_KEYS) if "words" in item.metadata
)


@cache
def rig_dtype() -> np.dtype[np.void]:
    """What the simulator needs of `legsim.rig.Rig`; a choice becomes the index of its word."""
    parts: list[Any] = [
        (section, [(item.name, np.float64) for _, item in keys])
        for section, keys in groupby(_KEYS, lambda key: key[0])
    ]
    return np.dtype([*parts, ("derived", _DERIVED)])


def rig_record(rig: Rig) -> NDArray[np.void]:
    """Copy a rig into a one-element array of `rig_dtype()`, derived values included."""
    values = list(_read(rig))
    for i, words in _WORDS:
        values[i] = words.index(values[i])
    more = derived(rig)
    values += [more[name] for name in _DERIVED.names or ()]
    return np.array(values, np.float64).view(rig_dtype())


def derived(rig: Rig) -> dict[str, float]:
    """Sums and products of a rig's numbers that do not change during a run."""
    m, spring, gas = rig.mechanism, rig.spring, rig.gas_spring
    rope, drive = rig.rope, rig.drive
    thigh_m, shank_m = m.thigh_length_m, m.shank_length_m
    below_knee_kg = m.knee_block_mass_kg + m.shank_links_mass_kg + m.foot_plate_mass_kg
    shank_kg = m.shank_links_mass_kg / 2 + m.foot_plate_mass_kg
    parts = round(rope.parts)
    return {
        # Uniform links turning about one end: m L^2 / 3.
        "inertia_thigh_kgm2": (m.thigh_links_mass_kg / 3 + below_knee_kg) * thigh_m**2,
        "inertia_shank_kgm2": (m.shank_links_mass_kg / 3 + m.foot_plate_mass_kg) * shank_m**2,
        "coupling_kgm2": shank_kg * thigh_m * shank_m,
        "moment_thigh_kgm": (m.thigh_links_mass_kg / 2 + below_knee_kg) * thigh_m,
        "moment_shank_kgm": shank_kg * shank_m,
        "leg_kg": m.leg_mass_kg,
        # The frame's radius of gyration in roll is taken as half its hip spacing; then each
        # hip moves up and down as half the mass, apart from the other (common practice, no
        # source).
        "hip_kg": m.carried_mass_kg / 2,
        "spring_extended_m": span_m(
            spring.thigh_anchor_m, spring.shank_anchor_m, m.fold_extended_rad
        ),
        "gas_extended_m": span_m(gas.thigh_anchor_m, gas.shank_anchor_m, m.fold_extended_rad),
        "rope_extended_m": span_m(rope.thigh_anchor_m, rope.shank_anchor_m, m.fold_extended_rad),
        "standing_m": span_m(thigh_m, shank_m, m.fold_extended_rad),
        # Standing on both legs, each foot has sunk a little into compliant ground.
        "standing_hip_m": span_m(thigh_m, shank_m, m.fold_extended_rad)
        - (m.carried_mass_kg / 2 + m.leg_mass_kg) * GRAVITY_MPS2 / rig.ground.stiffness_N_per_m,
        # In SI units the torque constant is the inverse of the speed constant.
        "torque_Nm_per_A": 1 / drive.speed_constant_radps_per_V,
        "no_load_radps": drive.speed_constant_radps_per_V
        * (drive.no_load_V - drive.no_load_current_A * drive.resistance_ohm),
        "advantage_up": tackle_advantage(parts, rope.sheave_efficiency),
        "advantage_down": tackle_advantage(parts, 1 / rope.sheave_efficiency),
        "gear_efficiency": drive.mesh_efficiency**drive.gear_stages,
        "substeps": rig.substeps,
    }
