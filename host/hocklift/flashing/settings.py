"""The settings that a board gets: the rig file's, with what was found out at that very rig.

A flash never raises the stage of commissioning, which is for the bench checks to do.
"""

from dataclasses import dataclass, replace

import numpy as np
from legcore.validity import problem
from legsim import core
from legsim.rig import Rig
from legsim.settings import SettingsError, core_rig
from legsim.simboard.files import settings_layout
from legsim.tables import STAGES
from legwire import kept

from hocklift.checking.settings import NAMES, wanted
from hocklift.errors import RigFileError

FIRST_STAGE = STAGES[0].name
# States in which there may have been a calibration.
_LOST = (kept.CORRUPT, kept.OTHER_VERSION)


@dataclass(frozen=True)
class Settings:
    """The file for the board, or None where there is none; and what it is, for a person."""

    data: bytes | None
    words: str


def settings_for(
    rig: Rig | None, rig_name: str, found: bytes | None, fresh: bool = False
) -> Settings:
    """Make the board's settings from a rig and from what was `found` there.

    Without a rig they stay as they are. `fresh` forgets the calibration. Raises RigFileError
    where the board would refuse them.
    """
    state, day, old = _read(found)
    if rig is None:
        return Settings(found, _left(state, day))
    if state != kept.GOOD or day == 0 or fresh:
        words = _words(rig, rig_name, FIRST_STAGE, None)
        lost = f", as those on the board were {kept.STATES[state]}" if state in _LOST else ""
        return Settings(
            _pack(words, 0),
            f"from {rig_name}, not calibrated{lost};"
            f" stage {FIRST_STAGE} until the bench checks raise it",
        )
    stages = [stage.name for stage in STAGES]
    stage = min(rig.control.stage, stages[old[NAMES.index("stage")]], key=stages.index)
    words = _words(rig, rig_name, stage, old)
    return Settings(_pack(words, day), f"from {rig_name}, calibration kept; stage {stage}")


def _read(found: bytes | None) -> tuple[int, int, list[int]]:
    """State, day of calibration, and integers of a settings file."""
    if found is None:
        return kept.MISSING, 0, []
    layout = settings_layout()
    state, day, values = kept.unpack(found, layout, len(NAMES))  # type: ignore[no-untyped-call]
    return state, day, np.frombuffer(values, "<i4").tolist()


def _left(state: int, day: int) -> str:
    """What it means that the settings on the board stay as they are."""
    if state != kept.GOOD:
        return f"{kept.STATES[state]}: nothing will move until you flash with a rig file"
    return "left as they are" + ("" if day else ", not calibrated")


def _words(rig: Rig, rig_name: str, stage: str, old: list[int] | None) -> list[int]:
    """Every integer of the settings at a stage; calibrated as `old`, or as if perfect."""
    try:
        made = core_rig(replace(rig, control=replace(rig.control, stage=stage))).settings
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    words = core.integers(made, "Settings")
    if old is None:
        return words
    words = wanted(rig, stage, old)
    memory = np.array(words, np.int32).view(core.dtype("Settings"))
    core.from_record(memory, made, "Settings")
    if wrong := problem(made):  # type: ignore[no-untyped-call]  # the firmware's own
        raise RigFileError(
            f"{rig_name}: with the calibration on the board, the board would refuse it: {wrong};"
            " change the rig file, or forget the calibration with --fresh and calibrate again"
        )
    return words


def _pack(words: list[int], day: int) -> bytes:
    values = np.array(words, "<i4").tobytes()
    data: bytes = kept.pack(values, settings_layout(), day)  # type: ignore[no-untyped-call]
    return data
