"""The proofs are worth what their streams visit; here they are shown to visit everything."""

from typing import NamedTuple

import numpy as np
import pytest
import rewrites
from conftest import STREAMS
from kinds import FRAME, KINDS, LEGS, TAKEN, Core
from legcore.model import SETTINGS
from legcore.phases import EVENTS, PHASES, TRANSITIONS
from legcore.wing_phases import WING_EVENTS, WING_PHASES, WING_TRANSITIONS
from legsim import core
from legsim.tables import FAULTS, fault_names
from legsim.wing.tables import WING_FAULTS
from walk import DEMO

LEAST_TICKS = 100_000


class Joints(NamedTuple):
    """What moves by phases on a kind of board, and its tables."""

    kind: object
    prefix: str
    module: str
    advance: str
    phases: tuple
    events: tuple
    transitions: tuple
    faults: tuple


LEG_JOINTS = Joints(LEGS, "", "supervise", "advance", PHASES, EVENTS, TRANSITIONS, FAULTS)
WING_JOINTS = Joints(
    *(FRAME, "wings.", "wing_supervise", "advance_wing"),
    *(WING_PHASES, WING_EVENTS, WING_TRANSITIONS, WING_FAULTS),
)
each_joint = pytest.mark.parametrize("joints", [LEG_JOINTS, WING_JOINTS], ids=["legs", "wings"])


def run(kind, modules, streams):
    for settings, inputs in streams:
        board = Core(kind, settings, modules)
        for row in inputs.tolist():
            board.put_inputs(row)
            board.tick()


def test_the_demo_settings_name_every_plain_setting_of_the_core():
    assert set(DEMO) == {row[0] for row in SETTINGS if len(row) == 4}


def test_the_recorded_streams_are_long_and_come_out_the_same_each_time(kind, recorded):
    assert sum(len(inputs) for _, inputs in recorded) >= LEAST_TICKS
    again = STREAMS[kind].recorded_streams()
    for (settings, inputs), (settings_again, inputs_again) in zip(recorded, again, strict=True):
        assert settings == settings_again
        assert np.array_equal(inputs, inputs_again)


@each_joint
def test_the_recorded_streams_take_every_row_of_the_transition_table(joints, recorded_of):
    modules = core.load(lambda function: function)
    taken = set()
    advance = getattr(modules[joints.module], joints.advance)

    def note(joint, event):
        taken.add((joint.phase, event))
        advance(joint, event)

    setattr(modules[joints.module], joints.advance, note)
    run(joints.kind, modules, recorded_of(joints.kind))
    phases, events = joints.phases, joints.events
    rows = [row for row in joints.transitions if row[:2] not in taken]
    assert [(phases[row[0]][0], events[row[1]][0]) for row in rows] == []
    assert {event for _, event in taken} == set(range(len(events)))
    assert {phase for phase, _ in taken} == set(range(len(phases)))


@each_joint
def test_the_recorded_streams_trip_every_fault_and_those_of_a_joint_on_either(
    joints, recorded_of, reference_of
):
    kind = joints.kind
    ticks = sum(len(inputs) for _, inputs in recorded_of(kind))

    def tripped(holder):
        word = kind.state_names.index(f"{joints.prefix}{holder}fault_bits")
        return int(np.bitwise_or.reduce(reference_of(kind)[:ticks, word]))

    left, right, board = (tripped(holder) for holder in ("left.", "right.", ""))
    assert fault_names(left ^ right) == ()
    every = sum(fault.bit for fault in joints.faults)
    assert fault_names(every & ~(left | board)) == ()
    # Each row is of a joint or of the board, never of both.
    assert fault_names(left & board) == ()


def test_the_streams_run_every_statement_of_the_core(streams_of):
    reached = set()
    modules, statements = rewrites.noting(reached)
    for kind in KINDS:
        run(kind, modules, streams_of(kind))
    assert sorted(statements - reached) == []


def test_wings_move_beside_legs_in_each_of_their_phases(reference_of):
    """Whatever either does to the other is among what the proofs have seen."""
    trace = reference_of(FRAME)

    def phases(prefix):
        words = [FRAME.state_names.index(f"{prefix}{side}.phase") for side in ("left", "right")]
        return trace[:, words].max(axis=1)

    seen = set(zip(phases("").tolist(), phases("wings.").tolist(), strict=True))
    together = {(leg, wing) for leg in range(len(PHASES)) for wing in range(len(WING_PHASES))}
    assert together - seen == set()


def test_the_wild_streams_draw_every_input(kind, streams, recorded):
    for column, name in enumerate(kind.inputs):
        drawn = {value for _, inputs in streams[len(recorded) :] for value in inputs[:, column]}
        assert len(drawn) > 1, name


def test_the_trace_holds_the_inputs_that_the_stream_gave(kind, streams, reference):
    given = np.concatenate([inputs for _, inputs in streams])
    for column, (name, words) in enumerate(zip(kind.inputs, kind.input_words, strict=True)):
        for word in words:
            # An error of the memory may change an input, too.
            kept = given[:, -2] != word + 1
            same = np.array_equal(reference[kept, word], given[kept, column])
            assert same or name in TAKEN
