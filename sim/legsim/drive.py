"""From pulse to rope: speed controller, battery, motor, gears, drum and tackle of one leg."""

from typing import Any

import numpy as np

from legsim.compiled import native
from legsim.leg import smooth_sign

# Friction of gears and sheaves turns over within these speeds.
_MOTOR_TURN_RADPS = 8.0
_LINE_TURN_MPS = 0.01
# Voltage of one lithium-polymer cell at rest against charge, 0, 10, ... 100 %
# (common practice, no source).
_CELL_V = np.array([3.30, 3.62, 3.69, 3.73, 3.77, 3.80, 3.85, 3.93, 4.01, 4.08, 4.20])

DEAD, FULL_UP, FULL_DOWN, HOLDS, REVERSED = 1, 2, 3, 4, 5  # of `records.DRIVE_ILLS`
BRAKE, BRAKE_FIRST = 0, 1  # index of the words that the controller's choices use


@native
def battery_V(rig: Any, used_C: float) -> float:
    """Voltage of the pack at rest after `used_C` of charge."""
    left = rig.battery.charge - used_C / rig.battery.capacity_C
    place = min(max(left, 0.0), 1.0) * 10
    i = min(int(place), 9)
    return rig.battery.cells * (_CELL_V[i] + (_CELL_V[i + 1] - _CELL_V[i]) * (place - i))


@native
def demand_of_pulse(controller: Any, pulse_s: float) -> float:
    """Duty asked for by a pulse, -1 to 1; zero inside the deadband."""
    if controller.resolution_s > 0:
        pulse_s = round(pulse_s / controller.resolution_s) * controller.resolution_s
    offset_s = pulse_s - controller.neutral_s
    beyond_s = abs(offset_s) - controller.deadband_s
    # A width on the deadband's very edge must not flicker on rounding: 1 ns decides.
    if beyond_s <= 1e-9:
        return 0.0
    duty = min(1.0, beyond_s / (controller.span_s - controller.deadband_s))
    return duty if offset_s > 0 else -duty


@native
def ill_demand(leg: Any) -> float:
    """Duty that is asked for, as a broken controller or a wrong wire has it."""
    if leg.drive_ill == DEAD:
        return 0.0
    if leg.drive_ill == FULL_UP:
        return 1.0
    if leg.drive_ill == FULL_DOWN:
        return -1.0
    return float(-leg.demand if leg.drive_ill == REVERSED else leg.demand)


@native
def controller_tick(leg: Any, rig: Any, state: Any, pulse_s: float, dt: float) -> None:
    """One control period of the speed controller: it takes in a pulse once a frame."""
    c = rig.controller
    leg.frame_s += dt
    if leg.frame_s >= c.frame_s - 1e-9:
        leg.frame_s = max(0.0, leg.frame_s - c.frame_s)
        if leg.drive_ill != HOLDS:
            leg.demand = demand_of_pulse(c, pulse_s)
        if leg.demand == 0.0:
            # Neutral seen: reverse is allowed again, and a low-voltage cut is over.
            leg.reverse_ready = 1.0
            leg.cut = 0.0
    if state.bus_V < c.low_voltage_cut_V and leg.demand != 0.0:
        leg.cut = 1.0
    demand = ill_demand(leg)
    if leg.cut != 0.0:
        demand = 0.0
    if c.reverse == BRAKE_FIRST and demand * leg.direction < 0 and leg.reverse_ready == 0.0:
        # The wheels of a car must stop before they turn back: it only brakes.
        demand = 0.0
    if demand != 0.0:
        leg.direction = 1.0 if demand > 0 else -1.0
        leg.reverse_ready = 0.0
    step = dt / c.ramp_s if c.ramp_s > 0 else 2.0
    if demand == 0.0:
        leg.duty = 0.0
    else:
        leg.duty = min(max(demand, leg.duty - step), leg.duty + step)


@native
def motor_current_A(leg: Any, rig: Any, state: Any) -> float:
    """Motor current now, from duty, speed and the controller's own habits.

    The motor as its direct-current equivalent: (duty V - speed / speed constant) / R.
    """
    if state.contactor == 0 or leg.drive_ill == DEAD:
        # Without power the controller cannot even brake; only friction slows the motor.
        return 0.0
    c = rig.controller
    back_V = leg.motor_radps / rig.drive.speed_constant_radps_per_V
    guessing = abs(leg.motor_radps) < c.start_speed_radps
    if leg.duty == 0.0 or (guessing and abs(leg.duty) < c.start_duty):
        # Without position sensors there is nothing to hold with at rest; a brake is the
        # motor shorted through its own resistance, which slows but does not hold.
        current_A = -back_V / leg.resistance_ohm if c.neutral == BRAKE else 0.0
    else:
        current_A = (leg.duty * state.bus_V - back_V) / leg.resistance_ohm
    most_A = c.start_current_A if guessing else c.current_limit_A
    return min(max(current_A, -most_A), most_A)


@native
def line_tension_N(leg: Any, rig: Any) -> float:
    """Tension of the lead line; also notes how much rope lies loose, at the tackle."""
    rope, drive = rig.rope, rig.drive
    stretch_m = leg.wound_m - rope.parts * (rig.derived.rope_extended_m - leg.rope_m)
    leg.slack_m = max(0.0, -stretch_m / rope.parts)
    if stretch_m <= 0 or leg.snapped != 0.0:
        return 0.0
    span_mps = leg.rope_per_fold_m * (leg.thigh_radps + leg.shank_radps)
    line_mps = leg.motor_radps * drive.drum_radius_m / drive.gear_ratio + rope.parts * span_mps
    return stretched_N(rope, stretch_m, line_mps, leg.rope_m)


@native
def stretched_N(rope: Any, stretch_m: float, stretch_mps: float, tackle_m: float) -> float:
    """Tension of a lead line stretched by so much, its tackle `tackle_m` long; it never pushes."""
    if stretch_m <= 0:
        return 0.0
    stiffness = rope.line_EA_N / (rope.lead_length_m + rope.parts * tackle_m)
    return max(0.0, stiffness * (stretch_m + rope.line_damping_s * stretch_mps))


@native
def tackle_force_N(leg: Any, rig: Any, tension_N: float) -> float:
    """Pull of the tackle for a tension in its lead line; friction helps against the spring.

    Which way the sheaves turn is told by the drum, whose heavy rotor cannot chatter; the
    light leg would, within a step, and friction would average out.
    """
    drive = rig.drive
    return tackled_N(
        rig.derived, tension_N, leg.motor_radps * drive.drum_radius_m / drive.gear_ratio
    )


@native
def tackled_N(d: Any, tension_N: float, line_mps: float) -> float:
    """Pull of a tackle whose lead line comes in at `line_mps`, or goes out below zero."""
    hauling = smooth_sign(line_mps, _LINE_TURN_MPS)
    middle = (d.advantage_up + d.advantage_down) / 2
    return tension_N * (middle + hauling * (d.advantage_up - middle))


@native
def turn_motor(leg: Any, rig: Any, state: Any, tension_N: float, dt: float) -> None:
    """Advance motor speed and wound line by `dt` under the lead line's tension.

    Of two lines wound opposite ways it is the difference, below zero where it turns the drum on.
    """
    drive, d = rig.drive, rig.derived
    speed = leg.motor_radps
    current_A = motor_current_A(leg, rig, state)
    turning = smooth_sign(speed, _MOTOR_TURN_RADPS)
    # A train that drives needs 1/efficiency of the ideal torque; one that is driven
    # back passes on only efficiency of it.
    up, down = 1 / d.gear_efficiency, d.gear_efficiency
    load_Nm = tension_N * drive.drum_radius_m / drive.gear_ratio
    driving = turning if load_Nm >= 0 else -turning
    load_Nm *= (up + down) / 2 + driving * (up - down) / 2
    # Free-running loss: half of it constant, half growing with speed (common practice,
    # no source; one data-sheet figure cannot tell them apart).
    loss_Nm = d.torque_Nm_per_A * drive.no_load_current_A * (turning + speed / d.no_load_radps) / 2
    loss_Nm += leg.drag_Nm * turning
    torque_Nm = d.torque_Nm_per_A * current_A - loss_Nm - load_Nm
    # Back-EMF is a stiff damper; taking it implicitly keeps any step stable. A current at
    # its limit, or none, does not depend on speed and damps nothing.
    c = rig.controller
    most_A = c.start_current_A if abs(speed) < c.start_speed_radps else c.current_limit_A
    stiff = 0.0
    if 0 < abs(current_A) < most_A:
        stiff = d.torque_Nm_per_A / (drive.speed_constant_radps_per_V * leg.resistance_ohm)
    inertia = drive.rotor_inertia_kgm2
    change_radps = dt * torque_Nm / (inertia + dt * stiff)
    if leg.jammed != 0.0:
        change_radps = -speed
    leg.motor_radps = speed + change_radps
    # So the current that acted, and is paid for, is the one at the step's end.
    current_A -= change_radps * stiff / d.torque_Nm_per_A
    leg.wound_m += dt * leg.motor_radps * drive.drum_radius_m / drive.gear_ratio
    leg.copper_J += current_A * current_A * leg.resistance_ohm * dt
    leg.iron_J += loss_Nm * speed * dt
    leg.current_A = current_A
    leg.tension_N = tension_N
    leg.tension_peak_N = max(leg.tension_peak_N, tension_N)
    leg.current_peak_A = max(leg.current_peak_A, abs(current_A))


@native
def draw(leg: Any, state: Any, dt: float) -> float:
    """Battery current of one leg now; its energy is counted."""
    current_A: float = leg.duty * leg.current_A
    leg.energy_J += state.bus_V * current_A * dt
    return current_A
