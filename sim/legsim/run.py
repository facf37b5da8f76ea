"""A whole walk of a simulated rig, from start to trace."""

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim import core
from legsim.loop import TRACE, run_ticks
from legsim.plant import start_state
from legsim.records import rig_record
from legsim.rig import Rig
from legsim.settings import core_rig
from legsim.strike import TROUBLE
from legsim.wearer import ARM_S

_NO_TROUBLES = np.zeros(0, TROUBLE)


@lru_cache(maxsize=4)
def _start_core(rig: Rig) -> np.recarray[Any, Any]:
    """The core before its first tick; kept, since many builds of a rig walk with its settings."""
    plain = core_rig(rig)
    # Neutral before the first tick, as the board's own start does it.
    plain.left.pulse_us = plain.right.pulse_us = plain.settings.pulse_neutral_us
    return core.to_record(plain)


class Walk:
    """One run of one rig: same rig, script and seed, same trajectory, to the bit."""

    def __init__(
        self,
        rig: Rig,
        lines: NDArray[np.void],
        seed: int,
        *,
        believed: Rig | None = None,
        troubles: NDArray[np.void] = _NO_TROUBLES,
    ) -> None:
        """`believed` is the rig that the settings are made from, where it is not the true one."""
        self.core = _start_core(believed or rig).copy()
        self.words = self.core.view(np.int32)
        self.fresh = self.words.copy()
        self.sealed = self.words[: core.dtype("Settings").itemsize // 4].copy()
        self.state = start_state(rig, seed)
        self.rig = rig_record(rig)
        self.lines = lines
        self.arm = (np.arange(len(lines)) * rig.control.period_s >= ARM_S).astype(np.int32)
        self.troubles = troubles
        self.trace = np.zeros(len(lines), TRACE)
        self.crashed = False

    def ticks(self, chunk: int) -> Iterator[int]:
        """Run to the end, `chunk` ticks at a time; yields how many are done."""
        for start in range(0, len(self.lines), chunk):
            self._run(start, min(start + chunk, len(self.lines)))
            yield min(start + chunk, len(self.lines))

    def _run(self, start: int, end: int) -> None:
        board = self.state["board"]
        board["tick"] = start
        while start < end:
            part = slice(start, end)
            try:
                run_ticks(
                    self.core[0],
                    self.words,
                    self.fresh,
                    self.sealed,
                    self.state[0],
                    self.state.view(np.float64),
                    self.rig[0],
                    self.lines[part],
                    self.arm[part],
                    self.troubles,
                    self.trace[part],
                )
            except (ZeroDivisionError, IndexError):
                # A memory error made the program fail. On the board its last act, before it
                # ends, is to make the outputs neutral; nothing runs again before a reset.
                if board["crashed"][0]:
                    raise
                board["crashed"] = 1.0
                self.crashed = True
            start = int(board["tick"][0])

    def run(self) -> NDArray[np.void]:
        """Run to the end at once; returns the trace."""
        self._run(0, len(self.lines))
        return self.trace
