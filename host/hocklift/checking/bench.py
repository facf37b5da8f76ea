"""The bench: one board, its rig, who is at it, and how a leg is moved there."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from legsim.core import word_of
from legsim.rig import Rig
from legsim.tables import ARMING, FAULTS
from numpy.typing import NDArray

from hocklift.checking import settings
from hocklift.checking.asker import Asker
from hocklift.checking.ticks import JOINTS, LEGS, Look, Ticks, fault_bits, flag_is, in_order, watch
from hocklift.device import Device
from hocklift.errors import HockliftError
from hocklift.wire import Frame

# After what was waited for, so long is looked on: what else comes of it belongs to it.
AFTER_S = 0.3


# The unit of what is so or not: 1 or 0.
YES_NO = "yes or no"
_YES = {True: "yes", False: "no"}


@dataclass(frozen=True)
class Figure:
    """One thing that was measured, and the limits that it had to keep; None is never seen."""

    what: str
    value: float | None
    unit: str
    least: float | None = None
    most: float | None = None

    @property
    def good(self) -> bool:
        """Whether it was seen and keeps its limits."""
        if self.value is None:
            return False
        return (self.least is None or self.value >= self.least) and (
            self.most is None or self.value <= self.most
        )

    @property
    def words(self) -> str:
        """Found and expected."""
        if self.unit == YES_NO and self.value is not None:
            return f"{self.what}: {_YES[self.value > 0]}, expected {_YES[self.most != 0]}"
        found = "never seen" if self.value is None else f"{self.value:.4g} {self.unit}".rstrip()
        return f"{self.what}: {found}, expected {self._expected()}"

    def _expected(self) -> str:
        if self.unit == YES_NO:
            return _YES[self.most != 0]
        if self.least is None:
            return f"at most {self.most:.4g} {self.unit}".rstrip()
        if self.most is None:
            return f"at least {self.least:.4g} {self.unit}".rstrip()
        if self.least == self.most:
            return f"{self.least:.4g} {self.unit}".rstrip()
        return f"{self.least:.4g} to {self.most:.4g} {self.unit}".rstrip()


def yes(what: str, value: bool | int | None) -> Figure:
    """Something that must be so."""
    return Figure(what, None if value is None else int(value), YES_NO, 1, 1)


def no(what: str, value: bool | int | None) -> Figure:
    """Something that must not be so."""
    return Figure(what, None if value is None else int(value), YES_NO, 0, 0)


@dataclass
class Bench:
    """What every step has at hand; `seen` gathers what the board said while a step was tried."""

    device: Device
    rig: Rig
    asker: Asker
    hello: Frame
    stage: str = ""
    seen: Ticks = field(default_factory=lambda: Ticks([], 1.0))
    # As they are on the board now.
    words: list[int] = field(default_factory=list)

    @property
    def period_s(self) -> float:
        """The board's period."""
        return int(self.hello.values["period_us"]) / 1e6

    @property
    def visit_s(self) -> float:
        """From one look at a leg to the next."""
        return 2 * self.period_s

    def setting(self, name: str) -> int:
        """One of the board's settings."""
        return self.words[word_of(f"settings.{name}")]

    def watch(self, seconds: float | None = None, until: Look | None = None) -> Ticks:
        """Gather ticks until something is seen, for as long as a person may take, or so long."""
        seconds = self.asker.patience_s if seconds is None else seconds
        ticks = watch(self.device, self.period_s, seconds, until, AFTER_S if until else 0.0)
        self.seen = Ticks([*self.seen.rows, *ticks.rows], self.period_s)
        return ticks

    def first(self) -> Ticks:
        """How things are before anything is asked for: a board that writes to flash tells late."""
        return self.watch(until=lambda _: True)

    def lean_deg(self, ticks: Ticks, leg: int, joint: str) -> NDArray[np.float64]:
        """Lean of a joint as the board's calibration has it."""
        first = settings.first_word(f"{LEGS[leg]}_{joint}")
        counts = np.array(self.words[first : first + 5], float)
        angles = np.array(self.words[first + 5 : first + 10], float)
        found = ticks[f"{LEGS[leg]}_{joint}_count"].astype(float)
        i = np.clip(np.searchsorted(counts, found), 1, len(counts) - 1)
        slope = (angles[i] - angles[i - 1]) / (counts[i] - counts[i - 1])
        return np.asarray((angles[i - 1] + slope * (found - counts[i - 1])) / 100)

    def leans_deg(self, ticks: Ticks) -> dict[tuple[int, str], NDArray[np.float64]]:
        """Of all four joints."""
        return {
            (leg, joint): self.lean_deg(ticks, leg, joint)
            for leg in range(len(LEGS))
            for joint in JOINTS
        }

    def moved(self, limits: Sequence[tuple[int, str, float]], before: Ticks) -> Look:
        """Whether each of these joints has moved so far (deg, with its sign) since `before`."""
        start = {key: np.median(lean) for key, lean in self.leans_deg(before).items()}

        def look(values: dict[str, Any]) -> bool:
            leans = self.leans_deg(Ticks([values], self.period_s))
            return all(
                float(leans[leg, joint][0] - start[leg, joint]) * np.sign(deg) >= abs(deg)
                for leg, joint, deg in limits
            )

        return look

    @contextmanager
    def armed(self) -> Iterator[bool]:
        """The host takes charge and a person arms; power is off again after, whatever happens."""
        self.device.take()
        ended = False
        try:
            yield self.arm()
            ended = True
        finally:
            if not ended:
                # Not even Ctrl-C or a broken step leaves a motor with power.
                with suppress(HockliftError):
                    self.device.send("stop")
            with suppress(HockliftError):
                for leg in range(len(LEGS)):
                    self.press(leg, False)
                self.device.leave()
            if ended:
                self.disarm()

    def acknowledge(self) -> Ticks:
        """Have the arm input closed for a moment: opening it again clears the faults."""
        self.asker.do("Close the arm input for a moment.", lambda board: board.arm(True))
        rows = self.watch(until=flag_is("arm", 1)).rows
        self.asker.do("Open the arm input.", lambda board: board.arm(False))
        rows = rows + self.watch(until=flag_is("arm", 0)).rows
        return Ticks(rows, self.period_s)

    def arm(self) -> bool:
        """Whether the board gives power after a person has closed the arm input and held it."""
        self.asker.do("Close the arm input, and hold it.", lambda board: board.arm(True))
        ticks = self.watch(until=flag_is("contactor", 1))
        return bool(ticks.flag("contactor").any())

    def disarm(self) -> None:
        """Have the arm input opened, and wait until it is."""
        self.asker.do("Open the arm input.", lambda board: board.arm(False))
        self.watch(until=in_order(flag_is("arm", 0), flag_is("contactor", 0)))

    def press(self, leg: int, pressed: bool) -> None:
        """Raise a foot in the host's name, or put it down."""
        self.device.send("press", leg, int(pressed))

    def change(self, name: str, value: int) -> None:
        """Change one setting for a moment; it is not kept."""
        word = word_of(f"settings.{name}")
        self.device.send("set", word, value)
        self.words[word] = value

    def open_stage(self, stage: str, day: int) -> None:
        """Give the board the rig file's settings for a stage, and keep them."""
        now = settings.read(self.device)
        then = settings.wanted(self.rig, stage, now)
        if now != then:
            settings.change(self.device, now, then, day)
        self.words = then

    def notes(self) -> list[str]:
        """What the board said against it during a step: faults and what kept it from arming."""
        bits = blocks = 0
        for row in self.seen.rows:
            bits |= fault_bits(row)
        if len(self.seen):
            blocks = int(self.seen.rows[-1]["arm_blocks"])
        found = [f"{fault.text} {fault.remedy}" for fault in FAULTS if bits & fault.bit]
        found += [
            f"Not so at the end: {condition.said} {condition.remedy}"
            for condition in ARMING
            if blocks & condition.bit
        ]
        return found


Measure = Callable[[Bench, int], list[Figure]]
