"""Change some values in a rig file, and leave every other byte of it as its owner wrote it."""

from collections.abc import Mapping
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from hocklift.errors import RigFileError
from hocklift.files import write_atomically
from hocklift.rigfile.file import parse_any_rig, value_text
from hocklift.rigfile.keys import AnyRig, Key, key_at, keys_of, with_value_at
from hocklift.rigfile.units import split, to_si


def edit_rig(path: Path, changes: Mapping[str, float]) -> AnyRig:
    """Give the keys of `changes`, by path and in SI, their new values in the file at `path`.

    The file is replaced whole or not at all. Returns the rig that it now describes; raises
    RigFileError where it is no rig file, OutputError where it cannot be written.
    """
    try:
        data = path.read_bytes()
        edited = edited_text(data.decode("utf-8-sig"), str(path), changes)
    except OSError as error:
        raise RigFileError(f"{path}: cannot be read: {error.strerror}; try again") from error
    mark = b"\xef\xbb\xbf"
    write_atomically(path, (mark if data.startswith(mark) else b"") + edited.encode())
    return parse_any_rig(edited, str(path))


def edited_text(text: str, name: str, changes: Mapping[str, float]) -> str:
    """The rig file's text with new values, comments and everything else byte for byte.

    A key that has its value already is left as it is written. RigFileError where the text
    cannot be edited so.
    """
    rig = wanted = parse_any_rig(text, name)
    try:
        document = tomlkit.parse(text)
        for path, value in changes.items():
            key = key_at(path, keys_of(rig))
            if key.of(rig) == value:
                continue
            section = document[key.section]
            new = tomlkit.item(value_text(key, value))
            wanted = with_value_at(wanted, path, _read_back(key, value))
            # What stands between a value and the end of its line belongs to the person.
            new.trivia.comment_ws = section[key.name].trivia.comment_ws
            new.trivia.comment = section[key.name].trivia.comment
            section[key.name] = new
        edited = document.as_string()
    except TOMLKitError as error:
        raise RigFileError(
            f"{name}: cannot be edited: {error}; write the values yourself"
        ) from error
    if parse_any_rig(edited, name) != wanted:
        raise RigFileError(f"{name}: cannot be edited without harm; write the values yourself")
    return edited


def _read_back(key: Key, value: float) -> float:
    """The value as its text reads, which may be a bit beside it."""
    text = value_text(key, value)
    return to_si(split(text)) if isinstance(text, str) else text
