"""One case of a drill of wings: a show, a trouble or two, and what came of it in figures."""

from dataclasses import dataclass
from functools import cached_property
from math import degrees, inf
from typing import Any

import numpy as np
from legcore.wing_phases import OFF, RELEASING, RESTING
from numpy.typing import NDArray

from legsim.drill import (
    Limit,
    first_true,
    longest_run,
    most_of,
    rows_seen_s,
    unheeded_ticks,
)
from legsim.strike import NOWHERE, TROUBLE
from legsim.tables import trip_s
from legsim.troubles import Trouble, place_of
from legsim.wing.loop import WING_LINES
from legsim.wing.records import WINGS_STATE
from legsim.wing.rig import WingRig
from legsim.wing.run import Show
from legsim.wing.script import WINGS, first_s
from legsim.wing.settings import core_wings
from legsim.wing.tables import WING_FAULTS
from legsim.wing.troubles import LET_DOWN, MOMENTS

# One show: up, held, down again, and rest; then once more.
UP_S, HELD_S, SHOW_S = 2.6, 3.0, 10.0
SECONDS = 24.0
# A motor that turns so fast moves its wing.
_TURNING_RADPS = 20.0


@dataclass(frozen=True)
class WingStrike:
    """A trouble, and where and when: at a moment of `wing`'s show, `wait_s` into its phase.

    `word` and `bit` are of the core's memory, for troubles that are a bit turned over.
    """

    trouble: Trouble
    wing: int
    moment: int
    wait_s: float
    word: int = NOWHERE
    bit: int = 0


@dataclass(frozen=True)
class WingCase:
    """Strikes on one show of `seconds`."""

    strikes: tuple[WingStrike, ...]
    seed: int
    seconds: float = SECONDS

    @property
    def disarms(self) -> bool:
        """Whether the person disarms with the wings up: the only way to be let down unharmed."""
        return any(strike.moment == LET_DOWN for strike in self.strikes)


@dataclass(frozen=True)
class WingOutcome:
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
    past_stop_deg: float
    strayed_deg: float
    tip_mps: float
    tension_peak_N: float
    winding_over_K: float


# By measure of an outcome. What a trouble makes unavoidable, its row spares, to a bound.
WING_LIMITS = {
    "outside_ticks": Limit(2, "ticks", "an output outside what its phase and settings allow"),
    "unheeded_ticks": Limit(1, "ticks", "a fault not acted on, though either wing had its turn"),
    "excluded_ticks": Limit(0, "ticks", "armed though a command asked for motion"),
    "past_stop_deg": Limit(3, "deg", "past a hard stop"),
    # What a resting wing may be moved unseen, and a little.
    "strayed_deg": Limit(16, "deg", "moved by its motor otherwise than meant, and nothing seen"),
    # Let fall by a cut, the motor's rotor through its gears is what a wing has to speed up.
    "tip_mps": Limit(3, "m/s", "speed of a wing's tip"),
    "winding_over_K": Limit(10, "K", "the winding over its limit"),
    "power_late_s": Limit(0.2, "s", "power on for longer than bringing a wing to hang may take"),
}


class WingDrill:
    """All that the cases of one rig share."""

    def __init__(self, rig: WingRig) -> None:
        self.rig = rig
        self.period_s = rig.control.period_s
        settings = core_wings(rig).settings
        self.trips_s = {row.bit: trip_s(row, settings, self.period_s) for row in WING_FAULTS}

    @cached_property
    def lines(self) -> NDArray[np.void]:
        """The script of nearly all cases."""
        return self.script(SECONDS)

    def script(self, seconds: float) -> NDArray[np.void]:
        """What the wearer asks, the load at each tip: up, and down to where the wings hang."""
        time_s = np.arange(round(seconds / self.period_s)) * self.period_s
        lines = np.zeros(len(time_s), WING_LINES)
        wing = self.rig.wing
        up_s = wing.raised_rad / self.rig.control.follow_speed_radps
        command = np.zeros(len(time_s))
        for start_s in np.arange(first_s(self.rig), seconds, SHOW_S):
            at_s = time_s - start_s
            if self.rig.control.command == "stick":
                command[(at_s >= 0) & (at_s < up_s + 0.5)] = 1
                down_s = up_s + 0.5 + HELD_S
                command[(at_s >= down_s) & (at_s < down_s + up_s)] = -1
            else:
                command[(at_s >= 0) & (at_s < up_s + 0.5 + HELD_S)] = wing.raised_rad
        for name in WINGS:
            lines[name]["command"] = command
            lines[name]["load_kg"] = self.rig.wants.load_kg
        return lines

    def show(self, case: WingCase) -> Show:
        """The show of a case, not yet run."""
        lines = self.lines if case.seconds == SECONDS else self.script(case.seconds)
        show = Show(self.rig, lines, case.seed, troubles=self.strikes(case))
        if case.disarms:
            # While the wings are held up for the first time.
            at_s = first_s(self.rig) + UP_S + 1
            show.arm[round(at_s / self.period_s) :] = 0
        return show

    def strikes(self, case: WingCase) -> NDArray[np.void]:
        """The strikes of a case as the simulation takes them."""
        return np.array([self._record(strike) for strike in case.strikes], TROUBLE)

    def _record(self, strike: WingStrike) -> Any:
        record = np.zeros(1, TROUBLE)
        record["leg"], record["phase"] = strike.wing, MOMENTS[strike.moment].phase
        record["wait_ticks"] = round(strike.wait_s / self.period_s)
        record["lasts_ticks"] = round(strike.trouble.lasts_s / self.period_s)
        record["place"] = record["word"] = NOWHERE
        if strike.word == NOWHERE:
            path = strike.trouble.place
            record["place"] = place_of(path, WINGS[strike.wing], "", WINGS_STATE)
            record["value"] = strike.trouble.value
        else:
            record["word"] = strike.word
            record["flip"] = np.array(1 << strike.bit, np.uint32).view(np.int32)
        return record[0]

    def outcome(self, case: WingCase) -> WingOutcome:
        """Run a case and work out what came of it."""
        show = self.show(case)
        return self.judge(show.run(), show.troubles, show.crashed)

    def judge(
        self, trace: NDArray[np.void], troubles: NDArray[np.void], crashed: bool
    ) -> WingOutcome:
        """What came of a case, from its trace and its strikes as they ended."""
        struck = troubles["struck_tick"][troubles["struck_tick"] > 0]
        start = int(struck.min()) - 1 if len(struck) else len(trace)
        after, period_s = trace[start:], self.period_s
        wings = [after[name] for name in WINGS]
        bits = after["fault_bits"] | wings[0]["fault_bits"] | wings[1]["fault_bits"]
        off = after["contactor"] == 0
        down = np.all(
            [(wing["phase"] <= RESTING) | (wing["phase"] == RELEASING) for wing in wings], 0
        )
        safe_s = first_true(off | (down & (bits != 0))) * period_s
        off_s = first_true(off) * period_s
        w = self.rig.wing
        return WingOutcome(
            struck=bool(len(struck)),
            crashed=crashed,
            fault_bits=int(np.bitwise_or.reduce(bits)) if len(after) else 0,
            seen_s=first_true(bits != 0) * period_s,
            rows_seen_s=rows_seen_s(bits, period_s, WING_FAULTS),
            safe_s=safe_s,
            off_s=off_s,
            # Where it never went, what was seen of it.
            power_late_s=max(
                0.0, min(off_s, len(after) * period_s) - safe_s - self.rig.control.down_time_s
            )
            if safe_s < inf and bool(np.any(bits))
            else 0.0,
            outside_ticks=self._outside_ticks(after),
            unheeded_ticks=unheeded_ticks(bits, off, down, WING_FAULTS),
            excluded_ticks=self._excluded_ticks(after),
            past_stop_deg=degrees(
                most_of(
                    *(wing["lift_rad"] - w.hard_raised_rad for wing in wings),
                    *(w.hard_lowered_rad - wing["lift_rad"] for wing in wings),
                )
            ),
            # What is seen ends in a fault; what strays unseen is what nothing would end.
            strayed_deg=0.0 if crashed or bool(np.any(bits)) else degrees(self._strayed_rad(after)),
            tip_mps=most_of(*(np.abs(wing["lift_radps"]) for wing in wings)) * w.tip_m,
            tension_peak_N=most_of(
                *(wing[line] for wing in wings for line in ("up_peak_N", "down_peak_N"))
            ),
            winding_over_K=most_of(*(wing["winding_K"] for wing in wings))
            - self.rig.drive.winding_limit_K,
        )

    def _strayed_rad(self, after: NDArray[np.void]) -> float:
        """How far a turning motor took a wing from where the core means it to be."""
        strayed_rad = 0.0
        for wing in (after[name] for name in WINGS):
            setpoint_rad = np.radians(wing["setpoint_cdeg_q6"] / 6400)
            meant_rad = np.where(wing["phase"] > RESTING, setpoint_rad, 0.0)
            driven = (after["contactor"] != 0) & (np.abs(wing["motor_radps"]) > _TURNING_RADPS)
            driven &= wing["phase"] != OFF
            strayed_rad = max(strayed_rad, most_of(np.abs(wing["lift_rad"] - meant_rad)[driven]))
        return strayed_rad

    def _excluded_ticks(self, after: NDArray[np.void]) -> int:
        """Ticks with power since it came while either wing's command asked for something."""
        asking = np.any([np.abs(after[name]["asked"]) > self._rest_asked for name in WINGS], 0)
        powered = after["contactor"] != 0
        armed = np.flatnonzero(~powered[:-1] & powered[1:] & asking[1:])
        return int(powered[armed[0] + 1 :].sum()) if len(armed) else 0

    @cached_property
    def _rest_asked(self) -> float:
        """The most, cdeg/s of a stick or cdeg of a pot, that a command at rest asks for."""
        control = self.rig.control
        return 0.0 if control.command == "stick" else 100 * degrees(control.call_rad)

    def _outside_ticks(self, after: NDArray[np.void]) -> int:
        """Longest run of ticks with an output outside what its phase and settings allow."""
        control, controller = self.rig.control, self.rig.controller
        off = (after["left"]["phase"] == OFF) & (after["right"]["phase"] == OFF)
        wrong = off & (after["contactor"] != 0)
        for name in WINGS:
            wing = after[name]
            wrong |= np.abs(wing["drive_permille"]) > 1000 * control.drive_max + 0.5
            offset_us = np.abs(wing["pulse_us"] - controller.neutral_s * 1e6)
            wide = (offset_us > controller.span_s * 1e6 + 0.5) & (wing["pulse_us"] != 0)
            # Without power a pulse moves nothing.
            wrong |= wide & (after["contactor"] != 0)
            wrong |= (wing["phase"] <= RESTING) & (wing["drive_permille"] != 0)
        return longest_run(wrong)
