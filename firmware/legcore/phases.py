"""The phases of a leg, and the one table that says how a leg passes between them."""

from micropython import const

OFF = const(0)
STANDING = const(1)
LIFTING = const(2)
HELD = const(3)
LOWERING = const(4)
RELEASING = const(5)
STOOPING = const(6)

# (name, drive may leave neutral, what it means to the person)
PHASES = (
    ("off", 0, "safe: drive neutral, contactor open; waits to be armed"),
    ("standing", 0, "foot down, rope easy, drive neutral"),
    ("lifting", 1, "folding the leg after a raised foot"),
    ("held up", 1, "foot at its height, waiting for the wearer"),
    ("lowering", 1, "letting rope out so that the spring puts the foot down"),
    ("releasing", 1, "safe: letting the foot down at limited speed, then off"),
    ("stooping", 1, "both legs fold and rise together by the stick, and hold when it is let go"),
)

# Events in order of precedence: when several hold, the earliest in this list counts.
NOTHING = const(0)
CUT = const(1)
RELEASE = const(2)
DISARM = const(3)
ARM = const(4)
ASK = const(5)
STOOP = const(6)
LET_GO = const(7)
TIRED = const(8)
LANDED = const(9)
ARRIVED = const(10)

EVENTS = (
    ("nothing", "no row applies"),
    ("cut", "a fault that removes power at once, on either leg"),
    ("release", "a fault that lets the foot down under control, on either leg"),
    ("disarm", "the arm input is open"),
    ("arm", "armed by the person, with every sensor live and both feet down"),
    ("ask", "foot raised on its switch, and the other leg is standing"),
    ("stoop", "stick pushed from its middle; both legs stand and bear, and no foot is raised"),
    ("let go", "foot no longer raised"),
    ("tired", "up for the longest time allowed"),
    (
        "landed",
        "leg at its rest fold, the foot has met something, or the time for it is over; stooping:"
        " both legs at rest, or near it with a foot raised",
    ),
    ("arrived", "setpoint and leg are at the wanted fold"),
)

# (from, event, to, why). A pair that is not listed leaves the phase as it is.
TRANSITIONS = (
    (OFF, ARM, STANDING, "the person has armed"),
    (STANDING, CUT, OFF, "power is removed"),
    (STANDING, RELEASE, OFF, "the foot is down already"),
    (STANDING, DISARM, OFF, "nothing to let down"),
    (STANDING, ASK, LIFTING, "the wearer raises this foot"),
    (STANDING, STOOP, STOOPING, "both legs in the same tick"),
    (LIFTING, CUT, OFF, "power is removed; the spring puts the foot down"),
    (LIFTING, RELEASE, RELEASING, "the pose can be trusted: let down under control"),
    (LIFTING, DISARM, RELEASING, "disarmed in mid-air"),
    (LIFTING, LET_GO, LOWERING, "put down early: re-aimed in mid-air"),
    (LIFTING, TIRED, LOWERING, "a leg that never arrives must not cook the motor"),
    (LIFTING, ARRIVED, HELD, "at its height"),
    (HELD, CUT, OFF, "power is removed; the spring puts the foot down"),
    (HELD, RELEASE, RELEASING, "the pose can be trusted: let down under control"),
    (HELD, DISARM, RELEASING, "disarmed in mid-air"),
    (HELD, LET_GO, LOWERING, "the wearer puts the foot down"),
    (HELD, TIRED, LOWERING, "a forgotten foot must not cook the motor"),
    (LOWERING, CUT, OFF, "power is removed; the spring puts the foot down"),
    (LOWERING, RELEASE, RELEASING, "slower from here on, then off"),
    (LOWERING, DISARM, RELEASING, "slower from here on, then off"),
    (LOWERING, ASK, LIFTING, "raised again on the way down"),
    (LOWERING, LANDED, STANDING, "the foot is down"),
    (RELEASING, CUT, OFF, "power is removed"),
    (RELEASING, LANDED, OFF, "the foot is down"),
    (STOOPING, CUT, OFF, "power is removed; the springs raise the frame"),
    (STOOPING, RELEASE, RELEASING, "both legs rise slowly, then off"),
    (STOOPING, DISARM, RELEASING, "both legs rise slowly, then off"),
    (STOOPING, LANDED, STANDING, "both legs stand again"),
)


def next_phases(phases, events, transitions):
    """Spread the rows into one flat tuple: the next phase at `phase * events + event`."""
    flat = [phase for phase in range(len(phases)) for _ in events]
    for row in transitions:
        flat[row[0] * len(events) + row[1]] = row[2]
    return tuple(flat)


EVENT_COUNT = const(11)
# One look-up costs the board less than scanning the rows would.
NEXT_PHASE = next_phases(PHASES, EVENTS, TRANSITIONS)
