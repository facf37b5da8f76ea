"""What the proofs feed the core: long recorded walks with everything going wrong in them.

`recorded_streams` are closed loops of the core with crude legs, so the walks are such
that the core itself made; disturbances are laid over them, by phase, so that each
phase meets each trouble. `wild_streams` are short and have no sense at all: settings
and readings from anywhere in their ranges, for the corners that no walk reaches.
"""

import random

import numpy as np
from fields import get
from kinds import LEGS, SIDES
from legcore.phases import HELD, STANDING
from legcore.stages import STAND
from troubles import LASTING, TROUBLES, disarmed, jammed
from walk import BOARD_INPUTS, DEMO, Walk

LEAST_TICKS = 100_000
INPUTS = LEGS.inputs

# Settings; and for each tick the inputs in the order of the kind of board, and what an error in
# the core's memory flips: the number of a word of its state, counted from 1, and which bits.
Stream = tuple[list[int], np.ndarray]

LASTING_CASES = [
    (trouble, phase, side)
    for trouble, phases in LASTING
    for phase in phases
    for side in range(len(SIDES))
]
# The relay experiment, on a stand, where sole contacts say nothing.
SWINGING = {"stage": STAND, "relay_permille": 150, "relay_cdeg": 20}
# As fast as settings allow: setpoints that no leg follows, and nobody minds.
HASTY = {
    "visit_hz": 500,
    "lift_step_q6": 8192,
    "lower_step_q6": 8192,
    "accel_step_q6": 256,
    "lag_cdeg": 4000,
    "adrift_cdeg": 9000,
    "push_cdeg": 9000,
    "apart_cdeg": 4000,
    "rate_most_cdps": 20000,
    "stall_ticks": 2000,
}


def recorded_streams() -> list[Stream]:
    """At least 100 000 ticks, a hasty one, a swinging one, one for each trouble that lasts."""
    return [
        long_stream(),
        hasty_stream(),
        swinging_stream(),
        *(lasting_stream(*case) for case in LASTING_CASES),
    ]


def long_stream() -> Stream:
    """Everything that a person can recover from, and walking in between."""
    walk = Walk(seed=20)
    walk.recover()
    for trouble, phases in TROUBLES:
        for phase in phases:
            # Either leg's fault acts on both, so the trouble also strikes a leg that stands
            # while the other one moves.
            for raised, struck in ((0, 0), (1, 1), (0, 1))[: 3 if phase > STANDING else 2]:
                walk.reach(raised, phase)
                trouble(walk, struck)
                walk.run(walk.rng.randrange(20, 120))
                walk.recover()
    walk_on(walk)
    while len(walk.recorded) < LEAST_TICKS:
        walk_on(walk)
    return stream_of(walk)


def walk_on(walk):
    """Some steps with nothing wrong."""
    for side in (0, 1) * 5:
        walk.foot(side, 1)
        walk.run(walk.rng.randrange(130, 220))
        walk.foot(side, 0)
        walk.run(walk.rng.randrange(120, 200))


def hasty_stream() -> Stream:
    """A few steps with nothing wrong but the haste."""
    walk = Walk(seed=23, **HASTY)
    walk.arm()
    walk_on(walk)
    return stream_of(walk)


def swinging_stream() -> Stream:
    """A relay instead of PID, as on a stand: a few swings, disarmed or jammed in them."""
    # A jam is the relay's own to find.
    walk = Walk(seed=24, **SWINGING, stall_ticks=300)
    walk.arm()
    walk_on(walk)
    for trouble in (disarmed, jammed):
        for side in (0, 1):
            walk.reach(side, HELD)
            walk.run(120)
            # A jam on the way up, or the relay would go on pushing down.
            at_most = 200
            while walk.leg(side).wanted_permille <= 0 and at_most:
                walk.run(1)
                at_most -= 1
            trouble(walk, side)
            walk.recover()
    return stream_of(walk)


def lasting_stream(trouble, phase, side) -> Stream:
    """From reset to a trouble that only a reset takes away, and an attempt to arm again."""
    walk = Walk(seed=22)
    walk.arm()
    walk.reach(side, phase)
    trouble(walk, side)
    walk.run(40)
    walk.board["arm"] = 0
    walk.run(10)
    walk.board["arm"] = 1
    walk.run(DEMO["arm_ticks"] + 10)
    return stream_of(walk)


def stream_of(walk) -> Stream:
    settings = [get(slot) for slot in walk.core.settings]
    return settings, np.array(walk.recorded, dtype=np.int32)


# Settings with which hardly anything is a fault or in the way of arming, whatever is read:
# otherwise no wild stream would ever move a leg.
LENIENT = {
    "low_count": 0,
    "high_count": 4095,
    "debounce_ticks": 1,
    "chatter_most": 1000,
    "pot_ticks": 2000,
    "jump_count": 4095,
    "frozen_cdeg": 9000,
    "skew_most_cdeg": 18000,
    "skew_ticks": 2000,
    "hanging_cdeg": 9000,
    "rest_fold_cdeg": 18000,
    "sunk_ticks": 2000,
    "stall_ticks": 2000,
    "adrift_ticks": 2000,
    "push_ticks": 2000,
    "apart_ticks": 2000,
    "rate_ticks": 2000,
    "stop_ticks": 2000,
    "hot_mK": 200000,
    "battery_least_mV": 0,
    "supply_least_mV": 0,
    "stick_low_count": 0,
    "stick_high_count": 4095,
    # The stick's middle asks for nothing, or no stoop could begin; beside it for anything.
    "stick_centre_count": 2048,
    "stick_zone_count": 300,
    "tired_mK": 200000,
    "arm_ticks": 16,
    # A wing hangs where its pot reads its middle, and the middle of a command asks for nothing.
    "wings.rest_fold_cdeg": 0,
    "wings.sunk_cdeg": 9000,
    "wings.stick_ticks": 2000,
    "wings.call_cdeg": 9000,
    **{
        f"wings.{side}_command.{name}": value
        for side in SIDES
        for name, value in {
            **{f"count[{i}]": count for i, count in enumerate((0, 1000, 2048, 3000, 4095))},
            "angle_cdeg[2]": 0,
        }.items()
    },
}


def wild_streams(kind, count=150, ticks=220, seed=24) -> list[Stream]:
    """Short streams of settings and inputs from anywhere in their ranges."""
    rng = random.Random(seed)
    return [
        (wild_settings(rng, kind, lenient=i % 2), wild_inputs(rng, kind, ticks))
        for i in range(count)
    ]


def wild_settings(rng, kind, lenient):
    """Settings from anywhere in their ranges, or such as seldom cut anything off."""
    settings = [wild_integer(rng, low, high) for low, high in kind.setting_ranges]
    return make_lenient(settings, kind) if lenient else settings


def make_lenient(settings, kind):
    return [
        LENIENT.get(name, LENIENT.get(name.split(".")[-1], value))
        for name, value in zip(kind.setting_names, settings, strict=True)
    ]


def wild_integer(rng, low, high):
    """Draw often at the ends, where products are largest."""
    return rng.choice((low, high, rng.randint(low, high), rng.randint(low, high)))


NO_FLIP = (0, 0)
# Wings have a third of the ticks, and hold for as many of theirs as legs for theirs.
DISARMED_TICKS, ARMED_TICKS = 6, 72


def quiet(kind):
    """By input: all pots in the middle of their travel, feet down, all well, not armed."""
    well = {name: 2048 if name.endswith("count") else 0 for name in kind.inputs}
    return well | BOARD_INPUTS | {f"{side}.sole": 1 for side in SIDES}


def row_of(inputs):
    """One row of a stream; nothing of the memory is flipped."""
    return (*inputs.values(), *NO_FLIP)


def input_ranges(kind):
    """By input: what its word of the state may be."""
    return {
        name: kind.state_ranges[words[0]]
        for name, words in zip(kind.inputs, kind.input_words, strict=True)
    }


def wild_inputs(rng, kind, ticks):
    """Disarmed and armed with all well; then anything, each for a few ticks."""
    disarmed = quiet(kind)
    armed = disarmed | {"arm": 1}
    spans = input_ranges(kind)
    rows = [disarmed] * DISARMED_TICKS + [armed] * ARMED_TICKS
    while len(rows) < ticks:
        row = dict(armed)
        for name in kind.inputs:
            if name.endswith("count"):
                row[name] = wild_integer(rng, *spans[name])
        for side, switch in zip(SIDES, rng.choice(((0, 0), (1, 0), (0, 1), (1, 1))), strict=True):
            row[f"{side}.switch"], row[f"{side}.sole"] = switch, 1 - switch
        if rng.random() < 0.2:
            # Now and then the board says anything at all.
            name = rng.choice(list(BOARD_INPUTS))
            row[name] = wild_integer(rng, *spans[name])
        rows += [row] * rng.randint(1, 20)
    return np.array([row_of(row) for row in rows[:ticks]], dtype=np.int32)
