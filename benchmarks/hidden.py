"""Recordings of rigs that nobody knows: builds of the demo rig, doing what a fit wants to see.

Masses and lengths are those of the rig file, since people weigh and measure them; all else is off
within its tolerance. A minute: each leg swings freely on the stand, then somebody gets in, steps
on the spot, and stoops.
"""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from hocklift.log import TICK_DTYPE, Log, core_mark
from legsim.core import words_of
from legsim.perturb import TOLERANCES, draws, followed, misaligned, with_tolerances
from legsim.rig import Rig
from legsim.run import Walk
from legsim.stiffness import coarsest_substep_s
from legsim.wearer import Push, Raise, first_s, script
from numpy.typing import NDArray

LEGS = ("left", "right")
SECONDS = 60.0
# When feet are let go on the stand, and taken again; when the frame is put down and armed.
_LET_GO_S, _TAKEN_S = (1.5, 5.0, 8.5), (3.4, 6.9, 9.9)
_DOWN_S = 10.9
_HANGS_M = 0.15
# Where hands have the feet, ahead of the hip, by time; a leg on its stop hangs at rest at 0.158.
_HANDS_S = (0, 0.8, 1.6, 1.61, 3.6, 4.4, 5.1, 5.11, 7.1, 7.9, 8.6, 8.61, 9.9, 10.7)
_BACK_M, _REST_M = -0.18, 0.158
_HANDS_M = (
    0,
    *2 * (_BACK_M,),
    *2 * (_REST_M,),
    *2 * (-0.14,),
    *2 * (_REST_M,),
    *2 * (_BACK_M,),
    *2 * (_REST_M,),
    0,
)
# A step on the spot: the foot pushed up so long, and down again after so much more.
_PUSH_S, _STEP_S = 1.35, 2.75
_FASTEST_HAND_MPS = 1.0
# The board's converter has 12 bits over its divider's range, and half a step of noise.
_FULL_MV, _FULL = 30000, 4095


def hidden_rig(rig: Rig, seed: int) -> Rig:
    """A build of `rig`, its masses as they are."""
    drawn = [
        0.0 if tolerance.key.endswith("mass_kg") else one
        for tolerance, one in zip(TOLERANCES, draws(seed), strict=True)
    ]
    return followed(with_tolerances(rig, TOLERANCES, drawn), coarsest_substep_s)


def hidden_log(rig: Rig, made: Rig, seed: int) -> Log:
    """What `made` would record, with the settings of `rig`."""
    walk = Walk(made, _lines(made, seed), seed, believed=rig)
    misaligned(walk.state, seed)
    _run(walk, made)
    return Log(
        Path("hidden.hklog"),
        {
            "core": core_mark(),
            "settings": walk.words[: len(words_of("Settings"))].tolist(),
            "board": {"period_us": round(rig.control.period_s * 1e6), "calibrated_day": 0},
        },
        None,
        None,
        _ticks(walk.trace, made, seed),
        (),
        (),
        (),
        0,
        0,
    )


def _lines(made: Rig, seed: int) -> NDArray[np.void]:
    """What hands do, then the wearer."""
    made = replace(made, wearer=replace(made.wearer, step_length_m=0.0))
    raises: list[Raise] = []
    start_s = _DOWN_S + first_s(made) + 1

    def step(at_s: float) -> float:
        raises.append(Raise(len(raises) % 2, at_s, at_s + _PUSH_S, at_s + _PUSH_S + 1.2))
        return at_s + _STEP_S

    for _ in range(6):
        start_s = step(start_s)
    pushes = [Push(start_s + 1, start_s + 5.5, 1.0), Push(start_s + 7, start_s + 12, -1.0)]
    start_s += 14
    while start_s + 4 < SECONDS - 1:
        start_s = step(start_s)
    lines = script(made, raises, SECONDS, seed, pushes)
    time_s = np.arange(len(lines)) * made.control.period_s
    hands_m = np.interp(time_s, _HANDS_S, _HANDS_M)
    hands_mps = np.gradient(hands_m, made.control.period_s)
    # A foot that is let go is nobody's to move.
    hands_mps[np.abs(hands_mps) > _FASTEST_HAND_MPS] = 0.0
    for leg in LEGS:
        lines[leg]["foot_x_m"] += hands_m
        lines[leg]["foot_x_mps"] += hands_mps
    return lines


def _run(walk: Walk, made: Rig) -> None:
    """Hang, be let go and taken again, be put down, be armed, walk."""
    period_s, wearer = made.control.period_s, walk.rig["wearer"]
    walk.arm[:] = np.arange(len(walk.lines)) * period_s >= _DOWN_S + 0.3
    _lift(walk, _HANGS_M)
    times = sorted({*_LET_GO_S, *_TAKEN_S, _DOWN_S, SECONDS})
    for start_s, end_s in pairwise([0.0, *times]):
        if start_s == _DOWN_S:
            _lift(walk, -_HANGS_M)
        held = start_s not in _LET_GO_S
        wearer["stirrup_N_per_m"] = held * made.wearer.stirrup_N_per_m
        wearer["stirrup_Ns_per_m"] = held * made.wearer.stirrup_Ns_per_m
        walk.run_part(round(start_s / period_s), round(end_s / period_s))


def _lift(walk: Walk, by_m: float) -> None:
    """Hang the frame from its stand, or put it down."""
    walk.state["stand"] = float(by_m > 0)
    for leg in LEGS:
        walk.state[leg]["hip_m"] += by_m
        walk.state[leg]["hip_mps"] = walk.state[leg]["hip_mps2"] = 0.0


def _ticks(trace: NDArray[np.void], made: Rig, seed: int) -> NDArray[np.void]:
    """The trace as the wire carries it."""
    ticks = np.zeros(len(trace), TICK_DTYPE)
    ticks["tick"] = np.arange(1, len(trace) + 1)
    for leg in LEGS:
        for name in ("thigh_count", "shank_count", "phase", "fault_bits", "fold_cdeg", "pulse_us"):
            ticks[f"{leg}_{name}"] = trace[leg][name]
        ticks[f"{leg}_contacts"] = trace[leg]["switch"] | trace[leg]["sole"] << 1
    read = trace["bus_V"] * (1 + made.sensors.battery_error) * 1000 * _FULL / _FULL_MV
    read += np.random.default_rng(seed).normal(0, 0.5, len(read))
    ticks["battery_mV"] = np.round(read) * _FULL_MV / _FULL
    return ticks
