"""What a tick costs, counted by a machine that meters its work: the same in every run.

On the smallest board time is what runs out. One metered instruction of the 32-bit build
is close to one cycle of bytecode on a Cortex-M0+, which does 125 million a second; half of
a 4 ms period is therefore 250 000 of them. Native code takes fewer.
"""

import numpy as np
from kinds import FRAME
from legcore.phases import PHASES
from legcore.wing_phases import WING_PHASES

MOST = 125_000_000 * 0.004 / 2
AIM = 120_000
# Whose tick it was, by the number of the slot that the wings count.
SLOTS = ("legs", "legs", "wings")


def said(kind, state, whose):
    """The phases in which a tick left those that it was of."""
    prefix, phases = ("wings.", WING_PHASES) if whose == "wings" else ("", PHASES)
    words = [kind.state_names.index(f"{prefix}{side}.phase") for side in ("left", "right")]
    return " and ".join(phases[state[word]][0] for word in words)


def test_no_tick_takes_more_than_half_the_period_of_the_slowest_board(
    kind, on_32_bit, reference, record_property
):
    marks = np.array(on_32_bit.marks).reshape(-1, 2)
    work = marks[:, 1] - marks[:, 0]
    # The runner first marks nothing at all a few times; what that takes is not the tick's.
    nothing, ticks = work[: -len(reference)], work[-len(reference) :]
    assert len(set(nothing.tolist())) == 1
    ticks = ticks - nothing[0]

    slots = np.zeros(len(ticks), int)
    if kind is FRAME:
        slots = reference[:, kind.state_names.index("wings.slot")]
    for whose in sorted({SLOTS[slot] for slot in slots}):
        places = np.flatnonzero(np.array(SLOTS)[slots] == whose)
        dearest = places[ticks[places].argmax()]
        record_property(
            f"metered instructions of a tick of the {whose}, board with {kind.name}",
            f"median {np.median(ticks[places]):.0f}, most {ticks[dearest]} (tick {dearest},"
            f" {said(kind, reference[dearest], whose)}), aim {AIM}, ceiling {MOST:.0f}",
        )
    assert ticks.max() <= MOST
