"""The leg by hand: its pins as points in the plane, x + iz, and energies from there.

Nothing here uses legsim's geometry, inertias or statics; only the rig's numbers, and
each force by the way that its energy changes. Leans may be arrays.
"""

from typing import Any

import numpy as np
from legsim.rig import Rig
from numpy.typing import NDArray

G_MPS2 = 9.80665  # standard gravity, CGPM 1901
Points = NDArray[np.complex128]


def knee(rig: Rig, thigh_rad: Any, hip_m: Any = 0.0) -> Points:
    """The knee: the thigh hangs from the hip, leaning back."""
    return np.asarray(1j * hip_m - 1j * rig.mechanism.thigh_length_m * np.exp(-1j * thigh_rad))


def foot(rig: Rig, thigh_rad: Any, shank_rad: Any, hip_m: Any = 0.0) -> Points:
    """The foot: the shank hangs from the knee, leaning forward."""
    hanging = -1j * rig.mechanism.shank_length_m * np.exp(1j * shank_rad)
    return knee(rig, thigh_rad, hip_m) + hanging


def span_m(thigh_anchor_m: float, shank_anchor_m: float, thigh_rad: Any, shank_rad: Any) -> Any:
    """Distance between two anchors, one up the thigh and one down the shank from the knee."""
    return abs(
        1j * thigh_anchor_m * np.exp(-1j * thigh_rad) + 1j * shank_anchor_m * np.exp(1j * shank_rad)
    )


def springs_energy_J(rig: Rig, thigh_rad: Any, shank_rad: Any) -> Any:
    """Energy of coil and gas spring."""
    return coil_energy_J(rig, thigh_rad, shank_rad) + gas_energy_J(rig, thigh_rad, shank_rad)


def coil_energy_J(rig: Rig, thigh_rad: Any, shank_rad: Any) -> Any:
    """Energy of the coil spring; longer than its free length it is limp."""
    s = rig.spring
    if s.rate_N_per_m == 0:
        return 0.0
    extended_m = span_m(s.thigh_anchor_m, s.shank_anchor_m, rig.mechanism.fold_extended_rad, 0)
    free_m = extended_m + s.force_extended_N / s.rate_N_per_m
    squeezed_m = free_m - span_m(s.thigh_anchor_m, s.shank_anchor_m, thigh_rad, shank_rad)
    return s.rate_N_per_m / 2 * np.maximum(0, squeezed_m) ** 2


def gas_energy_J(rig: Rig, thigh_rad: Any, shank_rad: Any) -> Any:
    """Energy of a gas spring within its stroke: Boyle's law, integrated over the way in.

    From force F with the room of a full stroke going down to 1/progression of itself.
    """
    g = rig.gas_spring
    extended_m = span_m(g.thigh_anchor_m, g.shank_anchor_m, rig.mechanism.fold_extended_rad, 0)
    pushed_m = extended_m - span_m(g.thigh_anchor_m, g.shank_anchor_m, thigh_rad, shank_rad)
    room_m = g.stroke_m / (1 - 1 / g.progression)
    return -g.force_extended_N * room_m * np.log(1 - pushed_m / room_m)


def rope_m(rig: Rig, thigh_rad: Any, shank_rad: Any) -> Any:
    """Span of the tackle; its pull times this is its energy."""
    return span_m(rig.rope.thigh_anchor_m, rig.rope.shank_anchor_m, thigh_rad, shank_rad)


def weight_energy_J(rig: Rig, thigh_rad: Any, shank_rad: Any, hip_m: Any = 0.0) -> Any:
    """Energy of the leg's weight; a link's is at its middle."""
    m = rig.mechanism
    knee_m = knee(rig, thigh_rad, hip_m).imag
    foot_m = foot(rig, thigh_rad, shank_rad, hip_m).imag
    return G_MPS2 * (
        m.thigh_links_mass_kg * (hip_m + knee_m) / 2
        + m.knee_block_mass_kg * knee_m
        + m.shank_links_mass_kg * (knee_m + foot_m) / 2
        + m.foot_plate_mass_kg * foot_m
    )


def kinetic_energy_J(rig: Rig, motion: Any) -> Any:
    """Kinetic energy of the leg and of the mass on its hip, from the speeds of its pins."""
    m = rig.mechanism
    a, b = motion.thigh_rad, motion.shank_rad
    hip_v = 1j * motion.hip_mps
    knee_v = hip_v - m.thigh_length_m * motion.thigh_radps * np.exp(-1j * a)
    foot_v = knee_v + m.shank_length_m * motion.shank_radps * np.exp(1j * b)
    return (
        _bar_J(m.thigh_links_mass_kg, hip_v, knee_v)
        + m.knee_block_mass_kg / 2 * abs(knee_v) ** 2
        + _bar_J(m.shank_links_mass_kg, knee_v, foot_v)
        + m.foot_plate_mass_kg / 2 * abs(foot_v) ** 2
        + m.carried_mass_kg / 4 * abs(hip_v) ** 2
    )


def _bar_J(mass_kg: float, end_mps: Points, other_mps: Points) -> Any:
    """A uniform bar, the speed along it going over from one end's to the other's."""
    product = (end_mps * np.conj(other_mps)).real
    return mass_kg / 6 * (abs(end_mps) ** 2 + product + abs(other_mps) ** 2)
