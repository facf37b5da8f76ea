"""Every field of the core's state, declared once: name, unit, range.

A row is `(name, unit, low, high)` for an integer, `(name, unit, low, high, length)`
for an `array('i')`, or `(name, record)` for a sub-object. The board builds plain
objects from these rows, the simulator one nested structured dtype; the range test
and the settings check read the ranges. Nobody lists the fields twice.

Fractional bits are part of a name: `_q4` counts sixteenths of the unit before it.
"""

from array import array

# A full turn either way: what a calibration may say, and what the core clamps to.
ANGLE_MAX_CDEG = 18000
# Past this a joint is falling, not being driven; clamping here keeps products small.
RATE_MAX_CDPS = 20000
# The law looks no further than this: larger errors drive no harder than this one does.
ERROR_MAX_CDEG = 4000
SETPOINT_RATE_MAX_CDPS = 10000
CALIBRATION_POINTS = 5
FEEDFORWARD_POINTS = 9
# The count of ticks in a phase stops here; no time in the settings is longer.
TICKS_MAX = 350000
# So long a pot may be out of its window at most before it is a fault.
BAD_TICKS_MAX = 1000

CALIBRATION = (
    # Points in rising order of count; the angle may rise or fall along them.
    ("count", "count", 0, 4095, CALIBRATION_POINTS),
    ("angle_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG, CALIBRATION_POINTS),
    # Outside this window the pot is open, shorted or off its track.
    ("low_count", "count", 0, 4095),
    ("high_count", "count", 0, 4095),
)

JOINT = (
    ("count", "count", 0, 4095),
    ("older_count", "count", 0, 4095),
    ("oldest_count", "count", 0, 4095),
    ("angle_cdeg_q4", "cdeg/16", -16 * ANGLE_MAX_CDEG, 16 * ANGLE_MAX_CDEG),
    ("bad_ticks", "tick", 0, BAD_TICKS_MAX),
)

LEG = (
    # Inputs, written by the board before each tick.
    ("thigh", "Joint"),
    ("shank", "Joint"),
    ("switch", "flag", 0, 1),
    # Estimate.
    ("primed", "flag", 0, 1),
    ("fold_cdeg_q4", "cdeg/16", -32 * ANGLE_MAX_CDEG, 32 * ANGLE_MAX_CDEG),
    ("fold_cdeg", "cdeg", -2 * ANGLE_MAX_CDEG, 2 * ANGLE_MAX_CDEG),
    ("rate_cdps", "cdeg/s", -RATE_MAX_CDPS, RATE_MAX_CDPS),
    ("switch_ticks", "tick", 0, 250),
    ("pressed", "flag", 0, 1),
    ("rearmed", "flag", 0, 1),
    # Supervisor.
    ("phase", "phase", 0, 5),
    ("phase_ticks", "tick", 0, TICKS_MAX),
    ("fault_bits", "bits", 0, 0xFFFF),
    ("stall_ticks", "tick", 0, 1000),
    ("stall_from_cdeg", "cdeg", -2 * ANGLE_MAX_CDEG, 2 * ANGLE_MAX_CDEG),
    ("slack_ticks", "tick", 0, 1000),
    ("stop_ticks", "tick", 0, 1000),
    # Setpoint: where the fold should be, and how far it moves in this tick.
    ("target_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),
    ("setpoint_cdeg_q6", "cdeg/64", -128 * ANGLE_MAX_CDEG, 128 * ANGLE_MAX_CDEG),
    ("step_cdeg_q6", "cdeg/64/tick", -8192, 8192),
    # Law.
    ("law_on", "flag", 0, 1),
    ("integral_q16", "permille/65536", -65536 * 1000, 65536 * 1000),
    ("wanted_permille", "permille", -1000, 1000),
    # Outputs, read by the board after each tick.
    ("drive_permille", "permille", -1000, 1000),
    ("pulse_us", "us", 0, 3000),
)

SETTINGS = (
    ("tick_hz", "Hz", 50, 1000),
    ("left_thigh", "Calibration"),
    ("left_shank", "Calibration"),
    ("right_thigh", "Calibration"),
    ("right_shank", "Calibration"),
    # Estimate.
    ("angle_alpha_q8", "1/256", 1, 256),
    ("rate_alpha_q8", "1/256", 1, 256),
    ("debounce_ticks", "tick", 1, 250),
    # Where the leg goes and how fast.
    ("lift_fold_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("rest_fold_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("arrive_cdeg", "cdeg", 1, 2000),
    ("lift_step_q6", "cdeg/64/tick", 1, 8192),
    ("lower_step_q6", "cdeg/64/tick", 1, 8192),
    ("release_step_q6", "cdeg/64/tick", 1, 8192),
    ("accel_step_q6", "cdeg/64/tick^2", 1, 256),
    ("lag_cdeg", "cdeg", 10, 4000),
    ("hold_ticks", "tick", 1, TICKS_MAX),
    # Law. Gains are permille of drive per unit of error, times 65536.
    ("kp_q16", "permille/cdeg/65536", 0, 65536),
    ("ki_q16", "permille/cdeg/tick/65536", 0, 8192),
    ("kd_q16", "permille/(cdeg/s)/65536", 0, 8192),
    ("integral_permille", "permille", 0, 1000),
    ("table_start_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("table_step_cdeg", "cdeg", 10, 4000),
    ("hold_permille", "permille", -1000, 1000, FEEDFORWARD_POINTS),
    ("speed_q16", "permille/(cdeg/s)/65536", 0, 32768, FEEDFORWARD_POINTS),
    # Limits.
    ("fold_min_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("fold_max_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("thigh_min_cdeg", "cdeg", -9000, 9000),
    ("thigh_max_cdeg", "cdeg", -9000, 9000),
    ("shank_min_cdeg", "cdeg", -9000, 9000),
    ("shank_max_cdeg", "cdeg", -9000, 9000),
    ("stop_gain_q8", "permille/cdeg/256", 1, 8192),
    ("stop_ahead_q10", "s/1024", 0, 512),
    ("drive_max_permille", "permille", 1, 1000),
    ("drive_min_permille", "permille", 0, 300),
    ("slew_permille", "permille/tick", 1, 1000),
    ("pulse_neutral_us", "us", 1000, 2000),
    ("pulse_deadband_us", "us", 0, 200),
    ("pulse_span_us", "us", 200, 1000),
    # Faults.
    ("pot_ticks", "tick", 1, BAD_TICKS_MAX),
    ("stall_drive_permille", "permille", 1, 1000),
    ("stall_move_cdeg", "cdeg", 1, 4000),
    ("stall_ticks", "tick", 1, 1000),
    ("stop_margin_cdeg", "cdeg", 0, 3000),
    ("stop_ticks", "tick", 1, 1000),
    ("slack_ticks", "tick", 1, 1000),
)

RIG = (
    ("settings", "Settings"),
    ("arm", "flag", 0, 1),
    ("arm_ready", "flag", 0, 1),
    ("contactor", "flag", 0, 1),
    ("left", "Leg"),
    ("right", "Leg"),
)

RECORDS = {
    "Calibration": CALIBRATION,
    "Joint": JOINT,
    "Leg": LEG,
    "Settings": SETTINGS,
    "Rig": RIG,
}


class Record:
    """A plain object; its attributes are the fields of one record."""


def make(record):
    """Build the plain object of `record`, every integer at zero clamped into its range."""
    made = Record()
    for row in RECORDS[record]:
        if len(row) == 2:
            setattr(made, row[0], make(row[1]))
            continue
        start = min(max(0, row[2]), row[3])
        if len(row) == 5:
            setattr(made, row[0], array("i", [start] * row[4]))
        else:
            setattr(made, row[0], start)
    return made
