"""A fit: what a recording says of each number of a rig, and how the rig's gains do on that rig."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import floor, hypot, log10, sqrt
from typing import NamedTuple

import numpy as np
from legsim.figures import WANTS, LegFigures, leg_figures
from legsim.records import rig_record
from legsim.rig import Rig
from legsim.settings import SettingsError
from legsim.trial import trial_walk, unhurried

from hocklift.errors import LogError, RigFileError
from hocklift.fitting.compiled import ALONE, RAISED, STOOPED, SWINGING
from hocklift.fitting.frames import Clock, clocks_of
from hocklift.fitting.model import Floats, Model, Would
from hocklift.fitting.numbers import FRAME, LEGS, Number, numbers_of, rig_with
from hocklift.fitting.pieces import Piece, pieces_of
from hocklift.fitting.readings import Readings, readings_of
from hocklift.fitting.search import Found, search
from hocklift.log import Log
from hocklift.rigfile.units import Written, in_unit, to_si
from hocklift.wearerfile import built_in_gait

# What rows alone say of an error is made so much wider: the simulator is never quite the rig. On
# 50 hidden rigs (`python -m benchmarks.fitting`) errors then are what they say.
_DOUBT = 2.5
# A number is told once its standard error is at most this share of its tolerance's.
_TOLD_SHARE = 0.6
# Over so many spreads a figure's slope is taken.
_SLOPE_STEP = 0.01
# A board's own clock is so good (common practice, no source).
_QUARTZ = 50e-6
# The walk on the rig as found: as `rehearse` has it.
_WALK_S, _SEED = 20.0, 2


class Exercise(NamedTuple):
    """What a person does for a recording: its kind of pieces, how many suffice, what it tells."""

    kind: int
    name: str
    least: int
    tells: str
    how: str


EXERCISES = (
    Exercise(
        SWINGING,
        "swings let go",
        4,
        "friction of the joints",
        "before anybody gets in, the frame hung from its stand and not armed: draw each foot back"
        " by two hands' width, hold it still for a second, let go, and let it swing; twice a leg",
    ),
    Exercise(
        RAISED,
        "lifts",
        8,
        "motor, gears, rope and speed controller",
        "step on the spot, ten steps, each foot held up for half a second",
    ),
    Exercise(
        ALONE,
        "stands on one leg",
        6,
        "the spring, by the weight that it bears",
        "put all weight on the other leg before a foot goes up, and leave it there until that foot"
        " is down",
    ),
    Exercise(
        STOOPED,
        "stoops",
        2,
        "the spring far down, and the battery",
        "stoop as deep as the rig goes, and rise again",
    ),
)


@dataclass(frozen=True)
class Told:
    """What a recording says of one number, in SI: `error` is one standard error.

    Where it is not `told`, value and error are what remains of the tolerance.
    """

    number: Number
    was: float
    value: float
    error: float
    told: bool

    @property
    def used(self) -> bool:
        """Whether to take the value and not the file's: where told, or where nothing else pulls."""
        return self.told or self.number.centre == self.was


class Sum(NamedTuple):
    """A figure that several numbers make together, in SI, and the unit to show it in.

    A recording tells of it what it cannot tell of each number alone.
    """

    name: str
    unit: str
    of: Callable[[Rig], float]


def friction_Nm(rig: Rig) -> float:
    """Friction of a joint that turns as fast as in a lift, at half the rate of the fold."""
    m = rig.mechanism
    return m.hinge_friction_Nm + m.hinge_damping_Nms * rig.control.lift_speed_radps / 2


def efficiency(rig: Rig) -> float:
    """Share of the motor's work that gears and tackle pass on to the leg."""
    derived = rig_record(rig)[0]["derived"]
    return float(derived["gear_efficiency"] * derived["advantage_up"] / rig.rope.parts)


SUMS = (
    Sum("joint friction in a lift", "N*m", friction_Nm),
    Sum("gear and rope efficiency", "percent", efficiency),
)


@dataclass(frozen=True)
class Summed:
    """What a recording says of a figure that several numbers make, in SI."""

    sum: Sum
    was: float
    value: float
    error: float
    told: bool


@dataclass(frozen=True)
class Fit:
    """All that a recording was found to say; `rig` is the file's.

    `fitted` is the rig as found: each number as told, or as goes best with those that are.
    """

    log: Log
    rig_name: str
    rig: Rig
    fitted: Rig
    rows: tuple[Told, ...]
    sums: tuple[Summed, ...]
    # How many pieces of each exercise were found.
    found: dict[int, int]
    readings: Readings
    pieces: tuple[Piece, ...]
    # As the rig file's numbers would have had it, and as the found ones have it.
    before: Would
    after: Would
    # One walk with the file's gains, on either rig.
    legs_before: dict[str, LegFigures]
    legs_after: dict[str, LegFigures]

    @property
    def lacking(self) -> tuple[Exercise, ...]:
        """What there is too little of in the recording."""
        return tuple(one for one in EXERCISES if self.found[one.kind] < one.least)

    @property
    def unmet(self) -> list[tuple[str, str, str]]:
        """Each want that the file's gains miss on the rig as found: what, found, advice."""
        return [
            (f"{name} leg, {want.name}", want.found(leg, self.fitted), want.advice)
            for want in WANTS
            for name, leg in self.legs_after.items()
            if not want.met(leg, self.fitted)
        ]

    @property
    def changes(self) -> dict[str, float]:
        """What `--write` puts into a rig file: key's path and value in SI."""
        return {
            row.number.key.path: _as_shown(row)
            for row in self.rows
            if row.used and row.number.written and row.number.key is not None
        }


def fit(log: Log, rig: Rig, rig_name: str, show: Callable[[str], None]) -> Fit:
    """Find the rig behind a recording; `show` is told how far that is.

    Raises LogError where there is nothing to look at, RigFileError where the rig's numbers make
    no settings.
    """
    readings = readings_of(log)
    pieces = pieces_of(readings, rig)
    found = {one.kind: sum(piece.kind == one.kind for piece in pieces) for one in EXERCISES}
    if found[RAISED] + found[STOOPED] == 0:
        raise LogError(
            f"{log.path}: no lift and no stoop in it that begins from standing; record steps on the"
            " spot for half a minute"
        )
    clocks = clocks_of(readings, rig.controller.frame_s)
    model = Model(readings, pieces, rig, numbers_of(rig), clocks)
    best = search(model, show)
    rows = _rows(model, best, rig, clocks)
    used = [row for row in rows if row.used]
    fitted = rig_with(rig, [row.number for row in used], [row.value for row in used])
    show("walking")
    try:
        walks = [_walk(rig, made) for made in (rig, fitted)]
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    return Fit(
        log,
        rig_name,
        rig,
        fitted,
        rows,
        tuple(_summed(one, model, best, rig) for one in SUMS),
        found,
        readings,
        model.pieces,
        model.would(np.concatenate([_unfitted(model, rig), best.x[len(model.numbers) :]])),
        model.would(best.x),
        *walks,
    )


def _rows(model: Model, best: Found, rig: Rig, clocks: dict[str, Clock] | None) -> tuple[Told, ...]:
    rows = []
    values = dict(zip([one.field for one in model.numbers], model.values(best.x), strict=True))
    errors = np.sqrt(np.diag(best.covariance))
    places = {one.field: i for i, one in enumerate(model.numbers)}
    for number in numbers_of(rig):
        was = 0.0 if number.key is None else float(number.key.of(rig))
        if number.field in places:
            i = places[number.field]
            # Whatever a recording says, the tolerance holds.
            share = min(_DOUBT * float(errors[i]), 1.0)
            value, error = values[number.field], share * number.per_u(float(best.x[i]))
            rows.append(Told(number, was, value, error, share <= _TOLD_SHARE))
        elif number.field == FRAME and clocks is not None:
            value = float(np.mean([clock.frame_s for clock in clocks.values()]))
            error_s = sqrt(sum(clock.error_s**2 for clock in clocks.values())) / len(clocks)
            error_s = hypot(error_s, _QUARTZ * value)
            rows.append(Told(number, was, value, error_s, True))
    return tuple(rows)


def _summed(one: Sum, model: Model, best: Found, rig: Rig) -> Summed:
    """A figure of the rig as found; its error follows from those of its numbers, and how they go
    together."""
    numbers = len(model.numbers)
    value = one.of(model.rig_at(best.x))
    slopes = np.zeros(numbers)
    for i in range(numbers):
        moved = best.x.copy()
        moved[i] += _SLOPE_STEP
        slopes[i] = (one.of(model.rig_at(moved)) - value) / _SLOPE_STEP
    before = float(np.sqrt(slopes @ slopes))
    error = min(_DOUBT * float(np.sqrt(slopes @ best.covariance @ slopes)), before)
    return Summed(one, one.of(rig), value, error, error <= _TOLD_SHARE * before)


def _unfitted(model: Model, rig: Rig) -> Floats:
    """The unknown numbers as the rig file has them."""
    return np.array(
        [0.0 if one.key is None else one.u(float(one.key.of(rig))) for one in model.numbers]
    )


def _walk(rig: Rig, made: Rig) -> dict[str, LegFigures]:
    """Walk a rig with the settings of another."""
    made = unhurried(made)
    trace = trial_walk(rig, made, _SEED, _WALK_S, built_in_gait()).run()
    return {leg: leg_figures(trace, leg, made) for leg in LEGS}


def changed(row: Told | Summed) -> bool:
    """Whether the rig file has another value than this, by more than two standard errors."""
    return row.told and abs(row.value - row.was) > 2 * row.error


def shown(row: Told | Summed) -> tuple[str, str]:
    """A value and its error in the row's unit, both to the error's second digit."""
    value, error = (in_unit(one, unit_of(row)) for one in (row.value, row.error))
    places = max(0, 1 - floor(log10(error)))
    return f"{value:.{places}f}", f"{error:.{places}f}"


def unit_of(row: Told | Summed) -> str:
    """What it is shown in."""
    return row.sum.unit if isinstance(row, Summed) else row.number.unit


def _as_shown(row: Told) -> float:
    """In SI, rounded as it is shown."""
    return to_si(Written(Fraction(shown(row)[0]), unit_of(row)))
