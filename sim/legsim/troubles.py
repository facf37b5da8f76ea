"""What can go wrong on a rig, as data: which number of the simulation, what it becomes.

Each row says in which phases of the leg that is struck it must be seen, by which rows of
the fault table, and how long it may lie hidden before what they watch comes about; from then
on each has the time that it states itself. Elsewhere it may go unseen, if nothing comes of it.
Where physics makes harm unavoidable, the row says how much, and why.
"""

from dataclasses import dataclass
from math import radians

import numpy as np
from legcore.faults import (
    ADRIFT,
    AGAINST,
    ASKED,
    BATTERY,
    END_STOP,
    HANGING,
    HOST,
    LATE,
    LINKAGE,
    MEMORY,
    MISMATCH,
    POT_FROZEN,
    POT_HIGH,
    POT_JUMP,
    POT_LOW,
    RATE,
    SETTINGS,
    SLACK,
    STALL,
    STICK,
    STOP,
    SUPPLY,
    SWITCH_CHATTER,
    SWITCH_STUCK,
    SWITCH_UNSEEN,
    UNASKED,
    UNBORNE,
    WATCHDOG,
    WEIGHT,
)
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING, STOOPING

from legsim.records import CONTACT_ILLS, DRIVE_ILLS, POT_ILLS, STATE

ALL = (OFF, STANDING, LIFTING, HELD, LOWERING, RELEASING, STOOPING)
# Places that are not in the plant's memory but bits of the core's.
CORE_STATE, CORE_SETTINGS = "core state", "core settings"


@dataclass(frozen=True)
class Sight:
    """Struck in one of these phases, a trouble must be seen by one of these rows.

    In `lag_s` at most what the row watches has come about; then it has its own time, in which
    outputs must be safe, too.
    """

    phases: tuple[int, ...]
    rows: int
    lag_s: float = 0.0


@dataclass(frozen=True)
class Trouble:
    """One thing that goes wrong: the number at `place` becomes `value`, for `lasts_s` or good.

    `place` is a path into the plant's memory, with `{leg}` and `{joint}` for the leg and the
    joint that are struck. `spared` names measures of `legsim.drill.LIMITS` that no controller
    can keep here, each with its bound and the reason.
    """

    name: str
    family: str
    text: str
    place: str
    value: float
    sights: tuple[Sight, ...]
    lasts_s: float = 0.0
    # How long a walk takes in which it must be seen.
    walk_s: float = 20.0
    # Whether it strikes the leg beside the one whose phase it waits for.
    beside: bool = False
    spared: tuple[tuple[str, float, str], ...] = ()


def _pot(ill: str) -> float:
    return float(POT_ILLS.index(ill))


def _contact(ill: str) -> float:
    return float(CONTACT_ILLS.index(ill))


def _drive(ill: str) -> float:
    return float(DRIVE_ILLS.index(ill))


_IN_TURN = "the board compares its settings with their copy a few at a time"
_FALLS = "the frame comes down onto a leg that is up"

TROUBLES = (
    Trouble(
        "pot open",
        "sensor",
        "a joint sensor's wire breaks",
        "{leg}.{joint}_ill",
        _pot("open"),
        (Sight(ALL, POT_LOW),),
    ),
    Trouble(
        "pot shorted",
        "sensor",
        "a joint sensor is shorted to its supply",
        "{leg}.{joint}_ill",
        _pot("shorted"),
        (Sight(ALL, POT_HIGH),),
    ),
    Trouble(
        "pot frozen",
        "sensor",
        "a joint sensor's reading stays where it is",
        "{leg}.{joint}_ill",
        _pot("frozen"),
        # Which joint it is decides whether the fold seems to stay or to go on; and a wiper may
        # be off its track just then.
        (Sight((LIFTING,), POT_FROZEN | ADRIFT | POT_LOW, 0.9),),
        spared=(
            (
                "loaded_fold_deg",
                32.0,
                "in a stoop the fold is twice what is seen of it, which shows that one sensor stays"
                " only once it has passed the frozen limit, at worst for the second time",
            ),
        ),
    ),
    Trouble(
        "pot jumping",
        "sensor",
        "every second reading of a joint sensor is nonsense",
        "{leg}.{joint}_ill",
        _pot("jumping"),
        (Sight(ALL, POT_JUMP | POT_LOW | POT_HIGH, 0.55),),
    ),
    Trouble(
        "pot slipped",
        "sensor",
        "a joint sensor slips on its shaft by 30 degrees",
        "{leg}.{joint}_slip_rad",
        radians(30),
        (Sight(ALL[STANDING:], POT_JUMP),),
    ),
    Trouble(
        "pot turned",
        "sensor",
        "a joint sensor has been put back 50 degrees off",
        "{leg}.{joint}_slip_rad",
        radians(50),
        (Sight((OFF,), LINKAGE | POT_JUMP),),
    ),
    Trouble(
        "switch stuck closed",
        "switch",
        "a foot switch closes and stays closed",
        "{leg}.switch_ill",
        _contact("closed"),
        (Sight((OFF,), SWITCH_STUCK, 0.1),),
        spared=(("landing_mps", 1.5, _FALLS),),
    ),
    Trouble(
        "switch open",
        "switch",
        "a foot switch's wire breaks",
        "{leg}.switch_ill",
        _contact("open"),
        (Sight((STANDING,), SWITCH_UNSEEN, 20.0),),
        walk_s=24.0,
    ),
    Trouble(
        "switch chatters",
        "switch",
        "a foot switch opens and closes at random",
        "{leg}.switch_ill",
        _contact("chattering"),
        (Sight(ALL, SWITCH_CHATTER | SWITCH_UNSEEN, 0.65),),
    ),
    Trouble(
        "sole stuck closed",
        "switch",
        "a sole contact closes and stays closed",
        "{leg}.sole_ill",
        _contact("closed"),
        (Sight((LIFTING, HELD), WEIGHT), Sight((STANDING,), ASKED, 5.0)),
    ),
    Trouble(
        "sole open",
        "switch",
        "a sole contact's wire breaks",
        "{leg}.sole_ill",
        _contact("open"),
        (Sight((STANDING,), UNBORNE | HANGING, 5.5),),
    ),
    Trouble(
        "controller dead",
        "drive",
        "a speed controller loses its power",
        "{leg}.drive_ill",
        _drive("dead"),
        (Sight((HELD,), ADRIFT | AGAINST, 0.55), Sight((LIFTING,), ADRIFT | STALL | AGAINST, 0.95)),
    ),
    Trouble(
        "controller full up",
        "drive",
        "a speed controller drives full up, whatever it is told",
        "{leg}.drive_ill",
        _drive("full up"),
        (
            Sight((STANDING,), UNASKED, 0.45),
            Sight((LIFTING, HELD, LOWERING), RATE | SLACK | END_STOP | UNASKED, 0.65),
            Sight((RELEASING,), SLACK, 0.25),
        ),
        spared=(
            ("landing_mps", 1.5, _FALLS),
            (
                "strayed_deg",
                18.0,
                "let down from a stoop, a leg that folds on under weight is taken for one that has"
                " landed, and loses its power for that",
            ),
            (
                "loaded_fold_deg",
                30.0,
                "while a leg stands, nothing tells its motor's pull from its own sinking until it"
                " has gone past what weight can do, and the rotor then coasts",
            ),
        ),
    ),
    Trouble(
        "controller full down",
        "drive",
        "a speed controller drives full down, whatever it is told",
        "{leg}.drive_ill",
        _drive("full down"),
        (Sight((LIFTING, HELD), ADRIFT | AGAINST | RATE | STALL, 0.35),),
    ),
    Trouble(
        "controller deaf",
        "drive",
        "a speed controller goes on with its last pulse",
        "{leg}.drive_ill",
        _drive("holds its last"),
        (Sight((LIFTING,), RATE | SLACK | END_STOP, 0.95),),
        spared=(("landing_mps", 1.5, _FALLS),),
    ),
    Trouble(
        "motor reversed",
        "drive",
        "two motor wires are swapped",
        "{leg}.drive_ill",
        _drive("reversed"),
        (Sight((LIFTING,), AGAINST, 0.1),),
        spared=(("landing_mps", 1.5, _FALLS),),
    ),
    Trouble(
        "rope snaps",
        "rope",
        "the lead line breaks",
        "{leg}.snapped",
        1.0,
        (
            Sight(
                (LIFTING, HELD, LOWERING, RELEASING),
                ADRIFT | AGAINST | RATE | POT_JUMP | STALL,
                0.5,
            ),
        ),
        spared=(
            ("landing_mps", 5.0, "a broken rope frees the spring: only a damper could hold it"),
        ),
    ),
    Trouble(
        "drum jams",
        "rope",
        "drum or gears jam and turn no more",
        "{leg}.jammed",
        1.0,
        (
            Sight((LIFTING,), STALL, 0.8),
            # Jammed with the foot nearly down, it shows at one of the next lifts.
            Sight((LOWERING,), HANGING | UNASKED | STALL, 9.0),
            Sight((STOOPING,), MISMATCH | STALL, 2.0),
        ),
        spared=(("landing_mps", 1.5, _FALLS),),
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
        "stumble",
        "wearer",
        "all weight falls on one leg, up or not",
        "{leg}.stumble",
        1.0,
        (Sight((LIFTING, HELD), WEIGHT | SLACK | UNBORNE, 0.35),),
        0.8,
        spared=(("landing_mps", 1.5, _FALLS),),
    ),
    Trouble(
        "foot raised",
        "wearer",
        "a foot is raised for two seconds, whatever else goes on",
        "{leg}.lifts",
        1.0,
        (),
        2.0,
        spared=(("landing_mps", 1.5, _FALLS),),
    ),
    Trouble(
        "both feet raised",
        "wearer",
        "the other foot is raised as well",
        "{leg}.lifts",
        1.0,
        (),
        2.0,
        beside=True,
        spared=(("landing_mps", 1.5, _FALLS),),
    ),
    Trouble(
        "never rests",
        "wearer",
        "the wearer steps for ten minutes without a rest",
        "{leg}.drag_Nm",
        0.0,
        (),
        walk_s=600.0,
    ),
    Trouble(
        "pushed up",
        "wearer",
        "a kerb pushes the foot up with 600 N",
        "{leg}.foot_N",
        600.0,
        (Sight((HELD,), SLACK, 0.25),),
        0.3,
        spared=(
            ("landing_mps", 2.5, "the foot is thrown up and falls"),
            ("fold_past_stop_deg", 8.0, "a push from outside can fold a leg to its hard stop"),
            ("airborne_s", 1.0, "the push lifts the rig"),
        ),
    ),
    Trouble(
        "frame lifted",
        "wearer",
        "the leg that stands loses the ground: a kerb, or somebody lifts the frame",
        "{leg}.hip_N",
        -450.0,
        (Sight((LIFTING, HELD), UNBORNE, 0.25),),
        1.0,
        beside=True,
        spared=(
            ("airborne_s", 1.5, "the rig is off the ground, whatever its controller does"),
            ("landing_mps", 2.5, "the rig comes down again"),
        ),
    ),
    Trouble(
        "foot caught",
        "wearer",
        "something holds the foot down with 400 N",
        "{leg}.foot_N",
        -400.0,
        (Sight((LIFTING,), WEIGHT | STALL, 0.2),),
        1.5,
    ),
    Trouble(
        "overload",
        "wearer",
        "somebody hangs on the frame over one leg",
        "{leg}.hip_N",
        700.0,
        (
            Sight((STANDING,), UNASKED, 0.45),
            Sight((LIFTING, HELD), WEIGHT | RATE | SLACK | UNASKED, 0.35),
        ),
        1.0,
        spared=(
            ("landing_mps", 2.5, _FALLS),
            ("fold_past_stop_deg", 8.0, "a load from outside can fold a leg to its hard stop"),
        ),
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
        "one bit of a leg's phase turns over",
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
        spared=(
            ("outside_ticks", 45.0, _IN_TURN),
            ("loaded_fold_deg", 14.0, _IN_TURN),
            ("landing_mps", 1.5, _FALLS),
        ),
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
    Trouble(
        "host silent",
        "hand",
        "the computer in charge falls silent",
        "board.host",
        2.0,
        (Sight(ALL, HOST),),
    ),
    Trouble(
        "stick open",
        "hand",
        "the stick's wire breaks",
        "board.stick_ill",
        1.0,
        (Sight(ALL, STICK),),
    ),
    Trouble(
        "stick off middle",
        "hand",
        "the stick is held off its middle, or does not spring back to it",
        "board.stick_ill",
        0.35,
        (),
        spared=(("landing_mps", 2.5, "who steps while stooped falls onto a leg that is short"),),
    ),
)


@dataclass(frozen=True)
class Double:
    """Two troubles of one leg at once that leave only what is built of wood, steel and wire."""

    names: tuple[str, str]
    measure: str
    most: float
    reason: str


_BLIND = (
    "the leg's motor runs by itself and the leg's own sensor hides it: its hard stop must bear the"
    " motor's whole force, and the hard-wired emergency stop is what is left"
)
DOUBLES = (
    Double(("controller full up", "pot frozen"), "fold_past_stop_deg", 20.0, _BLIND),
    Double(("controller full up", "pot frozen"), "loaded_fold_deg", 60.0, _BLIND),
)


def place_of(path: str, leg: str, joint: str, dtype: np.dtype[np.void] = STATE) -> int:
    """Index into the plant's memory, as an array of floats, of the number at `path`."""
    offset = 0
    for name in path.format(leg=leg, joint=joint).split("."):
        fields = dtype.fields
        assert fields is not None
        dtype, at = np.dtype(fields[name][0]), fields[name][1]
        offset += at
    return offset // np.dtype(np.float64).itemsize
