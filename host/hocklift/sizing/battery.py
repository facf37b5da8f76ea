"""Battery: sag, energy, and how far it goes."""


def loaded_voltage_V(rest_V: float, current_A: float, resistance_ohm: float) -> float:
    """Voltage of a pack under load, V - I R: definition.

    V voltage at rest at this charge, I current of all loads together, R resistance of the pack,
    which age and cold raise.
    """
    return rest_V - current_A * resistance_ohm


def usable_energy_J(capacity_C: float, mean_V: float, usable_share: float) -> float:
    """Energy to plan with, Q V times a share: definition.

    Q capacity in coulombs (3600 to the ampere-hour), V mean voltage over the discharge, about
    3.7 V a lithium-polymer cell; a share of 0.8 keeps its cells alive (common practice, no
    source).
    """
    return capacity_C * mean_V * usable_share


def drawn_energy_J(work_J: float, efficiency: float) -> float:
    """Energy from the battery for a piece of work, W / e: definition.

    W work at the end of the chain, e product of the efficiencies from battery to there.
    """
    return work_J / efficiency


def walks_per_charge(energy_J: float, step_energy_J: float, steps: float) -> float:
    """How many walks a charge lasts, E / (e n): definition.

    E usable energy, e energy drawn a step with its share of what stands by, n steps a walk.
    """
    return energy_J / (step_energy_J * steps)
