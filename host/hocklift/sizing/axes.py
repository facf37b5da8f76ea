"""What `hocklift size --sweep` is asked for: KEY=FROM..TO:N, read into values."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from math import prod
from typing import NoReturn

from legsim.rig import Rig

from hocklift.errors import HockliftError
from hocklift.rigfile.keys import KEYS, Key, key_at
from hocklift.rigfile.units import (
    QuantityError,
    Written,
    mismatch,
    show,
    split,
    to_si,
    unit_of,
    with_unit,
)

_MOST_KEYS = 3
_MOST_VALUES = 201
_MOST_COMBINATIONS = 5000


@dataclass(frozen=True)
class Axis:
    """One key to sweep: its path, the unit that the person used, and its values in SI."""

    path: str
    unit: str
    values: tuple[float, ...]

    @property
    def label(self) -> str:
        """Key and unit, as in "spring.rate, N/mm"."""
        return ", ".join(filter(None, (self.path, sign_of(self.unit))))

    @property
    def span(self) -> str:
        """From where to where it goes, as in "spring.rate from 40 to 90 N/mm"."""
        ends = f"{self.number(self.values[0])} to {self.number(self.values[-1])}"
        return f"{self.path} from {with_unit(ends, self.unit)}"

    def number(self, value: float) -> str:
        """Write the number of a value, in the person's unit."""
        return show(value, self.unit, 4)

    def words(self, value: float) -> str:
        """Write a value as in "spring.rate 62 N/mm"."""
        return f"{self.path} {with_unit(self.number(value), self.unit)}"


def sign_of(unit: str) -> str:
    """Write a unit alone as people do: percent as its sign, none as nothing."""
    return with_unit("", unit).strip()


def axes_of(rig: Rig, arguments: Iterable[str]) -> tuple[Axis, ...]:
    """Read every KEY=FROM..TO:N; HockliftError names the one that cannot be."""
    axes = tuple(_axis(rig, argument) for argument in arguments)
    paths = [axis.path for axis in axes]
    for path in paths:
        if paths.count(path) > 1:
            raise HockliftError(f"--sweep {path}: found twice; give each key once")
    if len(axes) > _MOST_KEYS:
        raise HockliftError(
            f"--sweep: found {len(axes)} keys, expected 1 to {_MOST_KEYS}; leave some out"
        )
    combinations = prod(len(axis.values) for axis in axes)
    if combinations > _MOST_COMBINATIONS:
        raise HockliftError(
            f"--sweep: found {combinations} combinations, expected at most"
            f" {_MOST_COMBINATIONS}; give fewer values to a key"
        )
    return axes


_ARGUMENT = re.compile(r"([^=]*)=(.*?)\.\.(.*):([^:]*)")
_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[-+]?[0-9]{1,3})?", re.IGNORECASE)
# Raises HockliftError from what was found, what was expected, and what to do.
_Refuse = Callable[[str, str, str], NoReturn]


def _axis(rig: Rig, argument: str) -> Axis:
    match = _ARGUMENT.fullmatch(argument)
    if match is None:
        raise HockliftError(
            f"--sweep: found {argument!r}, expected KEY=FROM..TO:N, as in"
            ' "spring.rate=40..90 N/mm:11"; put it in quotes, and a rig file before --sweep'
        )
    path, low_text, high_text, count_text = (text.strip() for text in match.groups())

    def refuse(found: str, expected: str, advice: str) -> NoReturn:
        raise HockliftError(f"--sweep {argument}: found {found}, expected {expected}; {advice}")

    key = _number_key(rig, path, refuse)
    high, unit = _end(key, high_text, "", refuse)
    low, _ = _end(key, low_text, unit, refuse)
    if not low < high:
        refuse(f"{low_text} to {high_text}", "FROM less than TO", "swap or change them")
    count = int(count_text) if re.fullmatch(r"[0-9]{1,3}", count_text) else 0
    if not 2 <= count <= _MOST_VALUES:
        refuse(f"{count_text!r} for N", f"a whole number from 2 to {_MOST_VALUES}", "change it")
    exact = [low + (high - low) * i / (count - 1) for i in range(count)]
    broken = [value for value in exact if value.denominator > 1]
    if key.whole and broken:
        refuse(
            f"{float(broken[0]):.4g} among its values",
            "whole numbers only",
            "take whole ends, and an N that makes whole steps",
        )
    return Axis(path, unit, tuple(float(value) for value in exact))


def _number_key(rig: Rig, path: str, refuse: _Refuse) -> Key:
    """Look up the key of a path that leads to one number."""
    known = _paths(rig)
    if path not in known:
        near = get_close_matches(path, known, n=1, cutoff=0.5)
        advice = f"did you mean {near[0]}?" if near else "look into the rig file"
        refuse(f"{path!r}", "a key of the rig file with one value", advice)
    if key_at(path).words:
        refuse(f"{path}, which is a word", "a key with a number", "change it in the rig file")
    return key_at(path)


def _paths(rig: Rig) -> list[str]:
    """Every path to one number or word; entries of a list are counted from 1."""
    paths = []
    for key in (key for section in KEYS.values() for key in section.values()):
        if isinstance(key.default, tuple):
            paths += [f"{key.path}[{i + 1}]" for i in range(len(key.of(rig)))]
        else:
            paths.append(key.path)
    return paths


def _end(key: Key, text: str, unit: str, refuse: _Refuse) -> tuple[Fraction, str]:
    """Return one end in SI, exactly, and its unit; `unit` is taken where the text has none."""
    try:
        written = _written(key, text, unit)
    except QuantityError as error:
        refuse(f"{text!r}, but {error}", range_words(key, key.unit), "write it as in the rig file")
    # As a float, since so are the ends of its range.
    if not key.low <= to_si(written) <= key.high:
        refuse(f"{text!r}, which is out of range", range_words(key, written.unit), "stay inside")
    return written.number * unit_of(written.unit).factor, written.unit


def _written(key: Key, text: str, unit: str) -> Written:
    """Read a quantity as in a rig file; QuantityError says why it is none of this key."""
    bare = _NUMBER.fullmatch(text) is not None
    if key.unit == "":
        if not bare:
            raise QuantityError("it is not a bare number")
        return Written(Fraction(text), "")
    written = split(f"{text} {unit}" if bare else text)
    wrong = mismatch(written.unit, key.unit)
    if wrong:
        raise QuantityError(wrong)
    return written


def range_words(key: Key, unit: str) -> str:
    """Write the range of a key in a unit that converts to its own."""
    return with_unit(f"{show(key.low, unit, 6)} to {show(key.high, unit, 6)}", unit)
