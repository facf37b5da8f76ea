"""Read a recorded gait: a CSV file of knee angles over time."""

import csv
from importlib import resources
from pathlib import Path

import numpy as np
from legsim.wearer import Gait

from hocklift.errors import WearerFileError

COLUMNS = ("time_s", "left_knee_deg", "right_knee_deg")
# Knees do not bend further either way (teaching texts give 0 to 140 or 150 degrees).
_LEAST_DEG, _MOST_DEG = -30.0, 180.0
_LEAST_ROWS = 20


def built_in_gait() -> Gait:
    """Return the recording that hocklift ships; its credit is beside it."""
    with resources.as_file(resources.files("hocklift") / "data/gait-healthy-adult.csv") as path:
        return read_gait(path)


def read_gait(path: Path) -> Gait:
    """Read a CSV file with the columns of `COLUMNS`: seconds, and degrees of flexion.

    Raises WearerFileError naming file, line and column of the first thing wrong.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = [row for row in csv.reader(file) if row]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or "not a CSV file in UTF-8"
        raise WearerFileError(
            f"{path}: cannot be read: {reason}; give a CSV file with the columns {_header()}"
        ) from error
    if not rows:
        raise WearerFileError(f"{path}: is empty; its first line must be {_header()}")
    header = [name.strip() for name in rows[0]]
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        raise WearerFileError(
            f"{path}: line 1 has no column {missing[0]}, only {', '.join(header)!r};"
            f" it must have {_header()}"
        )
    places = [header.index(name) for name in COLUMNS]
    values = np.array([_numbers(path, i, row, places) for i, row in enumerate(rows[1:], 2)])
    if len(values) < _LEAST_ROWS:
        raise WearerFileError(
            f"{path}: has {len(values)} rows of numbers; two strides need {_LEAST_ROWS} at least"
        )
    time_s = values[:, 0]
    backward = np.flatnonzero(np.diff(time_s) <= 0)
    if len(backward):
        line = int(backward[0]) + 3
        raise WearerFileError(
            f"{path}: line {line}, time_s: {time_s[line - 2]:g} does not come after"
            f" {time_s[line - 3]:g}; time must grow from line to line"
        )
    return Gait(time_s, values[:, 1], values[:, 2])


def _header() -> str:
    return ",".join(COLUMNS)


def _numbers(path: Path, line: int, row: list[str], places: list[int]) -> list[float]:
    """The three numbers of one line."""
    numbers = []
    for name, place in zip(COLUMNS, places, strict=True):
        text = row[place].strip() if place < len(row) else ""
        try:
            number = float(text)
        except ValueError:
            number = float("nan")
        low, high = (-1e9, 1e9) if name == "time_s" else (_LEAST_DEG, _MOST_DEG)
        if not low <= number <= high:
            expected = "seconds" if name == "time_s" else f"degrees from {low:g} to {high:g}"
            raise WearerFileError(
                f"{path}: line {line}, {name}: found {text or 'nothing'!r}, expected {expected};"
                " mend or leave out that line"
            )
        numbers.append(number)
    return numbers
