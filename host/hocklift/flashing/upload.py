"""A program beside the one that is there, verified, and then put in its place in one step.

The board starts whatever main.py says, and main.py is replaced last, by a rename. Its
settings lie in the program's own folder, so they change hands in the same step. A cut
before leaves the old program and its settings, a cut after leaves the new ones.
"""

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field

from legwire.kept import FILE

from hocklift.errors import HockliftError
from hocklift.flashing.program import MAIN, PREFIX, Program
from hocklift.flashing.prompt import FullError, Prompt

_ASIDE = ".new"
_NAMED = re.compile(rb'^PROGRAM = "(' + PREFIX.encode() + rb'[0-9a-f]+)"$', re.MULTILINE)
# The board tells of a reset that nobody wanted; this file says that somebody did.
_WANTED = "restart.txt"


class NotVerifiedError(HockliftError):
    """What the board has is not what it was sent."""


@dataclass
class Upload:
    """What came of it: files sent, taken from the last program on the board, or there before."""

    program: str
    before: str
    sent: list[str] = field(default_factory=list)
    copied: list[str] = field(default_factory=list)
    there: list[str] = field(default_factory=list)
    bytes_sent: int = 0


def current_program(prompt: Prompt) -> str:
    """The folder of the program that the board starts now, or nothing."""
    named = _NAMED.search(prompt.read(MAIN) or b"")
    return named[1].decode() if named else ""


def kept_settings(prompt: Prompt) -> bytes | None:
    """The settings of the program that the board starts now."""
    return prompt.read(_join(current_program(prompt), FILE))


def upload(
    prompt: Prompt,
    program: Program,
    settings: bytes | None,
    on_file: Callable[[str], None] = lambda path: None,
) -> Upload:
    """Put a program and its settings onto the board, and make it the one that starts.

    `on_file` is told of each file before it is put there.
    Raises FullError where there is no room and NotVerifiedError where a file is not what was
    sent; in both cases the board keeps the program that it had.
    """
    before = current_program(prompt)
    done = Upload(program.name, before)
    for name in prompt.names():
        if name.startswith(PREFIX) and name not in (before, program.name):
            prompt.clear(name)
    try:
        _fill(prompt, program, settings, done, on_file)
        _put(prompt, _WANTED, b"wanted\n")
        if prompt.read(MAIN) != program.main:
            _put(prompt, MAIN, program.main)
    except FullError as error:
        raise _full(prompt, program, before, error) from error
    done.bytes_sent = prompt.bytes_sent
    return done


def _fill(
    prompt: Prompt,
    program: Program,
    settings: bytes | None,
    done: Upload,
    on_file: Callable[[str], None],
) -> None:
    """Make the program's folder hold its files and its settings, and nothing else."""
    wanted = {_join(program.name, path): data for path, data in program.files.items()}
    if settings is not None:
        wanted[_join(program.name, FILE)] = settings
    digests = {path: hashlib.sha256(data).hexdigest() for path, data in wanted.items()}
    found = prompt.digests(program.name)
    near = {digest: path for path, digest in prompt.digests(done.before).items()}
    for path in found.keys() - wanted.keys():
        prompt.remove(path)
    for path, data in wanted.items():
        name = path.removeprefix(program.name + "/")
        on_file(name)
        if found.get(path) == digests[path]:
            done.there.append(name)
            continue
        prompt.make_folder(path.rpartition("/")[0])
        if twin := near.get(digests[path]):
            prompt.copy(twin, path + _ASIDE)
            prompt.rename(path + _ASIDE, path)
            done.copied.append(name)
        else:
            _put(prompt, path, data)
            done.sent.append(name)
    _verify(prompt, prompt.digests(program.name), digests)


def _put(prompt: Prompt, path: str, data: bytes) -> None:
    """Send a file, whole or not at all: beside its place, verified, then renamed."""
    prompt.write(path + _ASIDE, data)
    digest = hashlib.sha256(data).hexdigest()
    _verify(prompt, {path: prompt.digest(path + _ASIDE)}, {path: digest})
    prompt.rename(path + _ASIDE, path)


def _verify(prompt: Prompt, found: dict[str, str], wanted: dict[str, str]) -> None:
    wrong = sorted(path for path in wanted if found.get(path) != wanted[path])
    if wrong:
        raise NotVerifiedError(
            f"{prompt.name}: on the board is not what was sent: {', '.join(wrong)}; it keeps the"
            " program that it had. Flash again; if it stays so, its flash or the cable is bad"
        )


def _full(prompt: Prompt, program: Program, before: str, error: FullError) -> FullError:
    """Make room again, so that the old program can go on with its own files."""
    if program.name != before:
        prompt.clear(program.name)
    block_bytes, free = prompt.room()
    needed = sum(-(-len(data) // block_bytes) for data in program.files.values())
    return FullError(
        f"{error}: the program needs more than {needed} blocks of {block_bytes} bytes, and beside"
        f" what is there only {free} are free; the board keeps the program that it had. Remove"
        " files of your own from the board, or take a board with more flash"
    )


def _join(folder: str, name: str) -> str:
    return f"{folder}/{name}" if folder else name
