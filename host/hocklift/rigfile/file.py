"""Read and write rig files: TOML whose values carry their units.

Reading tells everything that is wrong at once, a line each; writing makes a file that
explains itself and reads back to the same rig.
"""

import tomllib
from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_FLOOR
from difflib import get_close_matches
from fractions import Fraction
from math import inf, isfinite, isnan, nan
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from legsim.rig import Rig
from legsim.wing.rig import WingRig

from hocklift.errors import RigFileError
from hocklift.files import write_atomically
from hocklift.rigfile.keys import KEYS, WING_KEYS, AnyRig, Key, key_at, keys_of, with_value_at
from hocklift.rigfile.rules import RULES, Rule
from hocklift.rigfile.units import QuantityError, Written, mismatch, show, split, to_si, with_unit
from hocklift.rigfile.wing_rules import WING_RULES

_HEADER = """\
# {title}
# Change its numbers to those of your own rig; every key must stay.
#
# Write a value as a number and its unit in quotes. Any unit that converts will do:
# "62 N/mm" or "355 lbf/in", "440 mm" or "17.3 in", "34 kg" or "75 lb".
# A share is written in percent, as in "55 %". A number that has no unit stands bare.
# In brackets is the range that hocklift accepts."""


class _Kind(NamedTuple):
    """A kind of rig, by the joints that it has."""

    title: str
    demo: AnyRig
    keys: dict[str, dict[str, Key]]
    rules: tuple[Rule, ...]


_LEGS = _Kind(
    "The Marsh Heron: a walking bird for a street-theatre parade, invented for hocklift.",
    Rig(),
    KEYS,
    RULES,
)
_WINGS = _Kind(
    "The Marsh Heron's wings: ash and cloth, raised and lowered by two ropes each.",
    WingRig(),
    WING_KEYS,
    WING_RULES,
)
# The section by which a file shows that it is of wings: it stands where legs have [mechanism].
_WING_MARK = "wing"

_Rig = TypeVar("_Rig", bound=AnyRig)
_MOST_BYTES = 1 << 18  # a rig file has about 12 kB; a device or a log given by mistake never ends
_MOST_SHOWN = 40  # characters of what was found
_MOST_ENTRIES = 6  # a gear train has so many meshes at most
_UNKNOWN = "unknown"
_KINDS: dict[type, str] = {dict: "a section", list: "a list"}


class _WrongValueError(Exception):
    """A value that cannot stand: what was found, and why, and perhaps the unit meant."""

    def __init__(self, why: str, unit: str | None = None) -> None:
        super().__init__(why)
        self.unit = unit


def read_rig(path: Path) -> Rig:
    """Read a whole rig with legs, all values in SI; RigFileError tells all that is wrong."""
    return _of_legs(read_any_rig(path), str(path))


def read_any_rig(path: Path) -> AnyRig:
    """Read a whole rig, with legs or with wings."""
    rig = parse_any_rig(_read_text(path), str(path))
    _raise_if_any(str(path), _broken_rules(rig))
    return rig


def rig_or_demo(path: Path | None) -> tuple[Rig, str]:
    """Read the rig that a command was given, or take the demo rig; and what to call it."""
    if path is None:
        return Rig(), "the built-in demo rig"
    return read_rig(path), str(path)


def any_rig_or_demo(path: Path | None) -> tuple[AnyRig, str]:
    """The same for a command that takes rigs of either kind."""
    return rig_or_demo(path) if path is None else (read_any_rig(path), str(path))


def write_rig(rig: AnyRig, path: Path) -> None:
    """Write a rig with its comments, whole or not at all; raises OutputError."""
    write_atomically(path, rig_text(rig))


def rig_text(rig: AnyRig) -> str:
    """Return the rig file of a rig: every key with its meaning, range and unit."""
    kind = _kind_of(rig)
    lines = [_HEADER.format(title=kind.title)]
    for section, keys in kind.keys.items():
        doc = type(getattr(rig, section)).__doc__ or section
        lines += ["", f"# {doc.splitlines()[0]}", f"[{section}]"]
        for key in keys.values():
            lines += [f"# {key.meaning} ({_range(key, key.unit)})", _line(key, key.of(rig))]
    return "\n".join(lines) + "\n"


def parse_rig(text: str, name: str) -> Rig:
    """Read a rig with legs from a rig file's text, each key checked by itself but not with others.

    `name` is what messages call the file. Raises RigFileError.
    """
    return _of_legs(parse_any_rig(text, name), name)


def _kind_of(rig: AnyRig) -> _Kind:
    return _WINGS if isinstance(rig, WingRig) else _LEGS


def _of_legs(rig: AnyRig, name: str) -> Rig:
    if isinstance(rig, WingRig):
        raise RigFileError(
            f"{name}: has a section [{_WING_MARK}], so it is a rig with wings, and this command is"
            " for one with legs; size, rehearse, tune and drill take either"
        )
    return rig


def _toml_words(error: Exception) -> str:
    """What is wrong with a text, where the library's own words say too little."""
    words = str(error) or "nested too deep"
    # The library stumbles over the second of two alike.
    for theirs in ("Cannot overwrite a value", "Cannot declare"):
        words = words.replace(theirs, f"the same key or section stands there before: {theirs}")
    return words


def parse_any_rig(text: str, name: str) -> AnyRig:
    """The same of a rig file of either kind."""
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise RigFileError(
            f"{name}: is not valid TOML: {_toml_words(error)}; "
            'a line reads like thigh_length = "440 mm", with quotes around number and unit'
        ) from error
    if not document:
        raise RigFileError(f"{name}: is empty; `hocklift new DIR` writes a complete rig file")
    if any(isinstance(document.get(acts), list) for acts in ("act", "wing")):
        raise RigFileError(
            f"{name}: holds acts, so it is a script and no rig file; play it with"
            f" `hocklift rehearse RIG --script {name}`"
        )
    kind = _WINGS if _WING_MARK in document else _LEGS
    keys = kind.keys
    faults = [
        fault for found in document for fault in _unknown_section(keys, found, document[found])
    ]
    rig = kind.demo
    for section in keys:
        values, wrong = _read_section(keys, section, document.get(section))
        faults += wrong
        rig = replace(rig, **{section: replace(getattr(rig, section), **values)})
    _raise_if_any(name, faults)
    return rig


def with_written(rig: _Rig, path: str, found: str) -> _Rig:
    """Return the rig with another value at a key, as a person writes it: "62 N/mm".

    Raises RigFileError, as reading that line in a rig file would.
    """
    key = key_at(path, keys_of(rig))
    try:
        changed = with_value_at(rig, path, _read_value(key, found))
    except _WrongValueError as error:
        wanted = _wanted(key, key.unit if error.unit is None else error.unit)
        raise RigFileError(f"{path}: found {_shown(found)}, {error}; {wanted}") from error
    if broken := _broken_rules(changed):
        raise RigFileError("; ".join(broken))
    return changed


def line_at(rig: AnyRig, path: str) -> str:
    """Return the line of a rig file that gives a key the value that it has in a rig."""
    key = key_at(path, keys_of(rig))
    return _line(key, key.of(rig))


def _read_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError as error:
        raise RigFileError(
            f"{path}: no such file; check the name, or make one with `hocklift new DIR`"
        ) from error
    except IsADirectoryError as error:
        raise RigFileError(f"{path}: is a folder; name the rig file inside it") from error
    except OSError as error:
        raise RigFileError(
            f"{path}: cannot be read: {error.strerror}; check its name and who may read it"
        ) from error
    if len(data) > _MOST_BYTES:
        raise RigFileError(
            f"{path}: is far too long for a rig file; check that you named the right file"
        )
    try:
        return data.decode("utf-8-sig")  # some editors put a byte order mark first
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise RigFileError(
            f"{path}: line {line} is not UTF-8 text; save the file as UTF-8 in your editor"
        ) from error


def _raise_if_any(name: str, faults: list[str]) -> None:
    if faults:
        raise RigFileError(
            f"{name}: these lines need a change:\n"
            + "".join(f"  {fault}\n" for fault in faults)
            + "Change and save it; `hocklift new DIR` writes a complete one to copy from."
        )


def _broken_rules(rig: AnyRig) -> list[str]:
    kind = _kind_of(rig)
    keys = {key.path: key for section in kind.keys.values() for key in section.values()}
    faults = []
    for rule in kind.rules:
        if not rule.kept(rig):
            found = ", ".join(f"{path} = {_value(keys[path], rig)}" for path in rule.keys)
            seen = rule.seen(rig)
            faults.append(f"{found}: {rule.must}" + (f"; {seen}" if seen else ""))
    return faults


def _unknown_section(keys: dict[str, dict[str, Key]], found: str, value: Any) -> list[str]:
    if found in keys:
        return []
    if isinstance(value, dict):
        near = [f"[{name}]" for name in get_close_matches(found, keys, n=1)]
        return [f"[{_printable(found)}]: no such section; {_did_you_mean(near)}"]
    homes = " or ".join(f"[{section}]" for section in keys if found in keys[section])
    advice = f"move it under {homes}" if homes else "take it out"
    return [f"{_printable(found)}: stands in no section; {advice}"]


def _unknown_key(keys: dict[str, dict[str, Key]], section: str, name: str) -> str:
    near = get_close_matches(name, keys[section], n=1)
    homes = [f"{other}.{name}" for other in keys if name in keys[other]]
    return f"{section}.{_printable(name)}: no such key; {_did_you_mean(near or homes)}"


def _did_you_mean(names: list[str]) -> str:
    return f"did you mean {' or '.join(names)}?" if names else "take it out"


def _read_section(
    keys: dict[str, dict[str, Key]], section: str, found: Any
) -> tuple[dict[str, Any], list[str]]:
    """Return its values by field, and a line for each key that is wrong."""
    if found is None:
        return {}, [f"[{section}]: missing; copy the whole section from a new rig file"]
    if not isinstance(found, dict):
        return {}, [f"{section}: found {_shown(found)}; write a section that starts [{section}]"]
    values = {}
    faults = [_unknown_key(keys, section, name) for name in found if name not in keys[section]]
    for key in keys[section].values():
        if key.name not in found:
            faults.append(f"{key.path}: missing; {_wanted(key, key.unit)}")
            continue
        try:
            values[key.field] = _read_value(key, found[key.name])
        except _WrongValueError as fault:
            wanted = _wanted(key, key.unit if fault.unit is None else fault.unit)
            faults.append(f"{key.path}: found {_shown(found[key.name])}, {fault}; {wanted}")
    return values, faults


def _read_value(key: Key, found: Any) -> float | str | tuple[float, ...]:
    if key.words:
        if found not in key.words:
            raise _WrongValueError("which is none of its words")
        return str(found)
    if isinstance(key.default, tuple):
        if not isinstance(found, list) or not 1 <= len(found) <= _MOST_ENTRIES:
            raise _WrongValueError(f"which is not a list of 1 to {_MOST_ENTRIES}")
        return tuple(_read_number(key, entry) for entry in found)
    return _read_number(key, found)


def _read_number(key: Key, found: Any) -> float:
    if key.unknown and found == _UNKNOWN:
        return nan
    written = _plain(found) if key.unit == "" else _quantity(key, found)
    value = to_si(written)
    if not key.low <= value <= key.high:
        raise _WrongValueError("which is out of range", written.unit)
    if key.whole and not value.is_integer():
        raise _WrongValueError("which is not whole")
    return value


def _plain(found: Any) -> Written:
    if not _is_number(found):
        raise _WrongValueError("which is not a bare number")
    if not isfinite(_as_float(found)):
        raise _WrongValueError("which is not a finite number")
    return Written(Fraction(found), "")


def _quantity(key: Key, found: Any) -> Written:
    if _is_number(found):
        raise _WrongValueError("which has no unit")
    if not isinstance(found, str):
        raise _WrongValueError("which is not a number with a unit")
    try:
        written = split(found)
        wrong = mismatch(written.unit, key.unit)
    except QuantityError as error:
        raise _WrongValueError(f"but {error}") from error
    if wrong:
        raise _WrongValueError(f"but {wrong}")
    return written


def _is_number(found: Any) -> bool:
    return isinstance(found, int | float) and not isinstance(found, bool)


def _as_float(number: int | float) -> float:
    try:
        return float(number)
    except OverflowError:
        return inf


def _shown(found: Any) -> str:
    """Write a found value as in TOML, or what kind of thing it is."""
    if isinstance(found, str):
        return f'"{_printable(found)}"'
    if isinstance(found, bool):
        return str(found).lower()
    if _is_number(found):
        return f"{_as_float(found):.15g}"
    return _KINDS.get(type(found), "a date or time")


def _printable(text: str) -> str:
    """Cut long text, and show what would upset a terminal as escapes."""
    text = text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 3] + "..."
    return text if text.isprintable() else ascii(text)[1:-1]


def _wanted(key: Key, unit: str) -> str:
    """Say what to write, the range in the unit that the person used."""
    return f"write {_range(key, unit)}, as in {_line(key, key.default)}"


def _range(key: Key, unit: str) -> str:
    if key.words:
        return " or ".join(f'"{word}"' for word in key.words)
    # Rounded inwards, so that the ends shown are always accepted.
    low = show(key.low, unit, 6, ROUND_CEILING)
    high = show(key.high, unit, 6, ROUND_FLOOR)
    return (
        ("a list, each " if isinstance(key.default, tuple) else "")
        + ("a whole number, " if key.whole else "")
        + with_unit(f"{low} to {high}", unit)
        + (f', or "{_UNKNOWN}"' if key.unknown else "")
    )


def _value(key: Key, rig: AnyRig) -> str:
    return _line(key, key.of(rig)).partition(" = ")[2]


def _line(key: Key, value: float | str | tuple[float, ...]) -> str:
    """Return the line of TOML that gives a key this value, in SI."""
    if isinstance(value, tuple):
        return f"{key.name} = [{', '.join(_number(key, entry) for entry in value)}]"
    return f"{key.name} = " + (f'"{value}"' if isinstance(value, str) else _number(key, value))


def range_words(key: Key) -> str:
    """What a key accepts, as the rig file's comments say it."""
    return _range(key, key.unit)


def value_text(key: Key, value: float) -> str | float:
    """What stands in a rig file for a number in SI: text with its unit, or the bare number."""
    return with_unit(show(value, key.unit), key.unit) if key.unit else float(show(value, ""))


def _number(key: Key, value: float) -> str:
    if isnan(value):
        return f'"{_UNKNOWN}"'
    number = with_unit(show(value, key.unit), key.unit)
    return f'"{number}"' if key.unit else number
