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
from typing import NamedTuple

import pytest
from fields import get, put
from frame_walk import DOWN_COUNT, REST_COUNT, UP_COUNT, FrameWalk
from kinds import FRAME, KINDS, LEGS, SIDES
from legcore.faults import MEMORY
from legcore.model import LONG_ROUND_TICKS, PULSE_MAX_US, PULSE_MIN_US, ROUND_TICKS, VISIT_TICKS
from legcore.phases import LOWERING, OFF, PHASES, RELEASING, STANDING, STOOPING
from legcore.wing_phases import WING_PHASES
from legsim.board import WORDS_A_TICK
from rewrites import SMALL_MAX
from walk import PUSHED_COUNT, Walk

BITS = range(32)
# Of either kind of board, in shares that run side by side.
STATE_FLIPS = 10_000
SHARES = 4
SETTINGS_FLIPS = 2_000
# An output may be wrong until its leg has had a turn; where legs and wings take turns, no longer.
MOST_WRONG = VISIT_TICKS
# What moves, and the phases that it can be in.
JOINTS = {"": PHASES, "wings.": WING_PHASES}


class Pace(NamedTuple):
    """A kind's walk; and of how many ticks one is of those that have the fewest."""

    walk: type
    ticks: int


PACES = {LEGS: Pace(Walk, 1), FRAME: Pace(FrameWalk, 3)}


def flipped(value, bit):
    """A 32-bit word with one bit changed; bit 31 is its sign."""
    word = (value & 0xFFFFFFFF) ^ (1 << bit)
    return word - (1 << 32) if word >> 31 else word


class Replay:
    """One board and its crude joints, which can be set down at any moment of a walk."""

    def __init__(self, walk):
        self.walk = walk
        self.core = walk.core
        self.slow = PACES[walk.kind].ticks
        self.settings = [get(slot) for slot in self.core.settings]

    def moment(self):
        return self.core.tell(), copy.deepcopy(self.walk.world())

    def set_down(self, moment):
        """Go back to a moment, with settings as they were at first."""
        state, world = moment
        self.core.put_settings(self.settings)
        self.core.put_state(state)
        for name, value in copy.deepcopy(world).items():
            setattr(self.walk, name, value)

    def flip(self, slot, bit):
        put(slot, flipped(get(slot), bit))

    def longest(self, wrong):
        """For how many ticks in a row something is wrong, from now on, the flip included.

        The first tick runs on what is in memory now; inputs have been read already. A changed
        counter is found once a long round; what comes of it shows by the end of the next.
        """
        most = count = 0
        for tick in range(2 * LONG_ROUND_TICKS * self.slow):
            if tick:
                self.walk.read()
            self.core.tick()
            count = count + 1 if any(wrong(pair) for pair in self.core.made) else 0
            most = max(most, count)
        return most


def recorded(kind):
    """A walk through every phase of each joint, and its moments by the joint and its phase."""
    walk = PACES[kind].walk(seed=7)
    replay = Replay(walk)
    moments = defaultdict(list)
    tick = walk.tick

    def noted():
        tick()
        moment = replay.moment()
        for prefix, pair in zip(JOINTS, walk.core.made, strict=False):
            for side in SIDES:
                moments[prefix + side, getattr(pair, side).phase].append(moment)

    walk.tick = noted
    walk.recover()
    for side, phase in product((0, 1), (LOWERING, RELEASING)):
        walk.reach(side, phase)
        walk.foot(side, 0)
        walk.until(side, STANDING if phase == LOWERING else OFF)
        walk.recover()
    stoop(walk)
    if kind is FRAME:
        show(walk)
    walk.tick = tick
    assert set(moments) == {
        (prefix + side, phase)
        for prefix, _ in zip(JOINTS, walk.core.made, strict=False)
        for side in SIDES
        for phase in range(len(JOINTS[prefix]))
    }
    return replay, moments


def stoop(walk):
    """Down, held there, on, and up again by the stick; then let up from below, disarmed."""
    for count, ticks in ((PUSHED_COUNT, 400), (2048, 200), (PUSHED_COUNT, 100), (300, 300)):
        walk.board["stick_count"] = count
        walk.run(ticks)
    walk.recover()
    walk.reach(0, STOOPING)
    walk.board["arm"] = 0
    walk.until(0, OFF)
    walk.recover()


def show(walk):
    """Each wing up and down beside legs that stoop, left up, and brought to hang from there."""
    walk.come_to(0, STOOPING)
    for count in (UP_COUNT, REST_COUNT, DOWN_COUNT):
        walk.commands = [count, DOWN_COUNT + UP_COUNT - count]
        walk.run(150)
    walk.board["arm"] = 0
    walk.run(200)
    walk.recover()


@pytest.fixture(scope="module")
def record(kind):
    return recorded(kind)


def moved(record, i, rng):
    """Set down at some moment of the i-th joint and phase, all in turn; which they are."""
    replay, moments = record
    places = sorted(moments)
    place = places[i % len(places)]
    replay.set_down(rng.choice(moments[place]))
    replay.walk.read()
    return replay, f"{place[0]} in phase {place[1]}"


def outside(pair):
    """Whether any output of two joints is what no output may be for long."""
    settings = pair.settings
    off = pair.left.phase == OFF and pair.right.phase == OFF
    return (off and pair.contactor) or any(
        abs(joint.drive_permille) > settings.drive_max_permille
        or abs(joint.pulse_us - settings.pulse_neutral_us) > settings.pulse_span_us
        for joint in (pair.left, pair.right)
    )


def drives(pair):
    return pair.left.drive_permille or pair.right.drive_permille


@pytest.mark.parametrize("share", range(SHARES))
def test_no_bit_of_the_state_leads_to_an_output_that_is_wrong_for_long(
    kind, record, share, record_property
):
    rng = random.Random(8 + share)
    ended = large = slowest = 0
    flips = STATE_FLIPS // SHARES
    for i in range(flips):
        replay, where = moved(record, i, rng)
        word, bit = rng.randrange(len(replay.core.state)), rng.choice(BITS)
        replay.flip(replay.core.state[word], bit)
        try:
            wrong = replay.longest(outside)
        except (ArithmeticError, IndexError):
            # The board's program ends, and its pins fall back to neutral and open.
            ended += 1
            continue
        assert wrong <= MOST_WRONG, f"bit {bit} of {kind.state_names[word]}, {where}"
        slowest = max(slowest, wrong)
        large += any(abs(value) > SMALL_MAX for value in replay.core.tell())
    record_property(
        f"flips of the state, board with {kind.name}",
        f"{flips}; an output wrong for {slowest} ticks at most; the program ended after {ended};"
        f" after {large} a number stayed large",
    )


each_phase_of_each = pytest.mark.parametrize(
    ("kind", "pair", "phase"),
    [
        pytest.param(kind, pair, phase, id=f"{kind.name}: {prefix}{row[0]}")
        for kind in KINDS
        for pair, (prefix, phases) in enumerate(list(JOINTS.items())[: len(kind.parts)])
        for phase, row in enumerate(phases)
    ],
    indirect=["kind"],
)


@each_phase_of_each
def test_a_phase_that_differs_from_its_copy_cuts_at_the_next_turn_of_its_joint(
    kind, record, pair, phase
):
    replay, moments = record
    prefix = list(JOINTS)[pair]
    rng = random.Random(9)
    for side, name, bit in product(SIDES, ("phase", "phase_not"), BITS):
        replay.set_down(rng.choice(moments[prefix + side, phase]))
        word = kind.state_names.index(f"{prefix}{side}.{name}")
        replay.flip(replay.core.state[word], bit)
        for _ in range(VISIT_TICKS * replay.slow):
            replay.walk.tick()
        struck = replay.core.made[pair]
        assert (struck.left.phase, struck.right.phase) == (OFF, OFF), f"bit {bit} of {name}"
        assert getattr(struck, side).fault_bits & MEMORY
        assert (struck.contactor, drives(struck)) == (0, 0)


def test_no_bit_of_the_settings_drives_for_longer_than_it_takes_to_be_found(
    kind, record, record_property
):
    """The board compares a few words each tick with a copy, and says when one differs."""
    rng = random.Random(10)
    count = len(kind.setting_names)
    most = -(-count // WORDS_A_TICK) + ROUND_TICKS
    ended, slowest = 0, 0
    for i in range(SETTINGS_FLIPS):
        replay, where = moved(record, i, rng)
        word, bit = rng.randrange(count), rng.choice(BITS)
        replay.flip(replay.core.settings[word], bit)
        try:
            ticks = ticks_until_off(replay, rng.randrange(count), most)
        except (ArithmeticError, IndexError):
            ended += 1
            continue
        assert ticks <= most, f"bit {bit} of {kind.setting_names[word]}, {where}"
        slowest = max(slowest, ticks)
    record_property(
        f"flips of settings, board with {kind.name}",
        f"{SETTINGS_FLIPS}; the program ended after {ended}; off after {slowest} ticks at most"
        f" of {most} allowed",
    )


def ticks_until_off(replay, at, most):
    """Step on as the board does, comparing settings from word `at` on, until all is off."""
    walk, core = replay.walk, replay.core
    joints = [joint for pair in core.made for joint in (pair.left, pair.right)]
    ticks = 0
    while ticks <= most:
        if walk.board["settings_bad"] and all(joint.phase == OFF for joint in joints):
            assert not any(pair.contactor or drives(pair) for pair in core.made)
            break
        for _ in range(WORDS_A_TICK):
            if get(core.settings[at]) != replay.settings[at]:
                walk.board["settings_bad"] = 1
            at = (at + 1) % len(core.settings)
        walk.read()
        core.tick()
        ticks += 1
        for joint in joints:
            # No pulse at all is what a board says before a joint's first turn.
            assert PULSE_MIN_US <= joint.pulse_us <= PULSE_MAX_US
    return ticks


# Nobody has armed, or nobody asks for anything: then no bit at all may move anything.


class Asker(NamedTuple):
    """How a wearer asks a joint of a kind of board to move, and whose words are flipped."""

    walk: type
    ask: object
    prefix: str


def raise_foot(walk, asks):
    walk.raised = [asks, 0]


def push_stick(walk, asks):
    walk.commands = [UP_COUNT if asks else REST_COUNT, REST_COUNT]


ASKERS = {
    "a foot": Asker(Walk, raise_foot, ""),
    "a wing": Asker(FrameWalk, push_stick, "wings."),
}


def unarmed(walk, ask, arm, asks):
    """The arm input, and what a wearer asks, as they are; nothing of it has been armed."""
    walk.board["arm"] = arm
    ask(walk, asks)
    walk.run(20)


def seen_open(walk, ask):
    """The arm input was open and is closed, and a joint is asked to move: that alone is amiss."""
    walk.run(20)
    unarmed(walk, ask, 1, 1)


def faulty(walk, ask):
    """All is as it should be but for a fault that was."""
    walk.run(20)
    walk.board["stop"] = 1
    walk.run(2)
    walk.board["stop"] = 0
    unarmed(walk, ask, 1, 1)


SCENES = {
    "the arm input is open": lambda walk, ask: unarmed(walk, ask, 0, 0),
    "the arm input is open, asked to move": lambda walk, ask: unarmed(walk, ask, 0, 1),
    "it has been closed all the time": lambda walk, ask: unarmed(walk, ask, 1, 0),
    "it has been closed all the time, asked to move": lambda walk, ask: unarmed(walk, ask, 1, 1),
    "asked to move while a person arms": seen_open,
    "a fault is latched, asked to move": faulty,
    "armed, and not asked to move": lambda walk, ask: walk.arm(),
}


@pytest.mark.parametrize("asker", ASKERS.values(), ids=ASKERS.keys())
@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES.keys())
def test_no_bit_at_all_drives_a_joint_that_nobody_has_asked_to_move(scene, asker):
    # The shortest time to hold there is: an error that arms shows as soon as possible.
    walk = asker.walk(seed=11, arm_ticks=16)
    scene(walk, asker.ask)
    replay = Replay(walk)
    moment = replay.moment()
    words = [i for i, n in enumerate(walk.kind.state_names) if n.startswith(asker.prefix)]
    for word, bit in product(words, BITS):
        replay.set_down(moment)
        walk.read()
        replay.flip(replay.core.state[word], bit)
        name = f"bit {bit} of {walk.kind.state_names[word]}"
        assert replay.longest(drives) <= MOST_WRONG, name
