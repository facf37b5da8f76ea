"""A whole show of a simulated rig with wings, from start to trace."""

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from legsim import core
from legsim.run import NO_TROUBLES, Run
from legsim.wearer import ARM_S
from legsim.wing.loop import WINGS_TRACE, run_wings
from legsim.wing.plant import start_wings
from legsim.wing.records import wing_rig_record
from legsim.wing.rig import WingRig
from legsim.wing.settings import core_wings


@lru_cache(maxsize=4)
def _start_core(rig: WingRig) -> np.recarray[Any, Any]:
    """The core before its first tick; kept, since many builds of a rig run with its settings."""
    plain = core_wings(rig)
    # Neutral before the first tick, as the board's own start does it.
    plain.left.pulse_us = plain.right.pulse_us = plain.settings.pulse_neutral_us
    return core.to_record(plain, "Wings")


class Show(Run):
    """One run of one rig with wings: same rig, script and seed, same trajectory, to the bit."""

    tick_loop = staticmethod(run_wings)

    def __init__(
        self,
        rig: WingRig,
        lines: NDArray[np.void],
        seed: int,
        *,
        believed: WingRig | None = None,
        troubles: NDArray[np.void] = NO_TROUBLES,
    ) -> None:
        """`believed` is the rig that the settings are made from, where it is not the true one."""
        period_s = rig.control.period_s
        super().__init__(
            _start_core(believed or rig).copy(),
            core.dtype("WingSettings").itemsize // 4,
            start_wings(rig, seed),
            wing_rig_record(rig),
            lines,
            (np.arange(len(lines)) * period_s >= ARM_S).astype(np.int32),
            troubles,
            np.zeros(len(lines), WINGS_TRACE),
        )
