"""What a board tells tick by tick, gathered while somebody does something at the rig."""

from collections.abc import Callable
from typing import Any

import numpy as np
from legwire.messages import TICK_FLAGS
from numpy.typing import NDArray

from hocklift.device import Device

LEGS = ("left", "right")
JOINTS = ("thigh", "shank")
SWITCH, SOLE = 1, 2
Values = dict[str, Any]
# Whether what is waited for is there, given one tick.
Look = Callable[[Values], bool]


class Ticks:
    """Ticks in order; each field of them is an array."""

    def __init__(self, rows: list[Values], period_s: float) -> None:
        self.rows = rows
        self.period_s = period_s

    def __len__(self) -> int:
        """How many they are."""
        return len(self.rows)

    def __getitem__(self, name: str) -> NDArray[np.int64]:
        """One field of all of them."""
        return np.array([row[name] for row in self.rows], np.int64)

    def then(self, later: "Ticks") -> "Ticks":
        """These, and those that came after."""
        return Ticks([*self.rows, *later.rows], self.period_s)

    def flag(self, name: str) -> NDArray[np.int64]:
        """One of the board's flags, 0 or 1."""
        return np.asarray(self["flags"] >> TICK_FLAGS.index(name) & 1, np.int64)

    def contact(self, leg: int, bit: int) -> NDArray[np.int64]:
        """Foot switch or sole contact of one leg, 0 or 1."""
        return np.asarray(np.minimum(self[f"{LEGS[leg]}_contacts"] & bit, 1), np.int64)

    @property
    def time_s(self) -> NDArray[np.float64]:
        """By the board's own clock, from the first of these ticks."""
        ticks = self["tick"]
        return np.asarray((ticks - ticks[:1]) * self.period_s, np.float64)

    def first_s(self, true: NDArray[np.bool_]) -> float | None:
        """Time of the first tick where something is true; None if it never is."""
        at = np.flatnonzero(true)
        return float(self.time_s[at[0]]) if len(at) else None


def watch(
    device: Device, period_s: float, seconds: float, until: Look | None = None, after_s: float = 0.0
) -> Ticks:
    """Gather ticks for so long, or until something was seen, and a little on."""
    rows: list[Values] = []
    for frame in device.frames(seconds):
        if frame.message != "tick":
            continue
        rows.append(dict(frame.values))
        if until is not None and until(rows[-1]):
            if after_s > 0:
                rows += watch(device, period_s, after_s).rows
            break
    return Ticks(rows, period_s)


def in_order(*looks: Look) -> Look:
    """Whether these were seen, one after the other."""
    waiting = list(looks)

    def look(values: Values) -> bool:
        while waiting and waiting[0](values):
            waiting.pop(0)
        return not waiting

    return look


def flag_is(name: str, value: int) -> Look:
    """Whether one of the board's flags is so."""
    bit = TICK_FLAGS.index(name)
    return lambda values: values["flags"] >> bit & 1 == value


def contact_is(leg: int, bit: int, value: int) -> Look:
    """Whether a foot switch or sole contact is open (0) or closed (1)."""
    name = f"{LEGS[leg]}_contacts"
    return lambda values: bool(values[name] & bit) == bool(value)


def phase_is(leg: int, *phases: int) -> Look:
    """Whether a leg is in one of these phases."""
    name = f"{LEGS[leg]}_phase"
    return lambda values: values[name] in phases


def fault_bits(values: Values) -> int:
    """All faults of both legs and the board."""
    return int(values["fault_bits"] | values["left_fault_bits"] | values["right_fault_bits"])
