"""The core's tables by the names of their columns, for everything that runs on a PC."""

from math import ceil
from typing import Any, NamedTuple

from legcore import arming, faults, phases, stages
from legcore.model import VISIT_TICKS
from legcore.phases import CUT


class Phase(NamedTuple):
    """One phase of a leg."""

    name: str
    moves: int  # 1: the drive may leave neutral
    meaning: str


class Fault(NamedTuple):
    """One row of the fault table."""

    bit: int
    name: str
    watched: str
    limit: str  # settings that hold the limit, or nothing
    ticks: str  # setting of the time to trip, in ticks; nothing: at once
    every_ticks: int  # how often it is looked at
    phases: tuple[int, ...]
    action: int
    latch: int
    text: str
    remedy: str

    @property
    def cuts(self) -> bool:
        """Whether power is removed at once; otherwise the foot is let down first."""
        return self.action == CUT

    @property
    def action_words(self) -> str:
        """What is done with a leg, as people read it."""
        return self.action_on("foot")

    def action_on(self, part: str) -> str:
        """What is done with a foot or a wing, as people read it."""
        return "power off at once" if self.cuts else f"{part} let down, then power off"

    @property
    def latch_words(self) -> str:
        """What clears it, as people read it."""
        return "until disarmed" if self.latch == faults.UNTIL_DISARMED else "until restarted"


class Condition(NamedTuple):
    """One condition of arming."""

    bit: int
    said: str
    faults: int
    remedy: str


class Stage(NamedTuple):
    """One stage of commissioning."""

    name: str
    drive_permille: int
    speed_cdps: int
    stall_ms: int
    meaning: str


PHASES = tuple(Phase(*row) for row in phases.PHASES)
FAULTS = tuple(Fault(*row) for row in faults.FAULTS)
ARMING = tuple(Condition(*row) for row in arming.ARMING)
STAGES = tuple(Stage(*row) for row in stages.STAGES)


def fault_names(bits: int, table: tuple[Fault, ...] = FAULTS) -> tuple[str, ...]:
    """Names of the faults whose bits are set, in the order of their table."""
    return tuple(fault.name for fault in table if bits & fault.bit)


def trip_s(fault: Fault, settings: Any, period_s: float) -> float:
    """From the moment at which what a row watches passes its limit to safe outputs, at most.

    It counts in whole looks; the first may just be over, and the other side answers in its own
    visit.
    """
    counted = getattr(settings, fault.ticks) if fault.ticks else 0
    looks = ceil(counted / fault.every_ticks) + 1
    return period_s * (looks * fault.every_ticks + VISIT_TICKS)
