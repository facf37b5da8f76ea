"""The fault table: what is watched, how far and how long, what is done, what a person reads.

Two actions exist. CUT removes power at once: drive neutral, contactor open; the
spring then turns the unpowered motor and puts the foot down. RELEASE lets the
foot down at limited speed and removes power after: only where the pose can be
trusted. When several faults hold, CUT wins, whichever came first.

Every fault latches. UNTIL_DISARMED: opening the arm input clears it, which is how a
person acknowledges. UNTIL_RESET: only starting the controller anew does.
"""

from micropython import const

from legcore.model import LONG_ROUND_TICKS, ROUND_TICKS, VISIT_TICKS
from legcore.phases import (
    CUT,
    HELD,
    LIFTING,
    LOWERING,
    OFF,
    RELEASE,
    RELEASING,
    STANDING,
    STOOPING,
)

POT_LOW = const(1)
POT_HIGH = const(1 << 1)
POT_JUMP = const(1 << 2)
POT_FROZEN = const(1 << 3)
LINKAGE = const(1 << 4)
SWITCH_STUCK = const(1 << 5)
SWITCH_CHATTER = const(1 << 6)
SWITCH_UNSEEN = const(1 << 7)
WEIGHT = const(1 << 8)
ASKED = const(1 << 9)
UNBORNE = const(1 << 10)
HANGING = const(1 << 11)
UNASKED = const(1 << 12)
STALL = const(1 << 13)
AGAINST = const(1 << 14)
RATE = const(1 << 15)
ADRIFT = const(1 << 16)
SLACK = const(1 << 17)
END_STOP = const(1 << 18)
HOT = const(1 << 19)
BATTERY = const(1 << 20)
SUPPLY = const(1 << 21)
STICK = const(1 << 22)
HOST = const(1 << 23)
LATE = const(1 << 24)
WATCHDOG = const(1 << 25)
SETTINGS = const(1 << 26)
STOP = const(1 << 27)
MEMORY = const(1 << 28)
# The last that fits: a small integer of a 32-bit board has no further bit.
MISMATCH = const(1 << 29)

UNTIL_DISARMED = const(0)
UNTIL_RESET = const(1)

ALWAYS = (OFF, STANDING, LIFTING, HELD, LOWERING, RELEASING, STOOPING)
MOVING = (LIFTING, HELD, LOWERING, RELEASING, STOOPING)
UP = (LIFTING, HELD)

# (bit, name, what is watched, setting of the limit, setting of the ticks to trip or "" for at
#  once, looked at every so many ticks, phases in which it is watched, action, latch,
#  text for a person, remedy)
FAULTS = (
    (
        POT_LOW,
        "pot reads low",
        "either pot's count under its calibrated window",
        "low_count",
        "pot_ticks",
        VISIT_TICKS,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "A joint sensor reads less than its joint can make it: an open wire or a lost wiper.",
        "Look for a broken or loose sensor wire; then calibrate again.",
    ),
    (
        POT_HIGH,
        "pot reads high",
        "either pot's count over its calibrated window",
        "high_count",
        "pot_ticks",
        VISIT_TICKS,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "A joint sensor reads more than its joint can make it: shorted to its supply, or its"
        " ground wire is open.",
        "Look for a pinched sensor cable and a loose ground; then calibrate again.",
    ),
    (
        POT_JUMP,
        "pot jumps",
        "either pot's count against its last good one",
        "jump_count",
        "pot_ticks",
        VISIT_TICKS,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "A joint sensor's reading leaps farther than a joint can turn.",
        "Look for a loose plug, a worn track, or a pot that has slipped on its shaft.",
    ),
    (
        POT_FROZEN,
        "pot frozen",
        "fold that goes on while one joint's count stays",
        "frozen_cdeg, frozen_count",
        "",
        ROUND_TICKS,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "The leg folds, and one of its two joint sensors does not notice.",
        "Look for a loose pot shaft, or a converter input that is stuck.",
    ),
    (
        LINKAGE,
        "joints disagree",
        "thigh lean against shank lean",
        "skew_cdeg, skew_most_cdeg",
        "skew_ticks",
        ROUND_TICKS,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "Thigh and shank read a pose that puts the foot where no foot can be.",
        "A pot has slipped, is swapped with another, or was calibrated the wrong way round.",
    ),
    (
        SWITCH_STUCK,
        "foot switch stuck",
        "time that a foot switch is pressed",
        "",
        "stuck_ticks",
        ROUND_TICKS,
        ALWAYS,
        RELEASE,
        UNTIL_DISARMED,
        "A foot switch has been pressed for longer than anyone holds up a foot.",
        "Free the switch and see it open; look for a crushed cable.",
    ),
    (
        SWITCH_CHATTER,
        "foot switch chatters",
        "how often a foot switch changes",
        "chatter_most",
        "",
        ROUND_TICKS,
        ALWAYS,
        RELEASE,
        UNTIL_DISARMED,
        "A foot switch opens and closes faster than a foot can move.",
        "Look for a loose plug or a worn contact; set the switch firmly under the foot.",
    ),
    (
        SWITCH_UNSEEN,
        "foot switch unseen",
        "lifts of the other leg since this foot's switch was last pressed",
        "unseen_lifts",
        "",
        ROUND_TICKS,
        (OFF, STANDING),
        RELEASE,
        UNTIL_DISARMED,
        "The other leg steps again and again and this foot's switch never closes.",
        "Press the switch by hand; look for a broken wire.",
    ),
    (
        WEIGHT,
        "weight on a raised leg",
        "sole contact of a leg that lifts or is up",
        "",
        "weight_ticks",
        VISIT_TICKS,
        UP,
        RELEASE,
        UNTIL_DISARMED,
        "A leg is up, and something stands on it.",
        "Find out what it stood on; look for a sole contact that sticks.",
    ),
    (
        ASKED,
        "raised under weight",
        "foot switch of a leg whose sole bears",
        "",
        "asked_ticks",
        ROUND_TICKS,
        (STANDING,),
        RELEASE,
        UNTIL_DISARMED,
        "A leg was asked to lift for long, and it bore weight all the while.",
        "Shift the weight before raising a foot; look for a sole contact that sticks.",
    ),
    (
        UNBORNE,
        "nothing bears",
        "sole contact of the leg that stands while the other is up, or of both that stoop",
        "",
        "unborne_ticks",
        ROUND_TICKS,
        (STANDING, STOOPING),
        RELEASE,
        UNTIL_DISARMED,
        "No foot bears: one leg is up and so is the other, or both stoop above the ground.",
        "If nobody fell, look for a sole contact that does not close.",
    ),
    (
        HANGING,
        "leg hangs folded",
        "fold of a standing leg whose sole bears nothing",
        "rest_fold_cdeg + hanging_cdeg",
        "hanging_ticks",
        ROUND_TICKS,
        (STANDING,),
        RELEASE,
        UNTIL_DISARMED,
        "A leg that should stand hangs folded: its spring did not put the foot down.",
        "Look for a jammed rope or gear before anybody steps on it.",
    ),
    (
        UNASKED,
        "leg folds unasked",
        "fold of a leg that stands, or is off while the other one is let down",
        "rest_fold_cdeg + sunk_cdeg",
        "sunk_ticks",
        VISIT_TICKS,
        (STANDING, OFF),
        CUT,
        UNTIL_DISARMED,
        "A leg that should stand folds farther than the weight on it can fold it.",
        "Look for a speed controller that drives by itself; then for a weak spring or much load.",
    ),
    (
        STALL,
        "stall",
        "fold gained under drive; stooping, only behind the setpoint",
        "stall_drive_permille, stall_move_cdeg",
        "stall_ticks",
        VISIT_TICKS,
        MOVING,
        CUT,
        UNTIL_DISARMED,
        "The motor was driven and the leg did not move.",
        "Look for a jammed rope, a stripped gear or a weight on the foot.",
    ),
    (
        AGAINST,
        "motion against the drive",
        "fold rate downward under drive upward",
        "stall_drive_permille, against_cdps",
        "against_ticks",
        VISIT_TICKS,
        MOVING,
        CUT,
        UNTIL_DISARMED,
        "The motor was driven to fold the leg, and the leg unfolded.",
        "Swap two motor wires or turn the pot's calibration round; look for a rope off its drum.",
    ),
    (
        RATE,
        "rate too high",
        "fold rate, either way",
        "rate_most_cdps",
        "rate_ticks",
        VISIT_TICKS,
        MOVING,
        CUT,
        UNTIL_DISARMED,
        "The leg moved faster than anything asked of it.",
        "Look for a broken rope, a stripped gear, or a speed controller that ran away.",
    ),
    (
        ADRIFT,
        "leg does not follow",
        "setpoint above the fold",
        "adrift_cdeg",
        "adrift_ticks",
        VISIT_TICKS,
        MOVING,
        CUT,
        UNTIL_DISARMED,
        "The leg is far below where it is held to be.",
        "Look for a broken rope or a motor that lost its power; then for a failing board.",
    ),
    (
        SLACK,
        "slack rope",
        "fold above the setpoint; lowering, only while the sole bears nothing; stooping, only"
        " where weight alone does not fold a leg",
        "push_cdeg",
        "push_ticks",
        VISIT_TICKS,
        MOVING,
        RELEASE,
        UNTIL_DISARMED,
        "The leg folded farther than the rope drew it: something pushes it from below.",
        "Find what stood under the foot; see that the rope lies in its drum and sheaves.",
    ),
    (
        END_STOP,
        "end stop passed",
        "fold against the soft upper end stop",
        "fold_max_cdeg + stop_margin_cdeg",
        "stop_ticks",
        VISIT_TICKS,
        MOVING + (STANDING,),
        CUT,
        UNTIL_DISARMED,
        "The leg folded past its soft end stop.",
        "Check the calibration, the spring and the load; lower the lift or the speed.",
    ),
    (
        HOT,
        "winding hot",
        "warmth of the winding over the air, by model",
        "hot_mK",
        "",
        LONG_ROUND_TICKS,
        ALWAYS,
        RELEASE,
        UNTIL_DISARMED,
        "The motor has worked so much that its winding must be hot.",
        "Let it cool for a quarter of an hour; walk more slowly, or lift less high.",
    ),
    (
        BATTERY,
        "battery low",
        "battery voltage",
        "battery_least_mV",
        "battery_ticks",
        ROUND_TICKS,
        ALWAYS,
        RELEASE,
        UNTIL_DISARMED,
        "The battery is nearly empty.",
        "Charge the battery, in the open and watched.",
    ),
    (
        SUPPLY,
        "supply dips",
        "voltage of the board's own supply",
        "supply_least_mV",
        "supply_ticks",
        ROUND_TICKS,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "The board's own supply sagged: no reading can be trusted.",
        "Give the board a supply of its own; look for a loose or overloaded lead.",
    ),
    (
        STICK,
        "stick open or shorted",
        "the stick's count against its window",
        "stick_low_count, stick_high_count",
        "stick_ticks",
        ROUND_TICKS,
        ALWAYS,
        RELEASE,
        UNTIL_DISARMED,
        "The stick reads outside its travel.",
        "Look for a broken or pinched wire at the stick.",
    ),
    (
        HOST,
        "host silent",
        "time since the host was heard, while it is in charge",
        "",
        "host_ticks",
        ROUND_TICKS,
        ALWAYS,
        RELEASE,
        UNTIL_DISARMED,
        "The computer that was in charge has fallen silent.",
        "Look at the cable and wake the computer; nothing moves before you arm again.",
    ),
    (
        LATE,
        "loop late",
        "periods that the control loop missed",
        "late_most",
        "",
        1,
        ALWAYS,
        RELEASE,
        UNTIL_DISARMED,
        "The control loop could not keep its period.",
        "Take away what loads the board; if it comes again, the board or its flash is failing.",
    ),
    (
        WATCHDOG,
        "watchdog",
        "the cause of the last reset",
        "",
        "",
        1,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "The program hung, and the watchdog started the board anew.",
        "Keep the record of the last fault and look into it before anybody walks again.",
    ),
    (
        SETTINGS,
        "settings not valid",
        "settings missing, corrupt, of another version, not calibrated, or changed in memory",
        "",
        "",
        1,
        ALWAYS,
        CUT,
        UNTIL_RESET,
        "The settings cannot be used.",
        "Write the settings again from the rig file, calibrate, and restart the board.",
    ),
    (
        STOP,
        "emergency stop",
        "the emergency stop's input",
        "",
        "",
        1,
        ALWAYS,
        CUT,
        UNTIL_DISARMED,
        "The emergency stop is pressed.",
        "See that nobody is in danger, release the stop, then arm again.",
    ),
    (
        MEMORY,
        "memory corrupt",
        "the phase against its copy, counters against their ranges",
        "",
        "",
        LONG_ROUND_TICKS,
        ALWAYS,
        CUT,
        UNTIL_RESET,
        "A number in the board's memory changed by itself.",
        "Restart the board; if it comes again, look at the supply, then change the board.",
    ),
    (
        MISMATCH,
        "legs mismatched",
        "either fold of a stoop against the setpoint that both legs share",
        "apart_cdeg",
        "apart_ticks",
        VISIT_TICKS,
        (STOOPING,),
        RELEASE,
        UNTIL_DISARMED,
        "One leg did not follow the stoop, and the other one waited for it.",
        "Look for a rope that is jammed or lies loose, a weak battery, or far more weight on one"
        " leg than on the other.",
    ),
)


def bits_of(faults, column, value):
    """OR the bits of every row of a table whose `column` holds `value`."""
    bits = 0
    for row in faults:
        if row[column] == value:
            bits |= row[0]
    return bits


# A row that does not cut, releases.
CUT_BITS = bits_of(FAULTS, 7, CUT)
LASTING_BITS = bits_of(FAULTS, 8, UNTIL_RESET)
