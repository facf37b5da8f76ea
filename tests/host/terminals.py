"""A program at a terminal that is none: what is typed at it, and what it shows."""

import os
import pty
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

_CHUNK = 65536


class Terminal:
    """The other side of a program's terminal."""

    def __init__(self, end: int, process: "subprocess.Popen[bytes]") -> None:
        self._end = end
        self._process = process
        self._shown = b""  # and not yet read

    def type(self, keys: str) -> None:
        """Press keys."""
        os.write(self._end, keys.encode())

    def read_until(self, mark: str) -> str:
        """What it shows up to a text, which is waited for; EOFError where it never comes."""
        while mark.encode() not in self._shown:
            self._shown += self._more()
        read, _, self._shown = self._shown.partition(mark.encode())
        return read.decode()

    def read_all(self) -> str:
        """What it shows until it ends."""
        try:
            while True:
                self._shown += self._more()
        except EOFError:
            return self._shown.decode()

    def code(self) -> int:
        """How the program ended, once it has."""
        return self._process.wait()

    def _more(self) -> bytes:
        try:
            came = os.read(self._end, _CHUNK)
        except OSError:  # as Linux says that nobody is at the other end any more
            came = b""
        if not came:
            raise EOFError
        return came


@contextmanager
def at_terminal(
    command: list[str | Path], folder: Path, env: Mapping[str, str]
) -> Iterator[Terminal]:
    """Run a program at a terminal; ended at the latest when this is left."""
    ours, its = pty.openpty()
    process = subprocess.Popen(
        command,
        cwd=folder,
        env=env,
        pass_fds=[its],
        # So that Ctrl-C reaches it.
        preexec_fn=lambda: os.login_tty(its),  # noqa: PLW1509  # system calls, no Python object
    )
    os.close(its)
    try:
        yield Terminal(ours, process)
    finally:
        process.kill()
        process.wait()
        os.close(ours)
