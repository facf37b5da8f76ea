"""What happened, in words with what to do: phases, faults, power, marks, as the ticks come."""

import time
from collections import deque
from dataclasses import asdict, dataclass
from typing import Any

from legcore.phases import PHASES
from legsim.tables import FAULTS, Fault
from legwire.messages import TICK_FLAGS

from hocklift.benchpage.columns import LEGS
from hocklift.replaying import Ticks

# So many are kept for a page that comes later.
KEPT = 200
_CONTACTOR = TICK_FLAGS.index("contactor")
_STATE = [
    "tick",
    "flags",
    "fault_bits",
    *(f"{leg}_{what}" for leg in LEGS for what in ("phase", "fault_bits")),
]


@dataclass(frozen=True)
class Event:
    """One thing that happened: `at_ms` by this computer's clock since 1970, `time_s` on the traces.

    `kind` is one of fault, clear, phase, power, mark, note, gap, host.
    """

    number: int
    at_ms: int
    time_s: float
    kind: str
    leg: str
    words: str
    remedy: str = ""


def whose(leg: str) -> str:
    """Of which leg, as people read it."""
    return f"{leg} leg" if leg else "the board"


def phase_name(phase: int) -> str:
    """The name of a phase, or its number."""
    return PHASES[phase][0] if phase < len(PHASES) else f"phase {phase}"


class History:
    """Events in order; `fresh` are those that nobody has been told yet."""

    def __init__(self) -> None:
        self.kept: deque[Event] = deque(maxlen=KEPT)
        self.fresh: list[Event] = []
        self.time_s = 0.0
        self._last: tuple[int, ...] | None = None
        self._count = 0

    def add(self, kind: str, words: str, leg: str = "", remedy: str = "") -> None:
        """Add what has just happened."""
        self._count += 1
        event = Event(
            self._count, int(time.time() * 1000), round(self.time_s, 3), kind, leg, words, remedy
        )
        self.kept.append(event)
        self.fresh.append(event)

    def all(self) -> list[dict[str, Any]]:
        """What is kept, for a page that comes now."""
        return [asdict(event) for event in list(self.kept)]

    def told(self) -> list[dict[str, Any]]:
        """What nobody has been told yet, once."""
        fresh, self.fresh = self.fresh, []
        return [asdict(event) for event in fresh]

    def take(self, ticks: Ticks, period_s: float) -> list[float]:
        """Take ticks; when each was on the traces, in s, which go on where a board starts anew."""
        times_s = []
        for row in ticks[_STATE].tolist():
            last = self._last
            steps = 1 if last is None else row[0] - last[0]
            self.time_s += max(steps, 1) * period_s
            times_s.append(self.time_s)
            self._last = row
            if last is not None and (steps != 1 or row[1:] != last[1:]):
                self._compare(last, row, steps)
            elif last is None:
                self._compare((row[0], *[0] * (len(row) - 1)), row, 1)
        return times_s

    def _compare(self, last: tuple[int, ...], row: tuple[int, ...], steps: int) -> None:
        if steps < 1:
            self.add("gap", "The board has started anew.")
        elif steps > 1:
            self.add("gap", f"{steps - 1} ticks did not come.")
        _, flags, board_bits, *legs = row
        _, flags_before, board_before, *legs_before = last
        self._faults("", board_before, board_bits)
        for i, leg in enumerate(LEGS):
            phase, bits = legs[2 * i : 2 * i + 2]
            phase_before, bits_before = legs_before[2 * i : 2 * i + 2]
            self._faults(leg, bits_before, bits)
            if phase != phase_before:
                self.add("phase", f"{leg} leg: {phase_name(phase)}", leg)
        if (flags ^ flags_before) >> _CONTACTOR & 1:
            closed = flags >> _CONTACTOR & 1
            self.add("power", "Armed: the contactor is closed." if closed else "Power is off.")

    def _faults(self, leg: str, before: int, now: int) -> None:
        for fault in FAULTS:
            if now & ~before & fault.bit:
                self.add("fault", f"{fault.name}, {whose(leg)}: {fault.text}", leg, fault.remedy)
            elif before & ~now & fault.bit:
                self.add("clear", f"{fault.name}, {whose(leg)}: cleared", leg)


def holding(leg_bits: dict[str, int]) -> list[dict[str, str]]:
    """The faults that hold now, by leg ("" for the board), with what is done and what to do."""
    return [
        _fault_words(fault, leg)
        for fault in FAULTS
        for leg, bits in leg_bits.items()
        if bits & fault.bit
    ]


def _fault_words(fault: Fault, leg: str) -> dict[str, str]:
    return {
        "name": fault.name,
        "whose": whose(leg),
        "text": fault.text,
        "remedy": fault.remedy,
        "action": fault.action_words,
        "latch": fault.latch_words,
    }
