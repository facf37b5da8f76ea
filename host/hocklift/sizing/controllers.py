"""Speed controllers fed with servo pulses: how finely they can be told, and how much they bear."""


def duty_per_pulse_step(resolution_s: float, span_s: float, deadband_s: float) -> float:
    """Duty that the smallest change of pulse makes, r / (s - d): definition.

    r smallest change of pulse that is told apart, s from neutral to full duty, d deadband either
    side of neutral; duty taken to grow evenly from the deadband's edge (common practice, no
    source).
    """
    if not 0 <= deadband_s < span_s:
        raise ValueError("the deadband must be shorter than the pulse's span to full duty")
    return resolution_s / (span_s - deadband_s)


def foot_speed_per_pulse_step_mps(duty_step: float, full_foot_speed_mps: float) -> float:
    """Foot speed that the smallest change of pulse makes, duty step times full speed: definition.

    Full foot speed is that at full duty, without load.
    """
    return duty_step * full_foot_speed_mps


def foot_travel_per_pulse_step_m(speed_step_mps: float, time_s: float) -> float:
    """Foot travel that the smallest change of pulse makes in a time, v t: definition.

    The time is at least one pulse frame: no sooner can it be corrected.
    """
    return speed_step_mps * time_s


def current_margin(limit_A: float, peak_A: float) -> float:
    """Current that a controller bears over the highest one asked of it: definition.

    Below 1 it limits; 1.5 to 2 leaves room for heat and for a jammed leg (common practice, no
    source).
    """
    return limit_A / peak_A
