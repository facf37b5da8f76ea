"""Whether settings may be used at all: their ranges, their stage, and each other.

Run by the board when it loads them and by the host before it sends them, never in a tick.
"""

from legcore.model import RECORDS, VISIT_TICKS
from legcore.stages import STAGES, STAND

# By record: the steps that its stage bounds, its calibrations, and what must not be over what.
_STEPS = {
    "Settings": ("lift_step_q6", "lower_step_q6", "release_step_q6", "stoop_step_q6"),
    "WingSettings": ("follow_step_q6", "release_step_q6"),
}
_CALIBRATED = {
    "Settings": ("left_thigh", "left_shank", "right_thigh", "right_shank"),
    "WingSettings": ("left_pot", "right_pot"),
}
_ORDERED = {
    "Settings": (
        ("fold_min_cdeg", "rest_fold_cdeg"),
        ("rest_fold_cdeg", "lift_fold_cdeg"),
        ("lift_fold_cdeg", "fold_max_cdeg"),
        ("rest_fold_cdeg", "step_fold_cdeg"),
        ("step_fold_cdeg", "stoop_fold_cdeg"),
        ("stoop_fold_cdeg", "fold_max_cdeg"),
        ("thigh_min_cdeg", "thigh_max_cdeg"),
        ("shank_min_cdeg", "shank_max_cdeg"),
        ("stick_low_count", "stick_centre_count"),
        ("stick_centre_count", "stick_high_count"),
    ),
    "WingSettings": (
        ("fold_min_cdeg", "lowered_cdeg"),
        ("lowered_cdeg", "rest_fold_cdeg"),
        ("rest_fold_cdeg", "raised_cdeg"),
        ("raised_cdeg", "fold_max_cdeg"),
    ),
}


def problem(settings, record="Settings"):
    """Why `settings` may not be used, in words; empty when they may."""
    return (
        _outside(settings, record, "")
        or _over_stage(settings, _STEPS[record])
        or _senseless(settings, _CALIBRATED[record], _ORDERED[record])
    )


def _outside(made, record, prefix):
    """The first integer outside the range that the model declares for it."""
    for row in RECORDS[record]:
        name = prefix + row[0]
        value = getattr(made, row[0])
        if len(row) == 2:
            found = _outside(value, row[1], name + ".")
            if found:
                return found
            continue
        for one in value if len(row) == 5 else (value,):
            if not row[2] <= one <= row[3]:
                return f"{name} is {one} {row[1]}; it may be {row[2]} to {row[3]}"
    return ""


def _over_stage(settings, steps):
    """The first limit of the stage that the settings exceed."""
    name, drive, speed_cdps, stall_ms, _ = STAGES[settings.stage]
    hz = settings.visit_hz
    relay = drive if settings.stage <= STAND else 0
    limits = [
        ("drive_max_permille", settings.drive_max_permille, drive, "permille"),
        # Nobody is in it when it swings.
        ("relay_permille", settings.relay_permille, relay, "permille"),
        ("stall_ticks", settings.stall_ticks * 1000 // (hz * VISIT_TICKS), stall_ms, "ms"),
    ]
    for step in steps:
        limits.append((step, getattr(settings, step) * hz // 64, speed_cdps, "cdeg/s"))
    for setting, found, most, unit in limits:
        if found > most:
            return f"{setting} makes {found} {unit}; at the stage {name} it may make {most}"
    return ""


def _senseless(settings, calibrated, ordered):
    """The first settings that contradict each other."""
    for name in calibrated:
        cal = getattr(settings, name)
        for i in range(1, len(cal.count)):
            if cal.count[i] <= cal.count[i - 1]:
                return name + " is not calibrated: its counts do not rise"
        if len(set(cal.angle_cdeg)) < len(cal.count):
            return name + " is not calibrated: an angle comes twice"
        if not cal.low_count <= cal.count[0] < cal.count[-1] <= cal.high_count:
            return name + ": its window does not hold its counts"
    for low, high in ordered:
        if getattr(settings, low) > getattr(settings, high):
            return f"{low} is over {high}"
    return ""
