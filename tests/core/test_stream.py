"""The proofs are worth what their streams visit; here they are shown to visit everything."""

import numpy as np
import rewrites
import stream
from fields import STATE_NAMES
from forms import INPUT_COLUMNS, new_rig, put_inputs
from legcore.model import SETTINGS
from legcore.phases import EVENTS, PHASES, TRANSITIONS
from legsim import core
from legsim.tables import FAULTS, fault_names
from walk import BOARD_INPUTS, DEMO


def run(modules, streams):
    tick = modules["step"].step
    for settings, inputs in streams:
        rig = new_rig(settings, modules)
        for row in inputs.tolist():
            put_inputs(rig, row)
            tick(rig)


def tripped(recorded, reference, holder):
    """Bits of all faults that the recorded streams have set in one place."""
    ticks = sum(len(inputs) for _, inputs in recorded)
    return int(np.bitwise_or.reduce(reference[:ticks, STATE_NAMES.index(holder)]))


def test_the_demo_settings_name_every_plain_setting_of_the_core():
    assert set(DEMO) == {row[0] for row in SETTINGS if len(row) == 4}


def test_the_recorded_streams_are_long_and_come_out_the_same_each_time(recorded):
    assert len(recorded[0][1]) >= stream.LEAST_TICKS
    again = stream.recorded_streams()
    assert len(again) == stream.RECORDED
    for (settings, inputs), (settings_again, inputs_again) in zip(recorded, again, strict=True):
        assert settings == settings_again
        assert np.array_equal(inputs, inputs_again)


def test_the_recorded_streams_take_every_row_of_the_transition_table(recorded):
    modules = core.load(lambda function: function)
    taken = set()
    advance = modules["supervise"].advance

    def note(leg, event):
        taken.add((leg.phase, event))
        advance(leg, event)

    modules["supervise"].advance = note
    run(modules, recorded)
    missed = [(PHASES[row[0]][0], EVENTS[row[1]][0]) for row in TRANSITIONS if row[:2] not in taken]
    assert missed == []
    assert {event for _, event in taken} == set(range(len(EVENTS)))
    assert {phase for phase, _ in taken} == set(range(len(PHASES)))


def test_the_recorded_streams_trip_every_fault_and_those_of_a_leg_on_either(recorded, reference):
    left, right, board = (
        tripped(recorded, reference, holder)
        for holder in ("left.fault_bits", "right.fault_bits", "fault_bits")
    )
    assert fault_names(left ^ right) == ()
    every = sum(fault.bit for fault in FAULTS)
    assert fault_names(every & ~(left | board)) == ()
    # Each row is of a leg or of the board, never of both.
    assert fault_names(left & board) == ()


def test_the_streams_run_every_statement_of_the_core(streams):
    reached = set()
    modules, statements = rewrites.noting(reached)
    run(modules, streams)
    assert sorted(statements - reached) == []


def test_the_wild_streams_draw_every_input_of_the_board(streams):
    for name in BOARD_INPUTS:
        column = stream.INPUTS.index(name)
        drawn = {row for _, inputs in streams[stream.RECORDED :] for row in inputs[:, column]}
        assert len(drawn) > 1, name


def test_the_trace_holds_the_inputs_that_the_stream_gave(streams, reference):
    given = np.concatenate([inputs for _, inputs in streams])[:, :-2]
    kept = [i for i, name in enumerate(stream.INPUTS) if name not in TAKEN]
    assert np.array_equal(reference[:, INPUT_COLUMNS][:, kept], given[:, kept])


# The core takes these in, and clears them.
TAKEN = ("was_hung", "host_heard")
