"""Pins, the holes that they bear on, and shafts."""

from math import pi


def double_shear_stress_Pa(force_N: float, diameter_m: float) -> float:
    """Mean shear stress of a pin between two plates of a fork, F / (2 A) [hibbeler].

    F force on the pin, A its section, pi d^2 / 4; solid, no thread in the shear planes.
    """
    return force_N / (2 * pi * diameter_m**2 / 4)


def pin_bending_moment_Nm(force_N: float, span_m: float, middle_m: float) -> float:
    """Greatest bending moment of a pin in a fork, F (s/4 - b/8), from memory [roloff-matek].

    Model: simply supported in the middle of each fork plate, span s between these, and loaded
    evenly over the thickness b of the part in the middle. F force on the pin. For a pin that
    is loose in both; plates and middle stiffer than the pin bring the moment down.
    """
    if middle_m > span_m:
        raise ValueError("the middle part is thicker than the pin's span between its fork plates")
    return force_N * (span_m / 4 - middle_m / 8)


def bending_stress_Pa(moment_Nm: float, diameter_m: float) -> float:
    """Greatest bending stress of a solid round bar, 32 M / (pi d^3) [hibbeler].

    M bending moment, d diameter; below yield.
    """
    return 32 * moment_Nm / (pi * diameter_m**3)


def bearing_stress_Pa(force_N: float, diameter_m: float, thickness_m: float) -> float:
    """Mean pressure between a pin and its hole, F / (d t) [hibbeler].

    F force on this plate, d pin diameter, t thickness of the plate.
    """
    return force_N / (diameter_m * thickness_m)


def timber_embedment_Pa(diameter_m: float, density_kg_per_m3: float) -> float:
    """Pressure at which a steel pin sinks into timber, 0.082 (1 - 0.01 d) rho N/mm2 [eurocode-5].

    d pin diameter in mm, up to 30 mm; rho characteristic density in kg/m3 (fifth percentile,
    about a sixth below the mean: common practice, no source). Along the grain; across it
    softwood takes a third less. Characteristic strength: divide by a factor of safety.
    """
    if diameter_m > 0.030:
        raise ValueError("the formula for pins in timber ends at 30 mm")
    return 0.082e6 * (1 - 0.01 * diameter_m * 1000) * density_kg_per_m3


def shaft_torsion_stress_Pa(torque_Nm: float, diameter_m: float) -> float:
    """Greatest shear stress of a solid round shaft, 16 T / (pi d^3) [hibbeler].

    T torque, d diameter; below yield, no flat or keyway.
    """
    return 16 * torque_Nm / (pi * diameter_m**3)
