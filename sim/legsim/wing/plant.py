"""Both wings and their battery together: one control period of the simulated rig."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim.compiled import native
from legsim.drive import battery_V, controller_tick, draw
from legsim.heat import warm
from legsim.sensors import FULL_SCALE, ill_count, lost, noise, play, pot_count, uniform
from legsim.wing.motion import step_wing
from legsim.wing.records import WINGS_STATE, wing_rig_record
from legsim.wing.rig import WingRig

STICK = 0  # index of the word that `control.command` uses
# A command's travel that is used, of all of it: the rest is for its window and its tolerance.
COMMAND_LOW, COMMAND_HIGH = 0.1, 0.9


def start_wings(rig: WingRig, seed: int) -> NDArray[np.void]:
    """Both wings hang with nothing at their tips, motors at rest; a one-element array."""
    state = np.zeros(1, WINGS_STATE)
    # Any number may be a seed, but this generator must not start at zero.
    state["random"] = (seed * 0x9E3779B97F4A7C15 + 0x1234567) % 2**64 or 1
    for name in ("left", "right"):
        wing = state[name]
        # The drum stands so that neither line pulls where the wing hangs.
        wing["wound_m"] = -rig.rope.parts * rig.rope.quadrant_m * rig.wing.middle_rad
        wing["resistance_ohm"] = rig.drive.resistance_ohm
        wing["reverse_ready"] = 1.0
    # The two controllers' frames are in step neither with the loop nor with each other.
    state["left"]["frame_s"] = uniform(state[0]) * rig.controller.frame_s
    state["right"]["frame_s"] = uniform(state[0]) * rig.controller.frame_s
    state["bus_V"] = battery_V(wing_rig_record(rig)[0], 0.0)
    return state


@native
def wings_tick(state: Any, rig: Any, left_pulse_s: float, right_pulse_s: float) -> None:
    """Advance the plant by one control period under the two pulses."""
    left, right = state.left, state.right
    period = rig.control.period_s
    substeps = int(rig.derived.substeps)
    dt = period / substeps
    rest_V = battery_V(rig, state.used_C) - state.battery_dip_V
    controller_tick(left, rig, state, left_pulse_s, period)
    controller_tick(right, rig, state, right_pulse_s, period)
    left.up_peak_N = left.down_peak_N = left.current_peak_A = 0.0
    right.up_peak_N = right.down_peak_N = right.current_peak_A = 0.0
    for _ in range(substeps):
        step_wing(left, rig, state, dt)
        step_wing(right, rig, state, dt)
        current_A = draw(left, state, dt) + draw(right, state, dt)
        state.used_C += current_A * dt
        state.bus_V = rest_V - rig.battery.resistance_ohm * current_A
    warm(left, rig, period)
    warm(right, rig, period)


@native
def command_count(rig: Any, state: Any, command: float) -> int:
    """Reading of a stick deflected by -1 to 1, or of a pot set to an angle, 0 to 4095."""
    if rig.control.command == STICK:
        rest = rig.sensors.stick_rest
        room = COMMAND_HIGH - rest if command > 0 else rest - COMMAND_LOW
        ratio = rest + command * room
    else:
        share = (command - rig.wing.lowered_rad) / (rig.wing.raised_rad - rig.wing.lowered_rad)
        ratio = COMMAND_LOW + (COMMAND_HIGH - COMMAND_LOW) * share
    count = ratio * FULL_SCALE + rig.sensors.noise_count * noise(state)
    return int(min(max(round(count), 0), FULL_SCALE))


@native
def sense_wing(wing: Any, rig: Any, state: Any, core_wing: Any) -> None:
    """Write the readings of one wing into the core's inputs."""
    wing.play_rad = play(wing.play_rad, wing.lift_rad, rig.sensors.pot_backlash_rad)
    wing.pot_lost_s = lost(wing.pot_lost_s, rig, state)
    wing.command_lost_s = lost(wing.command_lost_s, rig, state)
    # A wiper off its track leaves the input to its pull-down resistor.
    pot = pot_count(rig, state, wing.play_rad + wing.pot_slip_rad)
    command = command_count(rig, state, wing.command + wing.command_push)
    pot = 0 if wing.pot_lost_s > 0 else ill_count(wing.pot_ill, pot, wing.pot_count, state)
    if wing.command_lost_s > 0:
        command = 0
    else:
        command = ill_count(wing.command_ill, command, wing.command_count, state)
    wing.pot_count = core_wing.pot.count = pot
    wing.command_count = core_wing.command.count = command


@native
def sense_wings(state: Any, rig: Any, wings: Any) -> None:
    """Write every input of the core but the arm input and the board's own."""
    board = state.board
    sense_wing(state.left, rig, state, wings.left)
    sense_wing(state.right, rig, state, wings.right)
    wings.stop = int(board.stop)
    wings.battery_mV = int(state.bus_V * (1 + rig.sensors.battery_error) * 1000)
    wings.supply_mV = int((rig.sensors.supply_V - board.supply_dip_V) * 1000)
