"""What a recording would have been, had the rig such numbers, and how far off that is.

Compared are the fold, as both pots of a leg read it, and the battery's voltage, which sinks with
what the motors draw.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import radians
from typing import Any

import numpy as np
from legsim.perturb import followed
from legsim.plant import start_state
from legsim.records import LEG_STATE, rig_record
from legsim.rig import Rig
from legsim.stiffness import coarsest_substep_s
from numpy.typing import NDArray

from hocklift.fitting.compiled import ALONE, MOVED, PIECE, RAISED, REST, SWINGING, TICK, move
from hocklift.fitting.frames import Clock
from hocklift.fitting.numbers import FRAME, JOINTS, LEGS, Number, rig_with
from hocklift.fitting.pieces import REST_TICKS, Piece
from hocklift.fitting.readings import Readings
from hocklift.fitting.sensing import battery_read_V, read_rad, shaft_rad

Floats = NDArray[np.float64]

# Readings are compared as means of so many ticks: within them nothing happens that matters.
FOLD_TICKS, BATTERY_TICKS = 4, 20
# A line is a little slack before it lifts, and stretched by an inch while it holds a raised leg;
# how far that may be off.
_SLACK_M, _HELD_M = -0.003, 0.03
_STRETCH_SPREAD_M = 0.05
# A hand lets go so long after a piece of swinging begins, give or take: the piece begins a quarter
# of a second before a leg has gone half a degree, which takes it some 55 ms.
_LET_GO_S, _LET_GO_SPREAD_S = 0.195, 0.015
# With pulses nearer to neutral a motor without sensors stops and starts as it likes. There the
# voltage is not compared; at rest it stands within one step of its converter, besides.
_CLEARLY_S = 60e-6
# What little drive does has come to rest so much later; line and play are taken up once the fold
# has gone so far.
_HUNT_S, _TAKE_UP_RAD = 0.1, radians(1.5)
# Motors of these kinds of pieces do nothing.
STILL = (REST, ALONE, SWINGING)
# Controllers that stand for all that their frames might be, where these are not seen.
_MANY = 8


@dataclass(frozen=True)
class Would:
    """What a recording would have been: of each leg its leans, and the voltage in pieces with one.

    Where nothing is looked at, a lean is what its pot reads at 0.
    """

    lean_rad: dict[str, dict[str, Floats]]
    battery_V: dict[Piece, Floats]


@dataclass(frozen=True)
class Off:
    """How far one piece is off, a row each FOLD_TICKS or BATTERY_TICKS.

    Of each row of the fold also which share of it was driven, and which so little that the motor
    may have stopped and started by itself.
    """

    kind: int
    fold_rad: Floats
    battery_V: Floats
    driven: Floats
    hunting: Floats


class Model:
    """A recording, its pieces, and the rig that it is compared with.

    Unknown are, in this order and each in its spread: the numbers, and one of each piece: how far
    its line is stretched where it begins, or when the hand lets go of a leg that swings.
    """

    def __init__(
        self,
        readings: Readings,
        pieces: Sequence[Piece],
        rig: Rig,
        numbers: Sequence[Number],
        clocks: dict[str, Clock] | None,
    ) -> None:
        """With clocks the length of a frame is known; without, it is one of the numbers."""
        self.readings = readings
        self.pieces = tuple(pieces)
        self.clocks = clocks
        # Whether to take no notice of when frames begin: what comes of it bends more gently.
        self.blurred = False
        self.numbers = tuple(one for one in numbers if clocks is None or one.field != FRAME)
        self.unknowns = len(self.numbers) + len(self.pieces)
        self._pot = {one.field: i for i, one in enumerate(self.numbers) if one.key is None}
        period_s = readings.period_s
        paced = replace(
            rig.control, period_s=period_s, substep_s=min(rig.control.substep_s, period_s)
        )
        self.rig = followed(replace(rig, control=paced), coarsest_substep_s)

    def values(self, x: Floats) -> list[float]:
        """The numbers in SI."""
        return [number.value(float(u)) for number, u in zip(self.numbers, x, strict=False)]

    def rig_at(self, x: Floats) -> Rig:
        """The rig with these numbers, and with frames as they are seen."""
        rig = rig_with(self.rig, self.numbers, self.values(x))
        if self.clocks is None:
            return rig
        frame_s = float(np.mean([clock.frame_s for clock in self.clocks.values()]))
        return replace(rig, controller=replace(rig.controller, frame_s=frame_s))

    def would(self, x: Floats) -> Would:
        """What would have been recorded."""
        rig = self.rig_at(x)
        moved = {leg: self._moved(leg, rig, x) for leg in LEGS}
        lean_rad = {
            leg: {
                joint: read_rad(rig, joint, moved[leg][f"{joint}_shaft_rad"], self._calibrated)
                + self._pot_rad(leg, joint, x)
                for joint in JOINTS
            }
            for leg in LEGS
        }
        drawn_A = moved["left"]["draw_A"] + moved["right"]["draw_A"]
        return Would(
            lean_rad,
            {piece: self._battery_V(piece, rig, drawn_A) for piece in self.pieces if piece.feeds},
        )

    def off(self, x: Floats) -> list[Off]:
        """How far each piece is off what is recorded."""
        would = self.would(x)
        found = []
        for piece in self.pieces:
            part = slice(piece.heed, piece.end)
            leg = self.readings.legs[piece.leg]
            off_rad = {
                joint: would.lean_rad[piece.leg][joint][part] - leg.lean_rad[joint][part]
                for joint in JOINTS
            }
            # A leg that swings stays folded as it is: it turns about its hip, and so do both leans.
            way = -1 if piece.kind == SWINGING else 1
            fold_rad = np.where(leg.good[part], off_rad["shank"] + way * off_rad["thigh"], 0.0)
            asked_s = np.abs(leg.pulse_s[part] - self.readings.neutral_s)
            moves = (asked_s > 1e-7) & (piece.kind not in STILL) | (piece.kind == SWINGING)
            battery_V = np.zeros(0)
            if piece in would.battery_V:
                off_V = _means(
                    would.battery_V[piece] - self.readings.battery_V[part], BATTERY_TICKS
                )
                battery_V = off_V[_means(asked_s > _CLEARLY_S, BATTERY_TICKS) == 1]
            found.append(
                Off(
                    piece.kind,
                    _means(fold_rad, FOLD_TICKS),
                    battery_V,
                    _means(moves, FOLD_TICKS),
                    _means(self._hunts(piece, asked_s), FOLD_TICKS),
                )
            )
        return found

    def _hunts(self, piece: Piece, asked_s: Floats) -> NDArray[np.bool_]:
        """Where a motor may stop and start by itself, or still takes up its line."""
        if piece.kind in STILL:
            return np.zeros(len(asked_s), np.bool_)
        around = 2 * round(_HUNT_S / self.readings.period_s) + 1
        little = (asked_s > 1e-7) & (asked_s < _CLEARLY_S)
        hunts = np.convolve(little, np.ones(around))[around // 2 :][: len(asked_s)] > 0.5
        fold_rad = self.readings.legs[piece.leg].smooth_fold_rad[piece.start : piece.end]
        gone = np.abs(fold_rad - fold_rad[0]) > _TAKE_UP_RAD
        hunts[: int(np.argmax(gone)) if gone.any() else len(gone)] = True
        return np.asarray(hunts)

    @property
    def _calibrated(self) -> bool:
        return self.readings.calibrated

    def _battery_V(self, piece: Piece, rig: Rig, drawn_A: Floats) -> Floats:
        drawn_A = drawn_A[piece.base : piece.end]
        read_V = battery_read_V(rig, self._rest_V(piece), drawn_A, self.readings.period_s)
        return read_V[piece.start - piece.base :]

    def _rest_V(self, piece: Piece) -> float:
        """What the board read of the battery before a piece."""
        return float(self.readings.battery_V[piece.base - REST_TICKS : piece.base].mean())

    def _moved(self, leg: str, rig: Rig, x: Floats) -> NDArray[np.void]:
        """Let the simulator move one leg through its pieces."""
        # Steps so fine cannot be seen, and would only make what is compared bend in corners.
        controller = replace(rig.controller, resolution_s=0.0)
        if self.clocks is not None:
            controller = replace(controller, frame_s=self.clocks[leg].frame_s)
        if self.clocks is not None and not self.blurred:
            begins_s = np.array([self.clocks[leg].begin_s])
        else:
            begins_s = controller.frame_s * np.arange(_MANY) / _MANY
        worn = replace(rig, controller=controller)
        nobody = replace(rig.wearer, stirrup_N_per_m=0.0, stirrup_Ns_per_m=0.0)
        empty = replace(worn, wearer=nobody)
        state = start_state(rig, 1)
        state["contactor"] = 1.0
        moved = np.zeros(len(self.readings.time_s), MOVED)
        move(
            self._starts(leg, rig, x),
            self._ticks(leg, x),
            begins_s,
            state[0],
            np.zeros(len(begins_s), LEG_STATE),
            np.concatenate([rig_record(one) for one in (worn, empty)]),
            moved,
        )
        return moved

    def _starts(self, leg: str, rig: Rig, x: Floats) -> NDArray[np.void]:
        """Where one leg's pieces begin. A joint is ahead of its pot by half the play."""
        at = [i for i, piece in enumerate(self.pieces) if piece.leg == leg]
        pieces = [self.pieces[i] for i in at]
        starts = np.array([piece.start for piece in pieces])
        found = np.zeros(len(pieces), PIECE)
        found["kind"] = [piece.kind for piece in pieces]
        found["start"], found["end"] = starts, [piece.end for piece in pieces]
        one = self.readings.legs[leg]
        for joint in JOINTS:
            read = one.smooth_rad[joint][starts] - self._pot_rad(leg, joint, x)
            shaft = shaft_rad(rig, joint, read, self._calibrated)
            found[f"{joint}_shaft_rad"] = shaft
            ahead_rad = one.way[joint][starts] * rig.sensors.pot_backlash_rad / 2
            found[f"{joint}_rad"] = shaft + ahead_rad
        reads = 1 + rig.sensors.battery_error
        found["rest_V"] = [self._rest_V(piece) / reads for piece in pieces]
        held = [piece.kind == RAISED and piece.start != piece.base for piece in pieces]
        swings = found["kind"] == SWINGING
        spreads = x[len(self.numbers) :][at]
        found["stretch_m"] = np.where(held, _HELD_M, _SLACK_M) + _STRETCH_SPREAD_M * spreads
        let_go_s = np.maximum(_LET_GO_S + _LET_GO_SPREAD_S * spreads, 0.0)
        found["wait_s"] = np.where(swings, let_go_s, 0.0)
        return found

    def _ticks(self, leg: str, x: Floats) -> NDArray[np.void]:
        """What moves one leg. Its stirrup has the foot where the pots say that it was."""
        one, m = self.readings.legs[leg], self.rig.mechanism
        thigh_rad, shank_rad = (
            one.smooth_rad[joint] - self._pot_rad(leg, joint, x) for joint in JOINTS
        )
        ticks = np.zeros(len(one.pulse_s), TICK)
        ticks["pulse_s"], ticks["push"] = one.pulse_s, one.push
        ticks["foot_x_m"] = m.shank_length_m * np.sin(shank_rad) - m.thigh_length_m * np.sin(
            thigh_rad
        )
        ticks["foot_x_mps"] = (
            m.shank_length_m * np.cos(shank_rad) * one.rate_radps["shank"]
            - m.thigh_length_m * np.cos(thigh_rad) * one.rate_radps["thigh"]
        )
        return ticks

    def _pot_rad(self, leg: str, joint: str, x: Floats) -> float:
        i = self._pot[f"{leg}.{joint}"]
        return self.numbers[i].value(float(x[i]))


def _means(values: NDArray[Any], ticks: int) -> Floats:
    """Means of so many values each; what is left over at the end is left out."""
    whole = len(values) // ticks * ticks
    return np.asarray(values[:whole].reshape(-1, ticks).mean(axis=1), np.float64)
