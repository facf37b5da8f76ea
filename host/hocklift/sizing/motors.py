"""Brushless motors as their direct-current equivalent: torque, speed, current.

Resistance is line to line, the speed constant that of the data sheet.
"""


def torque_constant_Nm_per_A(speed_constant_radps_per_V: float) -> float:
    """Torque per current, 1 / K: definition [motor-sheet].

    K speed constant; per minute and volt as on data sheets it is 60 / (2 pi K).
    """
    return 1 / speed_constant_radps_per_V


def motor_current_A(torque_Nm: float, constant_Nm_per_A: float, no_load_current_A: float) -> float:
    """Current that a torque at the shaft takes, T / k + I0: definition.

    T torque, k torque constant, I0 current running free, taken constant (common practice, no
    source). Steady: see `acceleration_current_A` for speeding up.
    """
    return torque_Nm / constant_Nm_per_A + no_load_current_A


def motor_speed_radps(
    voltage_V: float, current_A: float, resistance_ohm: float, speed_constant_radps_per_V: float
) -> float:
    """Steady speed at a voltage under a current, K (V - I R): definition [motor-sheet].

    K speed constant, V voltage given to the motor: duty times battery; I current, R resistance.
    """
    return speed_constant_radps_per_V * (voltage_V - current_A * resistance_ohm)


def stall_current_A(voltage_V: float, resistance_ohm: float) -> float:
    """Current of a motor that is held still, V / R: definition [motor-sheet].

    Seconds of it burn the winding; a controller's limit comes first.
    """
    return voltage_V / resistance_ohm


def stall_torque_Nm(voltage_V: float, resistance_ohm: float, constant_Nm_per_A: float) -> float:
    """Torque of a motor that is held still, k V / R: definition [motor-sheet].

    k torque constant, V voltage, R resistance; iron that saturates gives less.
    """
    return constant_Nm_per_A * stall_current_A(voltage_V, resistance_ohm)


def speed_torque_gradient_radps_per_Nm(resistance_ohm: float, constant_Nm_per_A: float) -> float:
    """Speed that a torque costs at constant voltage, R / k^2: definition [motor-sheet].

    R resistance, k torque constant.
    """
    return resistance_ohm / constant_Nm_per_A**2


def mechanical_time_constant_s(
    inertia_kgm2: float, resistance_ohm: float, constant_Nm_per_A: float
) -> float:
    """Time to 63 % of the speed step after a voltage step, J R / k^2: definition [motor-sheet].

    J inertia of rotor and what turns with it, R resistance, k torque constant.
    """
    gradient = speed_torque_gradient_radps_per_Nm(resistance_ohm, constant_Nm_per_A)
    return inertia_kgm2 * gradient


def acceleration_current_A(
    inertia_kgm2: float, acceleration_radps2: float, constant_Nm_per_A: float
) -> float:
    """Current that speeds up the rotor, J a / k: definition.

    J inertia of rotor and pinion, a angular acceleration, k torque constant; on top of what
    the load takes.
    """
    return inertia_kgm2 * acceleration_radps2 / constant_Nm_per_A


def copper_loss_W(current_A: float, resistance_ohm: float) -> float:
    """Heat in the winding, I^2 R: definition. I rms current over the time looked at."""
    return current_A**2 * resistance_ohm


def electrical_power_W(
    current_A: float, resistance_ohm: float, speed_radps: float, constant_Nm_per_A: float
) -> float:
    """Power into the motor, I^2 R + k I w: definition.

    I current, R resistance, k torque constant, w speed; the controller's own loss left out.
    """
    shaft_W = constant_Nm_per_A * current_A * speed_radps
    return copper_loss_W(current_A, resistance_ohm) + shaft_W
