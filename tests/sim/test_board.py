"""The board around the core: its watchdog, its relay, its copy of the settings, its readings."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legcore.faults import LATE, SETTINGS, WATCHDOG
from legcore.phases import OFF, STANDING
from legsim import core
from legsim.board import BOOT_S, WORDS_A_TICK, sense
from legsim.plant import start_state
from legsim.records import rig_record
from legsim.run import Walk
from legsim.sensors import FULL_SCALE
from legsim.settings import core_rig
from legsim.wearer import script
from rigs import DEMO, FEET, LEFT, MARCHING, PERIOD_S, READY_S, changed, raised, struck

WATCHDOG_S = DEMO.control.watchdog_s
# In mid-lift, where a pulse that stays as it is does most.
STRUCK_S = READY_S + 0.3
STRUCK = round(STRUCK_S / PERIOD_S)
SEALED_WORDS = core.dtype("Settings").itemsize // 4


def lifting() -> Walk:
    """A walk in which the left foot is raised and held up."""
    foot = raised(LEFT, READY_S, READY_S + 2.0)
    return Walk(MARCHING, script(MARCHING, [foot], STRUCK_S + 4.0), 1)


def board(**values: float) -> Callable[[Walk], None]:
    """What changes the memory of a walk's board."""

    def strike(walk: Walk) -> None:
        for name, value in values.items():
            walk.state["board"][name] = value

    return strike


def first(condition: Any) -> int:
    """Index of the first true element, which there must be."""
    assert condition.any()
    return int(np.argmax(condition))


HUNG = struck(lifting(), (STRUCK_S, board(hung=1.0)))
# When the watchdog bites, and when the program runs again.
BITES = STRUCK + first(HUNG["contactor"][STRUCK:] == 0)
RUNS = first(HUNG["fault_bits"] != 0)


def test_a_hung_board_goes_on_giving_its_last_pulse_until_its_watchdog_bites():
    # It was fed by the tick before.
    assert pytest.approx(WATCHDOG_S, abs=PERIOD_S) == (BITES - STRUCK + 1) * PERIOD_S
    last_us = HUNG["left"]["pulse_us"][STRUCK - 1]
    assert last_us > DEMO.controller.neutral_s * 1e6 + 100
    assert (HUNG["left"]["pulse_us"][STRUCK:BITES] == last_us).all()
    # And so the leg goes on folding.
    assert HUNG["left"]["motor_radps"][BITES - 1] > 500


def test_a_board_that_starts_anew_gives_no_pulse_and_opens_its_relay():
    assert pytest.approx(BOOT_S, abs=2 * PERIOD_S) == (RUNS - BITES) * PERIOD_S
    booting = HUNG[BITES:RUNS]
    assert not booting["contactor"].any()
    for foot in FEET:
        assert not booting[foot]["pulse_us"].any()
        # Without power a motor cannot even brake.
        assert not booting[foot]["current_A"][1:].any()


def test_a_board_that_hung_is_not_armed_again_though_the_arm_input_is_closed():
    after = HUNG[RUNS:]
    assert len(after) * PERIOD_S > DEMO.control.arm_time_s + 0.5
    assert after["arm"].all()
    assert (after["fault_bits"] == WATCHDOG).all()
    assert not after["contactor"].any()
    for foot in FEET:
        assert (after[foot]["phase"] == OFF).all()


def test_while_the_board_boots_the_spring_puts_the_foot_down():
    clearance_m = HUNG["left"]["clearance_m"]
    assert clearance_m[BITES] > 0.03
    assert abs(clearance_m[RUNS]) < 0.005


def test_a_program_that_hangs_for_less_than_the_watchdogs_time_goes_on():
    part_s = WATCHDOG_S - 2 * PERIOD_S
    trace = struck(lifting(), (STRUCK_S, board(hung=1.0)), (STRUCK_S + part_s, board(hung=0.0)))
    assert trace["contactor"][STRUCK:].all()
    assert not trace["fault_bits"].any()


def test_ticks_that_come_late_do_not_feed_the_watchdog():
    # A loop that always misses periods is no control loop, though it runs.
    trace = struck(lifting(), (STRUCK_S, board(late_ticks=1.0)))
    late = first(trace["fault_bits"] & LATE)
    bites = STRUCK + first(trace["contactor"][STRUCK:] == 0)
    assert STRUCK < late < bites
    assert (bites - STRUCK) * PERIOD_S == pytest.approx(WATCHDOG_S, abs=2 * PERIOD_S)


def test_a_late_tick_now_and_then_is_fed_for_by_those_in_time():
    often_s = 10 * WATCHDOG_S
    times_s = [STRUCK_S + i * often_s for i in range(3)]
    strikes = [(at_s, board(late_ticks=1.0)) for at_s in times_s]
    ends = [(at_s + 2 * PERIOD_S, board(late_ticks=0.0)) for at_s in times_s]
    assert not struck(lifting(), *strikes, *ends)["fault_bits"].any()


@given(st.integers(0, SEALED_WORDS - 1), st.integers(0, 31), st.integers(0, 100))
def test_a_bit_of_the_settings_that_turns_over_is_seen_before_a_fifth_of_a_second(word, bit, at):
    standing = Walk(DEMO, script(DEMO, [], 1.0), 1)
    for done in standing.ticks(at + 1):
        if done == at + 1:
            standing.words[word] ^= np.int32(np.uint32(1 << bit).view(np.int32))
    seen = first(standing.trace["fault_bits"] & SETTINGS) - at
    assert seen <= np.ceil(SEALED_WORDS / WORDS_A_TICK)
    assert SEALED_WORDS / WORDS_A_TICK * PERIOD_S < 0.2


def test_a_board_that_starts_anew_reads_its_settings_again():
    walk = lifting()

    def turn_over(walk: Walk) -> None:
        walk.core["settings"]["kp_q16"] ^= 1 << 8
        walk.state["board"]["hung"] = 1.0

    trace = struck(walk, (STRUCK_S, turn_over))
    assert not (trace["fault_bits"] & SETTINGS).any()
    assert walk.words[:SEALED_WORDS].tolist() == walk.sealed.tolist()


def test_settings_that_were_never_valid_let_nothing_be_armed():
    standing = Walk(DEMO, script(DEMO, [], READY_S + 1), 1)
    standing.state["board"]["settings_bad"] = 1.0
    trace = standing.run()
    assert (trace["fault_bits"] & SETTINGS).all()
    assert not trace["contactor"].any()


def test_a_program_that_has_ended_leaves_its_outputs_neutral_and_its_relay_open():
    trace = struck(lifting(), (STRUCK_S, board(crashed=1.0)))
    after = trace[STRUCK:]
    assert not after["contactor"].any()
    assert not after["left"]["pulse_us"].any()
    assert abs(after["left"]["clearance_m"][-1]) < 0.005


def readings(rig: Any = DEMO, **values: float) -> Any:
    """The core's inputs of a rig that stands, its board's memory and bus as told."""
    state, record = start_state(rig, 1), rig_record(rig)
    for name, value in values.items():
        owner = state if name in (state.dtype.names or ()) else state["board"]
        owner[name] = value
    inputs = core.to_record(core_rig(rig))
    sense(state[0], record[0], inputs[0])
    return inputs[0]


def test_the_battery_is_read_with_its_dividers_error():
    high = changed(sensors={"battery_error": 0.02})
    assert readings(high, bus_V=24.0)["battery_mV"] == pytest.approx(24480, abs=1)


def test_a_dip_of_the_supply_is_read_as_it_is():
    assert readings()["supply_mV"] == 5000
    assert readings(supply_dip_V=0.8)["supply_mV"] == pytest.approx(4200, abs=1)


def test_a_stick_rests_where_it_rests_and_with_a_broken_wire_reads_nothing():
    middle = round(DEMO.sensors.stick_rest * FULL_SCALE)
    assert readings()["stick_count"] == pytest.approx(middle, abs=1)
    assert readings(stick_ill=0.2)["stick_count"] == pytest.approx(0.7 * FULL_SCALE, abs=1)
    assert readings(stick_ill=1.0)["stick_count"] == 0


def test_the_demo_rig_stands_unarmed_and_well_until_somebody_arms_it():
    trace = Walk(DEMO, script(DEMO, [], READY_S + 1), 1).run()
    assert not trace["fault_bits"].any()
    for foot in FEET:
        assert trace[foot]["phase"][0] == OFF
        assert trace[foot]["phase"][-1] == STANDING
