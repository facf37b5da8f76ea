"""A trapezoidal move: speed up evenly, go on evenly, slow down as fast as it sped up.

In metres here; the same holds for radians of a joint or a motor.
"""

from math import sqrt


def move_time_s(distance_m: float, speed_mps: float, acceleration_mps2: float) -> float:
    """Time of a move from rest to rest, s/v + v/a [move-profiles].

    s distance, v highest speed allowed, a acceleration and deceleration, all above 0. Too short
    a way to reach v makes it a triangle: 2 sqrt(s/a).
    """
    if speed_mps**2 > distance_m * acceleration_mps2:
        return 2 * sqrt(distance_m / acceleration_mps2)
    return distance_m / speed_mps + speed_mps / acceleration_mps2


def peak_speed_mps(distance_m: float, time_s: float, acceleration_mps2: float) -> float:
    """Speed that a move must reach to take a time, 2 s / (t + sqrt(t^2 - 4 s/a)) [move-profiles].

    s distance, t time, a acceleration; the inverse of `move_time_s`.
    """
    square_s2 = time_s**2 - 4 * distance_m / acceleration_mps2
    # A triangle leaves exactly nothing; rounding must not make that less than nothing.
    if square_s2 < -1e-9 * time_s**2:
        raise ValueError("at this acceleration the move takes longer than the time given")
    return 2 * distance_m / (time_s + sqrt(max(0.0, square_s2)))


def needed_acceleration_mps2(distance_m: float, time_s: float, peak_mps: float) -> float:
    """Acceleration of a move by its time and highest speed, v / (t - s/v) [move-profiles].

    s distance, t time, v highest speed: above s/t, where acceleration has no end, and up to
    2 s/t, the triangle.
    """
    mean_mps = distance_m / time_s
    if not mean_mps < peak_mps <= 2 * mean_mps * (1 + 1e-9):
        raise ValueError("a move's highest speed must be one to two times its mean speed")
    return peak_mps / (time_s - distance_m / peak_mps)


def peak_over_mean(distance_m: float, time_s: float, peak_mps: float) -> float:
    """Highest over mean speed of a move, v t / s: definition.

    2 for the triangle, 1.5 where speeding up, going on and slowing down take a third of the
    time each [move-profiles].
    """
    return peak_mps * time_s / distance_m
