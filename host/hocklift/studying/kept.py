"""Finished trials in a file, so that a study that was killed goes on where it was.

A line a trial, appended as it comes, with its own checksum at the end: a line that was cut off,
or damaged, counts for nothing and is done again. The file's name carries a hash of all that the
results follow from, so other trials never count.
"""

import csv
import io
from hashlib import sha256
from pathlib import Path
from zlib import crc32

from legsim.compiled import source_hash
from legsim.figures import WANTS

from hocklift.errors import OutputError
from hocklift.studying.jobs import Ran, Walks

_HEADER = ["number", "seed", *(want.name for want in WANTS), "faults", "checksum"]


class Kept:
    """The finished trials of one study in a folder; `ran` holds them by number."""

    def __init__(self, folder: Path, walks: Walks, what: str) -> None:
        """`what` tells trials apart that share their walks: "builds", or how they were chosen."""
        gait = walks.gait
        follows_from = (
            source_hash(),
            repr(walks.rig),
            repr(walks.seconds),
            *(angles.tobytes().hex() for angles in (gait.time_s, gait.left_deg, gait.right_deg)),
            what,
        )
        key = sha256("\n".join(follows_from).encode()).hexdigest()[:12]
        self._kind = what.split(maxsplit=1)[0]
        self.path = folder / f"{self._kind}-{key}.csv"
        self.ran: dict[int, Ran] = {}
        try:
            folder.mkdir(parents=True, exist_ok=True)
            # Appended with one write each, so that two studies in one folder cannot mix lines.
            self._file = self.path.open("a+b", buffering=0)
            self._file.seek(0)
            self._read(self._file.read())
        except OSError as error:
            raise _cannot_keep(self.path, error) from error

    @property
    def others(self) -> list[Path]:
        """Files of the same kind in the folder that do not count for this study."""
        return sorted(set(self.path.parent.glob(f"{self._kind}-*.csv")) - {self.path})

    def _read(self, data: bytes) -> None:
        lines = data.decode(errors="replace").splitlines()
        for cells in filter(None, map(_cells, lines)):
            number, seed, *missed = cells[: 2 + len(WANTS)]
            faults = tuple(filter(None, cells[-1].split("; ")))
            self.ran[int(number)] = Ran(int(number), int(seed), tuple(map(float, missed)), faults)
        if not data:
            self._file.write((",".join(_HEADER) + "\n").encode())
        elif not data.endswith(b"\n"):
            self._file.write(b"\n")  # so that the cut line stays alone

    def add(self, rans: list[Ran]) -> None:
        """Append what has finished; OutputError where that is impossible."""
        try:
            self._file.write("".join(map(_line, rans)).encode())
        except OSError as error:
            raise _cannot_keep(self.path, error) from error
        self.ran.update((ran.number, ran) for ran in rans)

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


def _line(ran: Ran) -> str:
    text = io.StringIO()
    cells = [ran.number, ran.seed, *map(repr, ran.missed), "; ".join(ran.faults)]
    csv.writer(text, lineterminator="").writerow(cells)
    return f"{text.getvalue()},{crc32(text.getvalue().encode()):08x}\n"


def _cells(line: str) -> list[str]:
    """Cells of a line without its checksum; none where the line is not whole."""
    text, _, checksum = line.rpartition(",")
    if f"{crc32(text.encode()):08x}" != checksum:
        return []
    return next(csv.reader([text]))


def _cannot_keep(path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"{path}: cannot be written: {error.strerror}; "
        "name a folder that you may write to and that has room"
    )
