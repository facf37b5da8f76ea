"""Which pieces of a recording are looked at, and when in each leg's day they are."""

from dataclasses import dataclass
from math import atan2, cos, radians, sin

import numpy as np
from legcore.phases import HELD, LIFTING, LOWERING, OFF, STANDING, STOOPING
from legsim.records import rig_record
from legsim.rig import Mechanism, Rig
from numpy.typing import NDArray

from hocklift.fitting.compiled import ALONE, LEAD_TICKS, RAISED, REST, STOOPED, SWINGING
from hocklift.fitting.numbers import JOINTS, LEGS
from hocklift.fitting.readings import LegReadings, Readings
from hocklift.logfigures import spells

# What is shorter tells nothing.
_SHORTEST_S = 0.2
# A held leg hunts by a fraction of a degree, as motor and play will have it; that follows from
# nothing that is recorded, so a longer hold ends one piece, and letting down begins another.
_HOLD_S = 0.2
# So far over its rest a foot is clear of the ground, bumps and the frame's sinking included.
_CLEAR_RAD = radians(4.5)
# A leg that has all the weight on it has sunk after so long; so many ticks of it must be left.
_SETTLED_S, _FEW_TICKS = 0.4, 8
# Whose foot goes no farther meanwhile does not walk on.
_ON_SPOT_M = 0.012
# Both legs stand for a moment before the first motion: where the stops are, the pots must say so.
_REST_S = 1.5
# A leg that is let go turns about its hip by so much at least in so short a time, and swings for
# so long. The hand still held it a little before it had gone so far.
_SWUNG_RAD, _SWING_S, _SOON_S = radians(6), 1.3, 0.3
_GONE_RAD, _HELD_STILL_S = radians(0.5), 0.25
# A voltage at rest is the mean of so many ticks.
REST_TICKS = 20


@dataclass(frozen=True)
class Piece:
    """Rows `start` to before `end` of one leg, compared from `heed` on; `kind` is of `compiled`.

    `base` is the row before which nothing was driven, to read the battery at rest; `feeds` is
    whether the battery is compared, too.
    """

    leg: str
    kind: int
    start: int
    end: int
    heed: int
    base: int
    feeds: bool


def pieces_of(readings: Readings, rig: Rig) -> tuple[Piece, ...]:
    """All pieces in order of time."""
    found = []
    for leg in LEGS:
        one = readings.legs[leg]
        found += [*_rest(readings, leg, one), *_raised(readings, leg, one)]
        found += [*_stooped(readings, leg, one), *_alone(readings, leg, rig.mechanism)]
        found += _swinging(readings, one, leg, _hanging_rad(rig))
    whole = np.all([readings.legs[leg].good for leg in LEGS], axis=0)
    return tuple(
        sorted(
            (
                piece
                for piece in found
                if piece.start > LEAD_TICKS
                and (piece.end - piece.start) * readings.period_s >= _SHORTEST_S
                and not _gap(whole[piece.start - LEAD_TICKS : piece.end])
            ),
            key=lambda piece: piece.start,
        )
    )


def _gap(good: NDArray[np.bool_]) -> bool:
    """Whether more is missing at once than a wiper that leaves its track for a moment."""
    return any(end - start > LEAD_TICKS for start, end in spells(~good))


def _rest(readings: Readings, leg: str, one: LegReadings) -> list[Piece]:
    """Before it is armed for the first time."""
    armed = np.flatnonzero(one.phase != OFF)
    end = int(armed[0]) if len(armed) else 0
    start = max(LEAD_TICKS + 1, end - round(_REST_S / readings.period_s))
    return [Piece(leg, REST, start, end, start, start, False)] if end > start else []


def _raised(readings: Readings, leg: str, one: LegReadings) -> list[Piece]:
    """Each lift and letting down, up to where the foot comes near the ground."""
    found = []
    for start, end in spells(np.isin(one.phase, (LIFTING, HELD, LOWERING))):
        if one.phase[start - 1] != STANDING:
            continue
        phase = one.phase[start:end]
        last = _last_clear(readings, one, start, end)
        held = spells(phase == HELD)
        if held and (held[0][1] - held[0][0]) * readings.period_s > _HOLD_S:
            found.append(Piece(leg, RAISED, start, start + held[0][0], start, start, True))
            low = start + held[-1][1]
            found.append(Piece(leg, RAISED, low, last, low, start, True))
        else:
            found.append(Piece(leg, RAISED, start, last, start, start, True))
    return found


def _stooped(readings: Readings, leg: str, one: LegReadings) -> list[Piece]:
    """Each stoop, down and up; the battery feeds both legs then, and is looked at once."""
    return [
        Piece(
            leg,
            STOOPED,
            start,
            _last_clear(readings, one, start, end),
            start,
            start,
            leg == LEGS[0],
        )
        for start, end in spells(one.phase == STOOPING)
        if one.phase[start - 1] == STANDING
    ]


def _last_clear(readings: Readings, one: LegReadings, start: int, end: int) -> int:
    """The row after the last in which a leg is clear of its rest; `start` where there is none."""
    clear = one.smooth_fold_rad[start:end] > readings.rest_fold_rad + _CLEAR_RAD
    return start + int(np.flatnonzero(clear)[-1]) + 1 if clear.any() else start


def _alone(readings: Readings, leg: str, m: Mechanism) -> list[Piece]:
    """Each time that the other foot comes down: all weight is on this leg, at rest.

    From where that foot no longer pushes its switch on, this leg bears more, and sinks a little:
    so it comes to rest from above, and its joints are ahead of their pots by half the play. Not
    of somebody who walks on: a body that moves weighs now more, now less.
    """
    other = readings.legs[LEGS[1 - LEGS.index(leg)]]
    settled = round(_SETTLED_S / readings.period_s)
    thigh_rad, shank_rad = (readings.legs[leg].smooth_rad[joint] for joint in JOINTS)
    foot_m = m.shank_length_m * np.sin(shank_rad) - m.thigh_length_m * np.sin(thigh_rad)
    found = []
    for start, end in spells(other.phase == LOWERING):
        last = _last_clear(readings, other, start, end)
        gone_m = abs(foot_m[last - 1] - foot_m[start])
        if last > start + settled + _FEW_TICKS and gone_m < _ON_SPOT_M:
            found.append(Piece(leg, ALONE, start, last, start + settled, start, False))
    return found


def _swinging(readings: Readings, one: LegReadings, leg: str, hanging_rad: float) -> list[Piece]:
    """Each time that a hand lets go of a leg that hangs, the board not armed.

    It then falls towards where it hangs at rest. A hand would have to draw it there as fast.
    """
    found = []
    off_rad = (one.smooth_rad["shank"] - one.smooth_rad["thigh"]) / 2 - hanging_rad
    ticks, still, soon = (
        round(seconds / readings.period_s) for seconds in (_SWING_S, _HELD_STILL_S, _SOON_S)
    )
    for start, end in spells((one.phase == OFF) & ~one.sole):
        i = start + still
        while i < end - ticks:
            before_rad = off_rad[i - still : i + 1]
            fallen_rad = abs(off_rad[i]) - abs(off_rad[i + soon])
            if np.ptp(before_rad) < _GONE_RAD / 2 and fallen_rad > _SWUNG_RAD:
                gone = i + int(np.argmax(np.abs(off_rad[i : i + soon] - off_rad[i]) > _GONE_RAD))
                at = gone - still
                found.append(Piece(leg, SWINGING, at, at + ticks, at, at, False))
                i += ticks
            i += 1
    return found


def _hanging_rad(rig: Rig) -> float:
    """Half of shank lean less thigh lean, where a leg on its extended stop hangs at rest."""
    derived = rig_record(rig)[0]["derived"]
    thigh_kgm, shank_kgm = float(derived["moment_thigh_kgm"]), float(derived["moment_shank_kgm"])
    fold_rad = rig.mechanism.fold_extended_rad
    thigh_rad = atan2(shank_kgm * sin(fold_rad), thigh_kgm + shank_kgm * cos(fold_rad))
    return fold_rad / 2 - thigh_rad
