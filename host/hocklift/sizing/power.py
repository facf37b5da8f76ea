"""What sizing a rig of either kind needs of its motor, gears and battery."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from legsim.drive import battery_V

from hocklift.sizing import battery, gears, motors


@dataclass(frozen=True)
class MotorPoint:
    """Where a motor works, steadily, at one moment."""

    speed_radps: float
    current_A: float
    torque_Nm: float
    bus_V: float


@dataclass(frozen=True)
class Move:
    """A motor's part in one move of a leg, sampled evenly in time."""

    time_s: Any
    speed_radps: Any
    current_A: Any
    loss_A: Any

    @property
    def seconds(self) -> float:
        """How long it takes."""
        return float(self.time_s[-1])

    def mean(self, values: Any) -> float:
        """Mean over the move's time."""
        return float(np.trapezoid(values, self.time_s)) / self.seconds


@dataclass(frozen=True)
class Power:
    """Motor, gears and battery of one rig; properties are worked out when first asked for."""

    rig: Any

    @property
    def record(self) -> Any:
        """The rig as the simulator takes it."""
        raise NotImplementedError

    @cached_property
    def gear_efficiency(self) -> float:
        """Of the whole train, either way."""
        return gears.train_efficiency(self.rig.drive.mesh_efficiency, self.rig.drive.gear_stages)

    def motor_load_Nm(self, line_N: float, moving: int = 1) -> float:
        """Torque at the motor's shaft for a tension: driving (1), or driven back (-1)."""
        drive = self.rig.drive
        torque_Nm = gears.driving_torque_Nm if moving > 0 else gears.holding_back_torque_Nm
        return torque_Nm(line_N * drive.drum_radius_m, drive.gear_ratio, self.gear_efficiency)

    @cached_property
    def rest_V(self) -> float:
        """Battery at rest, at the charge that the rig starts with."""
        return float(battery_V(self.record, 0.0))

    @cached_property
    def reserve_V(self) -> float:
        """Battery at rest, down to its reserve."""
        pack = self.rig.battery
        used_C = max(0.0, pack.charge - pack.reserve) * pack.capacity_C
        return float(battery_V(self.record, used_C))

    @property
    def torque_Nm_per_A(self) -> float:
        """Torque constant: in SI units the inverse of the speed constant."""
        return motors.torque_constant_Nm_per_A(self.rig.drive.speed_constant_radps_per_V)

    @property
    def free_radps(self) -> float:
        """Speed of the motor running free."""
        drive = self.rig.drive
        return motors.motor_speed_radps(
            drive.no_load_V,
            drive.no_load_current_A,
            drive.resistance_ohm,
            drive.speed_constant_radps_per_V,
        )

    def motor_point(self, load_Nm: float, duty: float) -> MotorPoint:
        """Steady speed and current at a duty under a load at the shaft.

        Battery and motor resistance in series as the duty transforms them; half of the
        free-running loss constant, half growing with speed, as in the simulator.
        """
        drive = self.rig.drive
        resistance = drive.resistance_ohm + duty**2 * self.rig.battery.resistance_ohm
        constant_A = load_Nm / self.torque_Nm_per_A + drive.no_load_current_A / 2
        per_speed = drive.no_load_current_A / 2 / self.free_radps
        slope = self.torque_Nm_per_A / resistance + per_speed
        speed = (duty * self.rest_V / resistance - constant_A) / slope
        current_A = constant_A + per_speed * speed
        return MotorPoint(
            speed,
            current_A,
            load_Nm,
            battery.loaded_voltage_V(
                self.rest_V, duty * current_A, self.rig.battery.resistance_ohm
            ),
        )

    def power_W(self, move: Move) -> Any:
        """Electrical power into the motor over a move."""
        return motors.electrical_power_W(
            move.current_A, self.rig.drive.resistance_ohm, move.speed_radps, self.torque_Nm_per_A
        )
