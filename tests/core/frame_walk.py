"""The closed loop of `walk.py` with two crude wings beside the legs, on one board."""

from dataclasses import dataclass, replace

from kinds import FRAME, SIDES
from legcore.wing_phases import FOLLOWING, OFF, RELEASING, RESTING
from legsim import core
from legsim.wing.rig import WingRig
from legsim.wing.settings import core_wings
from walk import Walk

# Of three ticks two are the legs'. They come half as often again as without wings, so that a leg
# is visited as often; a wing's own ticks are then 8 ms apart.
WINGS_EVERY = 3
WING_PERIOD_S = 0.008
# Counts of a stick: let go, and all the way to either end.
REST_COUNT, UP_COUNT, DOWN_COUNT = 2048, 3686, 410
HANGS_CDEG = 500
LEAST_CDEG, MOST_CDEG = -2600.0, 8600.0


def frame_wings(**changes):
    """Settings of the demo rig's wings, armed as soon as may be."""
    rig = WingRig()
    wings = core_wings(replace(rig, control=replace(rig.control, period_s=WING_PERIOD_S)))
    for name, value in {"arm_ticks": 16, **changes}.items():
        assert hasattr(wings.settings, name)
        setattr(wings.settings, name, value)
    return core.integers(wings.settings, "WingSettings")


def between(points, at):
    """A table's value by straight lines between its points, and past its ends."""
    i = sum(x <= at for x, _ in points[1:-1])
    (x, y), (next_x, next_y) = points[i : i + 2]
    return y + (at - x) * (next_y - y) / (next_x - x)


@dataclass
class WingIlls:
    """What may be wrong with a wing; as it is made, nothing is."""

    load_permille: float = 0.0
    runs_cdps: float | None = None  # whatever its drive
    jammed: bool = False
    # Counts that pot and command are stuck at, and how far the pot has slipped.
    stuck: int | None = None
    command_stuck: int | None = None
    slipped_cdeg: float = 0.0


class CrudeWing:
    """A wing reduced to what the core sees of it: it follows the drive, and hangs without power."""

    def __init__(self, settings, cal):
        self.fold_cdeg = 0.0
        self.rate_cdps = 0.0
        self.ill = WingIlls()
        self.least_permille = settings.drive_min_permille
        start, step = settings.table_start_cdeg, settings.table_step_cdeg
        self.holds = tuple(
            (start + i * step, hold) for i, hold in enumerate(settings.hold_permille)
        )
        self.cdps_per_permille = 65536 / settings.speed_q16[0]
        self.track = tuple(zip(cal.angle_cdeg, cal.count, strict=True))

    def move(self, drive_permille, contactor, tick_hz):
        """One tick under the drive of the last one."""
        if self.ill.runs_cdps is not None:
            wanted_cdps = self.ill.runs_cdps
        elif not contactor:
            wanted_cdps = -2 * self.fold_cdeg
        elif abs(drive_permille) < self.least_permille:
            wanted_cdps = 0.0
        else:
            carried = between(self.holds, self.fold_cdeg) + self.ill.load_permille
            wanted_cdps = (drive_permille - carried) * self.cdps_per_permille
        self.rate_cdps += (wanted_cdps - self.rate_cdps) * 0.2
        if self.ill.jammed:
            self.rate_cdps = 0.0
        fold = self.fold_cdeg + self.rate_cdps / tick_hz
        self.fold_cdeg = max(LEAST_CDEG, min(MOST_CDEG, fold))
        if fold != self.fold_cdeg:
            self.rate_cdps = 0.0

    def count(self, rng):
        """Its pot's count, with noise, and as its ills have it."""
        at = between(self.track, self.fold_cdeg + self.ill.slipped_cdeg)
        return max(0, min(4095, round(at + rng.gauss(0, 0.5))))


class FrameWalk(Walk):
    """Legs and wings; a tick of `run` is one of the legs', and the wings have theirs between."""

    kind = FRAME
    ticks_a_visit = WINGS_EVERY

    def __init__(self, seed, wings=None, **changes):
        """`changes` are of the legs' settings, `wings` of the wings'."""
        super().__init__(seed, **changes)
        self.wings = self.core.made[1]
        of_legs = core.integers(self.rig.settings, "Settings")
        self.core.put_settings([*of_legs, *frame_wings(**wings or {})])
        settings = self.wings.settings
        self.crude_wings = tuple(
            CrudeWing(settings, cal) for cal in (settings.left_pot, settings.right_pot)
        )
        self.commands = [REST_COUNT, REST_COUNT]

    def world(self):
        return super().world() | {"crude_wings": self.crude_wings, "commands": self.commands}

    def wing(self, side):
        return (self.wings.left, self.wings.right)[side]

    def run(self, ticks):
        for _ in range(ticks):
            self.tick()
            if self.wings.slot == WINGS_EVERY - 2:
                self.tick()

    def powered(self):
        return self.rig.contactor or self.wings.contactor

    def read(self):
        hung = self.board["was_hung"]
        super().read()
        if self.wings.slot != WINGS_EVERY - 2:
            # It says so until the wings' tick, too.
            self.board["was_hung"] = hung
        for side, crude in enumerate(self.crude_wings):
            wing = self.wing(side)
            crude.move(wing.drive_permille, self.powered(), self.tick_hz)
            stuck, command = crude.ill.stuck, crude.ill.command_stuck
            wing.pot.count = crude.count(self.rng) if stuck is None else stuck
            wing.command.count = self.commands[side] if command is None else command
        for name in self.board:
            if hasattr(self.wings, name):
                setattr(self.wings, name, getattr(self.rig, name))

    def until_wing(self, side, phase, at_most=900):
        """Step until a wing is in `phase`, or the time is up."""
        while self.wing(side).phase != phase and at_most:
            self.run(1)
            at_most -= 1

    def come_to_wing(self, side, phase):
        """From resting to the first tick of `phase`; what brought the wing there stays."""
        if phase in (FOLLOWING, RELEASING):
            self.commands[side] = UP_COUNT
            self.until_wing(side, FOLLOWING)
        if phase == RELEASING:
            # Up far enough to be brought down.
            self.run(150)
        if phase in (OFF, RELEASING):
            self.board["arm"] = 0
        self.until_wing(side, phase)
        assert self.wing(side).phase == phase, "the crude wing does not do what is asked of it"

    def reach_wing(self, side, phase):
        """From resting to a moment within `phase`."""
        self.come_to_wing(side, phase)
        self.run(self.rng.randrange(5, 150 if phase == FOLLOWING else 45))

    def recover(self):
        self.commands = [REST_COUNT, REST_COUNT]
        for crude in self.crude_wings:
            crude.ill = WingIlls()
        super().recover()
        for side in range(len(SIDES)):
            assert self.wing(side).phase == RESTING, "the crude wing does not arm"

    def settle(self, at_most=10_000):
        """Wait for the wings, too: off, hanging, and their windings far from hot."""
        super().settle(at_most)
        warm = self.wings.settings.hot_mK * 256 // 2
        while at_most and any(
            wing.phase != OFF or abs(wing.fold_cdeg) > HANGS_CDEG or wing.winding_mK_q8 > warm
            for wing in (self.wings.left, self.wings.right)
        ):
            self.run(1)
            at_most -= 1
