"""What the board sees of the plant: pot counts and foot switches, with their faults."""

from math import pi, sin
from typing import Any

import numpy as np

from legsim.compiled import native

FULL_SCALE = 4095
OPEN, SHORTED, FROZEN, JUMPING = 1, 2, 3, 4  # of `records.POT_ILLS`
CLOSED, CONTACT_OPEN, CHATTERING = 1, 2, 3  # of `records.CONTACT_ILLS`
_SHIFT_A, _SHIFT_B, _SHIFT_C = np.uint64(12), np.uint64(25), np.uint64(27)
_MULTIPLIER = np.uint64(0x2545F4914F6CDD1D)
_TOP_BITS = np.uint64(11)


@native
def uniform(state: Any) -> float:
    """Next random number, 0 <= u < 1: Marsaglia's xorshift64*, 53 bits of it.

    Our own so that a seed gives the same walk whoever runs it, on any thread.
    """
    x = state.random
    x ^= x >> _SHIFT_A
    x ^= x << _SHIFT_B
    x ^= x >> _SHIFT_C
    state.random = x
    return float((x * _MULTIPLIER) >> _TOP_BITS) / 9007199254740992.0


@native
def noise(state: Any) -> float:
    """Near-normal number of unit variance: four uniforms, so never beyond 3.5."""
    return (uniform(state) + uniform(state) + uniform(state) + uniform(state) - 2) * 3.0**0.5


@native
def play(follower_rad: float, lean_rad: float, backlash_rad: float) -> float:
    """Where a pot's shaft stands that its joint turns through some play."""
    half = backlash_rad / 2
    return min(max(follower_rad, lean_rad - half), lean_rad + half)


@native
def pot_count(rig: Any, state: Any, shaft_rad: float) -> int:
    """Reading of one pot, 0 to 4095."""
    s = rig.sensors
    ratio = 0.5 + (shaft_rad - s.pot_centre_rad) / s.pot_travel_rad
    ratio += s.pot_nonlinearity * sin(2 * pi * ratio)
    count = ratio * (1 + s.reference_error) * FULL_SCALE + s.noise_count * noise(state)
    return int(min(max(round(count), 0), FULL_SCALE))


@native
def lost(remaining_s: float, rig: Any, state: Any) -> float:
    """How much longer a wiper is off its track; now and then it starts anew."""
    period = rig.control.period_s
    if remaining_s > 0:
        return max(0.0, remaining_s - period)
    if uniform(state) < rig.sensors.lift_off_per_s * period:
        return float(rig.sensors.lift_off_s)
    return 0.0


@native
def ill_count(ill: float, count: int, last: float, state: Any) -> int:
    """What the converter reads of a pot that should read `count` and read `last` before."""
    if ill == OPEN:
        return 0
    if ill == SHORTED:
        return FULL_SCALE
    if ill == FROZEN:
        return int(last)
    if ill == JUMPING and uniform(state) < 0.5:
        return int(uniform(state) * FULL_SCALE)
    return count


@native
def ill_contact(ill: float, closed: int, state: Any) -> int:
    """What the board reads of a contact that is `closed`, 0 or 1."""
    if ill == CLOSED:
        return 1
    if ill == CONTACT_OPEN:
        return 0
    if ill == CHATTERING:
        return 1 if uniform(state) < 0.5 else 0
    return closed


@native
def sense_leg(leg: Any, rig: Any, state: Any, core_leg: Any) -> None:
    """Write the readings of one leg into the core's inputs."""
    s = rig.sensors
    leg.thigh_play_rad = play(leg.thigh_play_rad, leg.thigh_rad, s.pot_backlash_rad)
    leg.shank_play_rad = play(leg.shank_play_rad, leg.shank_rad, s.pot_backlash_rad)
    leg.thigh_lost_s = lost(leg.thigh_lost_s, rig, state)
    leg.shank_lost_s = lost(leg.shank_lost_s, rig, state)
    # A wiper off its track leaves the input to its pull-down resistor.
    thigh = pot_count(rig, state, leg.thigh_play_rad + leg.thigh_slip_rad)
    shank = pot_count(rig, state, leg.shank_play_rad + leg.shank_slip_rad)
    thigh = 0 if leg.thigh_lost_s > 0 else ill_count(leg.thigh_ill, thigh, leg.thigh_count, state)
    shank = 0 if leg.shank_lost_s > 0 else ill_count(leg.shank_ill, shank, leg.shank_count, state)
    leg.thigh_count = core_leg.thigh.count = thigh
    leg.shank_count = core_leg.shank.count = shank

    closed = 1.0 if leg.push * rig.wearer.push_N > s.switch_force_N else 0.0
    leg.switch_moved_s += rig.control.period_s
    if closed != leg.switch_closed:
        leg.switch_closed = closed
        leg.switch_moved_s = 0.0
    switch = int(leg.switch_closed)
    if leg.switch_moved_s < s.switch_bounce_s:
        switch = 1 if uniform(state) < 0.5 else 0
    core_leg.switch = ill_contact(leg.switch_ill, switch, state)
    core_leg.sole = ill_contact(leg.sole_ill, 1 if leg.load_N > s.sole_force_N else 0, state)
