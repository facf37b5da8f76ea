"""Write files whole or not at all."""

import os
import secrets
from pathlib import Path

from hocklift.errors import OutputError


def write_atomically(path: Path, content: str | bytes) -> None:
    """Write `content` (text as UTF-8) to `path`, making its folder where needed.

    The file appears complete or not at all, even if the power fails: it is written
    beside its place and then renamed. Raises OutputError if that is impossible.
    """
    data = content.encode() if isinstance(content, str) else content
    beside = _beside(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with beside.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise _cannot_write(path, error) from error


def check_writable(folder: Path) -> None:
    """Make `folder` where needed and see that a file can be made in it; else OutputError."""
    probe = _beside(folder / "probe")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.touch(exist_ok=False)
        probe.unlink()
    except OSError as error:
        raise _cannot_write(folder, error) from error


def _beside(path: Path) -> Path:
    return path.with_name(f".{path.name[:40]}.{secrets.token_hex(4)}.part")


def _cannot_write(path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"{path}: cannot be written: {error.strerror}; "
        "name a folder that you may write to and that has room"
    )
