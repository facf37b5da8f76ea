"""Rigs with wings that several tests share."""

from dataclasses import replace
from math import radians
from typing import Any

from legsim.wing.rig import WingRig

DEMO = WingRig()


def changed_wings(rig: WingRig = DEMO, **sections: dict[str, Any]) -> WingRig:
    """The rig with other values: `changed_wings(wing={"mass_kg": 3})`."""
    return replace(
        rig, **{name: replace(getattr(rig, name), **values) for name, values in sections.items()}
    )


# An arm that lifts 20 kg: short and stout, six parts of a stiffer line, a lower gear.
STRONG = changed_wings(
    wing={
        "mass_kg": 6.0,
        "centre_m": 0.35,
        "gyration_m": 0.42,
        "tip_m": 0.70,
        "hinge_friction_Nm": 2.0,
        "hinge_damping_Nms": 1.0,
    },
    rope={
        "parts": 6,
        "line_EA_N": 120e3,
        "diameter_m": 0.004,
        "breaking_N": 9000,
        "pretension_N": 40,
        "sheave_m": 0.04,
    },
    drive={"gear_ratio": 42 * 46 * 51 / 14**3, "drum_width_m": 0.12},
    gears={"pinion_teeth": (14, 14, 14), "wheel_teeth": (42, 46, 51), "face_m": (0.02, 0.03, 0.04)},
    pins={"hinge_pin_m": 0.014},
    control={"follow_speed_radps": radians(20), "accel_radps2": radians(60)},
    wants={"load_kg": 20.0, "raise_s": 6.5, "lower_s": 6.5},
)
