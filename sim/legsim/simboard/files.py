"""What lies on the board's flash: the firmware, and settings made from a rig."""

from pathlib import Path

import legcore
import numpy as np
from legcore.model import RECORDS
from legwire import kept

from legsim import core
from legsim.rig import Rig
from legsim.settings import core_rig
from legsim.simboard.inlined import inlined

PACKAGES = ("legcore", "legwire", "legboard")


def firmware_files() -> dict[str, Path]:
    """Where each file of the firmware is here, by its path on the board."""
    assert legcore.__file__ is not None
    top = Path(legcore.__file__).parents[1]
    # Installed from a wheel, main.py lies in a package: it would be anybody's by itself.
    main = next(path for path in (top / "legboard" / "main.py", top / "main.py") if path.exists())
    files = {"main.py": main}
    for package in PACKAGES:
        for path in sorted((top / package).glob("*.py")):
            if path != main:
                files[f"{package}/{path.name}"] = path
    return files


def lay_out(folder: Path) -> None:
    """Write the firmware onto a board's flash, as text, as it runs there."""
    for name, source in firmware_files().items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(inlined(source), encoding="utf-8")


def settings_layout() -> int:
    """The number of this version's settings, as the board works it out."""
    names: list[str] = []

    def walk(record: str, prefix: str) -> None:
        for row in RECORDS[record]:
            if len(row) == 2:
                walk(row[1], f"{prefix}{row[0]}.")
            elif len(row) == 5:
                names.extend(f"{prefix}{row[0]}[{i}] {row[1]}" for i in range(row[4]))
            else:
                names.append(f"{prefix}{row[0]} {row[1]}")

    walk("Settings", "")
    return int(kept.layout(names))  # type: ignore[no-untyped-call]  # the firmware's own


def settings_file(rig: Rig, day: int = 0) -> bytes:
    """The board's file of settings for a rig, calibrated on `day` (days since 2000-01-01)."""
    words = core.integers(core_rig(rig).settings, "Settings")
    values = np.array(words, "<i4").tobytes()
    data: bytes = kept.pack(values, settings_layout(), day)  # type: ignore[no-untyped-call]
    return data
