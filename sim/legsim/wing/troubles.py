"""What can go wrong on a rig with wings, as data, as `legsim.troubles` has it for legs.

A sight names moments of a show instead of phases: what must be seen while a wing rises need not
show while it is held still.
"""

from math import radians
from typing import NamedTuple

from legcore.faults import (
    ADRIFT,
    AGAINST,
    BATTERY,
    END_STOP,
    LATE,
    MEMORY,
    POT_HIGH,
    POT_JUMP,
    POT_LOW,
    RATE,
    SETTINGS,
    STALL,
    STICK,
    STOP,
    SUPPLY,
    UNASKED,
    WATCHDOG,
)
from legcore.wing_phases import FOLLOWING, OFF, RELEASING, RESTING

from legsim.records import DRIVE_ILLS, POT_ILLS
from legsim.troubles import CORE_SETTINGS, CORE_STATE, Double, Sight, Trouble


class Moment(NamedTuple):
    """When a trouble strikes: so long after a phase has begun; at random, within a span."""

    name: str
    phase: int
    wait_s: float
    soonest_s: float
    latest_s: float


AT_OFF, AT_REST, RISING, HELD, SINKING, LET_DOWN = range(6)
MOMENTS = (
    Moment("off", OFF, 0.0, 0.0, 1.5),
    Moment("resting", RESTING, 0.2, 0.0, 0.6),
    Moment("rising", FOLLOWING, 0.8, 0.0, 2.4),
    Moment("held up", FOLLOWING, 4.0, 2.8, 5.8),
    Moment("sinking", FOLLOWING, 6.3, 6.1, 8.0),
    Moment("releasing", RELEASING, 0.3, 0.0, 1.0),
)
ALL = tuple(range(len(MOMENTS)))
LIVE = (AT_REST, RISING, HELD, SINKING)
MOVING = (RISING, SINKING)


def _pot(ill: str) -> float:
    return float(POT_ILLS.index(ill))


def _drive(ill: str) -> float:
    return float(DRIVE_ILLS.index(ill))


_FALLS = "nothing holds a wing whose rope is gone but the friction of its hinge"
_RUNS = "until it is seen, a motor that runs by itself takes the wing along"
_LOOSE = "without the lower rope the upper one comes to lie loose, and the wing falls into it"
_IN_TURN = "the board compares its settings with their copy a few at a time"
_SPRINGS = "a rope drawn tight against a hand springs back when the hand lets go"
_SWINGS = "what pushes from outside moves the wing against its ropes"

# Nothing else watches a wing that rests.
_MOVED_AT_REST = Sight((AT_REST,), UNASKED, 0.35)

# Places are paths into `legsim.wing.records.WINGS_STATE`, `{leg}` standing for the wing.
WING_TROUBLES = (
    Trouble(
        "pot open",
        "sensor",
        "the wire of a wing's sensor breaks",
        "{leg}.pot_ill",
        _pot("open"),
        (Sight(ALL, POT_LOW),),
    ),
    Trouble(
        "pot shorted",
        "sensor",
        "a wing's sensor is shorted to its supply",
        "{leg}.pot_ill",
        _pot("shorted"),
        (Sight(ALL, POT_HIGH),),
    ),
    Trouble(
        "pot frozen",
        "sensor",
        "the reading of a wing's sensor stays where it is",
        "{leg}.pot_ill",
        _pot("frozen"),
        # Or its wiper is off its track just then.
        (Sight(MOVING, STALL | ADRIFT | POT_LOW, 1.8),),
        spared=(("past_stop_deg", 12.0, "a wing whose sensor stays moves on until it is doubted"),),
    ),
    Trouble(
        "pot jumping",
        "sensor",
        "every second reading of a wing's sensor is nonsense",
        "{leg}.pot_ill",
        _pot("jumping"),
        (Sight(ALL, POT_JUMP | POT_LOW | POT_HIGH, 0.55),),
    ),
    Trouble(
        "pot slipped",
        "sensor",
        "a wing's sensor slips on its shaft by 30 degrees",
        "{leg}.pot_slip_rad",
        radians(30),
        (Sight(ALL[AT_REST:], POT_JUMP | POT_HIGH),),
    ),
    Trouble(
        "command open",
        "command",
        "the wire of the stick or command pot breaks",
        "{leg}.command_ill",
        _pot("open"),
        (Sight(ALL, STICK),),
    ),
    Trouble(
        "command shorted",
        "command",
        "the stick or command pot is shorted to its supply",
        "{leg}.command_ill",
        _pot("shorted"),
        (Sight(ALL, STICK),),
    ),
    Trouble(
        "command jumping",
        "command",
        "every second reading of the command is nonsense",
        "{leg}.command_ill",
        _pot("jumping"),
        (),
    ),
    Trouble(
        "command stuck",
        "command",
        "the stick stays where it is: the wing goes to its end, and stays",
        "{leg}.command_ill",
        _pot("frozen"),
        (),
    ),
    Trouble(
        "command pushed",
        "command",
        "a sleeve pushes the stick or turns the pot",
        "{leg}.command_push",
        0.6,
        (),
    ),
    Trouble(
        "controller dead",
        "drive",
        "a speed controller loses its power",
        "{leg}.drive_ill",
        _drive("dead"),
        (Sight((RISING,), ADRIFT | STALL | AGAINST, 1.2),),
    ),
    Trouble(
        "controller full up",
        "drive",
        "a speed controller drives full up, whatever it is told",
        "{leg}.drive_ill",
        _drive("full up"),
        (_MOVED_AT_REST, Sight(LIVE, UNASKED | RATE | ADRIFT | AGAINST | END_STOP, 0.85)),
        spared=(("past_stop_deg", 20.0, _RUNS),),
    ),
    Trouble(
        "controller full down",
        "drive",
        "a speed controller drives full down, whatever it is told",
        "{leg}.drive_ill",
        _drive("full down"),
        (_MOVED_AT_REST, Sight(LIVE, UNASKED | RATE | ADRIFT | AGAINST | END_STOP, 0.85)),
        spared=(("past_stop_deg", 20.0, _RUNS),),
    ),
    Trouble(
        "controller deaf",
        "drive",
        "a speed controller goes on with its last pulse",
        "{leg}.drive_ill",
        _drive("holds its last"),
        (Sight((RISING,), RATE | ADRIFT | AGAINST | END_STOP, 2.9),),
        spared=(("past_stop_deg", 20.0, _RUNS),),
    ),
    Trouble(
        "motor reversed",
        "drive",
        "two motor wires are swapped",
        "{leg}.drive_ill",
        _drive("reversed"),
        (Sight(MOVING, AGAINST | ADRIFT | RATE, 0.4),),
        spared=(("past_stop_deg", 6.0, _RUNS),),
    ),
    Trouble(
        "upper rope snaps",
        "rope",
        "the lead line that raises a wing breaks",
        "{leg}.up_snapped",
        1.0,
        (Sight((RISING, HELD), ADRIFT | AGAINST | RATE | STALL, 1.2),),
        spared=(("tip_mps", 6.0, _FALLS), ("past_stop_deg", 10.0, _FALLS)),
    ),
    Trouble(
        "lower rope snaps",
        "rope",
        "the lead line that pulls a wing down breaks",
        "{leg}.down_snapped",
        1.0,
        (),
        spared=(("tip_mps", 5.0, _LOOSE),),
    ),
    Trouble(
        "drum jams",
        "rope",
        "drum or gears jam and turn no more",
        "{leg}.jammed",
        1.0,
        (Sight(MOVING, STALL | ADRIFT, 1.8),),
        # A jammed drum holds the wing up without power.
        spared=(("power_late_s", 8.2, "a wing that cannot come down is given its whole time"),),
    ),
    Trouble(
        "wing caught",
        "outside",
        "somebody takes hold of a wing and keeps it where it is",
        "{leg}.caught",
        1.0,
        (Sight(MOVING, STALL | ADRIFT, 1.8),),
        lasts_s=3.0,
        spared=(
            ("tip_mps", 7.0, _SPRINGS),
            ("past_stop_deg", 8.0, _SPRINGS),
        ),
    ),
    Trouble(
        "gust from below",
        "outside",
        "a gust lifts a wing with 60 N*m",
        "{leg}.push_Nm",
        60.0,
        (),
        lasts_s=1.0,
        spared=(
            ("tip_mps", 4.0, _SWINGS),
            ("past_stop_deg", 20.0, _SWINGS),
        ),
    ),
    Trouble(
        "overload",
        "outside",
        "somebody hangs on a wing's tip, 120 N*m",
        "{leg}.push_Nm",
        -120.0,
        (),
        lasts_s=2.0,
        spared=(
            ("tip_mps", 4.0, _SWINGS),
            ("past_stop_deg", 20.0, _SWINGS),
        ),
    ),
    Trouble(
        "never rests",
        "outside",
        "the wearer raises and lowers the loaded wings for ten minutes without a rest",
        "{leg}.drag_Nm",
        0.0,
        (),
        walk_s=600.0,
    ),
    Trouble(
        "battery flat",
        "battery",
        "the battery's voltage sinks by a quarter",
        "battery_dip_V",
        6.0,
        (Sight(ALL, BATTERY),),
    ),
    Trouble(
        "supply dips",
        "battery",
        "the board's own supply sags by a volt",
        "board.supply_dip_V",
        1.0,
        (Sight(ALL, SUPPLY),),
    ),
    Trouble(
        "loop late",
        "timing",
        "every tick misses two periods",
        "board.late_ticks",
        2.0,
        # A loop that is late judges and answers late, too.
        (Sight(ALL, LATE, 0.04),),
        spared=(("unheeded_ticks", 2.0, "what is late acts late, until the watchdog bites"),),
    ),
    Trouble(
        "program hangs",
        "timing",
        "the program stops where it is",
        "board.hung",
        1.0,
        # Power goes as the watchdog bites; what it was is told once the board has started anew.
        (Sight(ALL, WATCHDOG, 1.15),),
    ),
    Trouble(
        "memory changes",
        "memory",
        "one bit of the control code's memory turns over",
        CORE_STATE,
        0.0,
        (),
    ),
    Trouble(
        "phase changes",
        "memory",
        "one bit of a wing's phase turns over",
        CORE_STATE,
        0.0,
        (Sight(ALL, MEMORY),),
    ),
    Trouble(
        "settings change",
        "memory",
        "one bit of the settings in memory turns over",
        CORE_SETTINGS,
        0.0,
        (Sight(ALL, SETTINGS, 0.2),),
        spared=(("outside_ticks", 45.0, _IN_TURN), ("past_stop_deg", 8.0, _IN_TURN)),
    ),
    Trouble(
        "settings spoilt",
        "settings",
        "the settings are found to be corrupt",
        "board.settings_bad",
        1.0,
        (Sight(ALL, SETTINGS),),
    ),
    Trouble(
        "stop pressed",
        "hand",
        "somebody presses the emergency stop",
        "board.stop",
        1.0,
        (Sight(ALL, STOP),),
    ),
)

_LOADED = "a load hangs on a wing that nothing holds"
WING_DOUBLES = (
    Double(("overload", "upper rope snaps"), "tip_mps", 16.0, _LOADED),
    Double(("overload", "upper rope snaps"), "past_stop_deg", 28.0, _LOADED),
    Double(("gust from below", "lower rope snaps"), "tip_mps", 8.0, _LOOSE),
)
