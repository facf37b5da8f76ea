"""Every field of a joint with two ropes, called a wing, and of a pair of them.

What a wing has in common with a leg keeps the leg's row and name, so that one code serves
both: `fold_cdeg` is here how far the wing is raised, from hanging straight down.
"""

from micropython import const

from legcore.model import (
    ANGLE_MAX_CDEG,
    LEG,
    RECORDS,
    RIG,
    SETTINGS,
)

# What a wing's command means: how fast to move, or where to be.
STICK_COMMAND = const(0)
POT_COMMAND = const(1)


def _same(rows, names):
    """The rows of these names, in the order of the names."""
    by_name = {row[0]: row for row in rows}
    return tuple(by_name[name] for name in names.split())


WING = (
    # Inputs, written by the board before each tick; the command is a stick's pot or another one.
    (
        ("pot", "Joint"),
        ("command", "Joint"),
    )
    # Estimate, and what the command asks: cdeg/s of a stick, cdeg of a pot.
    + _same(LEG, "primed fold_cdeg_q4 fold_cdeg rate_cdps")
    + (("asked", "cdeg/s or cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),)
    # Supervisor.
    + (
        ("phase", "phase", 0, 3),
        ("phase_not", "phase", -4, -1),
    )
    + _same(LEG, "phase_ticks")
    # Watch.
    + _same(LEG, "fault_bits stop_ticks sunk_ticks stall_ticks stall_from_cdeg against_ticks")
    + _same(LEG, "rate_ticks adrift_ticks warmed_cdeg meant_permille over_q4")
    + _same(LEG, "copper_mW turning_mW winding_mK_q8 case_mK_q8")
    # Setpoint.
    + _same(LEG, "target_cdeg setpoint_cdeg_q6 step_cdeg_q6")
    # Law.
    + _same(LEG, "law_on integral_q16 wanted_permille relay_ticks")
    # Outputs, read by the board after each tick.
    + _same(LEG, "drive_permille pulse_us")
)

WING_SETTINGS = (
    _same(SETTINGS, "visit_hz")
    + (
        ("left_pot", "Calibration"),
        ("right_pot", "Calibration"),
    )
    # Counts of each command to what it asks: a stick's dead zone is the table's flat middle.
    + (
        ("left_command", "Calibration"),
        ("right_command", "Calibration"),
        ("command_kind", "kind", 0, 1),
    )
    # Nearer to its rest than this a wing is not called away from it.
    + (("call_cdeg", "cdeg", 1, 9000),)
    + _same(SETTINGS, "angle_alpha_q8 rate_alpha_q8")
    # Where the wing goes and how fast.
    + (
        ("rest_fold_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),
        ("lowered_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),
        ("raised_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),
    )
    + _same(SETTINGS, "arrive_cdeg")
    + (("follow_step_q6", "cdeg/64/visit", 1, 8192),)
    + _same(SETTINGS, "release_step_q6")
    # Beside legs a wing is visited less often, and each visit's step is larger.
    + (("accel_step_q6", "cdeg/64/visit^2", 1, 1024),)
    + _same(SETTINGS, "lag_cdeg down_ticks")
    # Law.
    + _same(SETTINGS, "kp_q16 ki_q16 kd_q16 integral_permille")
    # The law asks for these; nobody makes the relay experiment with a wing.
    + (("relay_permille", "permille", 0, 0),)
    + _same(SETTINGS, "relay_cdeg relay_ticks")
    + (("table_start_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),)
    + _same(SETTINGS, "table_step_cdeg hold_permille speed_q16")
    # Limits.
    + (
        ("fold_min_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),
        ("fold_max_cdeg", "cdeg", -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG),
    )
    + _same(SETTINGS, "stop_gain_q8 stop_ahead_q10 drive_max_permille drive_min_permille")
    + _same(SETTINGS, "slew_permille pulse_neutral_us pulse_deadband_us pulse_span_us")
    # Faults, in the order of their table.
    + _same(SETTINGS, "pot_ticks jump_count sunk_cdeg sunk_ticks")
    + _same(SETTINGS, "stall_drive_permille stall_move_cdeg stall_ticks")
    + _same(SETTINGS, "against_cdps against_ticks rate_most_cdps rate_ticks")
    + _same(SETTINGS, "adrift_cdeg adrift_ticks stop_margin_cdeg stop_ticks")
    + _same(SETTINGS, "hot_mK battery_least_mV battery_ticks supply_least_mV supply_ticks")
    + _same(SETTINGS, "stick_ticks late_most")
    # The model of heat.
    + _same(SETTINGS, "usual_mV heat_doubt_permille heat_accel_q8 heat_most_permille")
    + _same(SETTINGS, "heat_copper_q6 heat_turn_q8 heat_turn2_q16 heat_warm_q8 heat_case_q8")
    + _same(SETTINGS, "heat_cross_q12 heat_share_q8 heat_cool_q12")
    # Arming, and the stage of commissioning.
    + _same(SETTINGS, "arm_ticks stage")
)

WINGS = (
    (("settings", "WingSettings"),)
    # Inputs besides each wing's, written by the board before each tick.
    + _same(RIG, "arm stop settings_bad was_hung missed_ticks battery_mV supply_mV")
    # What the legs on the same board ask of the wings: nothing, to be lowered, or to be cut.
    + (("elsewhere", "event", 0, 2),)
    # Whose tick it is, where legs are on the same board.
    + (("slot", "tick", 0, 2),)
    # Watch.
    + _same(RIG, "turn fault_bits late battery_ticks supply_ticks")
    # Arming.
    + _same(RIG, "arm_was arm_ready arm_ticks arm_blocks")
    # Output.
    + _same(RIG, "contactor")
    + (
        ("left", "Wing"),
        ("right", "Wing"),
    )
)

RECORDS.update({"Wing": WING, "WingSettings": WING_SETTINGS, "Wings": WINGS})
