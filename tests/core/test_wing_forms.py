"""Legs and wings on one board: the same to the bit in every form, no heap, and what a tick costs.

What the wings see is recorded from shows of simulated wings, with every trouble of their drill
and with nonsense; what the legs see, from the walks of `stream.py`.
"""

import random
import shutil
from dataclasses import replace
from operator import attrgetter

import forms
import numpy as np
import pytest
import wasm
import wings_on_micropython as board
from fields import names, ranges
from hocklift.wing_drilling import table_cases
from legcore import model
from legcore.phases import PHASES
from legcore.wing_phases import FOLLOWING, RELEASING, WING_PHASES
from legcore.wing_step import step_frame
from legsim import core
from legsim.wing.drill import WingCase, WingDrill
from legsim.wing.rig import WingRig
from legsim.wing.settings import core_wings
from legsim.wing.troubles import AT_REST, LET_DOWN, RISING
from stream import stream_of, walk_on, wild_integer
from walk import Walk

MOST = 125_000_000 * 0.004 / 2
RUNNER = board.__file__
# Of three ticks one is the wings'.
WINGS_EVERY = 3
SETTINGS = {"Rig": len(names("Settings")), "Wings": len(names("WingSettings"))}
STATE_NAMES = [
    f"{record}.{name}" for record in SETTINGS for name in names(record)[SETTINGS[record] :]
]


def wings_of_a_frame():
    """The demo rig's wings at the pace that they have beside legs."""
    rig = WingRig()
    return replace(rig, control=replace(rig.control, period_s=0.012))


def wing_rows():
    """What the wings' inputs are in shows with one trouble each, a row for each of their ticks."""
    bench = WingDrill(wings_of_a_frame())
    for case in table_cases(5):
        strike = case.strikes[0]
        if strike.wing or (strike.trouble.name, strike.moment) not in STRUCK:
            continue
        show = bench.show(case)
        # The wings leap back to hanging, which cuts; then the person opens the arm input anew.
        trace = show.run()[:SHOWN]
        trace = np.concatenate([np.repeat(trace[:1], 20), trace])
        trace["arm"][:20] = 1
        stop = int(strike.trouble.name == "stop pressed")
        for row in trace:
            late = strike.trouble.name == "loop late" and row["left"]["phase"] > 1
            dips = strike.trouble.name == "supply dips" and row["left"]["phase"] > 1
            yield (
                *(row[wing][name] for wing in ("left", "right") for name in COUNTS),
                int(row["arm"]),
                int(stop and row["left"]["phase"] > 1),
                0,
                0,
                2 if late else 0,
                int(row["bus_V"] * 1000),
                4000 if dips else 5000,
            )


# One trouble for each part of the code that judges, mostly as a wing rises.
STRUCK = {
    *((name, RISING) for name in ("pot open", "pot jumping", "command open", "motor reversed")),
    *((name, RISING) for name in ("upper rope snaps", "drum jams", "controller full up")),
    *((name, RISING) for name in ("battery flat", "supply dips", "loop late", "stop pressed")),
    ("controller full down", AT_REST),
    ("gust from below", LET_DOWN),
}
# So many ticks of a wing are long enough to rise, be struck, and be brought to hang.
SHOWN = 750
COUNTS = ("pot_count", "command_count")


def frame_streams():
    """Legs that stand beside many shows of the wings, and legs that walk beside a healthy one."""
    wing_settings = core.integers(core_wings(wings_of_a_frame()).settings, "WingSettings")
    shows = np.repeat(np.array(list(wing_rows()), np.int32), WINGS_EVERY, axis=0)
    walk = Walk(seed=40)
    walk.arm()
    for _ in range(3):
        walk_on(walk)
    settings, legs = stream_of(walk)
    standing = np.zeros((len(shows), board.INPUTS), np.int32)
    standing[:, :8] = legs[0, :8]
    standing[:, 8:19] = shows
    standing[:, 19] = legs[0, 15]
    healthy = WingDrill(wings_of_a_frame()).show(WingCase((), 1)).run()
    wings = np.stack([healthy[side][name] for side in ("left", "right") for name in COUNTS], axis=1)
    wings = np.repeat(wings, WINGS_EVERY, axis=0)
    ticks = min(len(legs), len(wings))
    walking = np.zeros((ticks, board.INPUTS), np.int32)
    walking[:, :8] = legs[:ticks, :8]
    walking[:, 8:12] = wings[:ticks]
    walking[:, 12:20] = legs[:ticks, 8:16]
    return [(settings, wing_settings, standing), (settings, wing_settings, walking)]


def wild_streams(streams, count=60, ticks=300, seed=31):
    """Settings and readings from anywhere in their ranges, all well with the board but rarely."""
    rng = random.Random(seed)
    found = []
    for i in range(count):
        wild = [wild_integer(rng, low, high) for low, high in ranges("WingSettings")]
        if i % 2:
            by_name = dict(zip(names("WingSettings"), wild, strict=True)) | LENIENT
            wild = list(by_name.values())
        inputs = np.zeros((ticks, board.INPUTS), np.int32)
        for tick in range(0, ticks, 6):
            row = [wild_integer(rng, 0, 4095) for _ in range(12)]
            row[2:4], row[6:8] = (0, 1), (0, 1)
            shared = [int(tick > 12), 0, 0, 0, 0, 24000, 5000, 2048]
            if rng.random() < 0.05:
                shared[rng.randrange(5)] = 1
            inputs[tick : tick + 6] = row + shared
        found.append((streams[0][0], wild, inputs))
    return found


LENIENT = {
    "pot_ticks": 2000,
    "jump_count": 4095,
    "sunk_cdeg": 9000,
    "sunk_ticks": 2000,
    "stall_ticks": 2000,
    "against_ticks": 2000,
    "rate_ticks": 2000,
    "adrift_ticks": 2000,
    "stop_ticks": 2000,
    "hot_mK": 200000,
    "battery_least_mV": 0,
    "supply_least_mV": 0,
    "stick_ticks": 2000,
    "arm_ticks": 16,
    "call_cdeg": 9000,
    **{
        f"{side}_{part}.{edge}_count": count
        for side in ("left", "right")
        for part in ("pot", "command")
        for edge, count in (("low", 0), ("high", 4095))
    },
}


@pytest.fixture(scope="module")
def frames(streams):
    return [*frame_streams(), *wild_streams(streams)]


def made(record, settings):
    plain = model.make(record)
    filled = core.to_record(plain, record)
    filled.view(np.int32)[: len(settings)] = settings
    core.from_record(filled, plain, record)
    return plain


@pytest.fixture(scope="module")
def plain(frames):
    """Trace of the plain core over all streams: the reference for all other forms."""
    of_rig = attrgetter(*names("Rig")[SETTINGS["Rig"] :])
    of_wings = attrgetter(*names("Wings")[SETTINGS["Wings"] :])
    trace = []
    for settings, wing_settings, inputs in frames:
        rig, wings = made("Rig", settings), made("Wings", wing_settings)
        for row in inputs.tolist():
            board.put_inputs(rig, wings, row, 0)
            step_frame(rig, wings)
            trace.append(of_rig(rig) + of_wings(wings))
    return np.array(trace, np.int32)


def places_of(record):
    """Where each input goes in a record's memory; -1: nowhere."""
    every = names(record)
    legs = [
        f"{side}.{name}"
        for side in ("left", "right")
        for name in ("thigh.count", "shank.count", "switch", "sole")
    ]
    wings = [f"{side}.{name}.count" for side in ("left", "right") for name in ("pot", "command")]
    columns = [*legs, *wings, *board.SHARED, "stick_count"]
    mine = legs if record == "Rig" else wings
    return [
        every.index(name)
        if name in every and (name in mine or name in board.SHARED or name == "stick_count")
        else -1
        for name in columns
    ]


def compiled_trace(frames):
    tick = core.compiled()["wing_step"].step_frame
    rig_places, wing_places = places_of("Rig"), places_of("Wings")
    trace = []
    for settings, wing_settings, inputs in frames:
        rig = core.to_record(made("Rig", settings))
        wings = core.to_record(made("Wings", wing_settings), "Wings")
        words, wing_words = rig.view(np.int32), wings.view(np.int32)
        for row in inputs:
            for value, place, wing_place in zip(row, rig_places, wing_places, strict=True):
                if place >= 0:
                    words[place] = value
                if wing_place >= 0:
                    wing_words[wing_place] = value
            tick(rig[0], wings[0])
            trace.append(
                np.concatenate([words[SETTINGS["Rig"] :], wing_words[SETTINGS["Wings"] :]])
            )
    return np.array(trace)


def fill(folder, frames, decorator):
    shutil.copy(RUNNER, folder / "wings_on_micropython.py")
    parts = [
        np.concatenate([[len(inputs)], settings, wing_settings, inputs.ravel()])
        for settings, wing_settings, inputs in frames
    ]
    np.concatenate(parts).astype("<i4").tofile(folder / "streams.bin")
    forms.copy_core(folder, decorator)


def traced(folder):
    flat = np.fromfile(folder / "trace.bin", "<i4")
    return flat.reshape(-1, len(STATE_NAMES))


def same(trace, reference):
    """Say where two traces part, or nothing."""
    assert len(trace) == len(reference)
    rows = np.flatnonzero((trace != reference).any(axis=1))
    if not len(rows):
        return ""
    tick = rows[0]
    fields = [
        f"{name} {there} instead of {here}"
        for name, there, here in zip(STATE_NAMES, trace[tick], reference[tick], strict=True)
        if there != here
    ]
    return f"tick {tick}: {', '.join(fields)}"


def test_the_streams_move_the_wings_and_reach_their_faults(plain):
    phases = plain[:, [STATE_NAMES.index(f"Wings.{side}.phase") for side in ("left", "right")]]
    assert set(np.unique(phases)) == set(range(len(WING_PHASES)))
    assert np.mean(phases == FOLLOWING) > 0.1
    assert np.sum(phases == RELEASING) > 100


def test_compiled_legs_and_wings_go_through_the_same_states(frames, plain):
    assert not same(compiled_trace(frames), plain)


@pytest.mark.parametrize("decorator", [forms.NATIVE, forms.BYTECODE], ids=["native", "bytecode"])
def test_64_bit_micropython_goes_through_the_same_states(tmp_path, frames, plain, decorator):
    fill(tmp_path, frames, decorator)
    output = forms.run_on_64_bit(tmp_path, "wings_on_micropython.py")
    assert output == ""
    assert not same(traced(tmp_path), plain)


def test_32_bit_micropython_does_too_and_no_tick_takes_more_than_half_the_period(
    tmp_path, frames, plain, record_property
):
    """Both limits as for legs alone; the cost told for each kind of tick."""
    fill(tmp_path, frames, forms.BYTECODE)
    output, marks = wasm.run(tmp_path, "wings_on_micropython.py")
    assert output == ""
    assert not same(traced(tmp_path), plain)
    marks = np.array(marks).reshape(-1, 2)
    work = marks[:, 1] - marks[:, 0]
    ticks = work[-len(plain) :] - work[0]
    slot = plain[:, STATE_NAMES.index("Wings.slot")]
    wing_ticks, leg_ticks = ticks[slot == 2], ticks[slot != 2]
    dearest = np.flatnonzero(slot != 2)[leg_ticks.argmax()]
    legs = [
        PHASES[plain[dearest, STATE_NAMES.index(f"Rig.{leg}.phase")]][0]
        for leg in ("left", "right")
    ]
    record_property(
        "metered instructions of a tick, 2 legs and 2 wings on one board",
        f"a leg's: median {np.median(leg_ticks):.0f}, most {leg_ticks.max()} (legs"
        f" {' and '.join(legs)}); a wing's: median {np.median(wing_ticks):.0f}, most"
        f" {wing_ticks.max()}; ceiling {MOST:.0f}",
    )
    assert ticks.max() <= MOST
