"""What pots and board read of pose and battery: bent tracks, an error of scale, a pack's curve."""

from functools import lru_cache

import numpy as np
from legsim.drive import battery_V
from legsim.records import rig_record
from legsim.rig import Battery, Rig
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def read_rad(rig: Rig, joint: str, shaft_rad: Floats, calibrated: bool) -> Floats:
    """What a pot's shaft reads as: its track bows, and a calibration lays a line through that."""
    read = shaft_rad + _bow_rad(rig, shaft_rad)
    if not calibrated:
        return read
    m = rig.mechanism
    low_rad, high_rad = (
        (m.thigh_min_rad, m.thigh_max_rad)
        if joint == "thigh"
        else (m.shank_min_rad, m.shank_max_rad)
    )
    poses_rad = np.linspace(low_rad, high_rad, 9)
    slope, level_rad = np.polyfit(poses_rad, _bow_rad(rig, poses_rad), 1)
    return np.asarray(read - slope * shaft_rad - level_rad)


def shaft_rad(rig: Rig, joint: str, readings_rad: Floats, calibrated: bool) -> Floats:
    """The other way round: where shafts stand that read so."""
    found = readings_rad
    # A bow is a hundredth of the turn: each round leaves a hundredth of the error.
    for _ in range(4):
        found = found + readings_rad - read_rad(rig, joint, found, calibrated)
    return found


def _bow_rad(rig: Rig, shaft_rad: Floats) -> Floats:
    """As `legsim.sensors.pot_count` has it."""
    s = rig.sensors
    ratio = 0.5 + (shaft_rad - s.pot_centre_rad) / s.pot_travel_rad
    return np.asarray(s.pot_travel_rad * s.pot_nonlinearity * np.sin(2 * np.pi * ratio))


def battery_read_V(rig: Rig, rest_read_V: float, drawn_A: Floats, period_s: float) -> Floats:
    """What the board reads of the battery in each tick, from one on in which it is at rest.

    How full it is follows from what it reads at rest.
    """
    reads = 1 + rig.sensors.battery_error
    charges, volts = _curve(rig.battery.cells)
    charge = np.interp(rest_read_V / reads, volts, charges)
    left = charge - np.cumsum(drawn_A) * period_s / rig.battery.capacity_C
    rest_V = np.interp(left, charges, volts)
    return np.asarray((rest_V - rig.battery.resistance_ohm * drawn_A) * reads)


@lru_cache(maxsize=4)
def _curve(cells: float) -> tuple[Floats, Floats]:
    """Voltage at rest of so many cells, from empty to full."""
    full = rig_record(Rig(battery=Battery(cells=cells, charge=1.0, capacity_C=1.0)))[0]
    charges = np.linspace(0.0, 1.0, 11)
    return charges, np.array([battery_V(full, 1.0 - charge) for charge in charges])
