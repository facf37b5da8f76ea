"""Stand-ins for `os` and `open`: writing to flash stops a board, and is counted."""

import builtins
import os

from legsim.simboard.inside.wires import CONTACTOR, WRITES, WRITES_ARMED, wires

# To erase a sector; one for the file, one for its folder.
WRITE_US = 60000

_open = builtins.open


def wrote() -> None:
    """The board stands still for as long as its flash is busy."""
    out = wires.out
    out[WRITES] += 1
    if out[CONTACTOR]:
        out[WRITES_ARMED] += 1
    wires.call(WRITE_US)


def counted_open(path: str, mode: str = "r", **options: object) -> object:
    """Open a file of the board."""
    if "r" not in mode:
        wrote()
    return _open(path, mode, **options)  # type: ignore[call-overload]  # of either Python


class Os:
    """The module `os`, so far as the firmware and whoever uploads it use it."""

    getcwd = staticmethod(os.getcwd)
    listdir = staticmethod(os.listdir)
    stat = staticmethod(os.stat)
    statvfs = staticmethod(os.statvfs)
    # CPython has none, and nobody uploads to it.
    ilistdir = staticmethod(getattr(os, "ilistdir", os.listdir))

    @staticmethod
    def rename(old: str, new: str) -> None:
        """Change a name on the flash."""
        wrote()
        os.rename(old, new)

    @staticmethod
    def mkdir(path: str) -> None:
        """Make a folder on the flash."""
        wrote()
        os.mkdir(path)

    @staticmethod
    def rmdir(path: str) -> None:
        """Take an empty folder off the flash."""
        wrote()
        os.rmdir(path)

    @staticmethod
    def remove(path: str) -> None:
        """Take a file off the flash."""
        os.stat(path)
        wrote()
        os.remove(path)
