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


@dataclass(frozen=True)
class AskedFigures:
    """What was asked of one leg, in figures; of the drive 1 is full, None where it never moved."""

    lifts: int
    phase_s: dict[str, float]
    drive_most: float
    drive_least: float
    drive_mean: float | None
    lead_deg: float | None
    faults: tuple[str, ...]


def asked_figures(outputs: Words, leg: str, period_s: float) -> AskedFigures:
    """Work out the figures of one leg from a row of outputs a tick, by the names of OUTPUTS."""

    def of(name: str) -> NDArray[np.int64]:
        return outputs[:, OUTPUTS.index(f"{leg}.{name}")].astype(np.int64)

    phase, drive = of("phase"), of("drive_permille") / 1000
    moving = np.isin(phase, _MOVING)
    lead_deg = (of("setpoint_cdeg_q6") / 6400 - of("fold_cdeg") / 100)[moving]
    bits = of("fault_bits") | outputs[:, OUTPUTS.index("fault_bits")]
    return AskedFigures(
        lifts=int((np.diff((phase == LIFTING).astype(int)) > 0).sum()),
        phase_s={each.name: float((phase == i).sum()) * period_s for i, each in enumerate(PHASES)},
        drive_most=float(drive.max(initial=0)),
        drive_least=float(drive.min(initial=0)),
        drive_mean=float(np.abs(drive[moving]).mean()) if moving.any() else None,
        lead_deg=float(np.sqrt(np.mean(lead_deg**2))) if moving.any() else None,
        faults=fault_names(int(np.bitwise_or.reduce(bits, initial=0))),
    )


def _time(phase: str) -> Callable[[AskedFigures], str]:
    return lambda leg: f"{leg.phase_s[phase]:.2f} s"


# (what, how one leg's figure reads)
ROWS: tuple[tuple[str, Callable[[AskedFigures], str]], ...] = (
    ("lifts begun", lambda leg: str(leg.lifts)),
    *((f"time {phase.name}", _time(phase.name)) for phase in PHASES),
    ("drive, most upward", lambda leg: f"{100 * leg.drive_most:.1f} %"),
    ("drive, most downward", lambda leg: f"{100 * leg.drive_least:.1f} %"),
    (
        "drive while moving, mean",
        lambda leg: "none" if leg.drive_mean is None else f"{100 * leg.drive_mean:.1f} %",
    ),
    (
        "setpoint from fold while moving, root mean square",
        lambda leg: "none" if leg.lead_deg is None else f"{leg.lead_deg:.2f}°",
    ),
    ("faults", lambda leg: ", ".join(leg.faults) or "none"),
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

    @property
    def legs(self) -> dict[str, dict[str, AskedFigures]]:
        """By leg: what `was` asked of it, and what `would` have been."""
        answers = {"was": self.was, "would": self.would}
        return {
            leg: {
                when: asked_figures(outputs, leg, self.log.period_s)
                for when, outputs in answers.items()
            }
            for leg in LEGS
        }

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
