"""A closed loop of the core with two crude legs and their wearer, which anything may disturb."""

import random
from dataclasses import dataclass, field

from fields import get
from kinds import LEGS, SIDES, Core
from legcore.model import FEEDFORWARD_POINTS, VISIT_TICKS
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING, STOOPING

# What the board says when all is well.
BOARD_INPUTS = {
    "arm": 0,
    "stop": 0,
    "settings_bad": 0,
    "was_hung": 0,
    "missed_ticks": 0,
    "battery_mV": 22800,
    "supply_mV": 5000,
    "stick_count": 2048,
    "host": 0,
    "host_heard": 0,
}
# A stick pushed nearly as far as it goes: it asks both legs to fold.
PUSHED_COUNT = 3800

# Where each pot stands at a lean of 42 degrees, and its counts for a full turn. The right
# shank's is mounted far from its middle; the shanks' turn the other way round.
POT_CENTRE_CDEG = 4200
POTS = {
    "left_thigh": (2048, 4915),
    "left_shank": (2048, -4915),
    "right_thigh": (1900, 4915),
    "right_shank": (3150, 4915),
}
# A plausible rig, but for a small winding: it is hot when a leg has been up for a few seconds,
# and cools as fast. Every setting has a row but calibrations and tables.
DEMO = {
    "visit_hz": 125,
    "angle_alpha_q8": 190,
    "rate_alpha_q8": 100,
    "debounce_ticks": 3,
    "lift_fold_cdeg": 7770,
    "rest_fold_cdeg": 6040,
    "arrive_cdeg": 100,
    "lift_step_q6": 1946,
    "lower_step_q6": 1638,
    "release_step_q6": 768,
    "accel_step_q6": 108,
    "lag_cdeg": 250,
    "hold_ticks": 350,
    "kp_q16": 11437,
    "ki_q16": 280,
    "kd_q16": 300,
    "integral_permille": 150,
    "relay_permille": 0,
    "relay_cdeg": 20,
    "relay_ticks": 125,
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
    "slew_permille": 160,
    "pulse_neutral_us": 1500,
    "pulse_deadband_us": 25,
    "pulse_span_us": 500,
    "pot_ticks": 8,
    "jump_count": 60,
    "frozen_cdeg": 800,
    "frozen_count": 6,
    "skew_cdeg": 600,
    "skew_most_cdeg": 4000,
    "skew_ticks": 10,
    "stuck_ticks": 700,
    "chatter_most": 60,
    "unseen_lifts": 4,
    "weight_ticks": 10,
    "asked_ticks": 250,
    "unborne_ticks": 50,
    "hanging_cdeg": 400,
    "hanging_ticks": 125,
    "sunk_cdeg": 1400,
    "sunk_ticks": 5,
    "stall_drive_permille": 220,
    "stall_move_cdeg": 100,
    "stall_ticks": 62,
    "against_cdps": 1000,
    "against_ticks": 10,
    "rate_most_cdps": 9000,
    "rate_ticks": 5,
    "adrift_cdeg": 600,
    "adrift_ticks": 5,
    "push_cdeg": 400,
    "push_ticks": 10,
    "stop_margin_cdeg": 150,
    "stop_ticks": 5,
    "hot_mK": 78000,
    "battery_least_mV": 19800,
    "battery_ticks": 200,
    "supply_least_mV": 4500,
    "supply_ticks": 5,
    "stick_low_count": 123,
    "stick_high_count": 3972,
    "stick_centre_count": 2048,
    "stick_zone_count": 328,
    "stick_ticks": 12,
    "host_ticks": 60,
    "late_most": 64,
    "usual_mV": 22800,
    "heat_doubt_permille": 60,
    "heat_accel_q8": 200,
    "heat_most_permille": 100,
    "heat_copper_q6": 352,
    "heat_turn_q8": 2627,
    "heat_turn2_q16": 1541,
    "heat_warm_q8": 6730,
    "heat_case_q8": 64,
    "heat_cross_q12": 60000,
    "heat_share_q8": 10,
    "heat_cool_q12": 40000,
    "arm_ticks": 50,
    "stage": 3,
    "slack_ticks": 25,
    "down_ticks": 500,
    "stoop_fold_cdeg": 9200,
    "step_fold_cdeg": 6340,
    "stoop_step_q6": 800,
    "stoop_accel_q6": 40,
    "stoop_ticks": 720,
    "tired_mK": 75000,
    "apart_cdeg": 220,
    "apart_ticks": 80,
    "keep_cdeg": 40,
    "keep_permille": 180,
    "stick_span_count": 1400,
    "stick_curve_q8": 128,
}


def fill_settings(settings, **changes):
    """Fill in the settings of the plausible rig, or others in their place."""
    for joint, (centre_count, counts_per_turn) in POTS.items():
        table = getattr(settings, joint)
        for i, past in enumerate((-560, -290, 0, 310, 570)):
            table.count[i] = centre_count + past
            # A wiper's track is bowed a little: the table is no straight line.
            bow = (0, 30, 0, -40, 10)[i]
            table.angle_cdeg[i] = POT_CENTRE_CDEG + round(past * 36000 / counts_per_turn) + bow
        table.low_count = centre_count - 620
        table.high_count = centre_count + 620
    for i in range(FEEDFORWARD_POINTS):
        settings.hold_permille[i] = 60 + 10 * i
        settings.speed_q16[i] = 4000 + 100 * i
    for name, value in (DEMO | changes).items():
        setattr(settings, name, value)


@dataclass
class Ills:
    """What may be wrong with a leg; as it is made, nothing is."""

    floor_cdeg: float = 6000.0
    push_cdeg: float = 0.0  # on the fold, from outside
    load_permille: float = 0.0
    jammed: bool = False
    snapped: bool = False
    sole_reads: int | None = None
    # Of thigh and shank: a count that a pot is stuck at, and how far it has slipped.
    stuck: list[int | None] = field(default_factory=lambda: [None, None])
    slipped_cdeg: list[float] = field(default_factory=lambda: [0.0, 0.0])


@dataclass
class CrudeLeg:
    """A leg reduced to what the core sees of it: it follows the drive, and sags without."""

    fold_cdeg: float = 6000.0
    rate_cdps: float = 0.0
    ill: Ills = field(default_factory=Ills)

    def move(self, drive_permille, contactor, tick_hz):
        """One tick under the drive of the last one."""
        if not contactor or self.ill.snapped:
            wanted_cdps = -8000.0
        elif abs(drive_permille) < DEMO["drive_min_permille"]:
            wanted_cdps = -300.0
        else:
            carried = 60 + (self.fold_cdeg - 6000) * 10 / 450 + self.ill.load_permille
            wanted_cdps = (drive_permille - carried) * 16
        self.rate_cdps += (wanted_cdps - self.rate_cdps) * 0.2
        if self.ill.jammed:
            self.rate_cdps = 0.0
        fold = self.fold_cdeg + self.rate_cdps / tick_hz
        self.fold_cdeg = max(self.ill.floor_cdeg, min(10200.0, fold))
        if fold != self.fold_cdeg:
            self.rate_cdps = 0.0

    def sole(self, raised, stoops):
        """A foot bears what its wearer does not lift, once it is down or while both legs stoop."""
        if self.ill.sole_reads is not None:
            return self.ill.sole_reads
        return int(not raised and (stoops or self.fold_cdeg < self.ill.floor_cdeg + 200))

    def counts(self, side, rng):
        """Both pots' counts, with noise, and as its ills have them."""
        fold = self.fold_cdeg + self.ill.push_cdeg
        read = []
        for i, joint in enumerate(("thigh", "shank")):
            lean = fold / 2 + (300, -300)[i] + self.ill.slipped_cdeg[i]
            centre, per_turn = POTS[f"{side}_{joint}"]
            count = centre + (lean - POT_CENTRE_CDEG) * per_turn / 36000 + rng.gauss(0, 1)
            stuck = self.ill.stuck[i]
            read.append(max(0, min(4095, round(count if stuck is None else stuck))))
        return read


class Walk:
    """The loop itself. What is done to it, and the inputs that came of it, are recorded."""

    kind = LEGS
    ticks_a_visit = VISIT_TICKS

    def __init__(self, seed, **changes):
        self.rng = random.Random(seed)
        self.core = Core(self.kind)
        self.rig = self.core.made[0]
        fill_settings(self.rig.settings, **changes)
        self.tick_hz = self.ticks_a_visit * self.rig.settings.visit_hz
        self.legs = (CrudeLeg(), CrudeLeg())
        self.raised = [0, 0]
        self.chatter = [0, 0]
        self.board = dict(BOARD_INPUTS)
        # What an error in the core's memory flips before the next tick: word of the state, bits.
        self.flip = (0, 0)
        self.recorded: list[tuple[int, ...]] = []

    def world(self):
        """What is outside of the core, by its name here: to be kept, and set down again."""
        return {"legs": self.legs, "raised": self.raised, "board": self.board}

    def leg(self, side):
        return (self.rig.left, self.rig.right)[side]

    def run(self, ticks):
        """Step on; the wearer and all disturbances stay as they are."""
        for _ in range(ticks):
            self.tick()

    def tick(self):
        self.read()
        self.record()
        self.core.tick()

    def read(self):
        """Move both legs on by a tick, and give the core its inputs."""
        rig = self.rig
        stoops = STOOPING in (rig.left.phase, rig.right.phase)
        for side, leg in enumerate((rig.left, rig.right)):
            crude = self.legs[side]
            crude.move(leg.drive_permille, self.powered(), self.tick_hz)
            leg.thigh.count, leg.shank.count = crude.counts(SIDES[side], self.rng)
            leg.switch = self.raised[side]
            if self.chatter[side]:
                self.chatter[side] -= 1
                leg.switch = self.rng.randrange(2)
            leg.sole = crude.sole(self.raised[side], stoops)
        for name, value in self.board.items():
            setattr(rig, name, value)
        # The board says once that it was hung.
        self.board["was_hung"] = 0

    def powered(self):
        return self.rig.contactor

    def record(self):
        """Note the inputs of a tick in the order of their kind, and what an error flips."""
        inputs = [get(places[0]) for places in self.core.inputs]
        self.recorded.append((*inputs, *self.flip))
        self.core.flip(*self.flip)
        self.flip = (0, 0)

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
        """Take every disturbance away, acknowledge as a person would, and arm."""
        for crude in self.legs:
            crude.ill = Ills()
        self.board.update(BOARD_INPUTS, arm=self.board["arm"])
        self.raised = [0, 0]
        self.run(self.rng.randrange(60))
        self.board["arm"] = 0
        self.until(0, OFF)
        self.until(1, OFF)
        self.settle()
        # Both switches are seen to close; then the arm input is closed and opened once more.
        self.raised = [1, 1]
        self.run(20)
        self.raised = [0, 0]
        self.board["arm"] = 1
        self.run(20)
        self.arm()

    def settle(self, at_most=10_000):
        """Wait until both windings are far from hot and no switch has chattered for a while."""
        warm = DEMO["hot_mK"] * 256 // 2
        while at_most and any(
            leg.winding_mK_q8 > warm or leg.chatter > DEMO["chatter_most"] // 2
            for leg in (self.rig.left, self.rig.right)
        ):
            self.run(1)
            at_most -= 1

    def arm(self):
        """Open the arm input, close it, and hold it until both legs stand."""
        self.board["arm"] = 0
        self.run(4)
        self.board["arm"] = 1
        self.until(0, STANDING)
        self.until(1, STANDING)
        self.run(self.rng.randrange(10, 40))

    def come_to(self, side, phase):
        """From standing to the first tick of `phase`; what brought the leg there stays as it is."""
        if phase == STOOPING:
            self.board["stick_count"] = PUSHED_COUNT
        elif phase == LIFTING:
            self.foot(side, 1)
        elif phase > LIFTING:
            self.foot(side, 1)
            self.until(side, HELD)
        if phase == LOWERING:
            self.foot(side, 0)
        elif phase in (OFF, RELEASING):
            self.board["arm"] = 0
        self.until(side, phase)
        assert self.leg(side).phase == phase, "the crude leg does not do what is asked of it"

    def reach(self, side, phase):
        """From standing to a moment within `phase`."""
        self.come_to(side, phase)
        if phase == STOOPING:
            # Deeper than weight alone folds a leg; the stick is let go, or still held.
            self.run(500)
            if self.rng.randrange(2):
                self.board["stick_count"] = BOARD_INPUTS["stick_count"]
        self.run(self.rng.randrange(5, 45))
