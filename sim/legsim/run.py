"""A whole walk of a simulated rig, from start to trace."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from legsim import core
from legsim.loop import TRACE, run_ticks
from legsim.plant import start_state
from legsim.records import rig_record
from legsim.rig import Rig
from legsim.settings import core_rig

# The arm input stays open for so long, as a person's hand would leave it.
ARM_S = 0.2


class Walk:
    """One run of one rig: same rig, script and seed, same trajectory, to the bit."""

    def __init__(self, rig: Rig, lines: NDArray[np.void], seed: int) -> None:
        plain = core_rig(rig)
        # Neutral before the first tick, as the board's own start does it.
        plain.left.pulse_us = plain.right.pulse_us = plain.settings.pulse_neutral_us
        self.core = core.to_record(plain)
        self.state = start_state(rig, seed)
        self.rig = rig_record(rig)
        self.lines = lines
        self.arm = (np.arange(len(lines)) * rig.control.period_s >= ARM_S).astype(np.int32)
        self.trace = np.zeros(len(lines), TRACE)

    def ticks(self, chunk: int) -> Iterator[int]:
        """Run to the end, `chunk` ticks at a time; yields how many are done."""
        for start in range(0, len(self.lines), chunk):
            part = slice(start, start + chunk)
            run_ticks(
                self.core[0],
                self.state[0],
                self.rig[0],
                self.lines[part],
                self.arm[part],
                self.trace[part],
            )
            yield min(start + chunk, len(self.lines))

    def run(self) -> NDArray[np.void]:
        """Run to the end at once; returns the trace."""
        for _ in self.ticks(max(1, len(self.lines))):
            pass
        return self.trace
