"""Checks of the passive joints between frame and leg."""

from hocklift.sizing import suspension
from hocklift.sizing.checks.check import Check

CHECKS: tuple[Check, ...] = (
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
