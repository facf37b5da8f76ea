"""Feed a recording to a board: its outputs stay neutral, and it tells what its core makes of it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import numpy as np
from cobs import cobs
from legsim.restep import OUTPUTS

from hocklift.device import REPLY_S, Device, RefusedError, SilentError
from hocklift.errors import BoardError, LogError, PortError
from hocklift.log import SETTINGS_COUNT, TICK_DTYPE, Log
from hocklift.replaying import (
    Difference,
    Words,
    difference_at,
    fields_of,
    inputs_of,
    outputs_of,
    runs,
)
from hocklift.wire import Frame

# So many lines may be on their way: one that is acted on, one behind it.
_AHEAD = 2
# Compared, and shown, a part at a time.
_PART_ROWS = 250


def feed(
    device: Device, log: Log, progress: Callable[[int], None] = lambda _: None
) -> tuple[int, Difference | None]:
    """Feed every run of a log; how many ticks were compared, and where the board first parts.

    `progress` is told of each so many ticks. The board's settings are as before afterwards.
    Raises BoardError where the board will not, or answers something else.
    """
    fed = 0
    inputs, outputs = inputs_of(log.ticks), outputs_of(log.ticks)
    with _feeding(device, log) as put_state:
        for run in runs(log):
            put_state(run.words)
            for start in range(run.start, run.end, _PART_ROWS):
                end = min(start + _PART_ROWS, run.end)
                made = _answers(device, inputs[start:end])
                other = np.flatnonzero((made != outputs[start:end]).any(axis=1))
                if len(other):
                    row = start + int(other[0])
                    fields = fields_of(OUTPUTS, outputs[row], made[other[0]])
                    return fed + int(other[0]) + 1, difference_at(log, row, fields)
                fed += end - start
                progress(end - start)
    return fed, None


@contextmanager
def _feeding(device: Device, log: Log) -> Iterator[Callable[[Words], None]]:
    """Begin and end; yields what puts a state into the board's core, settings included."""
    name = device.transport.name
    device.send("every", 0)
    try:
        device.send("feed", 1)
    except RefusedError as error:
        raise BoardError(
            f"{name}: the board will not be fed: {error.why}; see that both feet are down, open"
            " the arm input, then replay again"
        ) from error
    try:
        before = device.snapshot().words
        if len(before) != len(runs(log)[0].words):
            raise BoardError(
                f"{name}: the board's core has {len(before)} numbers, the recording's has"
                f" {len(runs(log)[0].words)}; put the firmware onto it that the recording is from"
            )

        def put_state(words: Words) -> None:
            _put(device, words, device.snapshot().words)

        try:
            yield put_state
        finally:
            _put(device, before[:SETTINGS_COUNT], device.snapshot().words)
    except PortError as error:
        raise BoardError(
            f"{error}. Then restart the board: until then it has the recording's settings, and"
            " waits for inputs"
        ) from error
    finally:
        # On a port that has ended, this can only fail again.
        with suppress(PortError):
            device.send("feed", 0)


def _put(device: Device, words: Words, there: Words) -> None:
    """Make the board's memory as `words`, where it differs."""
    for word in np.flatnonzero(words != there[: len(words)]).tolist():
        device.send("set", word, int(words[word]))


def _answers(device: Device, inputs: Words) -> Words:
    """Feed some ticks; what the board's core made of each."""
    ticks = np.zeros(len(inputs), TICK_DTYPE)
    sent = 0
    for got in range(len(inputs)):
        while sent < min(got + _AHEAD, len(inputs)):
            _give(device, inputs[sent])
            sent += 1
        payload = cobs.decode(_next_tick(device).raw[:-1])[:-2]
        ticks[got] = np.frombuffer(payload, TICK_DTYPE)[0]
    if not np.array_equal(inputs_of(ticks), inputs):
        raise SilentError(
            f"{device.transport.name}: the board stepped on other inputs than it was given: a line"
            " was lost on the way; try another cable or port, then replay again"
        )
    return outputs_of(ticks)


def _give(device: Device, row: Words) -> None:
    try:
        device.send("in", *row.tolist())
    except ValueError as error:
        raise LogError(
            f"an input in the recording is none that a board can have: {error}"
        ) from error


def _next_tick(device: Device) -> Frame:
    for frame in device.awaited(REPLY_S):
        if frame.message == "tick":
            return frame
        if frame.message == "reply" and not frame.values["done"]:
            raise BoardError(
                f"{device.transport.name}: the board refuses an input: {frame.text()};"
                " replay again, and if it comes again try another cable"
            )
    raise SilentError(
        f"{device.transport.name}: the board does not answer a tick that it was fed; look at the"
        " cable, then replay again"
    )
