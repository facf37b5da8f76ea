"""Spur gears: tooth stress, speeds, ratio, efficiency."""

from collections.abc import Sequence
from itertools import pairwise
from math import inf, prod
from typing import NamedTuple

# Teeth, and Lewis form factor Y of 20 degree full-depth teeth loaded at the tip: Shigley,
# Table 14-2; 10 and 11 teeth, which the table leaves out, from gearpy 1.3.1; a rack at last.
_LEWIS = (
    (10, 0.201),
    (11, 0.226),
    (12, 0.245),
    (13, 0.261),
    (14, 0.277),
    (15, 0.290),
    (16, 0.296),
    (17, 0.303),
    (18, 0.309),
    (19, 0.314),
    (20, 0.322),
    (21, 0.328),
    (22, 0.331),
    (24, 0.337),
    (26, 0.346),
    (28, 0.353),
    (30, 0.359),
    (34, 0.371),
    (38, 0.384),
    (43, 0.397),
    (50, 0.409),
    (60, 0.422),
    (75, 0.435),
    (100, 0.447),
    (150, 0.460),
    (300, 0.472),
    (400, 0.480),
    (inf, 0.485),
)


class ToothMaterial(NamedTuple):
    """Tensile strength, and the share of it that a tooth may bend to again and again."""

    tensile_Pa: float
    share: float


# Plastics printed flat, teeth in the plane of the layers, solid, cool and dry: common practice,
# no source, except the strength of nylon [printed-nylon]. Steel: medium carbon, a third of
# its tensile strength, from memory [bhandari].
TOOTH_MATERIALS = {
    "PLA": ToothMaterial(50e6, 0.25),
    "PETG": ToothMaterial(45e6, 0.25),
    "nylon": ToothMaterial(48e6, 0.25),
    "steel": ToothMaterial(600e6, 1 / 3),
}


def allowable_tooth_stress_Pa(material: str) -> float:
    """Bending stress that a gear's teeth may see again and again.

    Printed polymers a quarter of tensile strength: common practice, no source; half that when
    warm or wet. Steel a third, from memory [bhandari].
    """
    if material not in TOOTH_MATERIALS:
        raise ValueError(
            f"no gear material is called {material}; known: {', '.join(TOOTH_MATERIALS)}"
        )
    tensile_Pa, share = TOOTH_MATERIALS[material]
    return tensile_Pa * share


def lewis_factor(teeth: float) -> float:
    """Lewis form factor Y of a 20 degree full-depth tooth [shigley].

    Teeth from 10; between rows of the table linear in 1/teeth, which is near to straight and
    ends at the rack. 10 and 11 teeth from another table [lewis-table]; below 17 generated
    teeth are undercut.
    """
    if teeth < _LEWIS[0][0]:
        raise ValueError(f"no form factor is known for fewer than {_LEWIS[0][0]:g} teeth")
    few, many = next(rows for rows in pairwise(_LEWIS) if teeth <= rows[1][0])
    way = (1 / few[0] - 1 / teeth) / (1 / few[0] - 1 / many[0])
    return few[1] + way * (many[1] - few[1])


def pitch_diameter_m(module_m: float, teeth: float) -> float:
    """Pitch diameter of a gear, m z: definition. m module, z teeth."""
    return module_m * teeth


def centre_distance_m(module_m: float, pinion_teeth: float, wheel_teeth: float) -> float:
    """Distance between the axes of two gears, m (z1 + z2) / 2: definition.

    m module, z teeth, no profile shift; printed gears want about 0.1 mm more for backlash
    (common practice, no source).
    """
    return module_m * (pinion_teeth + wheel_teeth) / 2


def pitch_line_mps(speed_radps: float, module_m: float, teeth: float) -> float:
    """Speed of the teeth, w m z / 2: definition. w speed of the gear, m module, z teeth."""
    return speed_radps * pitch_diameter_m(module_m, teeth) / 2


def tangential_force_N(torque_Nm: float, module_m: float, teeth: float) -> float:
    """Force between the teeth along the pitch line, 2 T / (m z): definition.

    T torque of the gear, m module, z its teeth.
    """
    return 2 * torque_Nm / pitch_diameter_m(module_m, teeth)


def velocity_factor(pitch_line_speed_mps: float) -> float:
    """Barth's factor for the blows of cut or milled teeth, (6.1 + V) / 6.1 [shigley].

    V pitch-line speed in m/s, 0 to about 10; printed teeth are no better than milled ones.
    """
    return (6.1 + pitch_line_speed_mps) / 6.1


def tooth_stress_Pa(
    force_N: float, module_m: float, width_m: float, teeth: float, pitch_line_speed_mps: float
) -> float:
    """Bending stress at the root of a tooth after Lewis, K F / (b m Y) [shigley].

    F tangential force, b face width, m module, Y form factor of the gear looked at, K velocity
    factor. One tooth carries all at its tip; no stress concentration, width 3 to 5 times
    pi m; 20 degree full-depth teeth from 10.
    """
    factor = velocity_factor(pitch_line_speed_mps)
    return factor * force_N / (width_m * module_m * lewis_factor(teeth))


def train_ratio(stages: Sequence[tuple[float, float]]) -> float:
    """Turns of the first gear for one of the last, product of driven over driving: definition.

    Each stage is its driving and its driven gear's teeth.
    """
    return prod(driven / driving for driving, driven in stages)


def train_efficiency(mesh_efficiency: float, meshes: float) -> float:
    """Efficiency of a gear train, e^n: definition.

    e efficiency of each mesh, 0.95 to 0.99 for well made spur gears [mesh-efficiency], n
    meshes; taken the same for either direction of power (common practice, no source).
    """
    return float(mesh_efficiency**meshes)


def driving_torque_Nm(load_Nm: float, ratio: float, efficiency: float) -> float:
    """Torque at the first gear that moves a load at the last one, T / (i e): definition.

    T load torque, i ratio, e efficiency of the train; power flows to the load.
    """
    return load_Nm / (ratio * efficiency)


def holding_back_torque_Nm(load_Nm: float, ratio: float, efficiency: float) -> float:
    """Torque at the first gear that holds back a load which drives the train, T e / i.

    Definition. T load torque, i ratio, e efficiency of the train; power flows from the load,
    and friction helps to hold.
    """
    return load_Nm * efficiency / ratio
