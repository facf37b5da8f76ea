"""Re-step the control core over a recording: the same to the bit, or what other settings do."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from legsim import core
from legsim.restep import INPUTS, OUTPUTS, restep
from legwire.messages import TICK_FLAGS
from numpy.typing import NDArray

from hocklift.errors import LogError
from hocklift.log import Log, Taken, core_mark, flag

Ticks = NDArray[np.void]
Words = NDArray[np.int32]


class Run(NamedTuple):
    """Rows of a log without a break, from a snapshot on; `checks` are snapshots within."""

    start: int
    end: int
    words: Words
    checks: tuple[Taken, ...]


class Field(NamedTuple):
    """One integer of the core's memory: as recorded, and as re-stepped."""

    name: str
    recorded: int
    restepped: int

    @property
    def same(self) -> bool:
        """Whether both are the same."""
        return self.recorded == self.restepped


@dataclass(frozen=True)
class Difference:
    """Where a re-stepped core and a recorded one first part, after the tick of row `row`.

    `fields` are all outputs of that tick or, where `memory` is true, all of the core's memory.
    """

    row: int
    tick: int
    time_s: float
    memory: bool
    fields: tuple[Field, ...]


@dataclass(frozen=True)
class Replay:
    """What came of re-stepping a log: `compared` ticks and `checked` snapshots.

    `first` is the row of the first tick that follows a snapshot.
    """

    log: Log
    first: int
    compared: int
    checked: int
    differences: tuple[Difference, ...]

    @property
    def left_out(self) -> int:
        """Ticks that follow damage or a start of the board, with no snapshot since."""
        return len(self.log.ticks) - self.first - self.compared


def inputs_of(ticks: Ticks) -> Words:
    """What the core was given in each tick, in the columns of INPUTS."""
    return _columns(ticks, INPUTS)


def outputs_of(ticks: Ticks) -> Words:
    """What the core made of it, in the columns of OUTPUTS."""
    return _columns(ticks, OUTPUTS)


def _columns(ticks: Ticks, names: Sequence[str]) -> Words:
    return np.stack([_column(ticks, name) for name in names], axis=1).astype(np.int32)


def _column(ticks: Ticks, name: str) -> NDArray[np.int64]:
    """One integer of the core's memory in each tick, wherever the wire carries it."""
    leg, _, what = name.partition(".")
    if what in ("switch", "sole"):
        contacts = ticks[f"{leg}_contacts"]
        return np.asarray(contacts >> ("switch", "sole").index(what) & 1, np.int64)
    if name in TICK_FLAGS:
        return flag(ticks, name).astype(np.int64)
    return ticks[name.replace(".", "_")].astype(np.int64)


def runs(log: Log) -> list[Run]:
    """All that can be re-stepped; raises LogError where nothing can."""
    if log.header and log.header["core"] != core_mark():
        raise LogError(
            f"{log.path}: was recorded from firmware {log.header['board']['firmware']}, whose"
            " core keeps other numbers than this hocklift's; use the hocklift of that version"
        )
    fed = np.flatnonzero(np.diff(flag(log.ticks, "fed"))) + 1
    stops = sorted({*log.breaks.tolist(), *fed.tolist(), len(log.ticks)})
    found = []
    for first, stop in pairwise([0, *stops]):
        taken = [each for each in log.snapshots if first <= each.row < stop]
        # A snapshot of the tick before a break says nothing of what came after it.
        taken = [each for each in taken if each.row > first or first == 0]
        if taken:
            found.append(Run(taken[0].row, stop, taken[0].words, tuple(taken[1:])))
    if not found:
        raise LogError(
            f"{log.path}: holds no whole snapshot of the core with ticks after it, so there is no"
            " state to start from; make another recording with `hocklift record`"
        )
    for run in found:
        if len(run.words) != len(core.words_of("Rig")):
            raise LogError(
                f"{log.path}: its core has {len(run.words)} numbers, this hocklift's has"
                f" {len(core.words_of('Rig'))}; use the hocklift that it was recorded with"
            )
    return found


def replay(log: Log) -> Replay:
    """Re-step every run, and find where it first parts from what was recorded, if anywhere."""
    inputs, outputs = inputs_of(log.ticks), outputs_of(log.ticks)
    compared = checked = 0
    differences = []
    found = runs(log)
    for run in found:
        words = run.words.copy()
        at = run.start
        for check in (*run.checks, None):
            end = run.end if check is None else check.row
            made = restep(words, inputs[at:end])
            other = np.flatnonzero((made != outputs[at:end]).any(axis=1))
            if len(other):
                row = int(other[0])
                compared += row + 1
                fields = fields_of(OUTPUTS, outputs[at + row], made[row])
                differences.append(difference_at(log, at + row, fields))
                break
            compared += end - at
            if check is not None:
                checked += 1
                if not np.array_equal(words, check.words):
                    fields = fields_of(core.words_of("Rig"), check.words, words)
                    differences.append(difference_at(log, end - 1, fields, memory=True))
                    break
            at = end
    return Replay(log, found[0].start, compared, checked, tuple(differences))


def fields_of(names: Sequence[str], recorded: Words, restepped: Words) -> tuple[Field, ...]:
    """Both values of each integer."""
    both = zip(names, recorded.tolist(), restepped.tolist(), strict=True)
    return tuple(Field(*row) for row in both)


def difference_at(
    log: Log, row: int, fields: tuple[Field, ...], *, memory: bool = False
) -> Difference:
    """A difference after the tick of a row."""
    return Difference(row, int(log.ticks["tick"][row]), float(log.time_s[row]), memory, fields)
