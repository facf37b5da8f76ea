"""Gains and limits that may be changed from the page: keys of the rig file, one at a time.

A change goes onto the board as the settings that it makes another: no others are touched,
whatever the board has. It is judged here as the board will judge it when it is armed.
"""

from collections.abc import Sequence
from math import inf, radians
from typing import Any, NamedTuple

import numpy as np
from legcore.model import make
from legcore.validity import problem
from legsim import core
from legsim.rig import Rig
from legsim.tables import STAGES

from hocklift.checking.settings import NAMES, fresh, wanted
from hocklift.errors import BoardError, RigFileError
from hocklift.rigfile.file import line_at, with_written
from hocklift.rigfile.keys import key_at, value_at
from hocklift.rigfile.units import show, with_unit

# What a person tunes at the stand, in the order in which they meet it.
KNOBS = (
    ("gains", ("control.kp", "control.ki", "control.kd", "control.integral")),
    (
        "motion",
        (
            "wants.clearance",
            "control.lift_speed",
            "control.lower_speed",
            "control.release_speed",
            "control.accel",
            "control.lag",
            "control.hold_time",
        ),
    ),
    (
        "stoop",
        (
            "wants.stoop_fold",
            "control.stoop_speed",
            "control.stoop_accel",
            "control.stoop_time",
            "control.keep",
            "control.stick_curve",
            "safety.apart",
        ),
    ),
    (
        "limits",
        (
            "control.drive_max",
            "control.slew",
            "control.stop_zone",
            "control.stop_ahead",
            "safety.stall_drive",
            "safety.stall_time",
            "safety.adrift",
            "safety.push",
            "safety.rate",
        ),
    ),
)
# Where the rig file's own words lean on those of the key before.
_PLAINER = {"safety.stall_time": "so much drive for so long without motion is a stall"}
PATHS = tuple(path for _, paths in KNOBS for path in paths)
# Places and values of settings.
Words = list[tuple[int, int]]


class Change(NamedTuple):
    """One change: the words that it sets, as they were before, and the rig as it was."""

    path: str
    words: Words
    before: Words
    rig: Rig


def stage_most(path: str, stage: int) -> float:
    """How far a stage of commissioning lets a key go, in SI; infinite where it does not say."""
    row = STAGES[stage]
    speed_radps = radians(row.speed_cdps / 100)
    return {
        "control.drive_max": row.drive_permille / 1000,
        "control.lift_speed": speed_radps,
        "control.lower_speed": speed_radps,
        "control.release_speed": speed_radps,
        "control.stoop_speed": speed_radps,
        "safety.stall_time": row.stall_ms / 1000,
    }.get(path, inf)


class Tuning:
    """The rig file's values as changed so far, and how to go back."""

    def __init__(self, rig: Rig) -> None:
        self.first = self.rig = rig
        self.done: list[Change] = []
        self.kept = True

    def rows(self, words: Sequence[int]) -> list[dict[str, Any]]:
        """Every knob as the page shows it, in the unit of the rig file."""
        stage = words[NAMES.index("stage")]
        return [self._row(group, path, stage) for group, paths in KNOBS for path in paths]

    def _row(self, group: str, path: str, stage: int) -> dict[str, Any]:
        key = key_at(path)
        most = min(key.high, stage_most(path, stage))
        value = value_at(self.rig, path)
        return {
            "group": group,
            "path": path,
            "name": path.partition(".")[2].replace("_", " "),
            "meaning": _PLAINER.get(path, key.meaning),
            "unit": with_unit("", key.unit).strip(),
            # What the stage allows is what the board has, whatever the file says.
            "value": show(min(value, most), key.unit, 6),
            "low": show(key.low, key.unit, 4),
            "high": show(most, key.unit, 4),
            "staged": most < key.high,
            "changed": value != value_at(self.first, path),
        }

    def odd(self, words: Sequence[int]) -> list[str]:
        """Settings that the board has otherwise than this rig has them, calibration aside."""
        stage = STAGES[words[NAMES.index("stage")]].name
        ours = wanted(self.rig, stage, words)
        return [name for name, a, b in zip(NAMES, ours, words, strict=True) if a != b]

    def lines(self) -> list[str]:
        """What to write into the rig file to have the changes there as well."""
        return [
            f"[{path.partition('.')[0]}] {line_at(self.rig, path)}"
            for path in PATHS
            if value_at(self.rig, path) != value_at(self.first, path)
        ]

    def change(self, path: str, text: str, words: Sequence[int]) -> Change:
        """Work out a change to a number in the key's unit; BoardError if it may not be."""
        if path not in PATHS:
            raise BoardError(f"{path}: is not changed here; change it in the rig file")
        key = key_at(path)
        stage = words[NAMES.index("stage")]
        try:
            rig = with_written(self.rig, path, with_unit(text.strip(), key.unit))
        except RigFileError as error:
            raise BoardError(str(error)) from error
        most = stage_most(path, stage)
        if value_at(rig, path) > most * (1 + 1e-9):
            raise BoardError(
                f"{path}: at the stage {STAGES[stage].name} it may be at most"
                f" {with_unit(show(most, key.unit, 4), key.unit)}; the next stage opens when"
                " `hocklift check` has passed this one"
            )
        before = fresh(self.rig, STAGES[stage].name)
        after = fresh(rig, STAGES[stage].name)
        differ = [i for i, (a, b) in enumerate(zip(before, after, strict=True)) if a != b]
        if not differ:
            raise BoardError(f"{path}: to the board this is the same value as before")
        change = Change(
            path, [(i, after[i]) for i in differ], [(i, words[i]) for i in differ], self.rig
        )
        if why := _problem(words, change.words):
            raise BoardError(f"{path}: the board would refuse to be armed with this: {why}")
        self.rig = rig
        self.done.append(change)
        self.kept = False
        return change

    def last(self) -> Change:
        """The last change; BoardError where there is none."""
        if not self.done:
            raise BoardError("there is nothing to undo")
        return self.done[-1]

    def take_back(self) -> None:
        """Forget the last change: the board has what it had before, or never had it."""
        self.rig = self.done.pop().rig
        self.kept = False


def _problem(words: Sequence[int], changes: Words) -> str:
    """Why the board would not be armed with these settings, in its own words."""
    settings = np.array(words, np.int32)
    for word, value in changes:
        settings[word] = value
    plain = make("Settings")  # type: ignore[no-untyped-call]  # the firmware has no annotations
    core.from_record(settings.view(core.dtype("Settings")), plain, "Settings")
    return str(problem(plain))  # type: ignore[no-untyped-call]  # as above
