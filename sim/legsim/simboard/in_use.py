"""One board at a time on a flash that is kept."""

import fcntl
from pathlib import Path
from typing import BinaryIO


class BusyError(Exception):
    """Another board is on this flash."""


def hold(flash: Path) -> BinaryIO:
    """Keep other boards off until the file that is returned is closed."""
    file = flash.with_name(f"{flash.name}.in-use").open("ab")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        file.close()
        raise BusyError(str(flash)) from error
    return file
