"""The proofs are worth what their stream visits; here it is shown to visit everything."""

import numpy as np
import rewrites
import stream
from forms import INPUT_COLUMNS, STATE_NAMES, new_rig, put_inputs
from legcore.faults import FAULTS
from legcore.phases import EVENTS, PHASES, TRANSITIONS
from legsim import core


def run(modules, streams):
    tick = modules["step"].step
    for settings, inputs in streams:
        rig = new_rig(settings, modules)
        for row in inputs.tolist():
            put_inputs(rig, row)
            tick(rig)


def test_the_recorded_stream_is_long_and_comes_out_the_same_each_time(streams):
    settings, inputs = streams[0]
    again_settings, again_inputs = stream.recorded_stream()
    assert len(inputs) >= stream.LEAST_TICKS
    assert settings == again_settings
    assert np.array_equal(inputs, again_inputs)


def test_the_recorded_stream_takes_every_row_of_the_transition_table(streams):
    modules = core.load(lambda function: function)
    taken = set()
    advance = modules["supervise"].advance

    def note(leg, event):
        taken.add((leg.phase, event))
        advance(leg, event)

    modules["supervise"].advance = note
    run(modules, streams[:1])
    missed = [(PHASES[row[0]][0], EVENTS[row[1]][0]) for row in TRANSITIONS if row[:2] not in taken]
    assert missed == []
    assert {event for _, event in taken} == set(range(len(EVENTS)))
    assert {phase for phase, _ in taken} == set(range(len(PHASES)))


def test_the_recorded_stream_trips_every_fault_on_either_leg(streams, reference):
    recorded = reference[: len(streams[0][1])]
    every = sum(row[0] for row in FAULTS)
    for leg in ("left", "right"):
        bits = recorded[:, STATE_NAMES.index(f"{leg}.fault_bits")]
        assert np.bitwise_or.reduce(bits) == every


def test_the_streams_run_every_statement_of_the_core(streams):
    reached = set()
    modules, statements = rewrites.noting(reached)
    run(modules, streams)
    assert sorted(statements - reached) == []


def test_the_trace_holds_the_inputs_that_the_stream_gave(streams, reference):
    given = np.concatenate([inputs for _, inputs in streams])
    assert np.array_equal(reference[:, INPUT_COLUMNS], given)
