"""What the proofs feed the core: a long recorded walk with everything going wrong in it.

`recorded_stream` is a closed loop of the core with a crude leg, so the walk is one
that the core itself made; disturbances are laid over it, by phase, so that each
phase meets each trouble. `wild_streams` are short and have no sense at all: settings
and readings from anywhere in their ranges, for the corners that no walk reaches.
"""

import random
from dataclasses import dataclass, field

import numpy as np
from legcore import model
from legcore.model import RECORDS
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING
from legcore.step import step
from legsim import core

INPUTS = (
    "left.thigh.count",
    "left.shank.count",
    "left.switch",
    "right.thigh.count",
    "right.shank.count",
    "right.switch",
    "arm",
)
LEAST_TICKS = 100_000

Stream = tuple[list[int], np.ndarray]


def demo_settings(rig):
    """Fill in settings of a plausible rig."""
    settings = rig.settings
    for joint, (centre_count, counts_per_turn) in POTS.items():
        table = getattr(settings, joint)
        for i, count in enumerate((300, 1100, 2000, 3000, 3800)):
            table.count[i] = count
            angle = round(POT_CENTRE_CDEG + (count - centre_count) * 36000 / counts_per_turn)
            # A wiper's track is bowed a little: the table is no straight line.
            table.angle_cdeg[i] = max(-18000, min(18000, angle + (0, 30, 0, -40, 10)[i]))
        table.low_count = centre_count - 620
        table.high_count = centre_count + 620
    for i in range(model.FEEDFORWARD_POINTS):
        settings.hold_permille[i] = 60 + 10 * i
        settings.speed_q16[i] = 4000 + 100 * i
    for name, value in DEMO.items():
        setattr(settings, name, value)


# Where each pot stands at a lean of 42 degrees, and its counts for a full turn. The right
# shank's is mounted far from its middle; the shanks' turn the other way round.
POT_CENTRE_CDEG = 4200
POTS = {
    "left_thigh": (2048, 4915),
    "left_shank": (2048, -4915),
    "right_thigh": (1900, 4915),
    "right_shank": (3150, 4915),
}
DEMO = {
    "tick_hz": 250,
    "angle_alpha_q8": 125,
    "rate_alpha_q8": 57,
    "debounce_ticks": 3,
    "lift_fold_cdeg": 7770,
    "rest_fold_cdeg": 6040,
    "arrive_cdeg": 100,
    "lift_step_q6": 973,
    "lower_step_q6": 819,
    "release_step_q6": 384,
    "accel_step_q6": 27,
    "lag_cdeg": 250,
    "hold_ticks": 350,
    "kp_q16": 11437,
    "ki_q16": 140,
    "kd_q16": 300,
    "integral_permille": 150,
    "table_start_cdeg": 6000,
    "table_step_cdeg": 450,
    "fold_min_cdeg": 6000,
    "fold_max_cdeg": 9600,
    "thigh_min_cdeg": 1300,
    "thigh_max_cdeg": 7100,
    "shank_min_cdeg": 900,
    "shank_max_cdeg": 6700,
    "stop_gain_q8": 426,
    "stop_ahead_q10": 51,
    "drive_max_permille": 950,
    "drive_min_permille": 15,
    "slew_permille": 80,
    "pulse_neutral_us": 1500,
    "pulse_deadband_us": 25,
    "pulse_span_us": 500,
    "pot_ticks": 8,
    "stall_drive_permille": 220,
    "stall_move_cdeg": 100,
    "stall_ticks": 62,
    "stop_margin_cdeg": 150,
    "stop_ticks": 5,
    "slack_ticks": 25,
}


@dataclass
class CrudeLeg:
    """A leg reduced to what the core sees of it: it follows the drive, and sags without."""

    fold_cdeg: float = 6000.0
    rate_cdps: float = 0.0
    # What a disturbance may change.
    floor_cdeg: float = 6000.0
    push_cdeg: float = 0.0
    jammed: bool = False
    pots: list[int | None] = field(default_factory=lambda: [None, None])

    def move(self, leg, contactor, tick_hz):
        """One tick under the drive of the last one."""
        if not contactor:
            wanted_cdps = -8000.0
        elif abs(leg.drive_permille) < DEMO["drive_min_permille"]:
            wanted_cdps = -300.0
        else:
            carried = 60 + (self.fold_cdeg - 6000) * 10 / 450
            wanted_cdps = (leg.drive_permille - carried) * 16
        self.rate_cdps += (wanted_cdps - self.rate_cdps) * 0.2
        if self.jammed:
            self.rate_cdps = 0.0
        fold = self.fold_cdeg + self.rate_cdps / tick_hz
        self.fold_cdeg = max(self.floor_cdeg, min(10200.0, fold))
        if fold != self.fold_cdeg:
            self.rate_cdps = 0.0

    def counts(self, side, rng):
        """Both pots' counts, with noise, and as a disturbance has them."""
        fold = self.fold_cdeg + self.push_cdeg
        read = []
        for joint, lean, stuck_at in zip(
            ("thigh", "shank"), (fold / 2 + 300, fold / 2 - 300), self.pots, strict=True
        ):
            centre, per_turn = POTS[f"{side}_{joint}"]
            count = centre + (lean - POT_CENTRE_CDEG) * per_turn / 36000 + rng.gauss(0, 1)
            read.append(max(0, min(4095, round(count if stuck_at is None else stuck_at))))
        return read


class Walk:
    """The closed loop: wearer, crude legs and core, and the inputs recorded on the way."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        self.rig = model.make("Rig")
        demo_settings(self.rig)
        self.legs = (CrudeLeg(), CrudeLeg())
        self.raised = [0, 0]
        self.chatter = [0, 0]
        self.arm = 0
        self.recorded: list[tuple[int, ...]] = []

    def leg(self, side):
        return (self.rig.left, self.rig.right)[side]

    def run(self, ticks):
        """Step on; the wearer and all disturbances stay as they are."""
        rig, rng = self.rig, self.rng
        for _ in range(ticks):
            row: list[int] = []
            for side, leg in enumerate((rig.left, rig.right)):
                crude = self.legs[side]
                crude.move(leg, rig.contactor, rig.settings.tick_hz)
                leg.thigh.count, leg.shank.count = crude.counts(("left", "right")[side], rng)
                leg.switch = self.raised[side]
                if self.chatter[side]:
                    self.chatter[side] -= 1
                    leg.switch = rng.randrange(2)
                row += (leg.thigh.count, leg.shank.count, leg.switch)
            rig.arm = self.arm
            self.recorded.append((*row, self.arm))
            step(rig)

    def until(self, side, phase, at_most=900):
        """Step until a leg is in `phase`, or the time is up."""
        while self.leg(side).phase != phase and at_most:
            self.run(1)
            at_most -= 1

    def foot(self, side, raised):
        """Raise or lower a foot; its switch chatters for a moment."""
        self.raised[side] = raised
        self.chatter[side] = self.rng.randrange(3)

    def recover(self):
        """Take every disturbance away, disarm as a person would, and arm again."""
        for crude in self.legs:
            crude.floor_cdeg, crude.push_cdeg, crude.jammed = 6000.0, 0.0, False
            crude.pots = [None, None]
        self.raised = [0, 0]
        self.run(self.rng.randrange(60))
        self.arm = 0
        self.until(0, OFF)
        self.until(1, OFF)
        self.run(100)
        self.arm = 1
        self.until(0, STANDING)
        self.run(self.rng.randrange(10, 40))

    def reach(self, side, phase):
        """From standing to a moment within `phase`."""
        if phase == OFF:
            self.arm = 0
            self.run(20)
        if phase >= LIFTING:
            self.foot(side, 1)
            self.until(side, LIFTING if phase == LIFTING else HELD)
        if phase == LOWERING:
            self.foot(side, 0)
            self.until(side, LOWERING)
        if phase == RELEASING:
            self.arm = 0
            self.until(side, RELEASING)
        self.run(self.rng.randrange(5, 45))


# What goes wrong, or what a wearer does at an odd moment: each to one leg of a walk.


def pot_open(walk, side):
    walk.legs[side].pots[walk.rng.randrange(2)] = 4095


def pot_shorted(walk, side):
    walk.legs[side].pots[walk.rng.randrange(2)] = 0


def spike(walk, side):
    # One tick at a time: the median takes it out and no fault may come of it.
    for _ in range(6):
        walk.legs[side].pots[0] = walk.rng.choice((0, 900, 4095))
        walk.run(1)
        walk.legs[side].pots[0] = None
        walk.run(walk.rng.randrange(3, 9))


def frozen(walk, side):
    walk.legs[side].jammed = True
    walk.run(300)


def pushed_past_the_stop(walk, side):
    walk.legs[side].push_cdeg = 10000 - walk.legs[side].fold_cdeg


def pushed_a_little(walk, side):
    walk.legs[side].push_cdeg = walk.rng.choice((-700, -300, 300, 700))


def on_a_step(walk, side):
    walk.legs[side].floor_cdeg = walk.legs[side].fold_cdeg - 150


def disarmed(walk, side):
    walk.arm = 0


def disarmed_and_armed(walk, side):
    walk.arm = 0
    walk.run(walk.rng.randrange(1, 60))
    walk.arm = 1


def let_go(walk, side):
    walk.foot(side, 0)


def raised_again(walk, side):
    walk.foot(side, 0)
    walk.run(walk.rng.randrange(4, 40))
    walk.foot(side, 1)


def forgotten(walk, side):
    walk.foot(side, 1)
    walk.run(DEMO["hold_ticks"] + 150)


def overloaded(walk, side):
    # It creeps up, too fast for a stall and too slow ever to arrive.
    walk.legs[side].jammed = True
    for _ in range(DEMO["hold_ticks"] + 50):
        walk.legs[side].push_cdeg += 2.2
        walk.run(1)


def both_feet(walk, side):
    walk.raised = [1, 1]


def chattering(walk, side):
    walk.chatter[side] = 120


TROUBLES = (
    pot_open,
    pot_shorted,
    spike,
    frozen,
    pushed_past_the_stop,
    pushed_a_little,
    on_a_step,
    disarmed,
    disarmed_and_armed,
    let_go,
    raised_again,
    forgotten,
    overloaded,
    both_feet,
    chattering,
)


def recorded_stream() -> Stream:
    """Settings, and the inputs of at least 100 000 ticks, one row each in the order of INPUTS."""
    walk = Walk(seed=20)
    walk.recover()
    for trouble in TROUBLES:
        for phase in (OFF, STANDING, LIFTING, HELD, LOWERING, RELEASING):
            # Either leg's fault acts on both, so the trouble also strikes the leg that stands.
            for raised, struck in ((0, 0), (1, 1), (0, 1)):
                walk.reach(raised, phase)
                trouble(walk, struck)
                walk.run(walk.rng.randrange(20, 120))
                walk.recover()
    while len(walk.recorded) < LEAST_TICKS:
        for side in (0, 1):
            walk.foot(side, 1)
            walk.run(walk.rng.randrange(130, 220))
            walk.foot(side, 0)
            walk.run(walk.rng.randrange(120, 200))
    return core.integers(walk.rig.settings, "Settings"), np.array(walk.recorded, dtype=np.int32)


def wild_streams(count=200, ticks=150, seed=21) -> list[Stream]:
    """Short streams of settings and inputs from anywhere in their ranges."""
    rng = random.Random(seed)
    return [
        (
            [wild_integer(rng, low, high) for low, high in ranges("Settings")],
            wild_inputs(rng, ticks),
        )
        for _ in range(count)
    ]


def wild_integer(rng, low, high):
    """Draw often at the ends, where products are largest."""
    return rng.choice((low, high, rng.randint(low, high), rng.randint(low, high)))


def wild_inputs(rng, ticks):
    rows = [[2048, 2048, 0, 2048, 2048, 0, 0]] * 2
    while len(rows) < ticks:
        counts = [wild_integer(rng, 0, 4095) for _ in range(4)]
        left, right = rng.choice(((0, 0), (1, 0), (0, 1), (1, 1)))
        armed = int(rng.random() < 0.9)
        rows += [[*counts[:2], left, *counts[2:], right, armed]] * rng.randint(1, 20)
    return np.array(rows[:ticks], dtype=np.int32)


def ranges(record):
    """(low, high) of every integer of a record, in declared order."""
    found: list[tuple[int, int]] = []
    for row in RECORDS[record]:
        if len(row) == 2:
            found += ranges(row[1])
        else:
            found += [row[2:4]] * (row[4] if len(row) == 5 else 1)
    return found


def names(record, prefix=""):
    """The dotted name of every integer of a record, in declared order."""
    found: list[str] = []
    for row in RECORDS[record]:
        if len(row) == 2:
            found += names(row[1], f"{prefix}{row[0]}.")
        elif len(row) == 5:
            found += [f"{prefix}{row[0]}[{i}]" for i in range(row[4])]
        else:
            found.append(prefix + row[0])
    return found
