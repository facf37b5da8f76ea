"""Read a script: a TOML file of what the wearer does, one act after another.

It may have two tracks that begin together and run side by side: what legs do, and wings. A rig
plays its own track; what is wrong is told of both.
"""

import tomllib
from importlib import resources
from pathlib import Path
from typing import Any, NamedTuple

from legsim.acts import ACTS, Act, Kind, Number, Word
from legsim.wing.acts import WING_ACTS

from hocklift.errors import ScriptFileError
from hocklift.rigfile.units import QuantityError, mismatch, show, split, to_si, with_unit

FILE_NAME = "parade.toml"
_MOST_BYTES = 1 << 18
_MOST_ACTS = 500
_MOST_S = 3600.0


class Track(NamedTuple):
    """Entries of one name in a script, the acts that they may be, and whose they are."""

    name: str
    kinds: tuple[Kind, ...]
    joints: str


LEG_TRACK = Track("act", ACTS, "legs")
WING_TRACK = Track("wing", WING_ACTS, "wings")
_TRACKS = (LEG_TRACK, WING_TRACK)


def example() -> str:
    """The script that hocklift ships: the Marsh Heron on parade."""
    return (resources.files("hocklift") / "data" / FILE_NAME).read_text(encoding="utf-8")


def place(track: Track, acts: list[Act], index: int) -> str:
    """Where an act is in its file, for a message."""
    return f"{track.name} {index + 1} ({acts[index].kind})"


def read_script(path: Path, track: Track = LEG_TRACK) -> list[Act]:
    """Read all acts of a track, values in SI; ScriptFileError names file, act and key of what is
    wrong in any."""
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
    tracks = {one.name: _acts(path, one, content.pop(one.name, [])) for one in _TRACKS}
    if content:
        raise ScriptFileError(
            f"{path}: found {next(iter(content))!r}, expected only entries [[act]] for legs and"
            " [[wing]] for wings, one for each thing to do"
        )
    acts = tracks[track.name]
    if not acts:
        others = " and ".join(f"[[{name}]]" for name, there in tracks.items() if there)
        raise ScriptFileError(
            f"{path}: found {others or 'nothing'}, and nothing under [[{track.name}]], which is"
            f" what a rig with {track.joints} plays; write one for each thing to do"
        )
    return acts


def _acts(path: Path, track: Track, entries: Any) -> list[Act]:
    """All acts of one track."""
    if not isinstance(entries, list):
        raise ScriptFileError(
            f"{path}: {track.name}: found a single value or section, expected entries that begin"
            f" with [[{track.name}]]"
        )
    if len(entries) > _MOST_ACTS:
        raise ScriptFileError(f"{path}: {len(entries)} acts; at most {_MOST_ACTS} may be played")
    acts = [_act(f"{path}: {track.name} {i}", track, one) for i, one in enumerate(entries, 1)]
    seconds = sum(act.values["time"] for act in acts)
    if seconds > _MOST_S:
        raise ScriptFileError(
            f"{path}: all acts take {seconds:.0f} s; at most {_MOST_S:.0f} s may be played"
        )
    return acts


def _act(where: str, track: Track, entry: Any) -> Act:
    """One entry with all its keys; what is left out has its default."""
    kinds = {kind.name: kind for kind in track.kinds}
    names = ", ".join(kinds)
    if not isinstance(entry, dict) or not isinstance(entry.get("do"), str):
        raise ScriptFileError(f'{where}: has no do = "..."; write one of {names}')
    name = entry["do"]
    if name not in kinds:
        others = [one for one in _TRACKS if one is not track and name in _names(one)]
        home = f"; it is what {others[0].joints} do, under [[{others[0].name}]]" if others else ""
        raise ScriptFileError(f"{where}: do: found {name!r}, expected one of {names}{home}")
    kind = kinds[name]
    where = f"{where} ({name})"
    keys = {key.name: key for key in kind.keys}
    for other in entry:
        if other != "do" and other not in keys:
            raise ScriptFileError(f"{where}: {other}: is no key of it; it has {', '.join(keys)}")
    return Act(kind.name, {key.name: _value(where, key, entry) for key in kind.keys})


def _names(track: Track) -> list[str]:
    return [kind.name for kind in track.kinds]


def _value(where: str, key: Number | Word, entry: dict[str, Any]) -> Any:
    where = f"{where}: {key.name}"
    found = entry.get(key.name)
    if found is None and key.default is not None:
        return key.default
    if isinstance(key, Word):
        if found not in key.words:
            raise ScriptFileError(
                f"{where}: found {_shown(found)}, expected {' or '.join(key.words)}: {key.meaning}"
            )
        return found
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
