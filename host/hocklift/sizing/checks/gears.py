"""Checks of the printed gears, two for each mesh."""

from typing import Any, NamedTuple

from hocklift.sizing import gears
from hocklift.sizing.checks.check import Check


class Times(NamedTuple):
    """When a train bears most and when it turns fastest, and the key of how fast that must be."""

    hardest: str
    fastest: str
    wanted: str


LEG_TIMES = Times("lifting or stooping", "lifting", "wants.lift")


def checks_of(rig: Any, times: Times = LEG_TIMES) -> list[Check]:
    """Bending of the pinion's teeth and their speed, for each mesh of the train."""
    return [check for i in range(len(rig.gears.pinion_teeth)) for check in _mesh(i, times)]


def _mesh(i: int, times: Times) -> list[Check]:
    names = ("first", "second", "third", "fourth", "fifth", "sixth")

    def ratio_before(loads: Any) -> float:
        g = loads.rig.gears
        return gears.train_ratio(list(zip(g.pinion_teeth[:i], g.wheel_teeth[:i], strict=True)))

    def speed_mps(loads: Any) -> float:
        g = loads.rig.gears
        speed_radps = loads.lift_peak_radps / ratio_before(loads)
        return gears.pitch_line_mps(speed_radps, g.module_m[i], g.pinion_teeth[i])

    def stress_Pa(loads: Any) -> float:
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
            times.hardest,
            "bending of the pinion's teeth",
            "MPa",
            stress_Pa,
            lambda loads: gears.allowable_tooth_stress_Pa(loads.rig.gears.material),
            "shigley",
            (f"gears.face[{i + 1}]", f"gears.module[{i + 1}]", "gears.material"),
        ),
        Check(
            f"{names[i]} gear mesh",
            times.fastest,
            "speed of the teeth",
            "m/s",
            speed_mps,
            # Where the formula for the blows of the teeth ends.
            lambda loads: 10.0,
            "shigley",
            (f"gears.module[{i + 1}]", times.wanted),
        ),
    ]
