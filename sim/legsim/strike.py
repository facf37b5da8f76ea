"""How a trouble strikes a running rig: a value put into its memory when a phase is reached.

The plant's memory and the core's are arrays of numbers, so every trouble is data: which
number, what it becomes, when, for how long. `legsim.troubles` lists them.
"""

from typing import Any

import numpy as np

from legsim.compiled import native

# Phase that every tick is in: for what does not wait for a leg.
ANY_PHASE = -1
NOWHERE = -1

TROUBLE = np.dtype(
    [
        # When: after so many ticks of that leg in that phase, and never before that tick.
        *[(name, np.int64) for name in ("leg", "phase", "wait_ticks", "earliest_tick")],
        ("lasts_ticks", np.int64),  # 0: for good
        # What: one float of the plant's memory, or bits of one word of the core's.
        ("place", np.int64),
        ("value", np.float64),
        ("word", np.int64),
        ("flip", np.int64),
        # What has happened so far.
        *[(name, np.int64) for name in ("tick", "struck_tick", "over")],
    ]
)


@native
def strike_tick(trouble: Any, core_rig: Any, words: Any, floats: Any) -> None:
    """Strike when its time has come, and end when it is over."""
    trouble.tick += 1
    if trouble.struck_tick == 0:
        phase = core_rig.left.phase if trouble.leg == 0 else core_rig.right.phase
        awaited = phase if trouble.phase == ANY_PHASE else trouble.phase
        due = phase == awaited and trouble.tick >= trouble.earliest_tick
        if due and trouble.wait_ticks > 0:
            trouble.wait_ticks -= 1
        elif due:
            trouble.struck_tick = trouble.tick
            if trouble.place != NOWHERE:
                floats[trouble.place] = trouble.value
            if trouble.word != NOWHERE:
                words[trouble.word] ^= np.int32(trouble.flip)
    elif trouble.over == 0 and 0 < trouble.lasts_ticks <= trouble.tick - trouble.struck_tick:
        trouble.over = 1
        if trouble.place != NOWHERE:
            floats[trouble.place] = 0.0
