"""Each watch of a wing, either way it goes: at its limit all is well, a hair past it is not.

As test_watch.py does for legs. What the board says of itself is watched by the same code as theirs.
"""

from collections.abc import Callable
from itertools import product
from operator import attrgetter
from typing import NamedTuple

import pytest
from legcore import faults
from legcore.model import LONG_ROUND_TICKS, RECORDS, ROUND_TICKS, VISIT_TICKS, WATCH_TICKS_MAX
from legcore.wing_faults import WING_FAULTS
from legcore.wing_phases import FOLLOWING, OFF, RELEASING, RESTING, WING_PHASES
from legcore.wing_watch import judge_wing, scrub_wing
from legsim.tables import Fault, fault_names
from walk import SIDES
from wing_scene import SETTINGS, UP_CDEG, put_pose, scene

TABLE = tuple(Fault(*row) for row in WING_FAULTS)
BY_BIT = {fault.bit: fault for fault in TABLE}
SIGNS = pytest.mark.parametrize("sign", [1, -1], ids=["up", "down"])


def tick(at):
    """Judge once, as the tick does: the wings in turn."""
    wings = at.wings
    wings.turn = wings.turn + 1 & 31
    side = wings.turn & 1
    cal = (wings.settings.left_pot, wings.settings.right_pot)[side]
    judge_wing(wings, (wings.left, wings.right)[side], cal)


def bits(at):
    return at.wings.left.fault_bits | at.wings.right.fault_bits | at.wings.fault_bits


class Edge(NamedTuple):
    """One limit of a row, and how its two sides are put into the memory.

    `put(scene, side)` puts one side of the limit: 0 at the limit, 1 a hair past it.
    """

    bit: int
    words: str
    put: Callable

    @property
    def fault(self):
        return BY_BIT[self.bit]


def on_wing(field, at, past):
    return lambda s, side: setattr(s.wing, field, at(s.settings) + side * past)


def on_pose(at, past):
    return lambda s, side: put_pose(s.wing, at(s.settings) + side * past)


def on_board(field, at, past):
    return lambda s, side: setattr(s.wings, field, at(s.settings) + side * past)


def driven(sign, rate_cdps):
    """As strong a drive as counts, or a hair less."""

    def put(s, side):
        s.wing.rate_cdps = sign * rate_cdps
        s.wing.stall_from_cdeg = s.wing.fold_cdeg
        s.wing.drive_permille = sign * (s.settings.stall_drive_permille - 1 + side)

    return put


def against(sign):
    def put(s, side):
        s.wing.drive_permille = sign * s.settings.stall_drive_permille
        s.wing.rate_cdps = -sign * (s.settings.against_cdps + side)

    return put


def adrift(s, side):
    s.wing.setpoint_cdeg_q6 = (s.wing.fold_cdeg + s.settings.adrift_cdeg) * 64 + 63 + side


def adrift_below(s, side):
    s.wing.setpoint_cdeg_q6 = (s.wing.fold_cdeg - s.settings.adrift_cdeg) * 64 - side


EDGES = (
    Edge(faults.UNASKED, "up", on_pose(lambda c: c.rest_fold_cdeg + c.sunk_cdeg, 1)),
    Edge(faults.UNASKED, "down", on_pose(lambda c: c.rest_fold_cdeg - c.sunk_cdeg, -1)),
    Edge(faults.STALL, "up", driven(1, 0)),
    Edge(faults.STALL, "down", driven(-1, 0)),
    Edge(faults.AGAINST, "driven up", against(1)),
    Edge(faults.AGAINST, "driven down", against(-1)),
    Edge(faults.RATE, "up", on_wing("rate_cdps", lambda c: c.rate_most_cdps, 1)),
    Edge(faults.RATE, "down", on_wing("rate_cdps", lambda c: -c.rate_most_cdps, -1)),
    Edge(faults.ADRIFT, "below its setpoint", adrift),
    Edge(faults.ADRIFT, "above it", adrift_below),
    Edge(faults.END_STOP, "upper", on_pose(lambda c: c.fold_max_cdeg + c.stop_margin_cdeg, 1)),
    Edge(faults.END_STOP, "lower", on_pose(lambda c: c.fold_min_cdeg - c.stop_margin_cdeg, -1)),
    Edge(faults.BATTERY, "low", on_board("battery_mV", lambda c: c.battery_least_mV, -1)),
    Edge(faults.SUPPLY, "low", on_board("supply_mV", lambda c: c.supply_least_mV, -1)),
)
each_edge = pytest.mark.parametrize("edge", EDGES, ids=lambda e: f"{e.fault.name}, {e.words}")


def test_every_row_that_has_a_time_has_an_edge_but_pots_whose_time_the_estimate_counts():
    assert {edge.bit for edge in EDGES} == {
        fault.bit for fault in TABLE if fault.ticks not in ("", "pot_ticks", "stick_ticks")
    }


def ready(edge, phase, side=0, more=0):
    """A scene in a phase, in which the row may trip after two looks and a bit."""
    every = edge.fault.every_ticks
    return scene(phase, side=side, **{edge.fault.ticks: 2 * every + more})


def run(edge, at, side, most):
    """Tick with an edge put anew each time, as readings are; ticks until a fault is set, or 0."""
    for n in range(1, most + 1):
        edge.put(at, side)
        tick(at)
        if bits(at):
            return n
    return 0


@pytest.mark.parametrize("more", [0, 1])
@each_edge
def test_a_row_trips_when_its_time_has_passed_and_not_a_look_before(edge, more):
    """However the looks lie: it is looked at once in so many ticks as the table says."""
    every = edge.fault.every_ticks
    whole = every * (2 + more)
    for side in (0, 1):
        found = []
        for turn in range(every):
            at = ready(edge, edge.fault.phases[0], side, more)
            at.wings.turn = turn
            found.append(run(edge, at, 1, 2 * whole))
            assert fault_names(bits(at), TABLE) == (edge.fault.name,)
        assert sorted(found) == [*range(whole + 1, whole + every + 1)]


@each_edge
def test_at_its_limit_a_row_never_trips(edge):
    for phase in edge.fault.phases:
        assert run(edge, ready(edge, phase), 0, 6 * edge.fault.every_ticks) == 0


@pytest.mark.parametrize("more", [0, 1])
@each_edge
def test_a_condition_that_ends_for_one_look_has_to_last_its_whole_time_again(edge, more):
    every = edge.fault.every_ticks
    whole = every * (2 + more)
    at = ready(edge, edge.fault.phases[0], 0, more)
    assert run(edge, at, 1, whole) == 0
    assert run(edge, at, 0, every) == 0
    assert whole < run(edge, at, 1, 2 * whole) <= whole + every


@each_edge
def test_a_row_is_watched_in_its_phases_and_in_no_others(edge):
    for phase in range(len(WING_PHASES)):
        if phase == OFF and edge.bit == faults.END_STOP:
            # A wing that is off beside one that is brought down may not pass it, either.
            continue
        at = ready(edge, phase)
        at.wings.contactor = 1
        tripped = run(edge, at, 1, 5 * edge.fault.every_ticks)
        assert bool(tripped) == (phase in edge.fault.phases), WING_PHASES[phase][0]


@pytest.mark.parametrize("bit", [faults.UNASKED, faults.END_STOP], ids=["moves", "end stop"])
def test_a_wing_without_power_is_watched_only_while_the_other_one_has_it(bit):
    """What a person does with a wing by hand, with the contactor open, is nobody's business."""
    edge = next(edge for edge in EDGES if edge.bit == bit)
    for contactor in (0, 1):
        at = ready(edge, OFF)
        at.wings.contactor = contactor
        assert bool(run(edge, at, 1, 20)) == contactor


@pytest.mark.parametrize("phase", range(RESTING, len(WING_PHASES)))
def test_a_wing_that_is_not_off_is_watched_whatever_the_memory_says_of_the_contactor(phase):
    edge = next(edge for edge in EDGES if edge.bit == faults.END_STOP)
    at = ready(edge, phase)
    at.wings.contactor = 0
    assert run(edge, at, 1, 20)


@pytest.mark.parametrize("phase", range(len(WING_PHASES)), ids=[row[0] for row in WING_PHASES])
def test_with_all_well_no_row_ever_trips_however_short_its_time(phase):
    times = {fault.ticks: 1 for fault in TABLE if fault.ticks}
    at = scene(phase, **times)
    for _ in range(3 * LONG_ROUND_TICKS):
        tick(at)
        assert bits(at) == 0


# A stall is judged by what has been gained over the whole time, the way it is driven.


@SIGNS
@pytest.mark.parametrize("phase", [FOLLOWING, RELEASING])
def test_a_wing_that_gains_just_enough_is_no_stall_and_one_that_gains_less_is(phase, sign):
    gain_cdeg = SETTINGS["stall_move_cdeg"]
    for gained, looks in product((-gain_cdeg, gain_cdeg - 1, gain_cdeg, gain_cdeg + 1), (1, 2)):
        at = scene(phase, stall_ticks=4)
        at.wing.drive_permille = sign * SETTINGS["stall_drive_permille"]
        at.wings.turn = 1
        # The first look begins the count; after two more the third judges.
        for look in range(4):
            tick(at)
            tick(at)
            assert bits(at) == (faults.STALL if look == 2 and gained < gain_cdeg else 0), look
            at.wing.fault_bits = 0
            if look == looks - 1:
                at.wing.fold_cdeg = UP_CDEG + sign * gained


@SIGNS
def test_a_wing_that_has_moved_may_still_stall_later(sign):
    at = scene(FOLLOWING, stall_ticks=4)
    at.wing.drive_permille = sign * SETTINGS["stall_drive_permille"]
    at.wings.turn = 1
    for n in range(1, 7):
        tick(at)
        tick(at)
        if n == 2:
            put_pose(at.wing, UP_CDEG + sign * 2 * SETTINGS["stall_move_cdeg"])
        assert bool(bits(at)) == (n >= 6)


@SIGNS
def test_a_wing_that_goes_with_its_drive_or_stays_does_not_go_against_it(sign):
    for rate_cdps in (0, 1000, -SETTINGS["against_cdps"] + 1):
        at = scene(FOLLOWING, against_ticks=2)
        at.wing.drive_permille = sign * 1000
        at.wing.rate_cdps = sign * rate_cdps
        for _ in range(20):
            tick(at)
            assert bits(at) == 0


@SIGNS
def test_a_wing_that_is_driven_too_little_forgets_what_was_counted(sign):
    for drive_permille, expected in ((219, 0), (1000, VISIT_TICKS)):
        at = scene(FOLLOWING)
        at.wing.drive_permille = sign * drive_permille
        at.wing.stall_ticks = at.wing.against_ticks = 0 if expected else 6
        at.wing.rate_cdps = -sign * (SETTINGS["against_cdps"] + 1)
        at.wings.turn = 1
        tick(at)
        assert (at.wing.stall_ticks, at.wing.against_ticks) == (expected, expected)


def test_a_wing_without_any_drive_neither_stalls_nor_goes_against_it():
    at = scene(FOLLOWING, stall_ticks=2, against_ticks=2, stall_drive_permille=1)
    at.wing.rate_cdps = -SETTINGS["against_cdps"] - 1
    for _ in range(20):
        tick(at)
    assert bits(at) == 0


@SIGNS
def test_the_least_drive_there_is_counts_where_the_settings_say_so(sign):
    at = scene(FOLLOWING, stall_drive_permille=1, stall_ticks=2)
    at.wing.drive_permille = sign
    at.wing.stall_from_cdeg = at.wing.fold_cdeg
    for _ in range(20):
        tick(at)
    assert bits(at) == faults.STALL


@pytest.mark.parametrize("margin_cdeg", [0, 8, 160, 3000])
def test_a_margin_is_added_beyond_both_end_stops(margin_cdeg):
    for past, trips in ((0, False), (1, True)):
        for end, sign in (("fold_max_cdeg", 1), ("fold_min_cdeg", -1)):
            at = scene(FOLLOWING, stop_ticks=1, stop_margin_cdeg=margin_cdeg)
            put_pose(at.wing, SETTINGS[end] + sign * (margin_cdeg + past))
            for _ in range(10):
                tick(at)
            assert bits(at) == (faults.END_STOP if trips else 0)


# Pot and command. How long a count has been bad the estimate says.


@pytest.mark.parametrize("side", (0, 1), ids=SIDES)
@pytest.mark.parametrize(
    ("count", "bit"),
    [
        (899, faults.POT_LOW),
        (900, faults.POT_JUMP),
        (3100, faults.POT_JUMP),
        (3101, faults.POT_HIGH),
    ],
)
def test_a_pot_that_has_been_bad_for_its_time_is_named_by_its_window(side, count, bit):
    for bad_ticks in (7, 8, 9):
        at = scene(side=side)
        at.wing.pot.count, at.wing.pot.bad_ticks = count, bad_ticks
        for _ in range(VISIT_TICKS):
            tick(at)
        assert bits(at) == at.wing.fault_bits == (bit if bad_ticks >= 8 else 0)


@pytest.mark.parametrize("side", (0, 1), ids=SIDES)
def test_a_command_that_has_been_bad_for_its_time_is_lost(side):
    for bad_ticks in (11, 12, 13):
        at = scene(side=side)
        at.wing.command.bad_ticks = bad_ticks
        for _ in range(VISIT_TICKS):
            tick(at)
        assert bits(at) == at.wing.fault_bits == (faults.STICK if bad_ticks >= 12 else 0)


def test_what_the_board_says_of_itself_counts_in_the_same_tick_whichever_wings_turn_it_is():
    for name, bit in (
        ("stop", faults.STOP),
        ("settings_bad", faults.SETTINGS),
        ("was_hung", faults.WATCHDOG),
    ):
        for turn in range(ROUND_TICKS):
            at = scene()
            at.wings.turn = turn
            setattr(at.wings, name, 1)
            tick(at)
            assert at.wings.fault_bits == bits(at) == bit


# No counter is ever negative but by a memory error.

OF_WARMTH = ("winding_mK_q8", "case_mK_q8")


def counters(record):
    return [
        row[0]
        for row in RECORDS[record]
        if row[0] == "late"
        or row[0] in OF_WARMTH
        # The relay experiment is never made with a wing.
        or (row[0].endswith("_ticks") and row[0] not in ("missed_ticks", "relay_ticks"))
    ]


COUNTERS = [
    *(f"wing.{name}" for name in counters("Wing")),
    *(f"wing.{part}.bad_ticks" for part in ("pot", "command")),
    *(f"wings.{name}" for name in counters("Wings")),
]


@pytest.fixture
def scrubbed():
    """Whether a scrub takes a wing whose counters are these for spoilt."""
    at = scene()
    places = {}
    for name in COUNTERS:
        *path, field = name.split(".")
        places[name] = attrgetter(".".join(path))(at), field

    def put(values):
        for name, value in values.items():
            setattr(*places[name], value)

    def ask(**values):
        put(values)
        scrub_wing(at.wing, at.wings)
        put(dict.fromkeys(values, 0))
        found = bits(at)
        assert found == at.wing.fault_bits
        at.wing.fault_bits = 0
        return found == faults.MEMORY

    return ask


@pytest.mark.parametrize("name", COUNTERS)
def test_any_counter_below_zero_is_a_memory_error(scrubbed, name):
    """Whatever the others are: an error may have changed more than one."""
    for value in (-1, -2, -(1 << 31)):
        assert scrubbed(**{name: value})
    for other in COUNTERS:
        if other != name:
            for value in (-1, 1, 3, 1600):
                assert scrubbed(**{name: -4, other: value}), other
    for value in (0, 1, WATCH_TICKS_MAX):
        assert not scrubbed(**{name: value})


def test_all_counters_at_once_are_no_memory_error_unless_one_is_below_zero(scrubbed):
    assert not scrubbed(**{name: 3 + i for i, name in enumerate(COUNTERS)})
    assert scrubbed(**dict.fromkeys(COUNTERS, -1))


@pytest.mark.parametrize("side", (0, 1), ids=SIDES)
def test_each_wing_is_scrubbed_once_a_long_round(side):
    found = []
    for turn in range(LONG_ROUND_TICKS):
        at = scene(side=side)
        at.wing.phase_ticks = -1
        at.wings.turn = turn
        n = 0
        while not bits(at) and n < LONG_ROUND_TICKS:
            tick(at)
            n += 1
        found.append(n)
        assert (at.wing.fault_bits, at.other.fault_bits) == (faults.MEMORY, 0)
    assert sorted(found) == [*range(1, LONG_ROUND_TICKS + 1)]


@pytest.mark.parametrize("side", (0, 1), ids=SIDES)
def test_twice_a_long_round_a_motors_work_is_added_up_and_once_it_warms_the_winding(side):
    at = scene(FOLLOWING, side=side, heat_most_permille=1000, heat_copper_q6=352)
    at.settings.heat_warm_q8 = 6730
    # So far from the voltage that turns it as fast as it does, that there must be much current.
    at.wing.drive_permille = 200
    looks = {"worked": 0, "warmed": 0}
    for _ in range(LONG_ROUND_TICKS):
        before = at.wing.copper_mW
        tick(at)
        looks["worked"] += at.wing.copper_mW > before
        looks["warmed"] += at.wing.copper_mW < before
    assert looks == {"worked": 2, "warmed": 1}
    assert at.wing.winding_mK_q8 > 0
    assert at.other.winding_mK_q8 == 0


def test_a_wing_that_rests_has_done_no_work():
    at = scene(RESTING)
    for _ in range(LONG_ROUND_TICKS):
        tick(at)
    assert at.wing.copper_mW == at.wing.turning_mW == at.wing.winding_mK_q8 == 0
