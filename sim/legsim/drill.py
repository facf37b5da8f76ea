"""One case of a drill: a wearer steps, troubles strike, and what came of it in figures."""

from dataclasses import dataclass
from math import degrees, inf, radians
from typing import Any, NamedTuple

import numpy as np
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING, STOOPING
from numpy.typing import NDArray

from legsim.rig import Rig
from legsim.run import Walk
from legsim.sensors import FULL_SCALE
from legsim.settings import core_rig
from legsim.strike import NOWHERE, TROUBLE
from legsim.tables import FAULTS, Fault, trip_s
from legsim.troubles import Trouble, place_of
from legsim.wearer import Push, Raise, first_s, script

FEET = ("left", "right")
# The wearer raises one foot after the other, on the spot.
UP_S = 1.2
STEP_S = 2.2
# Before that, where something is to strike in a stoop: down, a rest, and up again.
STOOP_S, REST_S = 4.0, 2.0


@dataclass(frozen=True)
class Strike:
    """A trouble, and where and when: `wait_s` after `leg` has come into `phase`.

    `struck` is the leg that it concerns and `joint` the joint; `word` and `bit` are of the
    core's memory, for troubles that are a bit turned over.
    """

    trouble: Trouble
    leg: int
    phase: int
    wait_s: float
    struck: int
    joint: str = "thigh"
    word: int = NOWHERE
    bit: int = 0


@dataclass(frozen=True)
class Case:
    """Strikes on one walk of `seconds`; `first` is the foot that is raised first."""

    strikes: tuple[Strike, ...]
    seed: int
    first: int
    seconds: float = 20.0

    @property
    def disarms(self) -> bool:
        """Whether the person disarms with a foot up: the only way into RELEASING unharmed."""
        return any(strike.phase == RELEASING for strike in self.strikes)

    @property
    def stoops(self) -> bool:
        """Whether the wearer stoops before the first step."""
        return any(strike.phase == STOOPING for strike in self.strikes)


@dataclass(frozen=True)
class Outcome:
    """What came of one case. Times are from the first strike; infinite: never."""

    struck: bool
    crashed: bool
    fault_bits: int
    seen_s: float
    rows_seen_s: dict[int, float]
    safe_s: float
    off_s: float
    power_late_s: float
    outside_ticks: int
    unheeded_ticks: int
    excluded_ticks: int
    fold_past_stop_deg: float
    loaded_fold_deg: float
    strayed_deg: float
    landing_mps: float
    airborne_s: float
    rate_up_degps: float
    rate_down_degps: float
    tension_peak_N: float
    winding_over_K: float
    other_driven: bool


class Limit(NamedTuple):
    """The most of one measure that is still safe."""

    most: float
    unit: str
    text: str


# By measure of an outcome. What a trouble makes unavoidable, its row spares, to a bound.
LIMITS = {
    "outside_ticks": Limit(2, "ticks", "an output outside what its phase and settings allow"),
    "unheeded_ticks": Limit(1, "ticks", "a fault not acted on, though either leg had its turn"),
    "excluded_ticks": Limit(2, "ticks", "legs that did what excludes each other"),
    "fold_past_stop_deg": Limit(1, "deg", "fold past the hard stop"),
    # Some 40 mm of height: what weight on a leg that lifts may cost before it is let go.
    "loaded_fold_deg": Limit(10, "deg", "folded by its motor while its foot bears weight"),
    # What may lag its setpoint unnoticed, and what a fast leg does in the time to trip.
    "strayed_deg": Limit(9, "deg", "moved by its motor otherwise than meant, and nothing seen"),
    "landing_mps": Limit(1, "m/s", "a foot's speed at the ground"),
    "airborne_s": Limit(0.3, "s", "both feet off the ground"),
    "winding_over_K": Limit(10, "K", "the winding over its limit"),
    "power_late_s": Limit(0.2, "s", "power on for longer than letting a foot down may take"),
}
# A leg that has left the ground, or is about to.
_UP = (LIFTING, HELD, LOWERING)
# A foot this far up is off the ground; one that bears this much is loaded, since a leg
# itself weighs a quarter of it; a motor that turns so fast moves its leg.
_OFF_GROUND_M = 0.01
_LOADED_N = 150.0
_TURNING_RADPS = 20.0
# A stooped leg so far past its setpoint was folded by more than its law.
_MISSED_RAD = radians(2)


class Drill:
    """All that the cases of one rig share."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.period_s = rig.control.period_s
        settings = core_rig(rig).settings
        self.trips_s = {row.bit: trip_s(row, settings, self.period_s) for row in FAULTS}
        self._lines: dict[tuple[int, float, bool], NDArray[np.void]] = {}

    def lines(self, case: Case) -> NDArray[np.void]:
        """What the wearer of a case does, were it not for what strikes them."""
        key = (case.first, case.seconds, case.stoops)
        if key not in self._lines:
            self._lines[key] = self._script(*key)
        return self._lines[key]

    def _script(self, first: int, seconds: float, stoops: bool) -> NDArray[np.void]:
        lower_s, begin_s = self.rig.wants.lower_s, first_s(self.rig)
        pushes: list[Push] = []
        if stoops:
            rise_s = begin_s + STOOP_S + REST_S
            pushes = [Push(begin_s, begin_s + STOOP_S, 1.0), Push(rise_s, rise_s + STOOP_S, -1.0)]
            begin_s = rise_s + STOOP_S + 1.0
        starts_s = np.arange(begin_s, seconds - UP_S - lower_s, STEP_S)
        raises = [
            Raise((first + i) % 2, start_s, start_s + UP_S, start_s + UP_S + lower_s)
            for i, start_s in enumerate(starts_s.tolist())
        ]
        return script(self.rig, raises, seconds, pushes=pushes)

    def walk(self, case: Case, troubles: NDArray[np.void]) -> Walk:
        """The walk of a case, not yet run."""
        walk = Walk(self.rig, self.lines(case), case.seed, troubles=troubles)
        if case.disarms:
            # In the middle of the first hold.
            at_s = first_s(self.rig) + (self.rig.wants.lift_s + UP_S) / 2
            walk.arm[round(at_s / self.period_s) :] = 0
        return walk

    def strikes(self, case: Case) -> NDArray[np.void]:
        """The strikes of a case as the simulation takes them."""
        return np.array([self._record(strike) for strike in case.strikes], TROUBLE)

    def _record(self, strike: Strike) -> Any:
        trouble = strike.trouble
        record = np.zeros(1, TROUBLE)
        record["leg"], record["phase"] = strike.leg, strike.phase
        record["wait_ticks"] = round(strike.wait_s / self.period_s)
        record["lasts_ticks"] = round(trouble.lasts_s / self.period_s)
        record["place"] = record["word"] = NOWHERE
        if strike.word == NOWHERE:
            record["place"] = place_of(trouble.place, FEET[strike.struck], strike.joint)
            record["value"] = trouble.value
        else:
            record["word"] = strike.word
            record["flip"] = np.array(1 << strike.bit, np.uint32).view(np.int32)
        return record[0]

    def outcome(self, case: Case) -> Outcome:
        """Run a case and work out what came of it."""
        walk = self.walk(case, self.strikes(case))
        return self.judge(case, walk.run(), walk.troubles, walk.crashed)

    def judge(
        self, case: Case, trace: NDArray[np.void], troubles: NDArray[np.void], crashed: bool
    ) -> Outcome:
        """What came of a case, from its trace and its strikes as they ended."""
        struck = troubles["struck_tick"][troubles["struck_tick"] > 0]
        start = int(struck.min()) - 1 if len(struck) else len(trace)
        after, period_s = trace[start:], self.period_s
        legs = [after[name] for name in FEET]
        bits = after["fault_bits"] | legs[0]["fault_bits"] | legs[1]["fault_bits"]
        off = after["contactor"] == 0
        down = np.all([(leg["phase"] <= STANDING) | (leg["phase"] == RELEASING) for leg in legs], 0)
        folds = [leg["thigh_rad"] + leg["shank_rad"] for leg in legs]
        rates = [np.diff(fold, prepend=fold[:1]) / period_s for fold in folds]
        safe_s = first_true(off | (down & (bits != 0))) * period_s
        off_s = first_true(off) * period_s
        return Outcome(
            struck=bool(len(struck)),
            crashed=crashed,
            fault_bits=int(np.bitwise_or.reduce(bits)) if len(after) else 0,
            seen_s=first_true(bits != 0) * period_s,
            rows_seen_s=rows_seen_s(bits, period_s, FAULTS),
            safe_s=safe_s,
            off_s=off_s,
            # Where it never went, what was seen of it.
            power_late_s=self._power_late_s(safe_s, min(off_s, len(after) * period_s)),
            outside_ticks=self._outside_ticks(after),
            unheeded_ticks=unheeded_ticks(bits, off, down, FAULTS),
            excluded_ticks=self._excluded_ticks(after),
            fold_past_stop_deg=degrees(most_of(*folds) - self.rig.mechanism.fold_hard_stop_rad),
            loaded_fold_deg=degrees(max(map(_loaded_fold_rad, legs, folds))),
            strayed_deg=degrees(self._strayed_rad(after)),
            landing_mps=max(_landing_mps(leg, period_s) for leg in legs),
            airborne_s=longest_run(np.all([leg["clearance_m"] > _OFF_GROUND_M for leg in legs], 0))
            * period_s,
            rate_up_degps=degrees(most_of(*rates)),
            rate_down_degps=degrees(most_of(*(-rate for rate in rates))),
            tension_peak_N=most_of(*(leg["tension_peak_N"] for leg in legs)),
            winding_over_K=most_of(*(leg["winding_K"] for leg in legs))
            - self.rig.drive.winding_limit_K,
            other_driven=self._other_driven(case, legs, bits),
        )

    def _power_late_s(self, safe_s: float, off_s: float) -> float:
        """How much longer the power stayed on, once safe, than letting a foot down may take."""
        return max(0.0, off_s - safe_s - self.rig.control.down_time_s) if safe_s < inf else 0.0

    def _strayed_rad(self, after: NDArray[np.void]) -> float:
        """How far a turning motor took a leg that bears nothing from where the core means it to be.

        That is its setpoint, or, for a leg that should stand, its extended stop.
        """
        rest_rad = self.rig.mechanism.fold_extended_rad + self.rig.control.rest_margin_rad
        strayed_rad = 0.0
        for leg in (after[name] for name in FEET):
            fold_rad = leg["thigh_rad"] + leg["shank_rad"]
            setpoint_rad = np.radians(leg["setpoint_cdeg_q6"] / 6400)
            meant_rad = np.where(leg["phase"] > STANDING, setpoint_rad, rest_rad)
            driven = (after["contactor"] != 0) & (np.abs(leg["motor_radps"]) > _TURNING_RADPS)
            driven &= leg["load_N"] < _LOADED_N
            strayed_rad = max(strayed_rad, most_of(np.abs(fold_rad - meant_rad)[driven]))
        return strayed_rad

    def _other_driven(self, case: Case, legs: list[Any], bits: Any) -> bool:
        """Whether a leg that no strike concerns began to lift after a fault was seen."""
        struck = {strike.struck for strike in case.strikes}
        return any(
            bool(np.any((np.diff((leg["phase"] == LIFTING) * 1) > 0) & (bits[:-1] != 0)))
            for side, leg in enumerate(legs)
            if side not in struck
        )

    def _outside_ticks(self, after: NDArray[np.void]) -> int:
        """Longest run of ticks with an output outside what its phase and settings allow."""
        control, controller = self.rig.control, self.rig.controller
        off = (after["left"]["phase"] == OFF) & (after["right"]["phase"] == OFF)
        wrong = off & (after["contactor"] != 0)
        for name in FEET:
            leg = after[name]
            wrong |= np.abs(leg["drive_permille"]) > 1000 * control.drive_max + 0.5
            offset_us = np.abs(leg["pulse_us"] - controller.neutral_s * 1e6)
            wide = (offset_us > controller.span_s * 1e6 + 0.5) & (leg["pulse_us"] != 0)
            # Without power a pulse moves nothing.
            wrong |= wide & (after["contactor"] != 0)
            wrong |= (leg["phase"] <= STANDING) & (leg["drive_permille"] != 0)
        return longest_run(wrong)

    def _excluded_ticks(self, after: NDArray[np.void]) -> int:
        """Longest run of ticks in which the legs did what excludes each other.

        That is both up, or one up while the other stoops; and all that follows a stoop that ended
        where weight alone folds no leg, or an arming with the stick away.
        """
        left, right = (after[name]["phase"] for name in FEET)
        wrong = np.isin(left, _UP) & np.isin(right, (*_UP, STOOPING))
        wrong |= np.isin(right, _UP) & np.isin(left, (*_UP, STOOPING))
        m, control, safety = self.rig.mechanism, self.rig.control, self.rig.safety
        most_rad = m.fold_extended_rad + control.rest_margin_rad + safety.sunk_rad
        setpoints_deg = np.min([after[name]["setpoint_cdeg_q6"] for name in FEET], 0) / 6400
        rest = self.rig.sensors.stick_rest * FULL_SCALE
        away = np.abs(after["stick_count"] - rest) > safety.stick_zone * FULL_SCALE + 1
        for i in np.flatnonzero(np.diff(left)).tolist():
            ended = left[i] == STOOPING and setpoints_deg[i] > degrees(most_rad)
            armed = left[i] == OFF and away[i + 1]
            if left[i + 1] == STANDING and (ended or armed):
                wrong[i + 1 :] |= left[i + 1 :] != OFF
        return longest_run(wrong)


def unheeded_ticks(bits: Any, off: Any, down: Any, table: tuple[Fault, ...]) -> int:
    """Longest run of ticks in which what was seen was not acted on as the rows of `table` say.

    Each side answers in its own visit, and has had it a tick later.
    """
    cut_bits = sum(row.bit for row in table if row.cuts)
    heeded = off | (down & (bits & cut_bits == 0))
    return longest_run((bits[:-1] != 0) & ~heeded[1:])


def first_true(condition: Any) -> float:
    """Index of the first true element; infinite where there is none."""
    return float(np.argmax(condition)) if bool(np.any(condition)) else inf


def rows_seen_s(bits: Any, period_s: float, table: tuple[Fault, ...]) -> dict[int, float]:
    """When each row of the fault table was first seen, by its bit."""
    rises = np.flatnonzero(np.diff(bits, prepend=0))
    seen_s: dict[int, float] = {}
    for tick in rises.tolist():
        for fault in table:
            if bits[tick] & fault.bit:
                seen_s.setdefault(fault.bit, tick * period_s)
    return seen_s


def most_of(*values: Any) -> float:
    """The largest number of several arrays, and no less than zero."""
    return max(float(np.max(one, initial=0.0)) for one in values)


def longest_run(condition: Any) -> int:
    """Length of the longest run of true elements."""
    edges = np.flatnonzero(np.diff(condition.astype(np.int8), prepend=0, append=0))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _landing_mps(leg: Any, period_s: float) -> float:
    """Fastest that a foot came down onto the ground."""
    down = np.flatnonzero((leg["load_N"][1:] > 0) & (leg["load_N"][:-1] == 0)) + 1
    speed_mps = -np.diff(leg["clearance_m"], prepend=leg["clearance_m"][:1]) / period_s
    return float(np.max(speed_mps[down], initial=0.0))


def _loaded_fold_rad(leg: Any, fold_rad: Any) -> float:
    """Most that a loaded leg was folded by its own motor, hauling without a pause."""
    hauled = (leg["load_N"] > _LOADED_N) & (leg["motor_radps"] > _TURNING_RADPS)
    hauled &= leg["tension_peak_N"] > 0
    # In a stoop that is meant, up to where it is and what its sensors and its law miss of it.
    meant_rad = np.radians(leg["setpoint_cdeg_q6"] / 6400) + _MISSED_RAD
    hauled &= (leg["phase"] != STOOPING) | (fold_rad > meant_rad)
    gained = np.where(hauled, np.diff(fold_rad, prepend=fold_rad[:1]), 0.0)
    total = np.cumsum(gained)
    # What had been gained when this bout of hauling began.
    start = np.maximum.accumulate(np.where(hauled, -inf, total)) if len(total) else total
    return float(np.max(total - np.maximum(start, 0.0), initial=0.0))
