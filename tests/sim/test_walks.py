"""The closed loop: core, plant and wearer together, walking and being mistreated."""

from math import radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from legcore.faults import END_STOP, STALL
from legcore.model import VISIT_TICKS
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING
from legsim.figures import LegFigures, leg_figures
from legsim.run import ARM_S, Walk
from legsim.settings import SettingsError, core_rig
from legsim.wearer import Raise, script
from rigs import DEMO, FEET, LEFT, MARCHING, PERIOD_S, READY_S, RIGHT, changed, raised, walk

SETTINGS = core_rig(DEMO).settings
MOVING = (LIFTING, HELD, LOWERING, RELEASING)
VISIT_S = VISIT_TICKS * PERIOD_S
# The core's first tick is the right leg's.
FIRST_VISIT = {"left": 1, "right": 0}
WANTS = DEMO.wants
# Walks of feet raised at random.
RANDOM_S = READY_S + 7.0
TARGETS_Q6 = (64 * SETTINGS.lift_fold_cdeg, 64 * SETTINGS.rest_fold_cdeg)


def fold_rad(leg):
    return leg["thigh_rad"] + leg["shank_rad"]


@pytest.fixture(scope="module", params=[1, 2, 3, 4])
def legs(request) -> list[LegFigures]:
    """Both legs' figures of 20 s at 36 steps a minute, by seed of the sensors' noise."""
    trace = walk(DEMO, READY_S + 20.0, request.param)
    return [leg_figures(trace, foot, DEMO) for foot in FEET]


def test_the_demo_rig_makes_every_step_without_a_fault(legs):
    assert DEMO.wearer.cadence_per_s * 60 == pytest.approx(36)
    assert sum(leg.steps_asked for leg in legs) >= 11
    for leg in legs:
        assert leg.steps_made == leg.steps_asked
        assert not leg.faults


def test_the_demo_rig_clears_the_ground_by_what_was_wanted(legs):
    for leg in legs:
        assert leg.clearance_median_m == pytest.approx(0.080, rel=0.10)
        assert leg.clearance_worst_m >= 0.060


def test_the_demo_rig_lifts_and_lowers_in_time(legs):
    for leg in legs:
        assert leg.lift_worst_s <= 0.7
        assert leg.lower_worst_s <= WANTS.lower_s


def test_the_demo_rig_never_passes_its_soft_end_stop(legs):
    assert all(leg.past_soft_stop_rad == 0 for leg in legs)


def test_the_demo_rigs_rope_is_never_loose_while_the_foot_is_up(legs):
    assert all(leg.slack_moving_m <= 0.015 for leg in legs)


def test_nothing_moves_before_the_person_has_armed():
    trace = walk(DEMO, 3.0, raises=[raised(LEFT, ARM_S / 4, 3 * ARM_S / 4)])
    early = trace[: round(ARM_S / PERIOD_S)]
    for foot in FEET:
        assert (early[foot]["phase"] == OFF).all()
        assert not early[foot]["drive_permille"].any()
        # Without power a motor cannot even brake.
        assert not early[foot]["current_A"].any()


# Where something jams the leg, short of where the setpoint would wait within its lag.
@pytest.mark.parametrize("jam_deg", [61, 66, 70])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_blocked_leg_is_cut_off_in_its_time(jam_deg, seed):
    foot = raised(LEFT, READY_S, READY_S + 6.0)
    jammed = Walk(DEMO, script(DEMO, [foot], READY_S + 7.0), seed)
    # A stone in the linkage: the plant's folded stop comes early, and the core knows nothing.
    jammed.rig["mechanism"]["fold_hard_stop_rad"] = radians(jam_deg)
    jammed.rig["mechanism"]["stop_stiffness_Nm"] = 3e4
    leg = jammed.run()["left"]
    cut = int(np.argmax(leg["fault_bits"] & STALL > 0))
    blocked = int(np.argmax(fold_rad(leg) > radians(jam_deg)))
    assert 0 < (cut - blocked) * PERIOD_S < 2.0
    # It judges the fold gained in one such time under drive, from visit to visit; the first
    # may have begun while the leg still moved.
    weak = np.flatnonzero(leg["drive_permille"][:cut] < SETTINGS.stall_drive_permille)[-1]
    one = DEMO.safety.stall_time_s
    assert one <= (cut - weak) * PERIOD_S <= 2 * (one + 2 * VISIT_S)
    assert (leg["phase"][cut:] == OFF).all()
    assert not leg["drive_permille"][cut:].any()
    assert not leg["current_A"][cut + 1 :].any()


def test_a_walk_after_a_cut_goes_on_only_once_the_person_has_armed_again():
    cut_s, open_s, closed_s = (READY_S + seconds for seconds in (3.0, 6.0, 6.2))
    armed_s = closed_s + DEMO.control.arm_time_s
    feet = [raised(LEFT, READY_S, cut_s), raised(LEFT, cut_s + 1, cut_s + 2)]
    jammed = Walk(DEMO, script(DEMO, feet, armed_s + 1), 1)
    jammed.rig["mechanism"]["fold_hard_stop_rad"] = radians(66)
    jammed.rig["mechanism"]["stop_stiffness_Nm"] = 3e4
    jammed.arm[round(open_s / PERIOD_S) : round(closed_s / PERIOD_S)] = 0
    trace = jammed.run()
    # The arm input stays closed through the fault and another raised foot; then it is open,
    # closed, and held.
    cut, armed = round(cut_s / PERIOD_S), round(armed_s / PERIOD_S)
    for foot in FEET:
        assert (trace[foot]["phase"][cut:armed] == OFF).all()
        assert (trace[foot]["phase"][armed + VISIT_TICKS :] == STANDING).all()
    assert trace["left"]["fault_bits"][round(open_s / PERIOD_S) - 1] == STALL
    assert not trace["left"]["fault_bits"][armed:].any()


@pytest.mark.parametrize("let_go_s", [0.1, 1.0, DEMO.control.arm_time_s - 3 * PERIOD_S])
def test_a_rig_is_armed_only_by_holding_the_input_closed_for_the_whole_time(let_go_s):
    standing = Walk(DEMO, script(DEMO, [], 3 * READY_S), 1)
    opened = round((ARM_S + let_go_s) / PERIOD_S)
    standing.arm[opened] = 0
    contactor = standing.run()["contactor"]
    closed = int(np.argmax(contactor))
    assert closed * PERIOD_S == pytest.approx(
        (opened + 1) * PERIOD_S + DEMO.control.arm_time_s, abs=VISIT_S
    )
    assert contactor[closed:].all()


def test_a_switch_pressed_while_arming_makes_the_hold_begin_anew():
    standing = Walk(DEMO, script(DEMO, [], 3 * READY_S), 1)
    let_go_s = ARM_S + 1.5
    standing.lines["right"]["push"][
        round((ARM_S + 1.0) / PERIOD_S) : round(let_go_s / PERIOD_S)
    ] = 1
    armed_s = int(np.argmax(standing.run()["contactor"])) * PERIOD_S
    settled_s = DEMO.control.debounce_s + DEMO.sensors.switch_bounce_s
    assert 0 <= armed_s - let_go_s - DEMO.control.arm_time_s <= settled_s + 2 * VISIT_S


def test_a_foot_held_up_too_long_goes_down_and_stays_down_until_let_go():
    hold_s = DEMO.control.hold_time_s
    let_go_s = READY_S + hold_s + 3.0
    again_s = let_go_s + 2.0
    raises = [raised(LEFT, READY_S, let_go_s), raised(LEFT, again_s, again_s + 1.0)]
    leg = walk(MARCHING, again_s + 3.0, raises=raises)["left"]
    held = np.flatnonzero(leg["phase"] == HELD)
    lowering = held[0] + int(np.argmax(leg["phase"][held[0] :] == LOWERING))
    assert (lowering - held[0]) * PERIOD_S == pytest.approx(hold_s, abs=2 * VISIT_S)
    # Down well before the wearer lets go, and not up again for the same press.
    down = lowering + int(np.argmax(leg["phase"][lowering:] == STANDING))
    let_go = round(let_go_s / PERIOD_S)
    assert down * PERIOD_S < let_go_s - 1.0
    assert (leg["phase"][down:let_go] == STANDING).all()
    assert (leg["phase"][let_go:] == HELD).any()


@st.composite
def presses(draw, seconds: float = RANDOM_S) -> list[Raise]:
    """Feet raised at random, both at once as well, for moments and for long."""
    raises = []
    for leg in (LEFT, RIGHT):
        now_s = READY_S - 0.5
        for _ in range(draw(st.integers(0, 8))):
            now_s += draw(st.floats(0.02, 1.5))
            end_s = now_s + draw(st.floats(0.02, 2.0))
            if end_s > seconds - 1:
                break
            raises.append(raised(leg, now_s, end_s))
            now_s = end_s
    return sorted(raises, key=lambda one: one.start_s)


@given(presses(), st.integers(0, 1000))
def test_whatever_the_wearer_does_one_leg_at_a_time_leaves_the_ground(raises, seed):
    trace = walk(MARCHING, RANDOM_S, seed, raises)
    off = sum(np.isin(trace[foot]["phase"], MOVING).astype(int) for foot in FEET)
    assert off.max() <= 1
    # And by the plant's own measure: the other foot is never in the air.
    assert np.minimum(trace["left"]["clearance_m"], trace["right"]["clearance_m"]).max() < 0.005


@given(presses(), st.integers(0, 1000))
def test_whatever_the_wearer_does_the_soft_end_stop_is_not_passed(raises, seed):
    trace = walk(MARCHING, RANDOM_S, seed, raises)
    for foot in FEET:
        assert fold_rad(trace[foot]).max() <= DEMO.mechanism.fold_soft_stop_rad
        assert not (trace[foot]["fault_bits"] & END_STOP).any()


def test_a_lift_aimed_beyond_the_soft_end_stop_is_refused_by_the_board():
    with pytest.raises(SettingsError, match="lift_fold_cdeg is over fold_max_cdeg"):
        core_rig(changed(wants={"clearance_m": 0.2}))


@given(presses(), st.integers(0, 1000))
def test_a_lift_aimed_beyond_the_soft_end_stop_ends_there(raises, seed):
    # The board refuses settings that say so, but a memory can change: the stop is there for
    # that. Pots that are bowed and have play let it pass by less than what would be a fault.
    beyond = Walk(MARCHING, script(MARCHING, raises, RANDOM_S), seed)
    beyond.core["settings"]["lift_fold_cdeg"] = SETTINGS.fold_max_cdeg + 300
    # Unseen by the comparison with the copy, else the rig would only be cut.
    beyond.sealed[:] = beyond.words[: len(beyond.sealed)]
    trace = beyond.run()
    most_rad = DEMO.mechanism.fold_soft_stop_rad + DEMO.safety.stop_margin_rad
    for foot in FEET:
        assert fold_rad(trace[foot]).max() < most_rad
        assert not (trace[foot]["fault_bits"] & END_STOP).any()


@given(presses(), st.integers(0, 1000))
def test_a_leg_re_aimed_in_mid_air_never_sees_its_setpoint_jump(raises, seed):
    trace = walk(MARCHING, RANDOM_S, seed, raises)
    most_q6 = SETTINGS.accel_step_q6
    for foot in FEET:
        # Only when it is visited does a leg's setpoint move.
        leg = trace[foot][FIRST_VISIT[foot] :: VISIT_TICKS]
        setpoint_q6 = leg["setpoint_cdeg_q6"]
        step_q6 = np.diff(setpoint_q6)
        moving = np.isin(leg["phase"], MOVING)
        middle = np.flatnonzero(moving[:-2] & moving[1:-1] & moving[2:]) + 1
        change_q6 = abs(np.diff(step_q6))[middle - 1]
        # The last step onto a target is what is left of the way, less than one change.
        at_target = np.isin(setpoint_q6, TARGETS_Q6)
        arrived = at_target[middle] | at_target[middle + 1]
        # A foot that has met something on its way down stops the rope at once.
        behind_cdeg = leg["fold_cdeg"][middle + 1] + 1 - setpoint_q6[middle] / 64
        stopped = (step_q6[middle] == 0) & (behind_cdeg > SETTINGS.lag_cdeg)
        assert (change_q6 <= np.where(arrived, 2 * most_q6, most_q6))[~stopped].all()
        # And it sets off from rest.
        assert abs(step_q6[~moving[:-1] & moving[1:]]).max(initial=0) <= most_q6


@given(presses(), st.integers(0, 1000))
def test_a_standing_leg_draws_nothing_and_every_rope_is_within_its_strength(raises, seed):
    trace = walk(MARCHING, RANDOM_S, seed, raises)
    for foot in FEET:
        assert not trace[foot]["drive_permille"][trace[foot]["phase"] <= STANDING].any()
        assert trace[foot]["tension_peak_N"].max() < DEMO.rope.breaking_N / WANTS.rope_factor
        assert trace[foot]["current_peak_A"].max() <= DEMO.controller.current_limit_A
