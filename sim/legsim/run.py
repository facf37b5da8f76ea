"""A whole walk of a simulated rig, from start to trace."""

from collections.abc import Callable, Iterator
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

NO_TROUBLES = np.zeros(0, TROUBLE)


@lru_cache(maxsize=4)
def _start_core(rig: Rig) -> np.recarray[Any, Any]:
    """The core before its first tick; kept, since many builds of a rig walk with its settings."""
    plain = core_rig(rig)
    # Neutral before the first tick, as the board's own start does it.
    plain.left.pulse_us = plain.right.pulse_us = plain.settings.pulse_neutral_us
    return core.to_record(plain)


class Run:
    """A closed loop of core and plant from start to end; `tick_loop` runs the ticks of its kind."""

    tick_loop: Callable[..., None]

    def __init__(
        self,
        start_core: np.recarray[Any, Any],
        settings_words: int,
        state: NDArray[np.void],
        rig: NDArray[np.void],
        lines: NDArray[np.void],
        arm: NDArray[np.int32],
        troubles: NDArray[np.void],
        trace: NDArray[np.void],
    ) -> None:
        """`start_core` is the core before its first tick, its settings first; it changes."""
        self.core = start_core
        self.words = self.core.view(np.int32)
        self.fresh = self.words.copy()
        self.sealed = self.words[:settings_words].copy()
        self.state = state
        self.rig = rig
        self.lines = lines
        self.arm = arm
        self.troubles = troubles
        self.trace = trace
        self.crashed = False

    def ticks(self, chunk: int) -> Iterator[int]:
        """Run to the end, `chunk` ticks at a time; yields how many are done."""
        for start in range(0, len(self.lines), chunk):
            self.run_part(start, min(start + chunk, len(self.lines)))
            yield min(start + chunk, len(self.lines))

    def run_part(self, start: int, end: int) -> None:
        """Run from one tick to before another."""
        board = self.state["board"]
        board["tick"] = start
        while start < end:
            part = slice(start, end)
            try:
                self.tick_loop(
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
        self.run_part(0, len(self.lines))
        return self.trace


class Walk(Run):
    """One run of one rig: same rig, script and seed, same trajectory, to the bit."""

    tick_loop = staticmethod(run_ticks)

    def __init__(
        self,
        rig: Rig,
        lines: NDArray[np.void],
        seed: int,
        *,
        believed: Rig | None = None,
        troubles: NDArray[np.void] = NO_TROUBLES,
    ) -> None:
        """`believed` is the rig that the settings are made from, where it is not the true one."""
        super().__init__(
            _start_core(believed or rig).copy(),
            core.dtype("Settings").itemsize // 4,
            start_state(rig, seed),
            rig_record(rig),
            lines,
            (np.arange(len(lines)) * rig.control.period_s >= ARM_S).astype(np.int32),
            troubles,
            np.zeros(len(lines), TRACE),
        )
