"""What a tick costs, counted by a machine that meters its work: the same in every run.

On the smallest board time is what runs out. One metered instruction of the 32-bit build
is close to one cycle of bytecode on a Cortex-M0+, which does 125 million a second; half of
a 4 ms period is therefore 250 000 of them. Native code takes fewer.
"""

import numpy as np
from fields import STATE_NAMES
from legcore.phases import PHASES

MOST = 125_000_000 * 0.004 / 2
AIM = 120_000


def test_no_tick_takes_more_than_half_the_period_of_the_slowest_board(
    on_32_bit, reference, record_property
):
    marks = np.array(on_32_bit.marks).reshape(-1, 2)
    work = marks[:, 1] - marks[:, 0]
    # The runner first marks nothing at all a few times; what that takes is not the tick's.
    nothing, ticks = work[: -len(reference)], work[-len(reference) :]
    assert len(set(nothing.tolist())) == 1
    ticks = ticks - nothing[0]

    dearest = int(ticks.argmax())
    phases = [
        PHASES[reference[dearest, STATE_NAMES.index(f"{leg}.phase")]][0]
        for leg in ("left", "right")
    ]
    record_property(
        "metered instructions of a tick",
        f"median {np.median(ticks):.0f}, most {ticks.max()} (tick {dearest}, legs "
        f"{' and '.join(phases)}), aim {AIM}, ceiling {MOST:.0f}",
    )
    assert ticks.max() <= MOST
