"""What a study says, on the terminal and on its page."""

from collections.abc import Iterator

from legsim.perturb import (
    ABOVE,
    FACTOR,
    LESS,
    MORE,
    OFFSET,
    TOLERANCES,
    Tolerance,
    draws,
)
from legsim.rig import Rig
from legsim.trial import build_of

from hocklift.rigfile.keys import KEYS, Key
from hocklift.rigfile.units import show, with_unit
from hocklift.studying.sensitivity import Effect
from hocklift.studying.study import Share, Study, percent, size_words

# No cell is blank, so that a line read aloud keeps its places.
SHARE_COLUMNS = ("want", "builds that\nmeet it", "share", "95 % sure\nbetween", "median\nbuild")
EFFECT_COLUMNS = (
    "tolerance",
    "spread",
    "moves the\nnearest limit",
    "changes the\nverdict",
    "moves most",
)
COMES_FROM = (
    "How far builds may differ is common practice (its reasons are beside each tolerance), not a"
    " measurement of your parts, and a simulated walk is no walk. Try every change on the stand."
)
_KEYS = {f"{key.section}.{key.field}": key for keys in KEYS.values() for key in keys.values()}


def key_of(tolerance: Tolerance) -> Key:
    """The rig file's key that a tolerance is of."""
    return _KEYS[tolerance.key]


def spread_words(tolerance: Tolerance) -> str:
    """How far a build may differ, as people read it."""
    sign = {FACTOR: "± ", MORE: "+ ", LESS: "- ", OFFSET: "± ", ABOVE: "+ "}[tolerance.way]
    if tolerance.way in (OFFSET, ABOVE):
        unit = key_of(tolerance).unit
        return sign + with_unit(show(tolerance.spread, unit, 3), unit)
    return f"{sign}{100 * tolerance.spread:g} %"


def build_rows(rig: Rig, seed: int) -> tuple[tuple[str, str, str], ...]:
    """What the build of a seed has otherwise: key, the rig's number, its own; the farthest first.

    The farthest is what has gone through most of its spread.
    """
    drawn = draws(seed)
    made = build_of(rig, drawn)
    farthest = sorted(zip(map(abs, drawn), TOLERANCES, strict=True), reverse=True)
    return tuple(
        (key.path, _value_words(key, rig), _value_words(key, made))
        for key in (key_of(tolerance) for _, tolerance in farthest)
    )


def _value_words(key: Key, rig: Rig) -> str:
    return with_unit(show(key.of(rig), key.unit, 4), key.unit)


def share_rows(studied: Study) -> Iterator[tuple[str, ...]]:
    """One row a want, and one of all together."""
    for i, (want, share) in enumerate(studied.wants):
        middle = sorted(ran.missed[i] for ran in studied.ran)[len(studied.ran) // 2]
        yield (want.name, *_share_cells(share), _margin_words(middle))
    middle = sorted(ran.nearest for ran in studied.ran)[len(studied.ran) // 2]
    yield ("every want", *_share_cells(studied.share), _margin_words(middle))


def _share_cells(share: Share) -> tuple[str, str, str]:
    between = f"{percent(share.low)} and {percent(share.high)}"
    return f"{share.met} of {share.of}", percent(share.share), between


def _margin_words(missed: float) -> str:
    if missed == float("inf"):
        return "never"
    if missed == 0:
        return "met"
    return f"{size_words(missed)} {'over' if missed > 0 else 'in hand'}"


EFFECTS_WORDS = (
    "Which tolerance matters most. When one number goes from one end of its spread to the other,"
    " the nearest limit moves, in the mean, by so many percent of what is asked (after ± its 95 %"
    " interval). Changed by two thirds of its spread, it turned the verdict over so many of the"
    f" builds that were tried. The first of {len(TOLERANCES)}:"
)


def effect_cells(effect: Effect) -> tuple[str, ...]:
    """One tolerance's row."""
    return (
        key_of(effect.tolerance).path,
        spread_words(effect.tolerance),
        f"{100 * effect.nearest:.0f} ± {100 * effect.doubt:.0f} %",
        percent(effect.verdicts),
        effect.want.name,
    )
