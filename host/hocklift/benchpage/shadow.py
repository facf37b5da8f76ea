"""The board's core stepped again beside it, to the bit: what it knows and the wire does not say.

Every tick on the wire holds all inputs of the core, so from one snapshot of its memory on this
computer's core has the same memory: filtered leans, rates, the warmth of the windings.
"""

from collections import deque

import numpy as np
from legcore.model import FEEDFORWARD_POINTS, LONG_ROUND_TICKS
from legcore.phases import STANDING
from legsim.core import word_of, words_of
from legsim.restep import INPUTS, restep
from legsim.rig import Rig
from numpy.typing import NDArray

from hocklift.benchpage.columns import COLUMNS, LEGS
from hocklift.device import Gatherer, Snapshot
from hocklift.replaying import Ticks, inputs_of
from hocklift.wire import Frame

# A snapshot takes some forty ticks to come; so many are kept to catch up with it.
_KEPT_TICKS = 500
# The heat model looks at a motor's work twice a long round (`legcore.heat`).
_LOOK_TICKS = LONG_ROUND_TICKS // 2
_OF_LEG = (
    "thigh.angle_cdeg_q4",
    "shank.angle_cdeg_q4",
    "fold_cdeg",
    "rate_cdps",
    "winding_mK_q8",
    "meant_permille",
    "over_q4",
)
_INSIDE = tuple(f"{leg}.{name}" for leg in LEGS for name in _OF_LEG)


class Shadow:
    """One core beside the board's; `synced` while it is known to be the same."""

    def __init__(self, rig: Rig) -> None:
        self.synced = False
        self.settings: list[int] = []
        self._resistance_ohm = rig.drive.resistance_ohm
        self._words: NDArray[np.int32] | None = None
        self._tick = -1
        self._gatherer = Gatherer()
        self._kept: deque[Ticks] = deque()
        # What each motor was meant to do, from the heat model's last look at it until now.
        self._meant = np.zeros((_LOOK_TICKS, len(LEGS)))
        # Compiled now, and not while a board waits for beats.
        restep(np.zeros(len(words_of("Rig")), np.int32), np.zeros((0, len(INPUTS)), np.int32))

    def gather(self, frame: Frame) -> Snapshot | None:
        """Take a part of a snapshot; the snapshot when that was the last one."""
        return self._gatherer.add(frame)

    def sync(self, snapshot: Snapshot) -> None:
        """Begin anew from a snapshot, and catch up with the ticks that came since."""
        if len(snapshot.words) != len(words_of("Rig")):
            return
        self.settings = [int(word) for word in snapshot.words[: len(words_of("Settings"))]]
        if not self._kept:
            return
        kept = np.concatenate(list(self._kept))
        after = kept[kept["tick"] > snapshot.tick]
        gone_by = np.arange(snapshot.tick + 1, snapshot.tick + 1 + len(after))
        if not np.array_equal(after["tick"], gone_by):
            return
        self._words = snapshot.words.copy()
        restep(self._words, inputs_of(after))
        self._tick = snapshot.tick + len(after)
        self.synced = True

    def rows(self, ticks: Ticks, time_s: NDArray[np.float64]) -> NDArray[np.float32]:
        """What the page is told of these ticks, in the columns of COLUMNS.

        Ticks that are not the next ones leave the shadow out of step until the next snapshot.
        """
        self._keep(ticks)
        columns = {
            "since_s": time_s - time_s[0],
            "battery_V": ticks["battery_mV"] / 1000,
            "supply_V": ticks["supply_mV"] / 1000,
            "loop_ms": ticks["loop_us"] / 1000,
        }
        for leg in LEGS:
            moving = ticks[f"{leg}_phase"] > STANDING
            columns[f"{leg}_fold_deg"] = ticks[f"{leg}_fold_cdeg"] / 100
            setpoint_deg = ticks[f"{leg}_setpoint_cdeg_q6"] / 6400
            columns[f"{leg}_setpoint_deg"] = np.where(moving, setpoint_deg, np.nan)
            columns[f"{leg}_drive_percent"] = ticks[f"{leg}_drive_permille"] / 10
        if self._words is not None:
            columns |= self._inside(ticks, self._words)
        rows = np.full((len(ticks), len(COLUMNS)), np.nan, np.float32)
        for i, name in enumerate(COLUMNS):
            if name in columns:
                rows[:, i] = columns[name]
        return rows

    def _keep(self, ticks: Ticks) -> None:
        self._kept.append(ticks)
        while sum(map(len, self._kept)) > _KEPT_TICKS + len(ticks):
            self._kept.popleft()
        follows = np.arange(self._tick + 1, self._tick + 1 + len(ticks))
        if not np.array_equal(ticks["tick"], follows):
            self.synced = False
        self._tick = int(ticks["tick"][-1])

    def _inside(self, ticks: Ticks, words: NDArray[np.int32]) -> dict[str, NDArray[np.float64]]:
        """What the core's memory holds after each tick."""
        found = restep(words, inputs_of(ticks), _INSIDE)
        inside = {name: found[:, i].astype(float) for i, name in enumerate(_INSIDE)}
        meant = np.stack([inside[f"{leg}.meant_permille"] for leg in LEGS], axis=1)
        history = np.concatenate([self._meant, meant])
        self._meant = history[-_LOOK_TICKS:]
        columns = {}
        for i, leg in enumerate(LEGS):
            if not np.array_equal(inside[f"{leg}.fold_cdeg"], ticks[f"{leg}_fold_cdeg"]):
                self.synced = False
            for joint in ("thigh", "shank"):
                columns[f"{leg}_{joint}_deg"] = inside[f"{leg}.{joint}.angle_cdeg_q4"] / 1600
            columns[f"{leg}_rate_degps"] = inside[f"{leg}.rate_cdps"] / 100
            columns[f"{leg}_winding_K"] = inside[f"{leg}.winding_mK_q8"] / 256000
            turned = np.abs(history[_LOOK_TICKS:, i] - history[:-_LOOK_TICKS, i])
            columns[f"{leg}_current_A"] = self._current_A(
                words, ticks, leg, turned, np.abs(inside[f"{leg}.over_q4"]) / 16
            )
        return columns

    def _current_A(
        self,
        words: NDArray[np.int32],
        ticks: Ticks,
        leg: str,
        turned: NDArray[np.float64],
        over: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """What the core's model of heat takes for the motor's current (`legcore.heat`).

        Spring and weight by the table over fold, the rotor's change of speed, and drive that
        stays beyond both.
        """

        def setting(name: str) -> int:
            return int(words[word_of(f"settings.{name}")])

        first = word_of("settings.hold_permille[0]")
        hold = words[first : first + FEEDFORWARD_POINTS]
        step_cdeg = max(setting("table_step_cdeg"), 1)
        point = (ticks[f"{leg}_fold_cdeg"] - setting("table_start_cdeg")) // step_cdeg
        moving = ticks[f"{leg}_phase"] > STANDING
        permille = np.where(moving, hold[np.clip(point, 0, FEEDFORWARD_POINTS - 1)], 0.0)
        permille = permille + turned * setting("heat_accel_q8") / 256
        permille += np.where(moving & (over > setting("heat_doubt_permille")), over, 0.0)
        permille = np.minimum(permille, setting("heat_most_permille"))
        full_A = setting("usual_mV") / 1000 / self._resistance_ohm
        return np.asarray(permille / 1000 * full_A)
