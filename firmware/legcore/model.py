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
# Each tick visits one leg, so a leg is visited every second tick; what changes slowly is
# looked at once in a round of eight ticks, or of thirty-two where it is slower still.
VISIT_TICKS = 2
ROUND_TICKS = 8
LONG_ROUND_TICKS = 32
# The count of ticks in a phase stops here; no time in the settings is longer.
TICKS_MAX = 350000
# No fault takes longer than this many ticks to trip, but for what people are slow at.
WATCH_TICKS_MAX = 2000
# The most that the model of heat reckons with: power, and warmth over the air.
POWER_MAX_MW = 260000
WARMTH_MAX_MK = 200000
# Drive less back-EMF and what the leg's weight asks for, at their furthest apart.
OVER_MAX_Q4 = 16 * (100000 + 10000 + 1000)
# All 30 bits that a small integer has besides its sign.
FAULT_BITS_MAX = 0x3FFFFFFF
CHATTER_MAX = 1000
# No servo pulse leaves these, whatever the settings have come to say; 0 is none at all.
PULSE_MIN_US = 700
PULSE_MAX_US = 2300
LIFTS_MAX = 200

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
    ("good_count", "count", 0, 4095),
    ("angle_cdeg_q4", "cdeg/16", -16 * ANGLE_MAX_CDEG, 16 * ANGLE_MAX_CDEG),
    # Time of bad counts; a good one takes off half as much as a bad one adds.
    ("bad_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    # Where it was when the watch for a frozen pot began anew, and whether it has moved since.
    ("mark_count", "count", 0, 4095),
    ("moved", "flag", 0, 1),
)

LEG = (
    # Inputs, written by the board before each tick.
    ("thigh", "Joint"),
    ("shank", "Joint"),
    ("switch", "flag", 0, 1),
    ("sole", "flag", 0, 1),
    # Estimate.
    ("primed", "flag", 0, 1),
    ("fold_cdeg_q4", "cdeg/16", -32 * ANGLE_MAX_CDEG, 32 * ANGLE_MAX_CDEG),
    ("fold_cdeg", "cdeg", -2 * ANGLE_MAX_CDEG, 2 * ANGLE_MAX_CDEG),
    ("rate_cdps", "cdeg/s", -RATE_MAX_CDPS, RATE_MAX_CDPS),
    ("switch_ticks", "tick", 0, 251),
    ("pressed", "flag", 0, 1),
    ("rearmed", "flag", 0, 1),
    # Supervisor.
    ("phase", "phase", 0, 6),
    # The phase again, all its bits turned over: a memory error in one of them shows.
    ("phase_not", "phase", -7, -1),
    ("phase_ticks", "tick", 0, TICKS_MAX + 1),
    ("slack_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    # Watch.
    ("fault_bits", "bits", 0, FAULT_BITS_MAX),
    ("mark_cdeg", "cdeg", -2 * ANGLE_MAX_CDEG, 2 * ANGLE_MAX_CDEG),
    ("skew_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("stop_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("sunk_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("stall_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("stall_from_cdeg", "cdeg", -2 * ANGLE_MAX_CDEG, 2 * ANGLE_MAX_CDEG),
    ("against_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("rate_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("adrift_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("push_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("apart_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("pressed_ticks", "tick", 0, TICKS_MAX + 7),
    ("chatter", "", 0, CHATTER_MAX),
    ("unseen_lifts", "", 0, LIFTS_MAX),
    ("weight_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("asked_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("unborne_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("hanging_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("warmed_cdeg", "cdeg", -2 * ANGLE_MAX_CDEG, 2 * ANGLE_MAX_CDEG),
    ("meant_permille", "permille", -5000, 5000),
    ("over_q4", "permille/16", -OVER_MAX_Q4, OVER_MAX_Q4),
    # Heat made since the windings' warmth was last reckoned: twice a long round, summed.
    ("copper_mW", "mW", 0, 2 * POWER_MAX_MW),
    ("turning_mW", "mW", 0, 2 * POWER_MAX_MW),
    ("winding_mK_q8", "mK/256", 0, 256 * WARMTH_MAX_MK),
    ("case_mK_q8", "mK/256", 0, 256 * WARMTH_MAX_MK),
    # Setpoint: where the fold should be, and how far it moves in this tick.
    ("target_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),
    ("setpoint_cdeg_q6", "cdeg/64", -128 * ANGLE_MAX_CDEG, 128 * ANGLE_MAX_CDEG),
    ("step_cdeg_q6", "cdeg/64/visit", -8192, 8192),
    # Law.
    ("law_on", "flag", 0, 1),
    ("integral_q16", "permille/65536", -65536 * 1000, 65536 * 1000),
    ("relay_ticks", "tick", 0, WATCH_TICKS_MAX + 1),
    ("wanted_permille", "permille", -1000, 1000),
    # Outputs, read by the board after each tick.
    ("drive_permille", "permille", -1000, 1000),
    ("pulse_us", "us", 0, PULSE_MAX_US),
)

SETTINGS = (
    # How often each leg is visited; what is counted per visit is per this.
    ("visit_hz", "Hz", 25, 500),
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
    ("lift_step_q6", "cdeg/64/visit", 1, 8192),
    ("lower_step_q6", "cdeg/64/visit", 1, 8192),
    ("release_step_q6", "cdeg/64/visit", 1, 8192),
    ("accel_step_q6", "cdeg/64/visit^2", 1, 256),
    ("lag_cdeg", "cdeg", 10, 4000),
    ("hold_ticks", "tick", 1, TICKS_MAX),
    ("down_ticks", "tick", 1, TICKS_MAX),
    # The stoop: how deep and fast, from which fold a foot may be raised, how long at most, and
    # how far from the shared setpoint a leg may be before it is waited for.
    ("stoop_fold_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("step_fold_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("stoop_step_q6", "cdeg/64/visit", 1, 8192),
    ("stoop_accel_q6", "cdeg/64/visit^2", 1, 256),
    ("stoop_ticks", "tick", 1, TICKS_MAX),
    ("tired_mK", "mK", 1000, WARMTH_MAX_MK),
    ("apart_cdeg", "cdeg", 10, 4000),
    ("apart_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("keep_cdeg", "cdeg", 1, 2000),
    ("keep_permille", "permille", 1, 1000),
    # The stick: counts from the end of its middle to full speed, and how much its curve bends.
    ("stick_span_count", "count", 1, 4095),
    ("stick_curve_q8", "1/256", 0, 256),
    # Law. Gains are permille of drive per unit of error, times 65536.
    ("kp_q16", "permille/cdeg/65536", 0, 65536),
    ("ki_q16", "permille/cdeg/visit/65536", 0, 8192),
    ("kd_q16", "permille/(cdeg/s)/65536", 0, 8192),
    ("integral_permille", "permille", 0, 1000),
    ("table_start_cdeg", "cdeg", 0, ANGLE_MAX_CDEG),
    ("table_step_cdeg", "cdeg", 10, 4000),
    ("hold_permille", "permille", -1000, 1000, FEEDFORWARD_POINTS),
    ("speed_q16", "permille/(cdeg/s)/65536", 0, 32768, FEEDFORWARD_POINTS),
    # The relay experiment, on a stand only: 0 is none.
    ("relay_permille", "permille", 0, 500),
    ("relay_cdeg", "cdeg", 0, 1000),
    ("relay_ticks", "tick", 0, WATCH_TICKS_MAX),
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
    ("slew_permille", "permille/visit", 1, 1000),
    ("pulse_neutral_us", "us", 1000, 2000),
    ("pulse_deadband_us", "us", 0, 200),
    ("pulse_span_us", "us", 200, 1000),
    # Faults, in the order of their table.
    ("pot_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("jump_count", "count", 1, 4095),
    ("frozen_cdeg", "cdeg", 100, 9000),
    ("frozen_count", "count", 0, 400),
    ("skew_cdeg", "cdeg", -9000, 9000),
    ("skew_most_cdeg", "cdeg", 0, 18000),
    ("skew_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("stuck_ticks", "tick", 1, TICKS_MAX),
    ("chatter_most", "", 1, CHATTER_MAX),
    ("unseen_lifts", "", 1, LIFTS_MAX),
    ("weight_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("asked_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("unborne_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("hanging_cdeg", "cdeg", 0, 9000),
    ("hanging_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("sunk_cdeg", "cdeg", 0, 9000),
    ("sunk_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("stall_drive_permille", "permille", 1, 1000),
    ("stall_move_cdeg", "cdeg", 1, 4000),
    ("stall_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("against_cdps", "cdeg/s", 1, RATE_MAX_CDPS),
    ("against_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("rate_most_cdps", "cdeg/s", 1, RATE_MAX_CDPS),
    ("rate_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("adrift_cdeg", "cdeg", 1, 9000),
    ("adrift_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("push_cdeg", "cdeg", 1, 9000),
    ("push_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("stop_margin_cdeg", "cdeg", 0, 3000),
    ("stop_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("slack_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("hot_mK", "mK", 1000, WARMTH_MAX_MK),
    ("battery_least_mV", "mV", 0, 100000),
    ("battery_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("supply_least_mV", "mV", 0, 20000),
    ("supply_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("stick_low_count", "count", 0, 4095),
    ("stick_high_count", "count", 0, 4095),
    ("stick_centre_count", "count", 0, 4095),
    ("stick_zone_count", "count", 0, 4095),
    ("stick_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("host_ticks", "tick", 1, WATCH_TICKS_MAX),
    ("late_most", "", 1, 1000),
    # The model of heat: power from current and from turning, warmth from power, a turn each.
    ("usual_mV", "mV", 1000, 100000),
    ("heat_doubt_permille", "permille", 0, 1000),
    ("heat_accel_q8", "1/256", 0, 4096),
    ("heat_most_permille", "permille", 0, 1000),
    ("heat_copper_q6", "mW/permille^2/64", 0, 16384),
    ("heat_turn_q8", "mW/permille/256", 0, 8192),
    ("heat_turn2_q16", "mW/permille^2/65536", 0, 32768),
    ("heat_warm_q8", "mK/256/mW/256", 0, 65536),
    ("heat_case_q8", "mK/256/mW/256", 0, 65536),
    ("heat_cross_q12", "1/256/4096", 0, 85000),
    ("heat_share_q8", "1/256", 0, 256),
    ("heat_cool_q12", "1/256/4096", 0, 85000),
    # Arming, and the stage of commissioning (`stages.STAGES`).
    ("arm_ticks", "tick", 16, TICKS_MAX),
    ("stage", "stage", 0, 3),
)

RIG = (
    ("settings", "Settings"),
    # Inputs besides each leg's, written by the board before each tick.
    ("arm", "flag", 0, 1),
    ("stop", "flag", 0, 1),
    ("settings_bad", "flag", 0, 1),
    ("was_hung", "flag", 0, 1),
    ("missed_ticks", "tick", 0, 1000),
    ("battery_mV", "mV", 0, 100000),
    ("supply_mV", "mV", 0, 20000),
    ("stick_count", "count", 0, 4095),
    ("host", "flag", 0, 1),
    ("host_heard", "flag", 0, 1),
    # Faults of whatever else is on the board.
    ("elsewhere", "bits", 0, FAULT_BITS_MAX),
    # Watch.
    ("turn", "tick", 0, 31),
    ("fault_bits", "bits", 0, FAULT_BITS_MAX),
    ("late", "tick/16", 0, 1000),
    ("battery_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("supply_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("stick_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    ("host_ticks", "tick", 0, WATCH_TICKS_MAX + 7),
    # Stoop: what the stick asks, whether it has been seen in its middle since both legs stand,
    # and the setpoint that both legs share.
    ("stick_step_q6", "cdeg/64/visit", -8192, 8192),
    ("stick_ready", "flag", 0, 1),
    ("stoop_cdeg_q6", "cdeg/64", -128 * ANGLE_MAX_CDEG, 128 * ANGLE_MAX_CDEG),
    ("stoop_step_q6", "cdeg/64/visit", -8192, 8192),
    # Whether it stands still, and for no leg that it waits for.
    ("stoop_still", "flag", 0, 1),
    # Arming.
    ("arm_was", "flag", 0, 1),
    ("arm_ready", "flag", 0, 1),
    ("arm_ticks", "tick", 0, TICKS_MAX),
    ("arm_blocks", "bits", 0, 511),
    # Output.
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
