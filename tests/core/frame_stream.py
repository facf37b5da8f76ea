"""What the proofs feed the core of a board with legs and wings, as `stream.py` does for legs."""

from dataclasses import replace
from itertools import cycle, product

import numpy as np
import troubles
from frame_walk import REST_COUNT, UP_COUNT, WINGS_EVERY, FrameWalk
from hocklift.wing_drilling import table_cases
from kinds import FRAME, SIDES, WING_INPUTS
from legcore.phases import HELD, LIFTING, STANDING, STOOPING
from legcore.wing_phases import FOLLOWING
from legsim.wing.drill import WingDrill
from legsim.wing.rig import WingRig
from legsim.wing.troubles import AT_REST, LET_DOWN, RISING
from stream import Stream, quiet, row_of, stream_of, walk_on
from walk import DEMO
from wing_troubles import ALL, WING_LASTING, WING_TROUBLES, pushes_in_vain

LASTING_CASES = [
    (trouble, phase, side)
    for trouble, phases in WING_LASTING
    for phase in phases
    for side in range(len(SIDES))
]
SIDE_BY_SIDE = ((0, 1, 1, 0), (1, 0, 0, 1))
# A small winding that is hot as soon as its motor has pushed for a moment, and cools as fast; a
# wing that is given little time to come down; and a battery that is soon believed to be low.
TOUCHY = {
    "hot_mK": 1500,
    "heat_warm_q8": 60000,
    "heat_cross_q12": 85000,
    "heat_case_q8": 0,
    "heat_cool_q12": 85000,
    "down_ticks": 60,
    "battery_ticks": 40,
    "stall_ticks": 2000,
}


def recorded_streams() -> list[Stream]:
    return [
        wings_in_trouble_beside_legs(),
        legs_in_trouble_beside_wings(),
        touchy_wings(),
        shows_of_simulated_wings(),
        *(lasting_stream(*case) for case in LASTING_CASES),
    ]


def wings_in_trouble_beside_legs() -> Stream:
    """Each trouble of a wing in each of its phases, beside legs that stand, step and stoop."""
    walk = FrameWalk(seed=50)
    walk.recover()
    legs = cycle((STANDING, STOOPING, HELD, LIFTING, STOOPING))
    for i, (trouble, phases) in enumerate(WING_TROUBLES):
        # Either wing's fault acts on both; what strikes everywhere strikes each in some phases.
        both = product(phases, (0, 1))
        if len(phases) == len(ALL):
            both = zip(phases, SIDE_BY_SIDE[i % 2], strict=True)
        for phase, side in both:
            walk.come_to(0, next(legs))
            walk.reach_wing(side, phase)
            trouble(walk, side)
            walk.run(walk.rng.randrange(20, 120))
            walk.recover()
    return stream_of(walk)


# A leg's troubles that let it down, that cut it, and whatever concerns a stoop.
BESIDE_WINGS = (
    *(troubles.disarmed, troubles.disarmed_and_armed, troubles.stop_pressed, troubles.hung),
    *(troubles.pot_open, troubles.jammed, troubles.snapped, troubles.weight, troubles.stick_open),
    *(troubles.stooped_and_risen, troubles.stepping_while_stooped, troubles.off_the_ground),
    troubles.jammed_while_it_rises,
)


def legs_in_trouble_beside_wings() -> Stream:
    """Troubles of a leg, beside a wing that follows and one that rests; and walking."""
    walk = FrameWalk(seed=51)
    walk.recover()
    for i, trouble in enumerate(BESIDE_WINGS):
        phases = dict(troubles.TROUBLES)[trouble]
        walk.come_to_wing(i % 2, FOLLOWING)
        side = i // 2 % 2
        walk.reach(side, phases[-1 - i % len(phases)])
        trouble(walk, side)
        walk.run(walk.rng.randrange(20, 120))
        walk.recover()
    walk.commands = [UP_COUNT, REST_COUNT]
    walk_on(walk)
    return stream_of(walk)


def touchy_wings() -> Stream:
    """What ordinary wings come to only after a long time."""
    walk = FrameWalk(seed=52, wings=TOUCHY)
    walk.recover()
    for trouble, side in product((pushes_in_vain, troubles.battery_low), (0, 1)):
        walk.reach_wing(side, FOLLOWING)
        trouble(walk, side)
        walk.run(20)
        walk.recover()
    return stream_of(walk)


def lasting_stream(trouble, phase, side) -> Stream:
    """From reset to a trouble that only a reset takes away, and an attempt to arm again."""
    walk = FrameWalk(seed=53)
    walk.recover()
    walk.reach_wing(side, phase)
    trouble(walk, side)
    walk.run(100)
    walk.commands = [REST_COUNT, REST_COUNT]
    walk.board["arm"] = 0
    walk.run(10)
    walk.board["arm"] = 1
    walk.run(DEMO["arm_ticks"] + 10)
    return stream_of(walk)


# One trouble of the simulated wings' drill for each part of the code that judges.
STRUCK = {
    *((name, RISING) for name in ("pot open", "pot jumping", "command open", "motor reversed")),
    *((name, RISING) for name in ("upper rope snaps", "drum jams", "controller full up")),
    ("controller full down", AT_REST),
    ("gust from below", LET_DOWN),
}
# So many ticks of a wing are long enough to rise, be struck, and be brought to hang.
SHOWN = 1000


def shows_of_simulated_wings() -> Stream:
    """What wings of the simulator see, legs standing beside them."""
    rig = WingRig()
    bench = WingDrill(replace(rig, control=replace(rig.control, period_s=0.012)))
    rows = []
    for case in table_cases(5):
        strike = case.strikes[0]
        if strike.wing or (strike.trouble.name, strike.moment) not in STRUCK:
            continue
        trace = bench.show(case).run()[:SHOWN]
        # The wings leap back to hanging, which cuts; then the person opens the arm input anew.
        trace = np.concatenate([np.repeat(trace[:1], 20), trace])
        trace["arm"][:20] = 1
        for shown in trace:
            row = quiet(FRAME) | {"battery_mV": int(shown["bus_V"] * 1000)}
            row["arm"] = int(shown["arm"])
            for side in SIDES:
                for name in WING_INPUTS:
                    row[f"wings.{side}.{name}"] = shown[side][name.replace(".", "_")]
            rows += [row_of(row)] * WINGS_EVERY
    settings, _ = stream_of(FrameWalk(seed=54))
    return settings, np.array(rows, dtype=np.int32)
