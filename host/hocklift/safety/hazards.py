"""The hazard table: what can go wrong, who is hurt, and what stands against it.

Rows name fault rows by their bits and drill troubles by name, so that a test can see that
no fault row and no trouble is without a hazard, and none is made up.
"""

from typing import NamedTuple

from legcore.faults import (
    ADRIFT,
    AGAINST,
    ASKED,
    BATTERY,
    END_STOP,
    HANGING,
    HOST,
    HOT,
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


class Hazard(NamedTuple):
    """One row: `faults` are bits of the fault table, `troubles` names of drill troubles."""

    what: str
    hurt: str
    built: str
    controlled: str
    faults: int = 0
    troubles: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()


_CORE = "tests/core/test_faults.py"
_ARMING = "tests/core/test_arming.py"
_REACHABLE = "tests/core/test_reachable.py"
_MEMORY = "tests/core/test_memory.py"
_REFUSALS = "tests/host/test_refusals.py"
_RELAY = "tests/core/test_relay_law.py"
_BOARD = "tests/sim/test_board.py"

HAZARDS = (
    Hazard(
        "A spring lets go while it is fitted, or with a hand in the links.",
        "The builder: broken fingers, eye injuries.",
        "Preload by a threaded rod with a lock nut, never by hand. A rod or cage keeps the coil"
        " if an anchor breaks. A steel bar blocks each leg at its extended stop whenever somebody"
        " reaches in. Safety glasses.",
        "Nothing: electronics cannot hold a spring.",
    ),
    Hazard(
        "Links, gears, drum or rope pinch or draw something in.",
        "Builder, wearer, children near: fingers, hair, costume.",
        "Links apart by more than a finger is thick, or covered; gears and drum boxed in; netting"
        " over the legs where the public comes near.",
        "Speed bounded at every stage of commissioning; nothing moves before it is armed; the"
        " emergency stop cuts the power.",
        STOP,
        ("stop pressed",),
        (_CORE, _ARMING),
    ),
    Hazard(
        "The rope breaks, or a gear strips, with a foot up.",
        "Who is under the foot, and the wearer: the spring throws the foot down.",
        "Rope at five times its load or more, looked over before each walk; sheaves and drum of"
        " fitting size; a rubber or gas damper at the extended stop.",
        "Power off once the leg does not follow; the fall itself cannot be held.",
        STALL | ADRIFT | RATE | AGAINST,
        ("rope snaps", "controller dead"),
        (_CORE,),
    ),
    Hazard(
        "A leg folds while it bears weight.",
        "The wearer falls.",
        "Springs that bear the frame without any rope; hard folded stop; held from above until all"
        " checks have passed.",
        "A sole contact in each foot: a leg that bears is never lifted, and one that comes to bear"
        " is let down at once. A standing leg that folds farther than weight can fold it loses"
        " power.",
        WEIGHT | ASKED | UNASKED,
        ("stumble", "foot caught", "sole stuck closed", "overload"),
        (_CORE, _ARMING),
    ),
    Hazard(
        "A speed controller drives by itself, or goes on with its last pulse.",
        "The wearer falls; hands are caught.",
        "The emergency stop and the contactor cut the battery from both controllers; hard stops"
        " that hold the motor's whole force.",
        "Motion that nobody asked for opens the contactor.",
        UNASKED | RATE | SLACK | END_STOP,
        ("controller full up", "controller full down", "controller deaf"),
        (_CORE,),
    ),
    Hazard(
        "Something pushes a raised foot up: a kerb, a step, a knee.",
        "The wearer stumbles; rope falls off its sheaves.",
        "Rope guards at sheaves and drum; toes of the foot plate rounded.",
        "Slack rope lets the foot down.",
        SLACK | END_STOP,
        ("pushed up",),
        (_CORE,),
    ),
    Hazard(
        "A foot stays up when its wearer puts it down: a switch sticks, a drum jams.",
        "The wearer steps into nothing and falls.",
        "Switches that spring open by themselves, kept from mud; a drum that cannot jam its own"
        " rope.",
        "Weight on a raised leg lets it down; no foot stays up longer than the hold time; a leg"
        " that hangs folded stops both.",
        SWITCH_STUCK | HANGING | WEIGHT,
        ("switch stuck closed", "drum jams"),
        (_CORE,),
    ),
    Hazard(
        "Both feet leave the ground.",
        "The wearer falls.",
        "Held from above until the wearer walks surely.",
        "A leg lifts only while the other one stands and bears; if that one ceases to bear, the"
        " raised foot comes down.",
        UNBORNE,
        ("sole open", "frame lifted", "both feet raised"),
        (_CORE, _REACHABLE),
    ),
    Hazard(
        "A foot switch fails or chatters: the leg does not lift, or lifts and falls.",
        "The wearer trips.",
        "Two screws and strain relief on each switch; its cable away from the links.",
        "Contacts debounced; chatter and a switch that is never seen let both legs down.",
        SWITCH_CHATTER | SWITCH_UNSEEN,
        ("switch open", "switch chatters"),
        (_CORE,),
    ),
    Hazard(
        "In a stoop one leg stays behind the other, or a foot is raised.",
        "The wearer is tipped sideways and falls; the springs push up whoever leans on the frame.",
        "Springs and tackles alike on both legs; heavy rotors and gears, so that legs without"
        " power rise slowly; a rubber at the extended stop.",
        "Both legs follow one setpoint, which waits for the slower one; who waits for long lets"
        " both rise. No foot lifts before both legs are up; too long or too warm, they rise by"
        " themselves.",
        MISMATCH | UNBORNE | HOT,
        ("drum jams", "stick open", "foot raised"),
        (_CORE, _REACHABLE, _REFUSALS),
    ),
    Hazard(
        "A joint sensor lies.",
        "The wearer: the leg overshoots or drops.",
        "Pots clamped on a flat, wired with strain relief, fed from the converter's own reference;"
        " hard stops.",
        "Readings outside the window, leaps, a sensor that stays while the leg folds, and poses"
        " that no foot can take remove power.",
        POT_LOW | POT_HIGH | POT_JUMP | POT_FROZEN | LINKAGE,
        ("pot open", "pot shorted", "pot frozen", "pot jumping", "pot slipped", "pot turned"),
        (_CORE,),
    ),
    Hazard(
        "Motor or sensor is wired the wrong way round.",
        "The builder at the first power-on.",
        "Rope off the drum, leg blocked, current-limited supply at the first power-on.",
        "Motion against the drive removes power; stages let speed grow only as checks pass.",
        AGAINST | LINKAGE,
        ("motor reversed",),
        (_CORE, _ARMING),
    ),
    Hazard(
        "A leg is made to swing on its stand, to find gains.",
        "Who reaches in, expecting it to be still.",
        "Frame on its stand, nobody in it; the rope no longer than the leg needs; somebody at the"
        " emergency stop.",
        "Only at the stages without a wearer; a fixed small drive about what carries the leg; a"
        " leg that does not turn round within half a second is a stall, one that leaves a band of"
        " a few degrees is let down; over when a foot may no longer be held up.",
        STALL | SLACK | ADRIFT,
        (),
        (_RELAY, "tests/host/test_relay.py"),
    ),
    Hazard(
        "The program hangs, is late, or its memory changes.",
        "The wearer: outputs stay as they were.",
        "Pull-down resistors on pulse and contactor outputs: a board without a program holds"
        " nothing closed.",
        "A watchdog fed only by a tick that came in time; phases kept twice, counters and settings"
        " compared; never armed after a reset.",
        LATE | WATCHDOG | MEMORY | SETTINGS,
        (
            "loop late",
            "program hangs",
            "memory changes",
            "phase changes",
            "settings change",
            "settings spoilt",
        ),
        (_CORE, _MEMORY, _BOARD, _REACHABLE),
    ),
    Hazard(
        "The board's supply sags, or a computer in charge falls silent.",
        "The wearer: nobody is in control.",
        "A supply of its own for the board, with star ground; the cable strain-relieved.",
        "Both are watched; silence lets the feet down.",
        SUPPLY | HOST,
        ("supply dips", "host silent"),
        (_CORE,),
    ),
    Hazard(
        "The stick breaks, or is held at power-on.",
        "The wearer: both legs would move.",
        "A self-centring stick, guarded against knocks.",
        "Its window is watched; arming wants it in its middle.",
        STICK,
        ("stick open", "stick off middle"),
        (_CORE, _ARMING, _REFUSALS),
    ),
    Hazard(
        "It moves when nobody expects it: at power-on, after a reset, after a fault.",
        "Whoever has a hand in it.",
        "A key or a guarded switch for arming, in the wearer's reach only; the battery plug out"
        " when work is done on it.",
        "Arming must be seen open, then held; every fault and every reset asks for it anew.",
        STOP | WATCHDOG,
        ("program hangs", "stop pressed"),
        (_ARMING, _REACHABLE),
    ),
    Hazard(
        "The lithium battery burns: short, crush, overcharge, deep discharge.",
        "Everybody near: burns, smoke.",
        "Fuse at the pack's own leads, hard case, away from links; charged in the open, watched,"
        " never in the rig; not used once swollen. Local rules for carriage and storage apply.",
        "Low voltage lets the feet down before the controllers give up in mid-step.",
        BATTERY,
        ("battery flat",),
        (_CORE,),
    ),
    Hazard(
        "Motor, controller or gears get hot.",
        "Burns; printed gears soften and strip.",
        "Air to the motors; covers that fingers cannot pass; a thermal fuse on the winding.",
        "A model of the winding's warmth lets the feet down. It cannot feel friction that nobody"
        " told it of, nor a hot day: touch the motor after each walk until you know it.",
        HOT,
        ("never rests",),
        (_CORE,),
    ),
    Hazard(
        "The wearer falls, whatever the cause.",
        "Wearer and who stands near.",
        "A harness on a gantry first, then two people beside; helmet and wrist guards; level,"
        " dry ground; a frame that can be left with one hand.",
        "Nothing catches a person: the wearer balances.",
    ),
    Hazard(
        "Contactor or emergency stop fails closed.",
        "The one thing that stops a motor that runs by itself is missing.",
        "A stop that opens its contact by force, in series with the contactor's coil; both tried"
        " before each session. The board cannot see a welded contact.",
        "Nothing: one channel cannot watch itself.",
    ),
)

_WATCH = "tests/core/test_wing_watch.py"
_WING_REACHABLE = "tests/core/test_wing_reachable.py"
_DRILL = "tests/host/test_wing_drill.py"

# Of a joint with two ropes; bits are those of its own fault table, troubles those of its drill.
WING_HAZARDS = (
    Hazard(
        "A wing that is up swings down: its upper rope breaks, or its power is cut.",
        "Who stands in its reach: head, eyes.",
        "Nobody in its reach; tips light, round and padded, no lath's end at the height of eyes."
        " Rope at five times its load or more; a second line, left loose, that holds the wing"
        " where it would meet somebody; rubber at both hard stops.",
        "Power off once the wing does not follow; without a rope its fall cannot be held. Cut off"
        " with both ropes whole, motor and gears slow it; where its angle can be trusted it is"
        " brought down at a limited speed instead.",
        ADRIFT | AGAINST | RATE | STALL,
        ("upper rope snaps", "lower rope snaps", "controller dead"),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "What hangs at a tip falls, or a wing comes down with more than it can hold.",
        "Who stands beneath.",
        "Nobody beneath; the load lashed so that it cannot slip off a tip that points down; hinge,"
        " spar and hard stops for somebody who hangs on them.",
        "A wing that is dragged from where it should be loses power; nothing holds its load.",
        ADRIFT | STALL,
        ("overload",),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "A wing meets somebody, or is held, while it moves.",
        "Who is met, or lets go of a drawn rope: blows, pinched fingers.",
        "Laths and cloth that give; a controller set to little more current than the work takes;"
        " the reach marked off.",
        "Speed bounded at every stage; a wing that does not move, or stays behind, loses power.",
        STALL | ADRIFT,
        ("wing caught",),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "Wind takes a wing.",
        "The wearer is thrown off balance; who is near is struck.",
        "Not out of doors in wind; cloth that tears from its lath before the wearer falls.",
        "A resting wing that is moved far, or one that leaves its setpoint, loses power; against"
        " the wind itself it can do nothing.",
        UNASKED | ADRIFT,
        ("gust from below",),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "A speed controller drives by itself, goes on with its last pulse, or is wired the wrong"
        " way round.",
        "Who is in reach; hands at drum and ropes.",
        "The emergency stop and the contactor cut the battery from both controllers; hard stops"
        " that hold the motor's whole force; the first power-on with the ropes off the drum.",
        "Motion that nobody asked for, or against the drive, opens the contactor.",
        UNASKED | RATE | AGAINST | ADRIFT | END_STOP,
        ("controller full up", "controller full down", "controller deaf", "motor reversed"),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "The hinge's sensor lies.",
        "Who is in reach: the wing runs on, into its stop.",
        "Pot clamped on a flat, wired with strain relief; hard stops.",
        "Readings outside the window and leaps remove power; so does a wing that is driven and"
        " seems to stay. With one sensor to a wing, a slow slip shows to nothing.",
        POT_LOW | POT_HIGH | POT_JUMP | STALL,
        ("pot open", "pot shorted", "pot frozen", "pot jumping", "pot slipped"),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "Stick or pot asks for what the wearer does not want: a broken wire, a sleeve.",
        "Who is in reach, not expecting it.",
        "A self-centring stick out of the way of sleeves, guarded against knocks.",
        "Its window is watched, and lost, it brings both wings down; a stick that is stuck in its"
        " travel looks like a wish: the wing goes to its end at its usual speed. Arming wants rest;"
        " disarming brings both down.",
        STICK,
        ("command open", "command shorted", "command jumping", "command stuck", "command pushed"),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "Drum or gears jam with the wing up.",
        "Who reaches in to free it.",
        "A bar or a line that holds the wing before anybody reaches in.",
        "Power off once it is driven and does not move; it stays up then, with the rope tight.",
        STALL | ADRIFT,
        ("drum jams",),
        (_WATCH, _DRILL),
    ),
    Hazard(
        "The program hangs, is late, or its memory changes; the supply sags.",
        "Who is in reach: outputs stay as they were.",
        "Pull-down resistors on pulse and contactor outputs; a supply of its own for the board.",
        "A watchdog fed only by a tick that came in time; phases kept twice, counters and settings"
        " compared; never armed after a reset.",
        LATE | WATCHDOG | MEMORY | SETTINGS | SUPPLY,
        (
            "loop late",
            "program hangs",
            "memory changes",
            "phase changes",
            "settings change",
            "settings spoilt",
            "supply dips",
        ),
        (_WATCH, _BOARD, _WING_REACHABLE, _DRILL),
    ),
    Hazard(
        "It moves when nobody expects it, or a hand is in drum, ropes or quadrant.",
        "Fingers, hair, costume.",
        "Drum and quadrant boxed in; the battery plug out when work is done on it.",
        "Arming must be seen open, then held; every fault and every reset asks for it anew; the"
        " emergency stop cuts the power.",
        STOP | WATCHDOG,
        ("stop pressed", "program hangs"),
        (_WATCH, _WING_REACHABLE),
    ),
    Hazard(
        "The battery gives up, or the motor gets hot, with the wings up.",
        "Burns; who stands beneath.",
        "Fuse at the pack's own leads; air to the motors; a thermal fuse on the winding.",
        "Low voltage, and a model of the winding's warmth, bring both wings down while they can"
        " still be held.",
        BATTERY | HOT,
        ("battery flat", "never rests"),
        (_WATCH, _DRILL),
    ),
)
