"""Read a script: a TOML file of what the wearer does, one act after another."""

import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

from legsim.acts import ACTS, Act, Kind, Number, Word, kind_of

from hocklift.errors import ScriptFileError
from hocklift.rigfile.units import QuantityError, mismatch, show, split, to_si, with_unit

FILE_NAME = "parade.toml"
_MOST_BYTES = 1 << 18
_MOST_ACTS = 500
_MOST_S = 3600.0
_KINDS = ", ".join(kind.name for kind in ACTS)


def example() -> str:
    """The script that hocklift ships: the Marsh Heron on parade."""
    return (resources.files("hocklift") / "data" / FILE_NAME).read_text(encoding="utf-8")


def place(acts: list[Act], index: int) -> str:
    """Where an act is in its file, for a message."""
    return f"act {index + 1} ({acts[index].kind})"


def read_script(path: Path) -> list[Act]:
    """Read all acts, values in SI; ScriptFileError names file, act and key of what is wrong."""
    try:
        with path.open("rb") as file:
            text = file.read(_MOST_BYTES + 1).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not a text in UTF-8"
        raise ScriptFileError(
            f"{path}: cannot be read: {reason}; `hocklift new` writes an example, {FILE_NAME}"
        ) from error
    if len(text) > _MOST_BYTES:
        raise ScriptFileError(f"{path}: is longer than any script; give a TOML file of acts")
    try:
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ScriptFileError(f"{path}: is no TOML: {error}; mend that place") from error
    entries = content.pop("act", None)
    if content or not isinstance(entries, list) or not entries:
        found = next(iter(content), None) or "nothing under [[act]]"
        raise ScriptFileError(
            f"{path}: found {found!r}, expected only entries [[act]], one for each thing to do"
        )
    if len(entries) > _MOST_ACTS:
        raise ScriptFileError(f"{path}: {len(entries)} acts; at most {_MOST_ACTS} may be played")
    acts = [_act(f"{path}: act {i}", entry) for i, entry in enumerate(entries, 1)]
    seconds = sum(act.values["time"] for act in acts)
    if seconds > _MOST_S:
        raise ScriptFileError(
            f"{path}: all acts take {seconds:.0f} s; at most {_MOST_S:.0f} s may be played"
        )
    return acts


def _act(where: str, entry: Any) -> Act:
    """One entry with all its keys; what is left out has its default."""
    if not isinstance(entry, dict) or not isinstance(entry.get("do"), str):
        raise ScriptFileError(f'{where}: has no do = "..."; write one of {_KINDS}')
    name = entry["do"]
    try:
        kind = kind_of(name)
    except KeyError:
        raise ScriptFileError(f"{where}: do: found {name!r}, expected one of {_KINDS}") from None
    where = f"{where} ({name})"
    keys = {key.name: key for key in kind.keys}
    for other in entry:
        if other != "do" and other not in keys:
            raise ScriptFileError(f"{where}: {other}: is no key of it; it has {', '.join(keys)}")
    return Act(kind.name, {key.name: _value(where, kind, key, entry) for key in kind.keys})


def _value(where: str, kind: Kind, key: Number | Word, entry: dict[str, Any]) -> Any:
    where = f"{where}: {key.name}"
    found = entry.get(key.name)
    if isinstance(key, Word):
        if found not in key.words:
            raise ScriptFileError(
                f"{where}: found {_shown(found)}, expected {' or '.join(key.words)}: {key.meaning}"
            )
        return found
    if found is None and key.default is not None:
        return key.default
    expected = (
        f'a text with a unit like "{_text(key, key.default or max(key.low, 1.0))}",'
        f" {_text(key, key.low)} to {_text(key, key.high)}: {key.meaning}"
    )
    if not isinstance(found, str):
        raise ScriptFileError(f"{where}: found {_shown(found)}, expected {expected}")
    try:
        written = split(found)
        why = mismatch(written.unit, key.unit)
    except QuantityError as error:
        why = str(error)
    if why:
        raise ScriptFileError(f"{where}: found {_shown(found)}: {why}; expected {expected}")
    value = to_si(written)
    if not key.low <= value <= key.high:
        raise ScriptFileError(f"{where}: found {_shown(found)}, expected {expected}")
    return value


def _text(key: Number, value: float) -> str:
    return with_unit(show(value, key.unit, 6), key.unit)


def _shown(found: Any) -> str:
    return "nothing" if found is None else repr(found)[:40]
