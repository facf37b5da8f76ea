"""What a stick or a pot asks of a wing, where its setpoint goes, what bounds its drive, a tick."""

from array import array
from functools import partial

import pytest
from legcore import faults
from legcore.model import make
from legcore.phases import LIFTING
from legcore.wing_command import aim_wing, called, estimate_wing
from legcore.wing_model import POT_COMMAND, STICK_COMMAND
from legcore.wing_phases import CUT, FOLLOWING, NOTHING, OFF, RELEASE, RELEASING, RESTING
from legcore.wing_step import limit_wing, step_frame, step_wings
from walk import fill_settings
from wing_scene import SETTINGS, UP_CDEG, put_pose, scene

FAST_Q6, ACCEL_Q6, LAG_CDEG = 400, 40, 250
MOVES = {
    "follow_step_q6": FAST_Q6,
    "release_step_q6": 200,
    "accel_step_q6": ACCEL_Q6,
    "lag_cdeg": LAG_CDEG,
    "angle_alpha_q8": 256,
    "rate_alpha_q8": 256,
    "jump_count": 60,
    "drive_max_permille": 900,
    "slew_permille": 1000,
    "stop_gain_q8": 512,
    "stop_ahead_q10": 128,
    "pulse_neutral_us": 1500,
    "pulse_span_us": 500,
}
LOWERED, RAISED, REST = (SETTINGS[f"{name}_cdeg"] for name in ("lowered", "raised", "rest_fold"))
SIGNS = pytest.mark.parametrize("sign", [1, -1], ids=["up", "down"])


def moving(phase=FOLLOWING, asked=0, **changes):
    s = scene(phase, **(MOVES | changes))
    s.wing.asked = asked
    s.wing.law_on = 1
    return s


def aimed(s, visits=1):
    for _ in range(visits):
        aim_wing(s.wing, s.settings)
        s.wing.fold_cdeg_q4 = s.wing.setpoint_cdeg_q6 >> 2
    return s.wing.step_cdeg_q6


# Pot and command.


def cals():
    cal = make("Calibration")
    cal.count[:] = array("i", (1000, 1500, 2000, 2500, 3000))
    cal.angle_cdeg[:] = array("i", (-2000, -1000, 0, 4000, 8000))
    cal.low_count, cal.high_count = 900, 3100
    command = make("Calibration")
    command.count[:] = cal.count
    command.angle_cdeg[:] = array("i", (-1500, 0, 0, 0, 1500))
    command.low_count, command.high_count = 900, 3100
    return cal, command


def read(s, pot, command):
    s.wing.pot.count, s.wing.command.count = pot, command
    estimate_wing(s.wing, *cals(), s.settings)
    return s.wing


def test_the_first_visit_starts_at_what_is_read_where_both_wipers_are_on_their_tracks():
    for pot, command, starts in (
        *((2500, 2000, 1), (900, 3100, 1), (3100, 900, 1)),
        *((899, 2000, 0), (3101, 2000, 0), (2500, 899, 0), (2500, 3101, 0)),
    ):
        s = moving()
        s.wing.primed = 0
        wing = read(s, pot, command)
        assert wing.primed == starts
        assert wing.rate_cdps == 0
        assert (wing.pot.good_count, wing.command.good_count) == (pot, command)
    assert read(moving(), 2000, 3000).asked == 1500


def test_a_hand_is_quicker_than_a_wing_so_only_the_wings_own_pot_may_not_leap():
    s = moving()
    s.wing.primed = 0
    read(s, 2000, 1000)
    wing = read(s, 2500, 3000)
    assert (wing.fold_cdeg, wing.asked) == (0, 1500)
    assert (wing.pot.bad_ticks, wing.command.bad_ticks) == (2, 0)
    # A wiper that leaves its track for a moment leaves the command where it was.
    wing = read(s, 2000, 0)
    assert (wing.asked, wing.command.bad_ticks) == (1500, 2)


def test_a_stick_calls_for_motion_and_a_pot_for_another_pose_than_rest():
    for asked, by_stick, by_pot in (
        (0, 0, 0),
        (1, 1, 0),
        (-1, 1, 0),
        (REST + 300, 1, 0),
        (REST + 301, 1, 1),
        (REST - 301, 1, 1),
    ):
        for kind, expected in ((STICK_COMMAND, by_stick), (POT_COMMAND, by_pot)):
            s = moving(asked=asked, command_kind=kind)
            assert called(s.wing, s.settings) == expected


# The setpoint.


@SIGNS
def test_a_stick_moves_the_wing_towards_an_end_as_fast_as_it_asks_and_no_faster_than_it_may(sign):
    for asked_cdps, most_q6 in ((100, 100 * 64 // 125), (700, 700 * 64 // 125), (3000, FAST_Q6)):
        s = moving(asked=sign * asked_cdps)
        speeds = [aimed(s) for _ in range(30)]
        assert max(abs(speed) for speed in speeds) == most_q6
        assert speeds[0] == sign * min(ACCEL_Q6, most_q6)
        assert s.wing.target_cdeg == (RAISED if sign > 0 else LOWERED)


@SIGNS
def test_a_wing_stops_softly_at_its_ends_and_stays_there(sign):
    end = RAISED if sign > 0 else LOWERED
    s = moving(asked=sign * 9000)
    put_pose(s.wing, end - sign * 400)
    before = 0
    for _ in range(120):
        speed = aimed(s)
        assert abs(speed - before) <= 2 * ACCEL_Q6
        assert (end * 64 - s.wing.setpoint_cdeg_q6) * sign >= 0
        before = speed
    assert s.wing.setpoint_cdeg_q6 == end * 64
    assert before == 0


def test_let_go_a_wing_stays_where_it_can_stop():
    s = moving(asked=9000)
    aimed(s, 8)
    s.wing.asked = 0
    speeds = [aimed(s) for _ in range(10)]
    assert speeds == [*range(speeds[0], 0, -ACCEL_Q6), *[0] * (10 - speeds[0] // ACCEL_Q6)]
    assert s.wing.setpoint_cdeg_q6 < RAISED * 64


def test_a_pot_asks_for_a_pose_and_for_none_past_the_ends():
    for asked, target in ((5000, 5000), (RAISED + 1, RAISED), (LOWERED - 1, LOWERED)):
        s = moving(asked=asked, command_kind=POT_COMMAND)
        aimed(s, 1000)
        assert s.wing.target_cdeg == target
        assert s.wing.setpoint_cdeg_q6 == target * 64


def test_released_a_wing_goes_to_hang_at_its_own_speed_whatever_is_asked():
    for kind in (STICK_COMMAND, POT_COMMAND):
        s = moving(RELEASING, asked=9000, command_kind=kind)
        speeds = [aimed(s) for _ in range(1400)]
        assert min(speeds) == -200
        assert s.wing.setpoint_cdeg_q6 == REST * 64


@SIGNS
def test_the_setpoint_waits_for_a_wing_that_cannot_follow_either_way_it_goes(sign):
    for behind_q6, waits in ((LAG_CDEG * 64, False), (LAG_CDEG * 64 + 4, True)):
        s = moving(asked=sign * 9000)
        s.wing.step_cdeg_q6 = sign * 100
        s.wing.fold_cdeg_q4 = (UP_CDEG * 64 - sign * behind_q6) // 4
        assert aimed(s) == sign * (100 - ACCEL_Q6 if waits else 100 + ACCEL_Q6)


# The drive. No spring straightens a wing, so both its ends push back.


@SIGNS
def test_near_an_end_a_wing_is_driven_in_proportion_to_the_room_and_back_past_it(sign):
    end = SETTINGS["fold_max_cdeg" if sign > 0 else "fold_min_cdeg"]
    for room_cdeg in (500, 450, 100, 1, 0, -1, -100, -450, -2000):
        s = moving()
        put_pose(s.wing, end - sign * room_cdeg)
        s.wing.wanted_permille = sign * 1000
        limit_wing(s.wing, s.settings)
        assert s.wing.drive_permille == sign * max(-900, min(900, 2 * room_cdeg))
        # Away from it, as hard as may be.
        s.wing.drive_permille = 0
        s.wing.wanted_permille = -sign * 1000
        limit_wing(s.wing, s.settings)
        assert s.wing.drive_permille == -sign * 900


@SIGNS
def test_a_wing_in_motion_brakes_as_if_it_were_an_eighth_of_a_second_ahead(sign):
    s = moving()
    put_pose(s.wing, SETTINGS["fold_max_cdeg" if sign > 0 else "fold_min_cdeg"] - sign * 300)
    s.wing.rate_cdps = sign * 800
    s.wing.wanted_permille = sign * 1000
    limit_wing(s.wing, s.settings)
    assert s.wing.drive_permille == sign * 400


# The tick.


def on_their_tracks(s):
    for side, wing in (("left", s.wings.left), ("right", s.wings.right)):
        pot, command = cals()
        for name, cal in (("pot", pot), ("command", command)):
            kept = getattr(s.settings, f"{side}_{name}")
            kept.count[:], kept.angle_cdeg[:] = cal.count, cal.angle_cdeg
            kept.low_count, kept.high_count = cal.low_count, cal.high_count
        wing.primed = 0
        wing.pot.count, wing.command.count = 2025, 2000
    return s


def test_wings_are_visited_in_turn_and_rest_with_neutral_drives():
    s = on_their_tracks(scene(**MOVES))
    for turn, visited in ((1, s.wings.right), (2, s.wings.left)):
        step_wings(s.wings)
        assert s.wings.turn == turn
        assert visited.pulse_us == 1500
        assert visited.primed
    assert s.wings.left.fold_cdeg == s.wings.right.fold_cdeg == REST


def test_a_stick_pushed_raises_a_wing_and_a_cut_takes_power_from_both_at_once():
    s = on_their_tracks(scene(kp_q16=6554, **MOVES))
    s.wings.left.command.count = 3000
    for _ in range(12):
        step_wings(s.wings)
    assert (s.wings.left.phase, s.wings.right.phase) == (FOLLOWING, RESTING)
    assert s.wings.left.setpoint_cdeg_q6 > REST * 64
    assert s.wings.left.drive_permille > 0
    # The next turn is the right one's; the left one does not wait for its own.
    s.wings.stop = 1
    step_wings(s.wings)
    assert (s.wings.left.phase, s.wings.left.drive_permille, s.wings.contactor) == (OFF, 0, 0)


def frame():
    rig = make("Rig")
    fill_settings(rig.settings)
    s = on_their_tracks(scene(**MOVES))
    s.wings.slot = 2
    return rig, s.wings


def test_of_three_ticks_one_is_a_wings():
    rig, wings = frame()
    turns = []
    for _ in range(6):
        step_frame(rig, wings)
        turns.append((wings.slot, rig.turn, wings.turn))
    assert turns == [(0, 1, 0), (1, 2, 0), (2, 2, 1), (0, 3, 1), (1, 4, 1), (2, 4, 2)]


@pytest.mark.parametrize("holder", ["", "left", "right"])
def test_each_side_hears_of_the_others_faults(holder):
    """A cut of the legs cuts the wings too; whatever befalls the wings, the legs are let down."""
    for bit, told in ((0, NOTHING), (faults.BATTERY, RELEASE), (faults.END_STOP, CUT)):
        rig, wings = frame()
        (getattr(rig, holder) if holder else rig).fault_bits = bit
        # All else well.
        rig.supply_mV, rig.battery_mV, rig.stick_count = 5000, 22800, 2048
        step_frame(rig, wings)
        assert wings.elsewhere == told
        # The wings' own tick may be two away: power goes now.
        assert wings.contactor == (0 if told == CUT else 1)
        rig, wings = frame()
        wings.slot = 1
        (getattr(wings, holder) if holder else wings).fault_bits = bit
        step_frame(rig, wings)
        assert rig.elsewhere == bit


def beside():
    """Two joints of one board that wait while the others have their tick: wings, then legs."""
    for slot, phase in ((0, FOLLOWING), (1, LIFTING)):
        rig, wings = frame()
        wings.slot = slot
        pair = rig if slot else wings
        for joint in (pair.left, pair.right):
            joint.phase, joint.phase_not = phase, -1 - phase
        yield pair, partial(step_frame, rig, wings)


@SIGNS
@pytest.mark.parametrize("name", ["left", "right"])
@pytest.mark.parametrize("output", ["pulse_us", "drive_permille"])
def test_an_output_that_a_memory_error_has_widened_does_not_wait_for_its_joints_turn(
    output, name, sign
):
    for past, kept in ((0, True), (1, False)):
        for pair, tick in beside():
            joint, settings = getattr(pair, name), pair.settings
            neutral_us = settings.pulse_neutral_us
            widest = {
                "pulse_us": neutral_us + sign * settings.pulse_span_us,
                "drive_permille": sign * settings.drive_max_permille,
            }
            widest[output] += sign * past
            for field, value in widest.items():
                setattr(joint, field, value)
            tick()
            left_as_it_is = [joint.pulse_us, joint.drive_permille] == list(widest.values())
            assert left_as_it_is == kept
            assert kept or (joint.pulse_us, joint.drive_permille) == (neutral_us, 0)


@SIGNS
@pytest.mark.parametrize("name", ["left", "right"])
@pytest.mark.parametrize("output", ["pulse_us", "drive_permille"])
def test_nor_does_any_of_a_joint_that_rests(output, name, sign):
    for pair, tick in beside():
        joint, neutral_us = getattr(pair, name), pair.settings.pulse_neutral_us
        joint.phase, joint.phase_not = RESTING, -1 - RESTING
        joint.pulse_us = neutral_us
        setattr(joint, output, getattr(joint, output) + sign)
        tick()
        assert (joint.pulse_us, joint.drive_permille) == (neutral_us, 0)


@pytest.mark.parametrize("still_on", [(), ("left",), ("right",), ("left", "right")])
def test_a_contactor_is_closed_between_their_ticks_only_for_joints_that_are_not_off(still_on):
    for pair, tick in beside():
        for name in {"left", "right"} - set(still_on):
            joint = getattr(pair, name)
            joint.phase, joint.phase_not = OFF, -1 - OFF
        pair.contactor = 1
        tick()
        assert pair.contactor == (1 if still_on else 0)
