"""What a rig's parts have to bear: forces, speeds and currents in every situation.

Statics by virtual work over the fold, from the same geometry as the simulator. Weights
hang or stand with the foot straight below the hip.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from math import cos
from typing import Any

import numpy as np
from legsim.linkage import (
    GRAVITY_MPS2,
    fold_for_lift_rad,
    height_m,
    leans_under_hip_rad,
    rope_force_N,
    span_m,
    span_per_fold_m,
    spring_force_N,
    springs_Nm,
)
from legsim.records import rig_record
from legsim.rig import Rig
from scipy.optimize import brentq

from hocklift.sizing import (
    battery,
    drums,
    motors,
    profile,
    ropes,
    springs,
    suspension,
    tackle,
)
from hocklift.sizing.power import MotorPoint, Move, Power

# Folds at which the way up is looked at.
_POINTS = 41
# Moments of a move; enough that speeding up, a quarter of it, has fifty.
_MOVE_POINTS = 201


@dataclass(frozen=True)
class Loads(Power):
    """Loads of one rig with legs; every property is worked out when it is first asked for."""

    rig: Rig

    # Poses.

    @cached_property
    def lift_fold_rad(self) -> float:
        """Fold of a foot raised to the wanted clearance."""
        return fold_for_lift_rad(self.rig.mechanism, self.rig.wants.clearance_m)

    # Standing.

    def standing_Nm(self, fold_rad: float, hip_kg: float) -> float:
        """Torque on the fold by weight on a standing leg: `hip_kg` at its hip, and its own."""
        step = 1e-6
        rise_J = self._standing_energy_J(fold_rad + step, hip_kg) - self._standing_energy_J(
            fold_rad - step, hip_kg
        )
        return -rise_J / (2 * step)

    def _standing_energy_J(self, fold_rad: float, hip_kg: float) -> float:
        m = self.rig.mechanism
        _, shank_rad = leans_under_hip_rad(m, fold_rad)
        knee_m = m.shank_length_m * cos(shank_rad)
        hip_m = height_m(m, fold_rad)
        return GRAVITY_MPS2 * (
            m.shank_links_mass_kg * knee_m / 2
            + m.knee_block_mass_kg * knee_m
            + m.thigh_links_mass_kg * (knee_m + hip_m) / 2
            + hip_kg * hip_m
        )

    @cached_property
    def one_leg_kg(self) -> float:
        """What the hip of the only standing leg carries: the frame and the raised leg."""
        return self.rig.mechanism.carried_mass_kg + self.rig.mechanism.leg_mass_kg

    def rest_fold_rad(self, hip_kg: float) -> float:
        """Fold at which a standing leg comes to rest under `hip_kg`, friction left out.

        The extended stop if the springs hold it there, the hard folded stop if they give way
        altogether.
        """
        m = self.rig.mechanism

        def surplus_Nm(fold_rad: float) -> float:
            return springs_Nm(self.rig, fold_rad) - self.standing_Nm(fold_rad, hip_kg)

        if surplus_Nm(m.fold_extended_rad) >= 0:
            return m.fold_extended_rad
        if surplus_Nm(m.fold_hard_stop_rad) <= 0:
            return m.fold_hard_stop_rad
        return float(brentq(surplus_Nm, m.fold_extended_rad, m.fold_hard_stop_rad))

    def sink_m(self, hip_kg: float) -> float:
        """How far the hip sinks from the extended stop under `hip_kg`."""
        m = self.rig.mechanism
        return height_m(m, m.fold_extended_rad) - height_m(m, self.rest_fold_rad(hip_kg))

    def foot_lever_m(self, fold_rad: float) -> float:
        """How much the leg shortens for each radian of fold."""
        m = self.rig.mechanism
        return -span_per_fold_m(m.thigh_length_m, m.shank_length_m, fold_rad)

    def foot_force_N(self, fold_rad: float) -> float:
        """Weight on a hip that the springs alone would carry at a fold, the leg's own left out."""
        return springs_Nm(self.rig, fold_rad) / self.foot_lever_m(fold_rad)

    @cached_property
    def foot_rate_N_per_m(self) -> float:
        """Rate under the hip where one standing leg comes to rest."""
        fold_rad = self.rest_fold_rad(self.one_leg_kg)
        step = 1e-4
        m = self.rig.mechanism
        forces_N = self.foot_force_N(fold_rad + step) - self.foot_force_N(fold_rad - step)
        return forces_N / (height_m(m, fold_rad - step) - height_m(m, fold_rad + step))

    # Levers, over the whole travel.

    @cached_property
    def folds_rad(self) -> Any:
        """Folds from the extended to the soft stop."""
        m = self.rig.mechanism
        return np.linspace(m.fold_extended_rad, m.fold_soft_stop_rad, _POINTS)

    def spring_lever(self, fold_rad: float) -> float:
        """Travel of the spring over travel of the foot."""
        return self.spring_per_fold_m(fold_rad) / self.foot_lever_m(fold_rad)

    def spring_per_fold_m(self, fold_rad: float) -> float:
        """How much the coil spring is squeezed for each radian of fold."""
        spring = self.rig.spring
        return -span_per_fold_m(spring.thigh_anchor_m, spring.shank_anchor_m, fold_rad)

    def spring_squeeze_m(self, fold_rad: float) -> float:
        """How far the coil spring is squeezed from the extended stop to a fold."""
        spring = self.rig.spring
        extended_m, now_m = (
            span_m(spring.thigh_anchor_m, spring.shank_anchor_m, fold)
            for fold in (self.rig.mechanism.fold_extended_rad, fold_rad)
        )
        return extended_m - now_m

    def rope_lever_m(self, fold_rad: float) -> float:
        """How much the tackle shortens for each radian of fold."""
        rope = self.rig.rope
        return -span_per_fold_m(rope.thigh_anchor_m, rope.shank_anchor_m, fold_rad)

    # Rope and gears.

    def rope_span_m(self, fold_rad: float) -> float:
        """Distance between the rope's anchors."""
        rope = self.rig.rope
        return span_m(rope.thigh_anchor_m, rope.shank_anchor_m, fold_rad)

    def line_travel_m(self, fold_rad: float) -> float:
        """Lead line wound in from the extended stop to a fold."""
        extended_m = self.rope_span_m(self.rig.mechanism.fold_extended_rad)
        return self.rig.rope.parts * (extended_m - self.rope_span_m(fold_rad))

    def tackle_N(self, fold_rad: float, moving: int = 1) -> float:
        """Pull of the tackle on a raised leg; see `legsim.linkage.rope_force_N`."""
        return max(0.0, rope_force_N(self.rig, fold_rad, moving))

    def stoop_tackle_N(self, fold_rad: float) -> float:
        """Pull of each tackle that folds both standing legs, half the frame on each."""
        standing_Nm = self.standing_Nm(fold_rad, self.rig.mechanism.carried_mass_kg / 2)
        friction_Nm = self.rig.mechanism.hinge_friction_Nm
        pull_Nm = springs_Nm(self.rig, fold_rad) - standing_Nm + friction_Nm
        return max(0.0, pull_Nm / self.rope_lever_m(fold_rad))

    def line_N(self, tackle_N: float, moving: int = 1) -> float:
        """Tension of the lead line for a pull of the tackle, hauling (1) or letting out (-1)."""
        rope = self.rig.rope
        advantage = tackle.hauling_advantage if moving > 0 else tackle.letting_out_advantage
        return tackle_N / advantage(round(rope.parts), rope.sheave_efficiency)

    def wound_m(self, fold_rad: float, moving: int = 1) -> float:
        """Line on the drum at a fold: what the tackle shortens, and what the line stretches."""
        rope = self.rig.rope
        tension_N = self.line_N(self.tackle_N(fold_rad, moving), moving)
        length_m = rope.lead_length_m + rope.parts * self.rope_span_m(fold_rad)
        return self.line_travel_m(fold_rad) + ropes.rope_stretch_m(
            tension_N, length_m, rope.line_EA_N
        )

    def motor_per_fold(self, fold_rad: float, moving: int = 1) -> float:
        """Turns of the motor for each turn of a raised leg's fold, the line's stretch included."""
        step = 1e-5
        line_per_fold_m = (
            self.wound_m(fold_rad + step, moving) - self.wound_m(fold_rad - step, moving)
        ) / (2 * step)
        return line_per_fold_m / self.rig.drive.drum_radius_m * self.rig.drive.gear_ratio

    @cached_property
    def lifting_line_N(self) -> float:
        """Highest tension of the lead line while a foot is raised."""
        folds = np.linspace(self.rig.mechanism.fold_extended_rad, self.lift_fold_rad, _POINTS)
        return max(self.line_N(self.tackle_N(fold)) for fold in folds)

    @cached_property
    def stooping_line_N(self) -> float:
        """Highest tension of the lead line on the way down into a stoop."""
        m, stoop_rad = self.rig.mechanism, self.rig.wants.stoop_fold_rad
        folds = np.linspace(m.fold_extended_rad, stoop_rad, _POINTS)
        return max(self.line_N(self.stoop_tackle_N(fold)) for fold in folds)

    @cached_property
    def line_peak_N(self) -> float:
        """Highest tension of the lead line in any situation."""
        return max(self.lifting_line_N, self.stooping_line_N)

    # Motor.

    @property
    def record(self) -> Any:
        """The rig as the simulator takes it."""
        return rig_record(self.rig)[0]

    def lift_point(self, fold_rad: float, duty: float) -> MotorPoint:
        """Where the motor works while it raises a foot at a constant duty."""
        load_Nm = self.motor_load_Nm(self.line_N(self.tackle_N(fold_rad)))
        return self.motor_point(load_Nm, duty)

    def lift_time_s(self, duty: float, from_rad: float, to_rad: float) -> float:
        """Time to fold a raised leg at a constant duty, once up to speed; inf if it stalls."""
        folds = np.linspace(from_rad, to_rad, _POINTS)
        rates = np.array(
            [self.lift_point(fold, duty).speed_radps / self.motor_per_fold(fold) for fold in folds]
        )
        if np.any(rates <= 0):
            return float("inf")
        return float(np.trapezoid(1 / rates, folds))

    @cached_property
    def latency_s(self) -> float:
        """From a raised foot to a motor that turns: switch, pulse frame, ramp."""
        control, controller = self.rig.control, self.rig.controller
        return control.debounce_s + control.period_s + controller.frame_s + controller.ramp_s / 2

    @cached_property
    def speeding_up_s(self) -> float:
        """Time in which the setpoint gets up to speed."""
        control = self.rig.control
        return control.lift_speed_radps / control.accel_radps2

    @cached_property
    def fastest_lift_s(self) -> float:
        """From a raised foot to the wanted clearance less tolerance, at most drive."""
        m, wants = self.rig.mechanism, self.rig.wants
        good_m = wants.clearance_m * (1 - wants.clearance_tolerance)
        good_rad = fold_for_lift_rad(m, good_m)
        full_s = self.lift_time_s(self.rig.control.drive_max, m.fold_extended_rad, good_rad)
        control = self.rig.control
        planned_s = (good_rad - m.fold_extended_rad) / control.lift_speed_radps
        return self.latency_s + self.speeding_up_s / 2 + max(full_s, planned_s)

    def planned_s(self, speed_radps: float) -> float:
        """Time in which the setpoint passes from standing to lifted, or back."""
        distance_rad = self.lift_fold_rad - self.rig.mechanism.fold_extended_rad
        return profile.move_time_s(distance_rad, speed_radps, self.rig.control.accel_radps2)

    @cached_property
    def lift_peak_radps(self) -> float:
        """Motor speed at the fastest moment of a trapezoidal lift in the wanted time."""
        m = self.rig.mechanism
        distance = self.lift_fold_rad - m.fold_extended_rad
        accel = max(self.rig.control.accel_radps2, 4 * distance / self.rig.wants.lift_s**2)
        rate = profile.peak_speed_mps(distance, self.rig.wants.lift_s, accel)
        middle_rad = (m.fold_extended_rad + self.lift_fold_rad) / 2
        return rate * self.motor_per_fold(middle_rad)

    @cached_property
    def speeding_up_A(self) -> float:
        """Current that speeds up the rotor alone, at the setpoint's acceleration."""
        accel = self.rig.control.accel_radps2 * self.motor_per_fold(
            self.rig.mechanism.fold_extended_rad
        )
        return motors.acceleration_current_A(
            self.rig.drive.rotor_inertia_kgm2, accel, self.torque_Nm_per_A
        )

    @cached_property
    def lift_peak_A(self) -> float:
        """Highest current of a lift: at its top, or while the rotor is being sped up."""
        duty = self.rig.control.drive_max
        start_A = self.lift_point(self.rig.mechanism.fold_extended_rad, duty).current_A
        return max(
            self.lift_point(self.lift_fold_rad, duty).current_A, start_A + self.speeding_up_A
        )

    def move(self, up: int) -> "Move":
        """The motor's part in one planned way up (1), or down (-1)."""
        control, m = self.rig.control, self.rig.mechanism
        rate_radps = control.lift_speed_radps if up > 0 else control.lower_speed_radps
        total_s = self.planned_s(rate_radps)
        time_s = np.linspace(0, total_s, _MOVE_POINTS)
        accel = control.accel_radps2
        rates = np.minimum(np.minimum(accel * time_s, rate_radps), accel * (total_s - time_s))
        gone_rad = np.concatenate([[0], np.cumsum((rates[1:] + rates[:-1]) / 2 * np.diff(time_s))])
        folds = m.fold_extended_rad + gone_rad if up > 0 else self.lift_fold_rad - gone_rad
        turns = np.interp(
            folds, self.folds_rad, [self.motor_per_fold(f, up) for f in self.folds_rad]
        )
        loads_Nm = np.interp(
            folds,
            self.folds_rad,
            [self.motor_load_Nm(self.line_N(self.tackle_N(f, up), up), up) for f in self.folds_rad],
        )
        speeds = up * rates * turns
        torques_Nm = loads_Nm + self.rig.drive.rotor_inertia_kgm2 * np.gradient(speeds, time_s)
        loss_A = self.rig.drive.no_load_current_A / 2 * (np.sign(speeds) + speeds / self.free_radps)
        return Move(time_s, speeds, torques_Nm / self.torque_Nm_per_A + loss_A, loss_A)

    @cached_property
    def moves(self) -> tuple["Move", "Move"]:
        """One step of a leg: its way up, and its way down."""
        return self.move(1), self.move(-1)

    @cached_property
    def step_energy_J(self) -> float:
        """Electrical energy of one step of a leg, what braking gives back not counted."""
        return sum(
            move.mean(np.maximum(0, self.power_W(move))) * move.seconds for move in self.moves
        )

    @cached_property
    def walks_per_charge(self) -> float:
        """How many walks the charge above the reserve lasts."""
        pack, rig = self.rig.battery, self.rig
        charge_J = battery.usable_energy_J(
            pack.capacity_C,
            (self.rest_V + self.reserve_V) / 2,
            max(0.0, pack.charge - pack.reserve),
        )
        steps = rig.wearer.cadence_per_s * rig.wants.walk_s
        return battery.walks_per_charge(charge_J, self.step_energy_J, steps)

    @property
    def work_s(self) -> float:
        """How long the motors work on end: one walk."""
        return self.rig.wants.walk_s

    @cached_property
    def mean_square_A2(self) -> float:
        """Mean square of one motor's current over a stride."""
        return self._over_stride(lambda move: move.current_A**2)

    @cached_property
    def iron_W(self) -> float:
        """Mean loss that one motor has running free, over a stride."""
        return self._over_stride(lambda move: self.torque_Nm_per_A * move.loss_A * move.speed_radps)

    def _over_stride(self, figure: Callable[["Move"], Any]) -> float:
        total = sum(move.mean(figure(move)) * move.seconds for move in self.moves)
        return total * self.rig.wearer.cadence_per_s / 2

    @cached_property
    def creep_mps(self) -> float:
        """Speed at which a raised foot creeps down while the controller only brakes."""
        drive = self.rig.drive
        line_N = self.line_N(self.tackle_N(self.lift_fold_rad, -1), -1)
        torque_Nm = self.motor_load_Nm(line_N, -1)
        free_Nm = torque_Nm - self.torque_Nm_per_A * drive.no_load_current_A / 2
        if free_Nm <= 0:
            return 0.0
        if self.rig.controller.neutral == "coast":
            return float("inf")
        speed = free_Nm * drive.resistance_ohm / self.torque_Nm_per_A**2
        fold_rad = self.lift_fold_rad
        return speed / self.motor_per_fold(fold_rad, -1) * self.foot_lever_m(fold_rad)

    @cached_property
    def stoop_creep_radps(self) -> float:
        """Speed at which stooped legs rise, at the most, while their controllers only brake."""
        drive, m = self.rig.drive, self.rig.mechanism
        folds = np.linspace(m.fold_extended_rad, self.rig.wants.stoop_fold_rad, _POINTS)
        free_Nm, per_fold = np.array([self._free_in_stoop(fold) for fold in folds]).T
        rates = free_Nm * drive.resistance_ohm / self.torque_Nm_per_A**2 / per_fold
        most = float(np.max(rates))
        if most <= 0:
            return 0.0
        return float("inf") if self.rig.controller.neutral == "coast" else most

    def _free_in_stoop(self, fold_rad: float) -> tuple[float, float]:
        """What turns the motor of a stooped leg back, its own friction taken off; and its turns
        for each turn of the fold."""
        drive, rope = self.rig.drive, self.rig.rope
        standing_Nm = self.standing_Nm(fold_rad, self.rig.mechanism.carried_mass_kg / 2)
        friction_Nm = self.rig.mechanism.hinge_friction_Nm
        pull_Nm = max(0.0, springs_Nm(self.rig, fold_rad) - standing_Nm - friction_Nm)
        lever_m = self.rope_lever_m(fold_rad)
        torque_Nm = self.motor_load_Nm(self.line_N(pull_Nm / lever_m, -1), -1)
        free_Nm = torque_Nm - self.torque_Nm_per_A * drive.no_load_current_A / 2
        return free_Nm, rope.parts * lever_m / drive.drum_radius_m * drive.gear_ratio

    # Spring.

    @cached_property
    def spring_most_N(self) -> float:
        """Spring force at the hard folded stop: no pose has more."""
        return spring_force_N(self.rig, self.rig.mechanism.fold_hard_stop_rad)

    @cached_property
    def spring_energy_J(self) -> float:
        """Energy in the spring at the hard folded stop, from its free length."""
        rate = self.rig.spring.rate_N_per_m
        return springs.spring_energy_J(rate, 0.0, self.spring_most_N / rate)

    @cached_property
    def lift_drum_turns(self) -> float:
        """Turns of the drum for the most line that any situation winds."""
        fold = max(self.lift_fold_rad, self.rig.wants.stoop_fold_rad)
        return drums.drum_turns(self.wound_m(fold), self.rig.drive.drum_radius_m)

    @cached_property
    def bounce_Hz(self) -> float:
        """Frequency at which the frame bounces on one leg."""
        return suspension.natural_frequency_Hz(self.foot_rate_N_per_m, self.one_leg_kg)
