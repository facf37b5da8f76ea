"""What is compiled of a fit: a leg that moves as recorded pulses have it, and what is made of rows.

The equations of motion are the simulator's own, one piece of the recording after another. Hips
stand still while a leg is in the air; on the ground each leg carries half of the frame. All of it
lies in this one file, since numba does not notice that a called file has changed.
"""

from typing import Any

import numpy as np
from legsim.compiled import native
from legsim.drive import controller_tick, line_tension_N, tackle_force_N, turn_motor
from legsim.heat import warm
from legsim.leg import drift, kick, pose
from legsim.linkage import GRAVITY_MPS2
from legsim.sensors import play

# Kinds of pieces: standing on the stops, rope easy; in the air; stooping, weight on both legs;
# standing on this leg alone, its rope easy, the other foot coming down; hanging, let go by a hand.
REST, RAISED, STOOPED, ALONE, SWINGING = 0, 1, 2, 3, 4

PIECE = np.dtype(
    [
        *[(name, np.int64) for name in ("kind", "start", "end")],
        # At its start: leans, where their pots' shafts stand, and the lead line's stretch, which
        # is below zero where it is slack.
        *[(name, np.float64) for name in ("thigh_rad", "shank_rad")],
        *[(name, np.float64) for name in ("thigh_shaft_rad", "shank_shaft_rad")],
        ("stretch_m", np.float64),
        ("wait_s", np.float64),  # until a hand lets go of it, where one holds it
        ("rest_V", np.float64),  # of the battery
    ]
)
TICK = np.dtype([(name, np.float64) for name in ("pulse_s", "foot_x_m", "foot_x_mps", "push")])
MOVED = np.dtype([(name, np.float64) for name in ("thigh_shaft_rad", "shank_shaft_rad", "draw_A")])

# A controller's own pace is caught up with from so many ticks before a piece.
LEAD_TICKS = 30
# The hip of a raised leg, far from any ground.
_HIGH_M = 10.0


@native
def begin(piece: Any, leg: Any, state: Any, rig: Any) -> None:
    """Put a leg at a piece's start: at rest, its foot where its kind has it."""
    m, d = rig.mechanism, rig.derived
    leg.thigh_rad, leg.shank_rad = piece.thigh_rad, piece.shank_rad
    leg.thigh_play_rad, leg.shank_play_rad = piece.thigh_shaft_rad, piece.shank_shaft_rad
    leg.thigh_radps = leg.shank_radps = leg.hip_mps = 0.0
    leg.thigh_radps2 = leg.shank_radps2 = leg.hip_mps2 = 0.0
    leg.motor_radps = leg.bristle_m = leg.ground_m = 0.0
    leg.share = 1.0 + d.leg_kg / m.carried_mass_kg if piece.kind == ALONE else 0.5
    leg.snapped = 1.0 if piece.kind in (REST, ALONE, SWINGING) else 0.0
    pose(leg, rig)
    leg.wound_m = rig.rope.parts * (d.rope_extended_m - leg.rope_m) + piece.stretch_m
    state.stand = 1.0 if piece.kind in (RAISED, SWINGING) else 0.0
    leg.hip_m = _HIGH_M
    if state.stand == 0:
        load_N = GRAVITY_MPS2 * (leg.share * m.carried_mass_kg + d.leg_kg)
        height_m = m.thigh_length_m * leg.cos_thigh + m.shank_length_m * leg.cos_shank
        leg.hip_m = height_m - load_N / rig.ground.stiffness_N_per_m


@native
def take_pulse(controllers: Any, rig: Any, state: Any, pulse_s: float) -> float:
    """One tick of each controller; returns the mean of their duties."""
    total = 0.0
    for k in range(len(controllers)):
        controller_tick(controllers[k], rig, state, pulse_s, rig.control.period_s)
        total += controllers[k].duty
    return total / len(controllers)


@native
def catch_up(piece: Any, ticks: Any, begins_s: Any, state: Any, controllers: Any, rig: Any) -> None:
    """Let the controllers live through the ticks before a piece; there is one for each begin."""
    lead = max(1, piece.start - LEAD_TICKS)
    for k in range(len(controllers)):
        one = controllers[k]
        one.duty = one.demand = one.direction = one.cut = 0.0
        one.reverse_ready = 1.0
        one.frame_s = ((lead - 1) * rig.control.period_s - begins_s[k]) % rig.controller.frame_s
    for i in range(lead, piece.start):
        state.left.duty = take_pulse(controllers, rig, state, ticks[i - 1].pulse_s)


@native
def move_piece(piece: Any, ticks: Any, state: Any, controllers: Any, rig: Any, moved: Any) -> None:
    """Move the left leg of `state` through one piece, and note its ticks."""
    leg, wearer, derived = state.left, rig.wearer, rig.derived
    period_s, play_rad = rig.control.period_s, rig.sensors.pot_backlash_rad
    substeps = int(derived.substeps)
    # Both legs stoop, and draw alike.
    drawing = 2.0 if piece.kind == STOOPED else 1.0
    wait_s = piece.wait_s
    # The other hip, which a foot no longer pushes up, comes down as its balance lets it.
    hung_kg = derived.hip_kg + derived.leg_kg
    pushed, pushed_per_s = (1.0 if piece.kind == ALONE else 0.0), 0.0
    for i in range(piece.start, piece.end):
        tick = ticks[i]
        leg.foot_x_m, leg.foot_x_mps = tick.foot_x_m, tick.foot_x_mps
        leg.push = tick.push if piece.kind == RAISED else 0.0
        leg.duty = take_pulse(controllers, rig, state, ticks[i - 1].pulse_s)
        waited_s = min(wait_s, period_s)
        wait_s -= waited_s
        dt = (period_s - waited_s) / substeps
        for _ in range(substeps):
            drift(leg, dt / 2)
            pose(leg, rig)
            tension_N = line_tension_N(leg, rig)
            back = wearer.balance_N_per_m * pushed + wearer.harness_Ns_per_m * pushed_per_s
            pushed_per_s -= dt * back / hung_kg
            pushed += dt * pushed_per_s
            tackle_N = tackle_force_N(leg, rig, tension_N)
            kick(leg, rig, state, tackle_N, wearer.push_N * pushed, dt)
            turn_motor(leg, rig, state, tension_N, dt)
            drift(leg, dt / 2)
            drawn_A = drawing * leg.duty * leg.current_A
            state.bus_V = piece.rest_V - rig.battery.resistance_ohm * drawn_A
        warm(leg, rig, period_s)
        leg.thigh_play_rad = play(leg.thigh_play_rad, leg.thigh_rad, play_rad)
        leg.shank_play_rad = play(leg.shank_play_rad, leg.shank_rad, play_rad)
        row = moved[i]
        row.thigh_shaft_rad, row.shank_shaft_rad = leg.thigh_play_rad, leg.shank_play_rad
        row.draw_A = leg.duty * leg.current_A


@native
def move(
    pieces: Any, ticks: Any, begins_s: Any, state: Any, controllers: Any, rigs: Any, moved: Any
) -> None:
    """Move the left leg of `state` through all pieces, in order of time, and note its ticks.

    `rigs` is the rig with somebody in it, and the same with nobody, for where it swings. There is
    one controller for each of `begins_s`, when a frame of it begins: several where nobody knows,
    and the motor gets the mean of what they would give it.
    """
    end = 0
    for n in range(len(pieces)):
        piece = pieces[n]
        rig = rigs[1] if piece.kind == SWINGING else rigs[0]
        # A motor cools between what is looked at.
        rest_s = (piece.start - end) * rig.control.period_s
        while rest_s > 0:
            warm(state.left, rig, min(rest_s, 1.0))
            rest_s -= 1.0
        begin(piece, state.left, state, rig)
        state.bus_V = piece.rest_V
        catch_up(piece, ticks, begins_s, state, controllers, rig)
        move_piece(piece, ticks, state, controllers, rig, moved)
        end = piece.end


@native
def last_way(values: Any, turn: float) -> Any:
    """Which way `values` last went by more than `turn`: -1, 1, or 0 before they have."""
    found = np.zeros(len(values))
    low = high = values[0]
    way = 0.0
    for i in range(len(values)):
        low, high = min(low, values[i]), max(high, values[i])
        if way <= 0 and values[i] - low > turn:
            way = 1.0
        elif way >= 0 and high - values[i] > turn:
            way = -1.0
        if way > 0:
            low = high
        elif way < 0:
            high = low
        found[i] = way
    return found


@native
def reliance(drift_per_row: Any, start: float, scale: Any, gain: Any) -> None:
    """How a row is weighed, its own noise being 1, beside a level that wanders from row to row.

    The level is uncertain by `start` at first and wanders by `drift_per_row`: the Kalman filter of
    a local level. `gain` is by how much a row corrects it, `scale` what the rest counts.
    """
    variance = start * start
    for i in range(len(scale)):
        scale[i] = 1 / np.sqrt(variance + 1.0)
        gain[i] = variance / (variance + 1.0)
        variance = gain[i] + drift_per_row[i] * drift_per_row[i]


@native
def told_apart(rows: Any, scale: Any, gain: Any) -> Any:
    """Rows less what those before lead one to expect: their errors are independent then.

    Columns are treated alike, so that it holds for whatever the rows depend on, too.
    """
    count, columns = rows.shape
    found = np.empty_like(rows)
    level = np.zeros(columns)
    for i in range(count):
        for k in range(columns):
            off = rows[i, k] - level[k]
            found[i, k] = off * scale[i]
            level[k] += gain[i] * off
    return found
