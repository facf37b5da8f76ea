"""A bit of the board's memory that changes by itself never leads to motion that goes on.

A walk is recorded, and set down again and again at some moment of it, with one bit of one word
flipped: a word as compiled code and other boards keep it, 31 bits and a sign. What it does to
plain Python's unlimited integers is what it does to a board's, which takes memory for those that
grow large.
"""

import copy
import random
from collections import defaultdict
from itertools import product

import pytest
from fields import (
    SETTINGS_COUNT,
    STATE_NAMES,
    get,
    names,
    put,
    slots,
)
from legcore.faults import MEMORY
from legcore.model import LONG_ROUND_TICKS, PULSE_MAX_US, PULSE_MIN_US, ROUND_TICKS, VISIT_TICKS
from legcore.phases import LOWERING, OFF, PHASES, RELEASING, STANDING
from legcore.step import step
from legsim.board import WORDS_A_TICK
from rewrites import SMALL_MAX
from walk import DEMO, SIDES, Walk

BITS = range(32)
STATE_FLIPS = 10_000
SETTINGS_FLIPS = 2_000
# A changed counter is found once a long round; what comes of it shows by the end of the next.
AFTER = 2 * LONG_ROUND_TICKS
# An output may be wrong until its leg has had a turn.
MOST_WRONG = VISIT_TICKS


def flipped(value, bit):
    """A 32-bit word with one bit changed; bit 31 is its sign."""
    word = (value & 0xFFFFFFFF) ^ (1 << bit)
    return word - (1 << 32) if word >> 31 else word


class Replay:
    """One rig and its crude legs, which can be set down at any moment of a walk."""

    def __init__(self, walk):
        self.walk = walk
        self.slots = slots(walk.rig, "Rig")
        self.settings = [get(slot) for slot in self.slots[:SETTINGS_COUNT]]

    def moment(self):
        walk = self.walk
        words = [get(slot) for slot in self.slots[SETTINGS_COUNT:]]
        return words, copy.deepcopy(walk.legs), list(walk.raised), dict(walk.board)

    def set_down(self, moment):
        """Go back to a moment, with settings as they were at first."""
        words, legs, raised, board = moment
        for slot, value in zip(self.slots, (*self.settings, *words), strict=True):
            put(slot, value)
        for leg, kept in zip(self.walk.legs, legs, strict=True):
            leg.fold_cdeg, leg.rate_cdps = kept.fold_cdeg, kept.rate_cdps
        self.walk.raised = list(raised)
        self.walk.board = dict(board)

    def flip(self, word, bit):
        put(self.slots[word], flipped(get(self.slots[word]), bit))

    def phases(self):
        return [self.walk.leg(side).phase for side in (0, 1)]


def recorded():
    """A walk through every phase of either leg, and moments of it by the phase of a leg."""
    replay = Replay(Walk(seed=7))
    moments = defaultdict(list)
    run = replay.walk.run

    def keep(ticks):
        for _ in range(ticks):
            run(1)
            moment = replay.moment()
            for side, phase in enumerate(replay.phases()):
                moments[side, phase].append(moment)

    replay.walk.run = keep
    replay.walk.arm()
    for side, phase in product((0, 1), (LOWERING, RELEASING)):
        replay.walk.reach(side, phase)
        replay.walk.foot(side, 0)
        replay.walk.until(side, STANDING if phase == LOWERING else OFF)
        replay.walk.recover()
    replay.walk.run = run
    return replay, moments


@pytest.fixture(scope="module")
def record():
    return recorded()


def outside(rig):
    """Whether any output is what no output may be for long."""
    settings = rig.settings
    off = rig.left.phase == OFF and rig.right.phase == OFF
    return (off and rig.contactor) or any(
        abs(leg.drive_permille) > DEMO["drive_max_permille"]
        or abs(leg.pulse_us - settings.pulse_neutral_us) > DEMO["pulse_span_us"]
        for leg in (rig.left, rig.right)
    )


def drives(rig):
    return rig.left.drive_permille or rig.right.drive_permille


def longest(replay, wrong, ticks=AFTER):
    """For how many ticks in a row something is wrong, from now on, the flip included.

    The first tick runs on what is in memory now; inputs have been read already.
    """
    walk, most, count = replay.walk, 0, 0
    for tick in range(ticks):
        if tick:
            walk.read()
        step(walk.rig)
        count = count + 1 if wrong(walk.rig) else 0
        most = max(most, count)
    return most


def test_no_bit_of_the_state_leads_to_an_output_that_is_wrong_for_long(record, record_property):
    replay, moments = record
    rng = random.Random(8)
    ended = large = 0
    for i in range(STATE_FLIPS):
        phase = i % len(PHASES)
        replay.set_down(rng.choice(moments[rng.randrange(2), phase]))
        replay.walk.read()
        word, bit = rng.randrange(SETTINGS_COUNT, len(replay.slots)), rng.choice(BITS)
        replay.flip(word, bit)
        name = f"bit {bit} of {STATE_NAMES[word - SETTINGS_COUNT]}, {PHASES[phase][0]}"
        try:
            assert longest(replay, outside) <= MOST_WRONG, name
        except (ArithmeticError, IndexError):
            # The board's program ends, and its pins fall back to neutral and open.
            ended += 1
        large += any(abs(get(slot)) > SMALL_MAX for slot in replay.slots)
    record_property(
        "flips of the state",
        f"{STATE_FLIPS}; the program ended after {ended}; after {large} a number stayed large",
    )


@pytest.mark.parametrize("phase", range(len(PHASES)), ids=[row[0] for row in PHASES])
def test_a_phase_that_differs_from_its_copy_cuts_at_the_next_turn_of_its_leg(record, phase):
    replay, moments = record
    rng = random.Random(9)
    for side, name, bit in product((0, 1), ("phase", "phase_not"), BITS):
        replay.set_down(rng.choice(moments[side, phase]))
        replay.flip(SETTINGS_COUNT + STATE_NAMES.index(f"{SIDES[side]}.{name}"), bit)
        replay.walk.run(VISIT_TICKS)
        rig = replay.walk.rig
        assert replay.phases() == [OFF, OFF], f"bit {bit} of {name}"
        assert replay.walk.leg(side).fault_bits & MEMORY
        assert (rig.contactor, rig.left.drive_permille, rig.right.drive_permille) == (0, 0, 0)


def test_no_bit_of_the_settings_drives_for_longer_than_it_takes_to_be_found(
    record, record_property
):
    """The board compares a few words each tick with a copy, and says when one differs."""
    replay, moments = record
    rng = random.Random(10)
    most = -(-SETTINGS_COUNT // WORDS_A_TICK) + ROUND_TICKS
    ended, slowest = 0, 0
    for i in range(SETTINGS_FLIPS):
        phase = i % len(PHASES)
        replay.set_down(rng.choice(moments[rng.randrange(2), phase]))
        word, bit = rng.randrange(SETTINGS_COUNT), rng.choice(BITS)
        replay.flip(word, bit)
        name = f"bit {bit} of {names('Settings')[word]}, {PHASES[phase][0]}"
        try:
            ticks = ticks_until_off(replay, rng.randrange(SETTINGS_COUNT), most)
        except (ArithmeticError, IndexError):
            ended += 1
            continue
        assert ticks <= most, name
        slowest = max(slowest, ticks)
    record_property(
        "flips of settings",
        f"{SETTINGS_FLIPS}; the program ended after {ended}; off after {slowest} ticks at most"
        f" of {most} allowed",
    )


def ticks_until_off(replay, at, most):
    """Step on as the board does, comparing settings from word `at` on, until both legs are off."""
    walk = replay.walk
    ticks = 0
    while not (walk.board["settings_bad"] and replay.phases() == [OFF, OFF]) and ticks <= most:
        for _ in range(WORDS_A_TICK):
            if get(replay.slots[at]) != replay.settings[at]:
                walk.board["settings_bad"] = 1
            at = (at + 1) % SETTINGS_COUNT
        walk.read()
        step(walk.rig)
        ticks += 1
        for leg in (walk.rig.left, walk.rig.right):
            assert PULSE_MIN_US <= leg.pulse_us <= PULSE_MAX_US
    if ticks <= most:
        assert not walk.rig.contactor
        assert not drives(walk.rig)
    return ticks


# Nobody has armed, or nobody raises a foot: then no bit at all may move a leg.


def unarmed(walk, arm, raised):
    """The arm input, and the left foot, as they are; nothing of it has been armed."""
    walk.board["arm"] = arm
    walk.raised = [raised, 0]
    walk.run(20)


def seen_open(walk):
    """The arm input was open and is closed, a foot is raised: that alone is in the way."""
    walk.run(20)
    unarmed(walk, 1, 1)


def faulty(walk):
    """All is as it should be but for a fault that was."""
    walk.run(20)
    walk.board["stop"] = 1
    walk.run(1)
    walk.board["stop"] = 0
    unarmed(walk, 1, 1)


SCENES = {
    "the arm input is open": lambda walk: unarmed(walk, 0, 0),
    "the arm input is open and a foot is raised": lambda walk: unarmed(walk, 0, 1),
    "the arm input has been closed all the time": lambda walk: unarmed(walk, 1, 0),
    "it has been closed all the time, and a foot is raised": lambda walk: unarmed(walk, 1, 1),
    "a foot is raised while a person arms": seen_open,
    "a fault is latched, and a foot is raised": faulty,
    "both legs stand and no foot is raised": Walk.arm,
}


@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES.keys())
def test_no_bit_at_all_drives_a_leg_that_nobody_has_asked_to_move(scene):
    # The shortest time to hold there is: an error that arms shows as soon as possible.
    walk = Walk(seed=11, arm_ticks=16)
    scene(walk)
    replay = Replay(walk)
    moment = replay.moment()
    for word, bit in product(range(SETTINGS_COUNT, len(replay.slots)), BITS):
        replay.set_down(moment)
        walk.read()
        replay.flip(word, bit)
        name = f"bit {bit} of {STATE_NAMES[word - SETTINGS_COUNT]}"
        assert longest(replay, drives) <= MOST_WRONG, name
