"""Written quantities: the one border between numbers as people write them and SI.

Arithmetic is in fractions, so "440 mm" is the same float as 0.440, and any float can be
written so that it reads back to the bit.
"""

import re
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from fractions import Fraction
from functools import cache
from importlib import resources
from itertools import product
from math import inf, isclose, isfinite, pi, radians
from typing import Any, NamedTuple, cast

import pint

_DEFINITIONS = (
    # Angle and share are dimensions of their own, so that 74 % is no angle, 36 rpm is no
    # 36 steps a minute, and 0.55 is no 55 %.
    "radian = [angle] = rad",
    "whole = [share]",
    "percent = 0.01 * whole = %",
    "permille = 0.001 * whole = ‰",
    # With the digits that floats have, so that "60 deg" is radians(60) to the bit.
    f"degree = {Decimal(radians(1))} * radian = ° = deg",
    f"revolutions_per_minute = {Decimal(2 * pi / 60)} * radian / second = rpm",
    # What everyone writes for a newton metre; to pint it is a fineness of yarn.
    "newton_meter = newton * meter = Nm",
)

_NUMBER = r"[-+]?(?:(?:nan|inf)\b|(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?)"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(\S.*?)?\s*", re.IGNORECASE)
# Narrower than what pint reads: text from a file must not make it evaluate 9^9^9^9.
_FACTOR = r"\(*(?:[^\W\d]+|[%‰°1])(?:(?:\^|\*\*)-?[0-9]|[²³])?\)*"
_UNIT = re.compile(rf"{_FACTOR}(?:(?:\s*[*/·]\s*|\s+){_FACTOR})*")
_LONGEST = 60


class QuantityError(ValueError):
    """A text that is no number with a unit; the message says why, as in "it has no unit"."""


class Unit(NamedTuple):
    """How many SI units it makes, and of which dimension."""

    factor: Fraction
    dimension: object


class Written(NamedTuple):
    """A quantity as written: its number, and its unit's text."""

    number: Fraction
    unit: str


@cache
def _registry() -> "pint.UnitRegistry[Any]":
    # Read along with pint's own, since what is defined later misses its cached conversions.
    own = resources.files(pint)
    lines = [
        line
        for file in ("constants_en.txt", "default_en.txt")
        for line in own.joinpath(file).read_text("utf-8").splitlines()
        if not line.startswith("@import")
    ]
    return pint.UnitRegistry(
        [*lines, *_DEFINITIONS], non_int_type=Fraction, on_redefinition="ignore"
    )


@cache
def unit_of(text: str) -> Unit:
    """Look up a unit like "N/mm", or "" for a plain number; QuantityError if there is none."""
    if text and not _UNIT.fullmatch(text):
        raise QuantityError(f"{text} is not how a unit is written")
    try:
        unit = _registry().parse_units(text)
        factor, _ = _registry().get_base_units(unit)
        return Unit(Fraction(cast(Any, factor)), unit.dimensionality)
    except Exception as error:  # pint fails in a dozen ways at what is no unit
        raise QuantityError(f"no unit is called {text}") from error


def split(text: str) -> Written:
    """Take "62 N/mm" apart; QuantityError if it is no finite number with a unit."""
    match = _QUANTITY.fullmatch(text) if len(text) <= _LONGEST else None
    if not match:
        raise QuantityError("it is not a number with a unit")
    number, unit = match.groups()
    if not isfinite(float(number)):
        raise QuantityError("it is not a finite number")
    if not unit:
        raise QuantityError("it has no unit")
    return Written(Fraction(number), f"1{unit}" if unit.startswith("/") else unit)


def to_si(written: Written) -> float:
    """Convert to SI: kg, m, s, A, rad; infinite if beyond every float."""
    try:
        return float(written.number * unit_of(written.unit).factor)
    except OverflowError:
        return inf if written.number > 0 else -inf


def mismatch(unit: str, wanted: str) -> str:
    """Say why `unit` does not convert to the `wanted` one; empty if it does."""
    dimension = unit_of(wanted).dimension
    if unit_of(unit).dimension == dimension:
        return ""
    told = f"{unit} does not convert to {wanted}"
    if unit_of(f"({unit})*m/s^2").dimension == dimension:
        told += " (as forces, kg and lb are kgf and lbf)"
    return told


def show(value: float, unit: str, digits: int = 18, rounding: str = ROUND_HALF_EVEN) -> str:
    """Write the number of an SI value in `unit`, rounded to `digits`; 18 read back to the bit.

    Where up to 12 digits do, they suffice, or are at least no more than 1e-15 beside the
    value: radians(0.15) is a bit beside the float of "0.15 deg".
    """
    exact = Fraction(value) / unit_of(unit).factor
    for slack, precision in product((0, 1e-15), range(1, min(digits, 12) + 1)):
        number = _rounded(exact, precision, ROUND_HALF_EVEN)
        if isclose(to_si(Written(Fraction(number), unit)), value, rel_tol=slack):
            break
    else:
        number = _rounded(exact, digits, rounding).normalize()
    return f"{number:f}" if -7 < number.adjusted() < 15 else f"{number:e}"


def in_unit(value: float, unit: str) -> float:
    """The number of an SI value in `unit`; what is endless or no number stays so."""
    return float(show(value, unit)) if isfinite(value) else value


def _rounded(exact: Fraction, digits: int, rounding: str) -> Decimal:
    with localcontext(prec=digits, rounding=rounding):
        return Decimal(exact.numerator) / exact.denominator


def with_unit(number: str, unit: str) -> str:
    """Put number and unit together as people write them."""
    return f"{number} {'%' if unit == 'percent' else unit}".rstrip()
