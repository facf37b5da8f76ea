"""What a recording amounts to: figures of both legs and the board, and what happened when."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from legcore.phases import LIFTING
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
    def lost(self) -> bool:
        """Whether anything that the board said is not here."""
        log = self.log
        return bool(log.lost or log.damaged or log.missing_ticks)

    @property
    def moment_s(self) -> float:
        """What to look at closely: the first fault, or else the slowest lift, from its start."""
        log = self.log
        if self.faults:
            return self.faults[0].start_s
        lifts = [
            (end - start, start)
            for leg in LEGS
            for phase, start, end in phase_spells(log, leg)
            if phase == LIFTING
        ]
        return float(log.time_s[max(lifts)[1]]) if lifts else 0.0

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


# How a figure reads: of one leg, or of the board.
_LegFigure = Callable[[Log, str], str]
_BoardFigure = Callable[[Log], str]


def _fold(choose: Callable[..., int]) -> _LegFigure:
    return lambda log, leg: f"{choose(log.ticks[f'{leg}_fold_cdeg']) / 100:.1f}°"


def _drive(choose: Callable[..., int]) -> _LegFigure:
    return lambda log, leg: f"{choose(log.ticks[f'{leg}_drive_permille']) / 10:+.0f} %"


def _lifts(log: Log, leg: str) -> str:
    lifting = log.ticks[f"{leg}_phase"] == LIFTING
    return str(len(spells(lifting)))


def _seconds_in(phase: int) -> _LegFigure:
    return lambda log, leg: f"{(log.ticks[f'{leg}_phase'] == phase).sum() * log.period_s:.2f} s"


LEG_ROWS: tuple[tuple[str, _LegFigure], ...] = (
    ("lifts", _lifts),
    ("fold, least", _fold(np.min)),
    ("fold, most", _fold(np.max)),
    ("drive, most upward", _drive(np.max)),
    ("drive, most downward", _drive(np.min)),
    *((f"time {phase.name}", _seconds_in(i)) for i, phase in enumerate(PHASES)),
)


def _volts(field: str) -> _BoardFigure:
    return lambda log: (
        f"{log.ticks[field].min() / 1000:.2f} to {log.ticks[field].max() / 1000:.2f} V"
    )


def _loop(log: Log) -> str:
    loop_ms = log.ticks["loop_us"] / 1000
    return f"{np.median(loop_ms):.2f} ms, at most {loop_ms.max():.2f} of {log.period_s * 1000:g} ms"


def _made(log: Log) -> str:
    return f"{len(log.ticks)} of {len(log.ticks) + log.missing_ticks}"


BOARD_ROWS: tuple[tuple[str, _BoardFigure], ...] = (
    ("battery", _volts("battery_mV")),
    ("the board's own supply", _volts("supply_mV")),
    ("time that a tick took", _loop),
    ("periods missed by the loop", lambda log: str(int(log.ticks["missed_ticks"].sum()))),
    ("ticks, of those made", _made),
    ("frames lost", lambda log: str(log.lost)),
    ("pieces damaged", lambda log: str(log.damaged)),
    ("starts of the board", lambda log: str(log.restarts + 1)),
)
