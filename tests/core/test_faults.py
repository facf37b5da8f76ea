"""Every row of the fault table trips in its time, in its phases, and does what it says.

The loop runs over the table itself: a row that is added fails here until somebody says how its
condition comes about. Conditions are forced at the core's inputs, by ills of crude legs; only for
a memory error the core's state is changed.
"""

import copy
import re
from collections.abc import Callable
from itertools import product
from typing import NamedTuple

import pytest
from fields import STATE_NAMES
from legcore import faults
from legcore.arming import FAULTY
from legcore.model import (
    CALIBRATION,
    FAULT_BITS_MAX,
    LONG_ROUND_TICKS,
    SETTINGS,
    TICKS_MAX,
    VISIT_TICKS,
)
from legcore.phases import CUT, HELD, LIFTING, OFF, RELEASE, RELEASING, STANDING, STOOPING
from legsim.tables import FAULTS, PHASES, fault_names
from walk import DEMO, SIDES, Walk

# Settings with which no row trips but the one whose own settings are put back: what one
# trouble does to a leg would often trip several rows, and the quickest would hide the others.
NONE_TRIPS = {
    "frozen_cdeg": 9000,
    "skew_most_cdeg": 18000,
    "stuck_ticks": TICKS_MAX,
    "chatter_most": 1000,
    "unseen_lifts": 200,
    "hot_mK": 200000,
    "slack_ticks": 2000,
    **{fault.ticks: 2000 for fault in FAULTS if fault.ticks not in ("", "stuck_ticks")},
}
# Moves that take so long that no condition outlasts the phase in which it begins.
SLOW = {
    "lift_step_q6": 400,
    "lower_step_q6": 100,
    "release_step_q6": 100,
    "hold_ticks": TICKS_MAX,
    "down_ticks": TICKS_MAX,
    "stoop_ticks": TICKS_MAX,
    "tired_mK": 200000,
}
# Cdeg a tick that no pot's reading jumps at, and no leg in order is as fast as.
FAST = 200


def named_settings(fault):
    """The settings that a row names, limit and time."""
    return re.findall(r"\w+", f"{fault.limit} {fault.ticks}")


class Judged(Walk):
    """A walk that notes when the condition of one row began, when it tripped, when all was safe."""

    def __init__(self, seed, fault, side, **changes):
        own = {name: DEMO[name] for name in named_settings(fault) if name in DEMO}
        super().__init__(seed, **(NONE_TRIPS | SLOW | own | changes))
        self.fault = fault
        self.side = side
        self.forget()

    def forget(self):
        self.struck = False
        self.since = self.tripped = self.safe = self.tripped_in = None

    def bits(self):
        return self.leg(0).fault_bits | self.leg(1).fault_bits | self.rig.fault_bits

    def run(self, ticks):
        for _ in range(ticks):
            phase = self.leg(self.side).phase
            super().run(1)
            tick = len(self.recorded)
            if self.tripped is None:
                self.note_condition(tick)
                if self.bits() & self.fault.bit:
                    self.tripped, self.tripped_in = tick, phase
            if self.tripped is not None and self.safe is None and is_safe(self):
                self.safe = tick

    def note_condition(self, tick):
        if not FORCE[self.fault.bit].holds(self, self.leg(self.side), self.rig.settings):
            self.since = None
        elif self.since is None:
            self.since = tick

    def elapsed(self):
        """Ticks from the moment the condition held to safe outputs."""
        return self.safe - (self.tripped if self.since is None else self.since)


def is_safe(walk):
    if walk.fault.cuts:
        return is_cut(walk)
    return all(walk.leg(side).phase in (OFF, RELEASING) for side in (0, 1))


def is_cut(walk):
    """Power gone: contactor open, both drives neutral, both legs off."""
    neutral_us = walk.rig.settings.pulse_neutral_us
    return walk.rig.contactor == 0 and all(
        (walk.leg(side).phase, walk.leg(side).drive_permille, walk.leg(side).pulse_us)
        == (OFF, 0, neutral_us)
        for side in (0, 1)
    )


def most_ticks(fault, settings):
    """A row's own time in whole looks, the wait for the first of them, and the other leg's turn."""
    ticks = getattr(settings, fault.ticks) if fault.ticks else 0
    looks = -(-ticks // fault.every_ticks)
    return looks * fault.every_ticks + fault.every_ticks + VISIT_TICKS


# How each condition comes about. A function does something to a walk and steps it for as long
# as that takes; what it leaves in place stays.


def pot_shorted(walk, side):
    walk.legs[side].ill.stuck[0] = 0


def pot_open(walk, side):
    walk.legs[side].ill.stuck[1] = 4095


def pot_slips(walk, side):
    walk.legs[side].ill.slipped_cdeg[0] = 1500


def pot_freezes(walk, side):
    walk.legs[side].ill.stuck[0] = walk.leg(side).thigh.count
    walk.fold_at_strike_cdeg = walk.leg(side).fold_cdeg
    # Only half of it is seen: the other half is the frozen joint's.
    shift(walk, side, 5 * DEMO["frozen_cdeg"], 20)


def pots_turn_apart(walk, side):
    for _ in range(40):
        walk.legs[side].ill.slipped_cdeg[0] += 65
        walk.legs[side].ill.slipped_cdeg[1] -= 65
        walk.run(1)


def shift(walk, side, to_cdeg, by_cdeg=FAST):
    """Hold a leg from outside, and move its fold on by a distance at a speed."""
    ill = walk.legs[side].ill
    ill.jammed = True
    while ill.push_cdeg != to_cdeg:
        ill.push_cdeg += max(-by_cdeg, min(by_cdeg, to_cdeg - ill.push_cdeg))
        walk.run(1)


def pressed_under_weight(walk, side):
    # Pressed for good. Under weight no leg that stands or is lowered answers.
    if walk.leg(side).phase not in (LIFTING, HELD):
        walk.legs[side].ill.sole_reads = 1
    walk.raised[side] = 1
    walk.run(walk.rig.settings.stuck_ticks)


def flickers(walk, side):
    # Each change lasts for one visit, which is too short to be taken for the wearer's will.
    for _ in range(40):
        walk.raised[side] ^= 1
        walk.run(VISIT_TICKS)


def other_leg_steps(walk, side):
    # A leg that is off has seen it happen before.
    for _ in range(DEMO["unseen_lifts"] if walk.board["arm"] else 0):
        walk.raised[1 - side] = 1
        walk.until(1 - side, LIFTING, 50)
        walk.raised[1 - side] = 0
        walk.until(1 - side, STANDING, 400)


def unseen_before(walk, side, phase):
    """Tripped already and acknowledged, and the switch still not seen."""
    if phase == OFF:
        other_leg_steps(walk, side)
        walk.until(side, OFF)
        walk.until(1 - side, OFF)
        walk.board["arm"] = 0
        walk.run(1)
        assert walk.bits() == 0
        walk.forget()


def stands_on_something(walk, side):
    walk.legs[side].ill.sole_reads = 1


def raised_under_weight(walk, side):
    walk.legs[side].ill.sole_reads = 1
    walk.raised[side] = 1


def bears_nothing(walk, side):
    walk.legs[side].ill.sole_reads = 0
    if walk.leg(side).phase == STOOPING:
        walk.legs[1 - side].ill.sole_reads = 0


def other_is_up(walk, side, phase):
    walk.reach(*((side, STOOPING) if phase == STOOPING else (1 - side, HELD)))


def hangs(walk, side):
    walk.legs[side].ill.sole_reads = 0
    shift(walk, side, 2 * DEMO["hanging_cdeg"])


def folds(walk, side):
    shift(walk, side, DEMO["sunk_cdeg"] + 300, 40)


def other_is_let_down(walk, side, phase):
    """A leg that is off still has power while the other one is let down."""
    walk.reach(*((1 - side, RELEASING) if phase == OFF else (side, phase)))


def held_down(walk, side):
    shift(walk, side, -900)
    walk.run(2 * DEMO["stall_ticks"])


def pulled_down(walk, side):
    # Down until the law drives against it, and then on.
    shift(walk, side, -900)
    shift(walk, side, -1900, 2 * DEMO["against_cdps"] // (2 * DEMO["visit_hz"]))


def thrown_up(walk, side):
    shift(walk, side, 1500, 2 * DEMO["rate_most_cdps"] // (2 * DEMO["visit_hz"]))


def falls(walk, side):
    shift(walk, side, -900)


def pushed_up(walk, side):
    shift(walk, side, 900)


def folds_past_the_stop(walk, side):
    shift(walk, side, 10200 - walk.legs[side].fold_cdeg, FAST // 2)


def turned_to_and_fro(walk, side):
    # The case warms by turning and warms the winding, in whatever phase.
    for to_cdeg in (2400, 0) * 6:
        shift(walk, side, to_cdeg, 60)


def set_board(**values):
    """A function that has the board say something else."""
    return lambda walk, side: walk.board.update(values)


def counter_below_zero(walk, side):
    walk.flip = (STATE_NAMES.index(f"{SIDES[side]}.chatter") + 1, -1)


def lead_cdeg(leg):
    return (leg.setpoint_cdeg_q6 >> 6) - leg.fold_cdeg


class Forcing(NamedTuple):
    """How the condition of a row comes about, and since when it holds as the row states it.

    Unless it says otherwise a condition holds from the moment of the strike. Where physics
    has to bring it about first, `holds` reads what the row watches.
    """

    strike: Callable
    holds: Callable = lambda walk, leg, settings: walk.struck
    reach: Callable = lambda walk, side, phase: walk.reach(side, phase)
    settings: Callable = lambda phase: {}


FORCE = {
    faults.POT_LOW: Forcing(pot_shorted),
    faults.POT_HIGH: Forcing(pot_open),
    faults.POT_JUMP: Forcing(pot_slips),
    faults.POT_FROZEN: Forcing(
        pot_freezes,
        # Twice: the first stretch may have begun when the pot still moved.
        lambda walk, leg, settings: (
            walk.struck and abs(leg.fold_cdeg - walk.fold_at_strike_cdeg) > 2 * settings.frozen_cdeg
        ),
    ),
    faults.LINKAGE: Forcing(
        pots_turn_apart,
        lambda walk, leg, settings: (
            abs((leg.thigh.angle_cdeg_q4 - leg.shank.angle_cdeg_q4 >> 4) - settings.skew_cdeg)
            > settings.skew_most_cdeg
        ),
    ),
    faults.SWITCH_STUCK: Forcing(
        pressed_under_weight,
        lambda walk, leg, settings: leg.pressed,
        # A leg that is up has been asked for as long as it took to lift.
        settings=lambda phase: {"stuck_ticks": 300 if phase < HELD else 700},
    ),
    faults.SWITCH_CHATTER: Forcing(
        flickers, lambda walk, leg, settings: leg.chatter >= settings.chatter_most
    ),
    faults.SWITCH_UNSEEN: Forcing(
        other_leg_steps,
        lambda walk, leg, settings: leg.unseen_lifts >= settings.unseen_lifts,
        unseen_before,
    ),
    faults.WEIGHT: Forcing(stands_on_something),
    faults.ASKED: Forcing(
        raised_under_weight,
        lambda walk, leg, settings: leg.pressed and leg.sole,
    ),
    faults.UNBORNE: Forcing(bears_nothing, reach=other_is_up),
    faults.HANGING: Forcing(
        hangs,
        lambda walk, leg, settings: (
            walk.struck and leg.fold_cdeg > settings.rest_fold_cdeg + settings.hanging_cdeg
        ),
    ),
    faults.UNASKED: Forcing(
        folds,
        lambda walk, leg, settings: leg.fold_cdeg > settings.rest_fold_cdeg + settings.sunk_cdeg,
        other_is_let_down,
    ),
    faults.STALL: Forcing(
        held_down,
        lambda walk, leg, settings: (
            walk.struck and leg.drive_permille >= settings.stall_drive_permille
        ),
    ),
    faults.AGAINST: Forcing(
        pulled_down,
        lambda walk, leg, settings: (
            leg.drive_permille >= settings.stall_drive_permille
            and leg.rate_cdps < -settings.against_cdps
        ),
    ),
    faults.RATE: Forcing(
        thrown_up, lambda walk, leg, settings: abs(leg.rate_cdps) > settings.rate_most_cdps
    ),
    faults.ADRIFT: Forcing(
        falls, lambda walk, leg, settings: lead_cdeg(leg) > settings.adrift_cdeg
    ),
    faults.SLACK: Forcing(
        pushed_up,
        lambda walk, leg, settings: (
            lead_cdeg(leg) < -settings.push_cdeg
            and (
                leg.phase != STOOPING
                or leg.fold_cdeg > settings.rest_fold_cdeg + settings.sunk_cdeg
            )
        ),
    ),
    faults.END_STOP: Forcing(
        folds_past_the_stop,
        lambda walk, leg, settings: (
            leg.fold_cdeg > settings.fold_max_cdeg + settings.stop_margin_cdeg
        ),
    ),
    faults.HOT: Forcing(
        turned_to_and_fro,
        lambda walk, leg, settings: leg.winding_mK_q8 >= settings.hot_mK * 256,
        settings=lambda phase: {
            "hot_mK": 40000,
            "heat_copper_q6": 0,
            "heat_case_q8": 65536,
            "heat_cross_q12": 60000,
        },
    ),
    faults.BATTERY: Forcing(set_board(battery_mV=DEMO["battery_least_mV"] - 1)),
    faults.SUPPLY: Forcing(set_board(supply_mV=DEMO["supply_least_mV"] - 1)),
    faults.STICK: Forcing(set_board(stick_count=DEMO["stick_low_count"] - 1)),
    faults.HOST: Forcing(set_board(host=1, host_heard=0)),
    faults.LATE: Forcing(
        set_board(missed_ticks=1), lambda walk, leg, settings: walk.rig.late >= settings.late_most
    ),
    faults.WATCHDOG: Forcing(set_board(was_hung=1)),
    faults.SETTINGS: Forcing(set_board(settings_bad=1)),
    faults.STOP: Forcing(set_board(stop=1)),
    faults.MEMORY: Forcing(counter_below_zero),
    faults.MISMATCH: Forcing(
        falls, lambda walk, leg, settings: walk.struck and abs(lead_cdeg(leg)) > settings.apart_cdeg
    ),
}


def test_every_row_has_a_way_to_be_forced_and_nothing_else_has():
    assert set(FORCE) == {fault.bit for fault in FAULTS}


def reached(fault, side, phase):
    """A walk with a leg in a phase, just before the condition of a row is to come about."""
    forcing = FORCE[fault.bit]
    walk = Judged(fault.bit + 8 * side + phase, fault, side, **forcing.settings(phase))
    walk.arm()
    forcing.reach(walk, side, phase)
    assert walk.leg(side).phase == phase
    assert walk.bits() == 0
    return walk


def strike(walk):
    """Bring the condition about, and step on for longer than the row may take."""
    walk.struck = True
    FORCE[walk.fault.bit].strike(walk, walk.side)
    walk.run(most_ticks(walk.fault, walk.rig.settings) + LONG_ROUND_TICKS)


CASES = [
    pytest.param(fault, side, phase, id=f"{fault.name}, {SIDES[side]} leg {PHASES[phase].name}")
    for fault, side, phase in product(FAULTS, range(len(SIDES)), range(len(PHASES)))
]
WITHIN = [case for case in CASES if case.values[2] in case.values[0].phases]
OUTSIDE = [case for case in CASES if case.values[2] not in case.values[0].phases]


@pytest.mark.parametrize(("fault", "side", "phase"), WITHIN)
def test_outputs_are_safe_within_the_time_of_a_row_in_each_of_its_phases(fault, side, phase):
    walk = reached(fault, side, phase)
    strike(walk)
    assert walk.tripped is not None
    assert walk.tripped_in in fault.phases
    assert fault_names(walk.bits()) == (fault.name,)
    assert walk.elapsed() <= most_ticks(fault, walk.rig.settings)
    # Safe outputs stay safe, and at last power is off.
    walk.raised = [0, 0]
    walk.run(20)
    assert is_safe(walk)
    if not fault.cuts:
        let_down(walk)
        assert is_cut(walk)


SLOWLY = [fault for fault in FAULTS if fault.every_ticks > VISIT_TICKS]


@pytest.mark.parametrize("fault", SLOWLY, ids=lambda fault: fault.name)
def test_a_row_looked_at_now_and_then_keeps_its_time_whenever_it_begins(fault):
    phase = STANDING if STANDING in fault.phases else fault.phases[0]
    before = reached(fault, 0, phase)
    for wait in range(fault.every_ticks):
        walk = copy.deepcopy(before)
        walk.run(wait)
        strike(walk)
        assert walk.elapsed() <= most_ticks(fault, walk.rig.settings), wait


def let_down(walk):
    """Take away what was done to the leg, without a jump, and wait until both feet are down."""
    shift(walk, walk.side, 0)
    walk.legs[walk.side].ill.jammed = False
    walk.until(0, OFF, 6000)
    walk.until(1, OFF, 6000)


@pytest.mark.parametrize(("fault", "side", "phase"), OUTSIDE)
def test_a_row_does_not_trip_outside_its_phases(fault, side, phase):
    walk = Judged(fault.bit, fault, side, **FORCE[fault.bit].settings(phase))
    walk.arm()
    walk.reach(side, phase)
    strike(walk)
    assert walk.tripped_in != phase


# Two at once: whatever the order, the stricter action is taken.

CUTS = [fault for fault in FAULTS if fault.cuts]
RELEASES = [fault for fault in FAULTS if not fault.cuts]


@pytest.fixture(scope="module")
def held():
    """The left leg held up, the right one standing."""
    walk = Walk(seed=2)
    walk.arm()
    walk.reach(0, HELD)
    walk.recorded.clear()
    return walk


def latch(walk, fault, holder):
    """Let a fault have tripped: of the left leg, of the right one, or of the board."""
    (walk.rig.left, walk.rig.right, walk.rig)[holder].fault_bits |= fault.bit


@pytest.mark.parametrize("cut", CUTS, ids=lambda fault: fault.name)
@pytest.mark.parametrize("apart", [0, 1, 2, 25])
def test_a_cut_wins_over_a_release_that_came_before_it_with_it_or_after_it(held, cut, apart):
    for release, holder in product(RELEASES, range(3)):
        for first, second in ((cut, release), (release, cut)):
            walk = copy.deepcopy(held)
            latch(walk, first, holder)
            walk.run(apart)
            if apart >= VISIT_TICKS:
                assert is_cut(walk) == first.cuts
                assert walk.leg(0).phase == (OFF if first.cuts else RELEASING)
            latch(walk, second, (holder + 1) % 3)
            walk.run(1)
            assert is_cut(walk), f"{first.name}, then {second.name}"


# What a fault leaves behind.


@pytest.fixture(scope="module")
def off():
    """Both legs off, the arm input closed but not long enough."""
    walk = Walk(seed=3)
    walk.run(10)
    walk.board["arm"] = 1
    walk.run(20)
    walk.recorded.clear()
    return walk


each_fault = pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)


@each_fault
def test_nothing_arms_while_a_fault_is_latched(off, fault):
    for holder in range(3):
        walk = copy.deepcopy(off)
        latch(walk, fault, holder)
        walk.run(2 * DEMO["arm_ticks"])
        assert is_cut(walk)
        assert walk.rig.arm_blocks & FAULTY


@each_fault
def test_opening_the_arm_input_with_both_legs_off_clears_what_may_be_cleared(off, fault):
    for holder in range(3):
        walk = copy.deepcopy(off)
        latch(walk, fault, holder)
        walk.run(5)
        walk.board["arm"] = 0
        walk.run(5)
        lasts = fault.latch == faults.UNTIL_RESET
        bits = walk.leg(0).fault_bits | walk.leg(1).fault_bits | walk.rig.fault_bits
        assert fault_names(bits) == ((fault.name,) if lasts else ())
        walk.board["arm"] = 1
        walk.run(2 * DEMO["arm_ticks"])
        assert [walk.leg(side).phase for side in (0, 1)] == [OFF if lasts else STANDING] * 2


# Watched with both legs off, and still there when it has been acknowledged. A hang was once, a
# pot that has jumped reads on from where it is, and one that is frozen shows it in motion.
STAYS = [
    fault
    for fault in FAULTS
    if OFF in fault.phases
    and fault.bit not in (faults.WATCHDOG, faults.POT_JUMP, faults.POT_FROZEN, faults.UNASKED)
]


@pytest.mark.parametrize("side", range(len(SIDES)), ids=SIDES)
@pytest.mark.parametrize("fault", STAYS, ids=lambda fault: fault.name)
def test_a_fault_that_is_still_there_comes_back_and_nothing_arms(fault, side):
    walk = reached(fault, side, OFF)
    strike(walk)
    for _ in range(2):
        walk.board["arm"] = 1
        walk.run(10)
        walk.board["arm"] = 0
        walk.run(4)
    walk.board["arm"] = 1
    walk.run(most_ticks(fault, walk.rig.settings) + 2 * DEMO["arm_ticks"])
    assert fault_names(walk.bits()) == (fault.name,)
    assert is_cut(walk)


# The table itself.


def test_every_bit_is_one_bit_of_its_own_and_together_they_are_all_there_are():
    assert sorted(fault.bit for fault in FAULTS) == [1 << i for i in range(len(FAULTS))]
    assert sum(fault.bit for fault in FAULTS) == FAULT_BITS_MAX


def test_every_name_and_every_text_is_given_once():
    for column in ("name", "text", "watched"):
        assert len({getattr(fault, column) for fault in FAULTS}) == len(FAULTS)


@each_fault
def test_a_row_names_settings_that_exist(fault):
    known = {row[0] for row in (*SETTINGS, *CALIBRATION)}
    assert set(named_settings(fault)) <= known


@each_fault
def test_a_row_says_in_sentences_what_happened_and_what_to_do(fault):
    for text in (fault.text, fault.remedy):
        assert text.endswith(".")
        assert text[0].isupper()
        assert "  " not in text


@each_fault
def test_a_row_holds_only_what_its_columns_allow(fault):
    assert fault.action in (CUT, RELEASE)
    assert fault.latch in (faults.UNTIL_DISARMED, faults.UNTIL_RESET)
    assert fault.every_ticks >= 1
    assert fault.phases
    assert set(fault.phases) <= set(range(len(PHASES)))


@pytest.mark.parametrize(("side", "joint"), list(product((0, 1), (0, 1))))
def test_a_wiper_off_its_track_at_power_on_is_no_leap_once_it_is_back(side, joint):
    walk = Walk(1)
    stuck = walk.legs[side].ill.stuck
    stuck[joint] = 0
    walk.run(walk.rig.settings.pot_ticks // 2)
    stuck[joint] = None
    walk.run(20 * LONG_ROUND_TICKS)
    assert fault_names(walk.leg(side).fault_bits | walk.rig.fault_bits) == ()


@pytest.mark.parametrize(("side", "joint"), list(product((0, 1), (0, 1))))
def test_a_pot_that_is_open_from_power_on_is_seen(side, joint):
    walk = Walk(1)
    walk.legs[side].ill.stuck[joint] = 0
    walk.run(4 * walk.rig.settings.pot_ticks)
    # Where the joint is nobody knows, so its pose may be an impossible one, too.
    assert "pot reads low" in fault_names(walk.leg(side).fault_bits)
