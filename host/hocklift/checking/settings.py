"""The board's settings, changed word by word: what a rig file and a stage want, read back after."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from legsim.core import integers, words_of
from legsim.rig import Rig
from legsim.settings import SettingsError, core_rig

from hocklift.device import Device
from hocklift.errors import BoardError

NAMES = words_of("Settings")
CALIBRATIONS = ("left_thigh", "left_shank", "right_thigh", "right_shank")
_CALIBRATED = [name.partition(".")[0] in CALIBRATIONS for name in NAMES]


def today() -> int:
    """Days since 2000-01-01, as boards count them."""
    return (datetime.now(UTC).date() - datetime(2000, 1, 1).date()).days


def first_word(calibration: str) -> int:
    """Number of the first word of one joint's calibration."""
    return NAMES.index(f"{calibration}.count[0]")


def read(device: Device) -> list[int]:
    """The settings that the board uses now."""
    return [int(word) for word in device.snapshot().words[: len(NAMES)]]


def staged(rig: Rig, stage: str) -> Any:
    """The core's settings for a rig at a stage, as a plain object; calibrated as if perfect."""
    try:
        return core_rig(replace(rig, control=replace(rig.control, stage=stage))).settings
    except SettingsError as error:
        raise BoardError(f"at the stage {stage}, {error}; change the rig file") from error


def fresh(rig: Rig, stage: str) -> list[int]:
    """The settings of a rig at a stage, calibrated as if its pots were perfect."""
    return integers(staged(rig, stage), "Settings")


def wanted(rig: Rig, stage: str, now: Sequence[int]) -> list[int]:
    """The settings of a rig at a stage, calibrated as the board is now."""
    return [
        old if calibrated else new
        for new, old, calibrated in zip(fresh(rig, stage), now, _CALIBRATED, strict=True)
    ]


def change(device: Device, now: Sequence[int], then: Sequence[int], day: int) -> int:
    """Set what differs, keep it, and read it back; how many words differed.

    Raises BoardError where the board has something else in the end.
    """
    differ = [i for i, (old, new) in enumerate(zip(now, then, strict=True)) if old != new]
    for i in differ:
        device.send("set", i, then[i])
    device.send("keep", day)
    found = read(device)
    for i in range(len(then)):
        if found[i] != then[i]:
            raise BoardError(
                f"{device.transport.name}: the board's {NAMES[i]} reads back as {found[i]}, written"
                f" was {then[i]}; restart the board and try again, then suspect its memory"
            )
    return len(differ)
