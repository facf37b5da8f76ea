"""Step the core again over inputs that were recorded, from a state that was recorded."""

from functools import cache
from typing import Any

import numpy as np
from legwire.messages import FED
from numpy.typing import NDArray

from legsim import core
from legsim.compiled import native

_step = core.compiled()["step"].step

INPUTS = tuple(row[0] for row in FED)
_LEG_OUTPUTS = (
    "phase",
    "fault_bits",
    "fold_cdeg",
    "setpoint_cdeg_q6",
    "drive_permille",
    "pulse_us",
)
# What a tick on the wire tells of what the core made of its inputs.
OUTPUTS = (
    "fault_bits",
    "arm_blocks",
    "contactor",
    *(f"{leg}.{name}" for leg in ("left", "right") for name in _LEG_OUTPUTS),
)


@cache
def _places(names: tuple[str, ...]) -> NDArray[np.int64]:
    return np.array([core.word_of(name) for name in names], np.int64)


_INPUT_PLACES = _places(INPUTS)


@native
def _run(
    core_rig: Any, words: Any, inputs: Any, input_places: Any, outputs: Any, output_places: Any
) -> None:
    """Step once for each row of inputs; `words` is the memory of `core_rig`."""
    for i in range(len(inputs)):
        for k in range(len(input_places)):
            words[input_places[k]] = inputs[i, k]
        _step(core_rig)
        for k in range(len(output_places)):
            outputs[i, k] = words[output_places[k]]


def restep(
    words: NDArray[np.int32], inputs: NDArray[np.int32], names: tuple[str, ...] = OUTPUTS
) -> NDArray[np.int32]:
    """Step the core from the memory `words`, which changes, a tick for each row of INPUTS.

    Returns the integers of these names after each of them.
    """
    rig = words.view(core.dtype("Rig")).view(np.recarray)
    outputs = np.zeros((len(inputs), len(names)), np.int32)
    _run(rig[0], words, inputs, _INPUT_PLACES, outputs, _places(names))
    return outputs
