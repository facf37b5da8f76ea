"""What a recording amounts to: figures of both legs and the board, and what happened when."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from legcore.phases import LIFTING, STOOPING
from legsim.tables import FAULTS, PHASES, Fault
from numpy.typing import NDArray

from hocklift.log import Log, flag

LEGS = ("left", "right")
BOTH = "both"


class Seen(NamedTuple):
    """A fault as it was seen: of which leg (or both), from when, for how long."""

    fault: Fault
    leg: str
    start_s: float
    seconds: float


class Event(NamedTuple):
    """Something that happened, for a person to read in order."""

    time_s: float
    words: str


@dataclass(frozen=True)
class Figures:
    """A log and all that is made of it."""

    log: Log
    faults: tuple[Seen, ...]
    events: tuple[Event, ...]

    @property
    def clean(self) -> bool:
        """No fault was seen, and nothing was lost."""
        return not self.faults and not self.lost

    @property
    def legs(self) -> dict[str, "LegFigures"]:
        """Both legs in figures."""
        return {leg: leg_figures(self.log, leg) for leg in LEGS}

    @property
    def lost(self) -> bool:
        """Whether anything that the board said is not here."""
        log = self.log
        return bool(log.lost or log.damaged or log.missing_ticks)

    @property
    def moment_s(self) -> float:
        """What to look at closely: the first fault, else the slowest lift, else the longest stoop.

        Of a lift or a stoop it is the start.
        """
        log = self.log
        if self.faults:
            return self.faults[0].start_s
        for wanted in (LIFTING, STOOPING):
            spells = [
                (end - start, start)
                for leg in LEGS
                for phase, start, end in phase_spells(log, leg)
                if phase == wanted
            ]
            if spells:
                return float(log.time_s[max(spells)[1]])
        return 0.0

    @property
    def seconds(self) -> float:
        """How long it is, its gaps included."""
        return float(self.log.time_s[-1]) + self.log.period_s if len(self.log.ticks) else 0.0

    @property
    def verdict(self) -> str:
        """One line to act on."""
        if self.faults:
            first = self.faults[0]
            rest = len({seen.fault.name for seen in self.faults}) - 1
            more = f" ({rest} more below.)" if rest else ""
            return (
                f"{first.fault.name}, {_whose(first.leg)}, at {first.start_s:.2f} s:"
                f" {first.fault.text} {first.fault.remedy}{more}"
            )
        if self.lost:
            log = self.log
            loss = loss_words(log.missing_ticks, log.lost, log.damaged)
            return f"No fault, but not everything is here: {loss}."
        return "No fault, and nothing was lost."


def counted(count: int, thing: str) -> str:
    """How many of a thing there are, as in "1 tick is" or "3 ticks are"."""
    return f"{count} {thing} is" if count == 1 else f"{count} {thing}s are"


def loss_words(ticks: int, frames: int, pieces: int) -> str:
    """What is not here of what the board said."""
    return (
        f"{counted(ticks, 'tick')} missing, {counted(frames, 'frame')} lost,"
        f" {counted(pieces, 'piece')} damaged"
    )


def times(count: int) -> str:
    """How often."""
    return "once" if count == 1 else f"{count} times"


def figures_of(log: Log) -> Figures:
    """Work out what a log holds."""
    faults = tuple(
        sorted(
            (
                *_faults(log, "fault_bits", BOTH),
                *(seen for leg in LEGS for seen in _faults(log, f"{leg}_fault_bits", leg)),
            ),
            key=lambda seen: seen.start_s,
        )
    )
    return Figures(log, faults, tuple(_events(log, faults)))


def _faults(log: Log, field: str, leg: str) -> list[Seen]:
    """Each time that a bit of a field was set, up to when it was cleared."""
    bits = log.ticks[field]
    found = []
    for fault in FAULTS:
        for start, end in spells((bits & fault.bit) != 0):
            seconds = float(log.time_s[end - 1] - log.time_s[start]) + log.period_s
            found.append(Seen(fault, leg, float(log.time_s[start]), seconds))
    return found


def spells(condition: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Rows from which, and before which, a condition holds."""
    edges = np.flatnonzero(np.diff(condition.astype(np.int8), prepend=0, append=0))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _events(log: Log, faults: tuple[Seen, ...]) -> list[Event]:
    """Everything of note, in order of time."""
    events = [Event(seen.start_s, f"{seen.fault.name}, {_whose(seen.leg)}") for seen in faults]
    contactor = np.diff(flag(log.ticks, "contactor"))
    for row in np.flatnonzero(contactor) + 1:
        words = "armed: contactor closed" if contactor[row - 1] > 0 else "contactor opened"
        events.append(Event(float(log.time_s[row]), words))
    for row in log.breaks.tolist():
        step = int(log.ticks["tick"][row]) - int(log.ticks["tick"][row - 1])
        words = "the board started anew" if step < 1 else f"{counted(step - 1, 'tick')} missing"
        events.append(Event(float(log.time_s[row]), words))
    events += [Event(time_of(log, mark.row), f"mark: {mark.text}") for mark in log.marks]
    events += [Event(time_of(log, note.row), f"the board notes: {note.text}") for note in log.notes]
    return sorted(events)


def time_of(log: Log, row: int) -> float:
    """When it was before a row, which may be behind the last one."""
    return float(log.time_s[min(row, len(log.ticks) - 1)]) if len(log.ticks) else 0.0


def _whose(leg: str) -> str:
    return "of the board" if leg == BOTH else f"{leg} leg"


def phase_spells(log: Log, leg: str) -> list[tuple[int, int, int]]:
    """(phase, row from, row before which) of a leg."""
    phase = log.ticks[f"{leg}_phase"]
    if not len(phase):
        return []
    edges = [0, *(np.flatnonzero(np.diff(phase.astype(int))) + 1).tolist(), len(phase)]
    return [(int(phase[start]), start, end) for start, end in pairwise(edges)]


@dataclass(frozen=True)
class LegFigures:
    """One leg of a recording in figures; of the drive, 1 is full, and upward is positive."""

    lifts: int
    fold_least_deg: float
    fold_most_deg: float
    drive_most: float
    drive_least: float
    phase_s: dict[str, float]


def leg_figures(log: Log, leg: str) -> LegFigures:
    """Work out the figures of one leg, "left" or "right"."""
    phase = log.ticks[f"{leg}_phase"]
    fold_cdeg, drive_permille = log.ticks[f"{leg}_fold_cdeg"], log.ticks[f"{leg}_drive_permille"]
    return LegFigures(
        lifts=len(spells(phase == LIFTING)),
        fold_least_deg=int(fold_cdeg.min()) / 100,
        fold_most_deg=int(fold_cdeg.max()) / 100,
        drive_most=int(drive_permille.max()) / 1000,
        drive_least=int(drive_permille.min()) / 1000,
        phase_s={
            each.name: float((phase == i).sum()) * log.period_s for i, each in enumerate(PHASES)
        },
    )


@dataclass(frozen=True)
class BoardFigures:
    """The board of a recording, and the recording itself, in figures."""

    battery_least_V: float
    battery_most_V: float
    supply_least_V: float
    supply_most_V: float
    loop_median_s: float
    loop_most_s: float
    period_s: float
    missed_periods: int
    ticks: int
    missing_ticks: int
    lost_frames: int
    damaged: int
    starts: int


def board_figures(log: Log) -> BoardFigures:
    """Work out the figures of the board."""
    ticks = log.ticks
    return BoardFigures(
        battery_least_V=int(ticks["battery_mV"].min()) / 1000,
        battery_most_V=int(ticks["battery_mV"].max()) / 1000,
        supply_least_V=int(ticks["supply_mV"].min()) / 1000,
        supply_most_V=int(ticks["supply_mV"].max()) / 1000,
        loop_median_s=float(np.median(ticks["loop_us"])) / 1e6,
        loop_most_s=int(ticks["loop_us"].max()) / 1e6,
        period_s=log.period_s,
        missed_periods=int(ticks["missed_ticks"].sum()),
        ticks=len(ticks),
        missing_ticks=log.missing_ticks,
        lost_frames=log.lost,
        damaged=log.damaged,
        starts=log.restarts + 1,
    )


def _time(phase: str) -> Callable[[LegFigures], str]:
    return lambda leg: f"{leg.phase_s[phase]:.2f} s"


# (what, how its figure reads): of one leg, and of the board.
LEG_ROWS: tuple[tuple[str, Callable[[LegFigures], str]], ...] = (
    ("lifts", lambda leg: str(leg.lifts)),
    ("fold, least", lambda leg: f"{leg.fold_least_deg:.1f}°"),
    ("fold, most", lambda leg: f"{leg.fold_most_deg:.1f}°"),
    ("drive, most upward", lambda leg: f"{100 * leg.drive_most:+.0f} %"),
    ("drive, most downward", lambda leg: f"{100 * leg.drive_least:+.0f} %"),
    *((f"time {phase.name}", _time(phase.name)) for phase in PHASES),
)
BOARD_ROWS: tuple[tuple[str, Callable[[BoardFigures], str]], ...] = (
    ("battery", lambda b: f"{b.battery_least_V:.2f} to {b.battery_most_V:.2f} V"),
    ("the board's own supply", lambda b: f"{b.supply_least_V:.2f} to {b.supply_most_V:.2f} V"),
    (
        "time that a tick took",
        lambda b: (
            f"{1000 * b.loop_median_s:.2f} ms, at most {1000 * b.loop_most_s:.2f}"
            f" of {1000 * b.period_s:g} ms"
        ),
    ),
    ("periods missed by the loop", lambda b: str(b.missed_periods)),
    ("ticks, of those made", lambda b: f"{b.ticks} of {b.ticks + b.missing_ticks}"),
    ("frames lost", lambda b: str(b.lost_frames)),
    ("pieces damaged", lambda b: str(b.damaged)),
    ("starts of the board", lambda b: str(b.starts)),
)
