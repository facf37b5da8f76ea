"""What other settings would have made of a recording: the same inputs, another core's answers.

The legs moved as the recorded settings drove them, so this tells what the controller would
have asked for at each moment of that motion, not where the legs would have gone.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from legcore.model import SETTINGS
from legcore.phases import HELD, LIFTING, LOWERING, RELEASING
from legcore.validity import problem
from legsim import core
from legsim.restep import OUTPUTS, restep
from legsim.rig import Rig
from legsim.settings import SettingsError, core_rig
from legsim.tables import PHASES, fault_names
from numpy.typing import NDArray

from hocklift.errors import RigFileError
from hocklift.log import SETTINGS_COUNT, Log
from hocklift.replaying import Words, inputs_of, outputs_of, runs

LEGS = ("left", "right")
_MOVING = (LIFTING, HELD, LOWERING, RELEASING)


class Changed(NamedTuple):
    """One setting that is not as it was."""

    name: str
    was: int
    now: int


class Column(NamedTuple):
    """What one leg's core made of all ticks, by the names of OUTPUTS; `period_s` is a tick."""

    outputs: Words
    leg: str
    period_s: float

    def of(self, name: str) -> NDArray[np.int64]:
        """One output of this leg."""
        return self.outputs[:, OUTPUTS.index(f"{self.leg}.{name}")].astype(np.int64)

    @property
    def moving(self) -> NDArray[np.bool_]:
        """In which ticks the drive may leave neutral."""
        return np.isin(self.of("phase"), _MOVING)

    @property
    def faults(self) -> tuple[str, ...]:
        """Every fault seen, of this leg or of the board."""
        bits = self.of("fault_bits") | self.outputs[:, OUTPUTS.index("fault_bits")]
        return fault_names(int(np.bitwise_or.reduce(bits, initial=0)))


def _lifts(column: Column) -> str:
    return str(int((np.diff((column.of("phase") == LIFTING).astype(int)) > 0).sum()))


def _seconds_in(phase: int) -> Callable[[Column], str]:
    return lambda column: f"{(column.of('phase') == phase).sum() * column.period_s:.2f} s"


def _most_drive(column: Column) -> str:
    return f"{column.of('drive_permille').max(initial=0) / 10:.1f} %"


def _least_drive(column: Column) -> str:
    return f"{column.of('drive_permille').min(initial=0) / 10:.1f} %"


def _mean_drive(column: Column) -> str:
    drive = np.abs(column.of("drive_permille")[column.moving])
    return f"{drive.mean() / 10:.1f} %" if len(drive) else "none"


def _lag(column: Column) -> str:
    lead_deg = column.of("setpoint_cdeg_q6") / 6400 - column.of("fold_cdeg") / 100
    lead_deg = lead_deg[column.moving]
    return f"{np.sqrt(np.mean(lead_deg**2)):.2f}°" if len(lead_deg) else "none"


# (what, how one leg's figure reads)
ROWS: tuple[tuple[str, Callable[[Column], str]], ...] = (
    ("lifts begun", _lifts),
    *((f"time {phase.name}", _seconds_in(i)) for i, phase in enumerate(PHASES)),
    ("drive, most upward", _most_drive),
    ("drive, most downward", _least_drive),
    ("drive while moving, mean", _mean_drive),
    ("setpoint from fold while moving, root mean square", _lag),
    ("faults", lambda column: ", ".join(column.faults) or "none"),
)


@dataclass(frozen=True)
class WhatIf:
    """Both answers to the same inputs; `time_s` is of each of their rows."""

    log: Log
    rig_name: str
    changed: tuple[Changed, ...]
    time_s: NDArray[np.float64]
    was: Words
    would: Words

    def column(self, leg: str, outputs: Words) -> Column:
        """One leg of one of the answers."""
        return Column(outputs, leg, self.log.period_s)

    @property
    def summary(self) -> str:
        """What differs, in a sentence or two."""
        if not self.changed:
            return f"{self.rig_name} makes the settings that the recording has."
        if np.array_equal(self.was, self.would):
            return f"With {self.rig_name} every output would have been the same."
        drives = [OUTPUTS.index(f"{leg}.drive_permille") for leg in LEGS]
        apart = np.abs(self.would[:, drives].astype(int) - self.was[:, drives]) / 10
        return (
            f"With {self.rig_name} the drive would have differed by {apart.max():.1f} % at most, by"
            f" {np.sqrt(np.mean(apart**2)):.1f} % on the whole (root mean square). {self._phases()}"
        )

    def _phases(self) -> str:
        """Where a leg would first have been in another phase."""
        firsts = []
        for leg in LEGS:
            column = OUTPUTS.index(f"{leg}.phase")
            rows = np.flatnonzero(self.was[:, column] != self.would[:, column])
            if len(rows):
                firsts.append((int(rows[0]), leg, column))
        if not firsts:
            return "The phases would have been the same throughout."
        row, leg, column = min(firsts)
        was, would = (PHASES[int(each[row, column])].name for each in (self.was, self.would))
        return (
            f"At {self.time_s[row]:.2f} s the {leg} leg would have been {would},"
            f" where it was {was}."
        )


def what_if(log: Log, rig: Rig, rig_name: str) -> WhatIf:
    """Re-step a log with the settings of `rig`, but with the calibration in the log.

    The calibration belongs to the board's pots. Raises LogError or RigFileError.
    """
    inputs, outputs = inputs_of(log.ticks), outputs_of(log.ticks)
    rows, made = [], []
    changed: tuple[Changed, ...] = ()
    for run in runs(log):
        words = run.words.copy()
        words[:SETTINGS_COUNT] = _settings(run.words, rig, rig_name)
        both = zip(core.words_of("Settings"), run.words.tolist(), words.tolist(), strict=False)
        changed = tuple(Changed(*each) for each in both if each[1] != each[2])
        rows.append(np.arange(run.start, run.end))
        made.append(restep(words, inputs[run.start : run.end]))
    all_rows = np.concatenate(rows)
    return WhatIf(
        log, rig_name, changed, log.time_s[all_rows], outputs[all_rows], np.concatenate(made)
    )


def _settings(words: Words, rig: Rig, rig_name: str) -> Words:
    """Settings of `rig`, with the calibration that is in `words`."""
    names = core.words_of("Settings")
    try:
        plain = core_rig(rig)
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    new = core.to_record(plain).view(np.int32)
    of_pots = [row[0] for row in SETTINGS if len(row) == 2]
    for i, name in enumerate(names):
        if name.partition(".")[0] in of_pots:
            new[i] = words[i]
    was_hz, is_hz = (int(each[names.index("visit_hz")]) for each in (words, new))
    if was_hz != is_hz:
        raise RigFileError(
            f"{rig_name}: its control.period makes {is_hz} visits of a leg a second, the recording"
            f" has {was_hz}; give control.period the value that it was recorded with"
        )
    core.from_record(new.view(core.dtype("Rig")), plain)
    if wrong := problem(plain.settings):  # type: ignore[no-untyped-call]  # of the firmware
        raise RigFileError(
            f"{rig_name}: does not fit the calibration in the recording: {wrong}; calibrate the"
            " board for this rig, then record anew"
        )
    return new[:SETTINGS_COUNT]
