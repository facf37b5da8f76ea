"""The phases of a wing, and the one table that says how a wing passes between them."""

from micropython import const

from legcore.phases import next_phases

# Up to 1 the drive is neutral, as with a leg.
OFF = const(0)
RESTING = const(1)
FOLLOWING = const(2)
RELEASING = const(3)

# (name, drive may leave neutral, what it means to the person)
WING_PHASES = (
    ("off", 0, "safe: drive neutral, contactor open; waits to be armed"),
    ("resting", 0, "hangs straight down, drive neutral"),
    ("following", 1, "goes where the stick or the pot asks, and stays there"),
    ("releasing", 1, "safe: brought to hang at limited speed, then off"),
)

# Events in order of precedence; the first three have the numbers that a leg's have.
NOTHING = const(0)
CUT = const(1)
RELEASE = const(2)
DISARM = const(3)
ARM = const(4)
CALL = const(5)
SETTLED = const(6)
LANDED = const(7)

WING_EVENTS = (
    ("nothing", "no row applies"),
    ("cut", "a fault that removes power at once, on either wing, or a cut of the legs"),
    ("release", "a fault that brings both wings to hang, or one of the legs"),
    ("disarm", "the arm input is open"),
    ("arm", "armed by the person, with every sensor live and both wings hanging"),
    ("call", "the stick or the pot asks for another pose than rest"),
    ("settled", "back at rest, and nothing else asked"),
    ("landed", "hangs, or the time for it is over"),
)

# (from, event, to, why). A pair that is not listed leaves the phase as it is.
WING_TRANSITIONS = (
    (OFF, ARM, RESTING, "the person has armed"),
    (RESTING, CUT, OFF, "power is removed"),
    (RESTING, RELEASE, OFF, "it hangs already"),
    (RESTING, DISARM, OFF, "it hangs already"),
    (RESTING, CALL, FOLLOWING, "the wearer moves it"),
    (FOLLOWING, CUT, OFF, "power is removed; weight brings it to hang"),
    (FOLLOWING, RELEASE, RELEASING, "the pose can be trusted: brought down under control"),
    (FOLLOWING, DISARM, RELEASING, "disarmed while it is raised"),
    (FOLLOWING, SETTLED, RESTING, "weight alone keeps it there"),
    (RELEASING, CUT, OFF, "power is removed"),
    (RELEASING, LANDED, OFF, "it hangs"),
)

WING_EVENT_COUNT = const(8)
NEXT_WING_PHASE = next_phases(WING_PHASES, WING_EVENTS, WING_TRANSITIONS)
