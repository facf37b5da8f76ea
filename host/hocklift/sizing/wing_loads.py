"""What the parts of a rig with wings have to bear, raising, holding and lowering its load."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from math import cos
from typing import Any

import numpy as np
from legsim.linkage import GRAVITY_MPS2
from legsim.wing.figures import steady_rad
from legsim.wing.records import line_length_m, wing_derived, wing_rig_record
from legsim.wing.rig import WingRig
from legsim.wing.settings import motor_per_lift
from legsim.wing.statics import carrying_Nm, lines_N

from hocklift.sizing import battery, motors, profile
from hocklift.sizing.power import MotorPoint, Move, Power

# Angles at which the way up is looked at.
_POINTS = 41
# Moments of a move; enough that speeding up has some tens.
_MOVE_POINTS = 201


@dataclass(frozen=True)
class WingLoads(Power):
    """Loads of one rig with wings, its load at each tip; worked out when first asked for."""

    rig: WingRig

    @property
    def record(self) -> Any:
        """The rig as the simulator takes it."""
        return wing_rig_record(self.rig)[0]

    @cached_property
    def lifts_rad(self) -> Any:
        """Angles from lowered to raised."""
        return np.linspace(self.rig.wing.lowered_rad, self.rig.wing.raised_rad, _POINTS)

    # Ropes.

    @cached_property
    def inertia_kgm2(self) -> float:
        """Of a wing with its load about the hinge."""
        load_kgm2 = self.rig.wants.load_kg * self.rig.wing.tip_m**2
        return wing_derived(self.rig)["inertia_kgm2"] + load_kgm2

    def lines_N(
        self, lift_rad: float, moving: int = 0, accel_radps2: float = 0.0
    ) -> tuple[float, float]:
        """Tension of the upper and the lower lead line: raising (1), held (0), or lowering (-1)."""
        torque_Nm = carrying_Nm(self.rig, lift_rad, self.rig.wants.load_kg, moving)
        torque_Nm += self.inertia_kgm2 * accel_radps2
        return lines_N(self.rig, lift_rad, torque_Nm, moving)

    def net_N(self, lift_rad: float, moving: int = 0) -> float:
        """What the drum feels of both lines: above zero it would let the wing down."""
        up_N, down_N = self.lines_N(lift_rad, moving)
        return float(up_N - down_N)

    @cached_property
    def raising_line_N(self) -> float:
        """Highest tension of the upper line on the way up, the wing being sped up."""
        accel = self.rig.control.accel_radps2
        return max(self.lines_N(lift, 1, accel)[0] for lift in self.lifts_rad)

    @cached_property
    def steady_line_N(self) -> float:
        """Tension of the upper line where a wing that is raised at steady speed is about to brake,
        as a rehearsal measures it."""
        return self.lines_N(sum(steady_rad(self.rig)) / 2, 1)[0]

    @cached_property
    def lowering_line_N(self) -> float:
        """Highest tension of the lower line on the way down, the wing being sped up."""
        accel = -self.rig.control.accel_radps2
        return max(self.lines_N(lift, -1, accel)[1] for lift in self.lifts_rad)

    @cached_property
    def holding_line_N(self) -> float:
        """Highest tension of the upper line while a wing is held."""
        return max(self.lines_N(lift)[0] for lift in self.lifts_rad)

    @property
    def line_peak_N(self) -> float:
        """Highest tension of either line in any situation."""
        return max(self.raising_line_N, self.lowering_line_N)

    @cached_property
    def slack_m(self) -> float:
        """Most that either tackle hangs loose while the other one carries."""
        rope, set_m = self.rig.rope, wing_derived(self.rig)["set_m"]
        tight = [
            (line_N * line_length_m(self.rig, lift, side) / rope.line_EA_N)
            for lift in self.lifts_rad
            for moving in (-1, 1)
            for line_N, side in zip(self.lines_N(lift, moving), (1, -1), strict=True)
        ]
        # What one line is stretched beyond its set, the other one is eased.
        return max(0.0, max(tight) - 2 * set_m) / rope.parts

    @cached_property
    def line_travel_m(self) -> float:
        """Line that runs through a lead from lowered to raised."""
        return self.rig.rope.parts * self.rig.rope.quadrant_m * self.rig.wing.travel_rad

    @cached_property
    def hinge_N(self) -> float:
        """No more than all forces that meet at the hinge, as if they pulled one way."""
        rope = self.rig.rope
        tackle_N = self.line_peak_N * rope.parts
        weight_N = (self.rig.wing.mass_kg + self.rig.wants.load_kg) * GRAVITY_MPS2
        return tackle_N + weight_N

    @cached_property
    def fall_J(self) -> float:
        """What weight gives a wing that swings from raised to hanging."""
        moment_kgm = wing_derived(self.rig)["moment_kgm"]
        moment_kgm += self.rig.wants.load_kg * self.rig.wing.tip_m
        return GRAVITY_MPS2 * moment_kgm * (1 - cos(self.rig.wing.raised_rad))

    # Motor.

    @property
    def motor_per_lift(self) -> float:
        """Turns of the motor for each turn of a wing."""
        return motor_per_lift(self.rig)

    def shaft_Nm(self, lift_rad: float, moving: int) -> float:
        """Torque that the motor must give against slow motion; below zero it is to pull down."""
        net_N = self.net_N(lift_rad, moving)
        way = 1 if net_N >= 0 else -1
        # A load that goes the way of the motor drives it back through the gears.
        return way * self.motor_load_Nm(abs(net_N), 1 if way == moving else -1)

    def raise_point(self, lift_rad: float, duty: float) -> MotorPoint:
        """Where the motor works while it raises a wing at a constant duty."""
        return self.motor_point(self.shaft_Nm(lift_rad, 1), duty)

    @cached_property
    def latency_s(self) -> float:
        """From a moved stick to a motor that turns: pulse frame, ramp."""
        control, controller = self.rig.control, self.rig.controller
        return control.period_s + controller.frame_s + controller.ramp_s / 2

    def planned_s(self) -> float:
        """Time in which the setpoint passes from one end to the other."""
        control = self.rig.control
        return self.latency_s + profile.move_time_s(
            self.rig.wing.travel_rad, control.follow_speed_radps, control.accel_radps2
        )

    @cached_property
    def fastest_raise_s(self) -> float:
        """From lowered to raised as the controller does it, or at most drive if that is slower."""
        rates = np.array(
            [
                self.raise_point(lift, self.rig.control.drive_max).speed_radps / self.motor_per_lift
                for lift in self.lifts_rad
            ]
        )
        if np.any(rates <= 0):
            return float("inf")
        return max(self.planned_s(), float(np.trapezoid(1 / rates, self.lifts_rad)))

    @cached_property
    def lift_peak_radps(self) -> float:
        """Motor speed at the fastest moment of an even raise in the wanted time."""
        distance, wanted_s = self.rig.wing.travel_rad, self.rig.wants.raise_s
        accel = max(self.rig.control.accel_radps2, 4 * distance / wanted_s**2)
        return profile.peak_speed_mps(distance, wanted_s, accel) * self.motor_per_lift

    @cached_property
    def speeding_up_A(self) -> float:
        """Current that speeds up the rotor alone, at the setpoint's acceleration."""
        return motors.acceleration_current_A(
            self.rig.drive.rotor_inertia_kgm2,
            self.rig.control.accel_radps2 * self.motor_per_lift,
            self.torque_Nm_per_A,
        )

    @cached_property
    def lift_peak_A(self) -> float:
        """Highest current of a raise: where the wing is heaviest, or while it is sped up."""
        duty = self.rig.control.drive_max
        steady_A = [self.raise_point(lift, duty).current_A for lift in self.lifts_rad]
        return max(steady_A) + self.speeding_up_A

    @cached_property
    def hold_A(self) -> float:
        """Highest current that a held wing takes, friction left out."""
        torque_Nm = max(
            abs(self.net_N(lift)) * self.rig.drive.drum_radius_m / self.rig.drive.gear_ratio
            for lift in self.lifts_rad
        )
        return torque_Nm / self.torque_Nm_per_A

    @cached_property
    def creep_radps(self) -> float:
        """Speed at which a raised wing creeps down while the controller only brakes."""
        drive = self.rig.drive
        torque_Nm = max(self.shaft_Nm(lift, -1) for lift in self.lifts_rad)
        free_Nm = torque_Nm - self.torque_Nm_per_A * drive.no_load_current_A / 2
        if free_Nm <= 0:
            return 0.0
        if self.rig.controller.neutral == "coast":
            return float("inf")
        return free_Nm * drive.resistance_ohm / self.torque_Nm_per_A**2 / self.motor_per_lift

    def move(self, way: int) -> Move:
        """The motor's part in one planned way up (1), or down (-1)."""
        control, wing = self.rig.control, self.rig.wing
        rate_radps, accel = control.follow_speed_radps, control.accel_radps2
        total_s = profile.move_time_s(wing.travel_rad, rate_radps, accel)
        time_s = np.linspace(0, total_s, _MOVE_POINTS)
        rates = np.minimum(np.minimum(accel * time_s, rate_radps), accel * (total_s - time_s))
        gone_rad = np.concatenate([[0], np.cumsum((rates[1:] + rates[:-1]) / 2 * np.diff(time_s))])
        lifts = wing.lowered_rad + gone_rad if way > 0 else wing.raised_rad - gone_rad
        loads_Nm = np.interp(lifts, self.lifts_rad, [self.shaft_Nm(q, way) for q in self.lifts_rad])
        speeds = way * rates * self.motor_per_lift
        torques_Nm = loads_Nm + self.rig.drive.rotor_inertia_kgm2 * np.gradient(speeds, time_s)
        loss_A = self.rig.drive.no_load_current_A / 2 * (np.sign(speeds) + speeds / self.free_radps)
        return Move(time_s, speeds, torques_Nm / self.torque_Nm_per_A + loss_A, loss_A)

    @cached_property
    def moves(self) -> tuple[Move, Move]:
        """One cycle of a wing: its way up, and its way down."""
        return self.move(1), self.move(-1)

    @property
    def work_s(self) -> float:
        """How long the motors work on end."""
        return self.rig.wants.work_s

    @cached_property
    def mean_square_A2(self) -> float:
        """Mean square of one motor's current over a cycle, a hold at either end counted."""
        held_A2s = 2 * self.rig.wants.hold_s * self.hold_A**2
        return self._over_cycle(lambda move: move.current_A**2, held_A2s)

    @cached_property
    def iron_W(self) -> float:
        """Mean loss that one motor has running free, over a cycle."""
        return self._over_cycle(
            lambda move: self.torque_Nm_per_A * move.loss_A * move.speed_radps, 0.0
        )

    def _over_cycle(self, figure: Callable[[Move], Any], held: float) -> float:
        total = sum(move.mean(figure(move)) * move.seconds for move in self.moves)
        return (total + held) * self.rig.wants.cycles_per_s

    @cached_property
    def cycle_energy_J(self) -> float:
        """Electrical energy of one cycle of a wing, what braking gives back not counted."""
        moves_J = sum(
            move.mean(np.maximum(0, self.power_W(move))) * move.seconds for move in self.moves
        )
        held_J = 2 * self.rig.wants.hold_s * self.hold_A**2 * self.rig.drive.resistance_ohm
        return moves_J + held_J

    @cached_property
    def walks_per_charge(self) -> float:
        """How many times the charge above the reserve lasts for all the work wanted."""
        pack, rig = self.rig.battery, self.rig
        charge_J = battery.usable_energy_J(
            pack.capacity_C,
            (self.rest_V + self.reserve_V) / 2,
            max(0.0, pack.charge - pack.reserve),
        )
        cycles = 2 * rig.wants.cycles_per_s * rig.wants.work_s
        return battery.walks_per_charge(charge_J, self.cycle_energy_J, cycles)
