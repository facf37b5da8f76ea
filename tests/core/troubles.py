"""What goes wrong, or what a wearer does at an odd moment: each to one leg of a walk.

A function does something to a walk and steps it for as long as that takes; what it leaves in
place stays until the walk recovers.
"""

from fields import STATE_NAMES
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING, STOOPING
from walk import DEMO, SIDES

ALL = (OFF, STANDING, LIFTING, HELD, LOWERING, RELEASING, STOOPING)
UP = (LIFTING, HELD)


def pot_open(walk, side):
    walk.legs[side].ill.stuck[walk.rng.randrange(2)] = 4095


def pot_shorted(walk, side):
    walk.legs[side].ill.stuck[walk.rng.randrange(2)] = 0


def pot_slips(walk, side):
    walk.legs[side].ill.slipped_cdeg[walk.rng.randrange(2)] = 1500


def pot_turns(walk, side):
    # Slowly, so that no single reading is out of the way; the other pot turns against it.
    for _ in range(40):
        walk.legs[side].ill.slipped_cdeg[0] += 65
        walk.legs[side].ill.slipped_cdeg[1] -= 65
        walk.run(1)


def pot_freezes(walk, side):
    walk.legs[side].ill.stuck[0] = walk.leg(side).thigh.count
    pushed(walk, side, 20, 2000)


def spike(walk, side):
    # One tick at a time: the last good count stands for it and no fault may come of it.
    for _ in range(6):
        walk.legs[side].ill.stuck[0] = walk.rng.choice((0, 900, 4095))
        walk.run(1)
        walk.legs[side].ill.stuck[0] = None
        walk.run(walk.rng.randrange(3, 9))


def jammed(walk, side):
    walk.legs[side].ill.jammed = True
    walk.run(300)


def hangs(walk, side):
    walk.legs[side].ill.floor_cdeg = 6900
    walk.legs[side].ill.sole_reads = 0
    walk.foot(side, 0)
    walk.until(side, STANDING)
    walk.run(160)


def kicked_past_the_stop(walk, side):
    # In leaps that no filter takes for a rate, and faster than the leg is let down meanwhile.
    for _ in range(4):
        walk.legs[side].ill.push_cdeg += 800
        walk.run(8)


def pushed_a_little(walk, side):
    walk.legs[side].ill.push_cdeg = walk.rng.choice((-700, -300, 300, 700))


def pushed(walk, side, by_cdeg, most_cdeg=600.0):
    """Push the fold on from tick to tick, however the leg is driven."""
    ill = walk.legs[side].ill
    while abs(ill.push_cdeg) < most_cdeg:
        ill.push_cdeg += by_cdeg
        walk.run(1)


def thrown(walk, side):
    pushed(walk, side, 80, 1600)


def pulled_down_under_drive(walk, side):
    walk.legs[side].ill.load_permille = 120
    walk.run(60)
    pushed(walk, side, -9)


def snapped(walk, side):
    walk.legs[side].ill.snapped = True


def never_rests(walk, side):
    for _ in range(14):
        walk.foot(side, 1)
        walk.run(300)
        walk.foot(side, 0)
        walk.run(20)


def on_a_step(walk, side):
    walk.legs[side].ill.floor_cdeg = walk.legs[side].fold_cdeg - 150


def weight(walk, side):
    walk.legs[side].ill.sole_reads = 1
    walk.run(40)


def no_weight(walk, side):
    walk.legs[side].ill.sole_reads = 0
    walk.run(80)


def raised_under_weight(walk, side):
    walk.legs[side].ill.sole_reads = 1
    walk.foot(side, 1)
    walk.run(DEMO["asked_ticks"] + 20)


def switch_stuck(walk, side):
    walk.foot(side, 1)
    walk.run(DEMO["stuck_ticks"] + 40)


def one_leg_steps(walk, side):
    # The same one again and again; the other one's switch is never seen to close.
    for _ in range(DEMO["unseen_lifts"] + 1):
        walk.foot(1 - side, 1)
        walk.run(20)
        walk.foot(1 - side, 0)
        walk.until(1 - side, STANDING, 120)


def disarmed(walk, side):
    walk.board["arm"] = 0


def disarmed_and_armed(walk, side):
    walk.board["arm"] = 0
    walk.run(walk.rng.randrange(1, 60))
    walk.board["arm"] = 1


def disarmed_for_a_tick(walk, side):
    # Once in the turn of either leg.
    for _ in range(2):
        walk.board["arm"] = 0
        walk.run(1)
        walk.board["arm"] = 1
        walk.run(100)
        walk.recover()
        walk.reach(side, HELD)
        walk.run(walk.rig.turn % 2)


def let_go(walk, side):
    walk.foot(side, 0)


def raised_again(walk, side):
    walk.foot(side, 0)
    walk.run(walk.rng.randrange(4, 40))
    walk.foot(side, 1)


def forgotten(walk, side):
    walk.foot(side, 1)
    walk.run(DEMO["hold_ticks"] + 150)


def overloaded(walk, side):
    # It creeps up, too fast for a stall and too slow ever to arrive.
    walk.legs[side].ill.jammed = True
    for _ in range(DEMO["hold_ticks"] + 50):
        walk.legs[side].ill.push_cdeg += 2.2
        walk.run(1)


def stuck_short_of_its_height(walk, side):
    # Not far enough for a stall, nor for a hot winding; too far to have arrived.
    leg = walk.legs[side]
    while leg.fold_cdeg < DEMO["lift_fold_cdeg"] - 140 and walk.leg(side).phase == LIFTING:
        walk.run(1)
    leg.ill.jammed = True
    walk.run(DEMO["hold_ticks"])


def both_feet(walk, side):
    walk.raised = [1, 1]


def chattering(walk, side):
    walk.chatter[side] = 50
    walk.run(50)


def battery_low(walk, side):
    walk.board["battery_mV"] = 17000
    walk.run(DEMO["battery_ticks"] + 20)


def supply_dips(walk, side):
    walk.board["supply_mV"] = 4000


def stick_open(walk, side):
    walk.board["stick_count"] = walk.rng.choice((0, 4095))


def stick_away(walk, side):
    # Held aside, as nobody should while arming.
    walk.board["stick_count"] = walk.rng.choice((1500, 2600))
    walk.board["arm"] = 1 - walk.board["arm"]
    walk.run(70)


def stooped_and_risen(walk, side):
    for count, ticks in ((3800, 700), (2048, 20), (300, 800)):
        walk.board["stick_count"] = count
        walk.run(ticks)


def stooped_for_long(walk, side):
    walk.board["stick_count"] = 2048
    walk.run(DEMO["stoop_ticks"] - 450)
    walk.board["stick_count"] = 3800
    walk.run(200)


def stepping_while_stooped(walk, side):
    walk.board["stick_count"] = 1400
    for _ in range(6):
        walk.foot(side, 1)
        walk.run(60)
        walk.foot(side, 0)
        walk.run(30)


def heavier_than_the_spring(walk, side):
    # Weight holds the fold above where the rope would have it.
    for _ in range(50):
        walk.legs[side].ill.floor_cdeg += 20
        walk.run(1)
    for count in (3800, 2048, 300):
        walk.board["stick_count"] = count
        walk.run(250)


def jammed_while_it_rises(walk, side):
    walk.board["stick_count"] = 300
    walk.run(20)
    walk.legs[side].ill.jammed = True
    walk.run(DEMO["apart_ticks"] + 300)


def stick_pushed_on_one_foot(walk, side):
    # Raised under weight, then not raised and without weight: neither may begin a stoop.
    walk.legs[side].ill.sole_reads = 1
    walk.foot(side, 1)
    walk.run(20)
    walk.board["stick_count"] = 3800
    walk.run(30)
    walk.board["stick_count"] = 2048
    walk.foot(side, 0)
    walk.run(30)
    walk.legs[side].ill.sole_reads = 0
    walk.board["stick_count"] = 3800
    walk.run(30)


def off_the_ground(walk, side):
    for crude in walk.legs:
        crude.ill.sole_reads = 0
    walk.run(80)


def stick_held_while_a_foot_is_up(walk, side):
    walk.board["stick_count"] = 3800
    walk.run(30)
    walk.foot(side, 0)
    walk.until(side, STANDING)
    walk.run(60)


def host_falls_silent(walk, side):
    walk.board["host"] = walk.board["host_heard"] = 1
    walk.run(20)
    walk.board["host_heard"] = 0
    walk.run(DEMO["host_ticks"] + 20)


def late(walk, side):
    for missed in (1, 0, 1, 0, 0, 3, 100):
        walk.board["missed_ticks"] = missed
        walk.run(4)


def hung(walk, side):
    walk.board["was_hung"] = 1


def stop_pressed(walk, side, ticks=30):
    walk.board["stop"] = 1
    walk.run(ticks)


def settings_lost(walk, side):
    walk.board["settings_bad"] = 1


def drive_spoilt(walk, side):
    spoil(walk, side, "drive_permille", 1 << 12)


def phase_spoilt(walk, side):
    spoil(walk, side, "phase_not", 1 << 4)


def phase_spoilt_at_a_cut(walk, side):
    # In the very tick in which the other leg, whose turn it is, is cut.
    while walk.rig.turn % 2 != side:
        walk.run(1)
    stop_pressed(walk, side, 0)
    phase_spoilt(walk, side)


def counter_spoilt(walk, side):
    # All bits turned over: less than nothing.
    spoil(walk, side, "chatter", -1)


def spoil(walk, side, name, bits):
    walk.flip = (STATE_NAMES.index(f"{SIDES[side]}.{name}") + 1, bits)


def switch_worn(walk, side):
    walk.chatter[side] = 1500
    walk.run(1500)


# Each with the phases in which it strikes.
TROUBLES = (
    (pot_open, ALL),
    (pot_shorted, ALL),
    (pot_slips, ALL),
    (pot_turns, ALL),
    (pot_freezes, (OFF, STANDING, LOWERING)),
    (spike, ALL),
    (jammed, ALL),
    (hangs, UP),
    (kicked_past_the_stop, ALL),
    (pushed_a_little, ALL),
    (thrown, UP),
    (pulled_down_under_drive, UP),
    (snapped, UP),
    (never_rests, (HELD,)),
    (on_a_step, ALL),
    (weight, ALL),
    (no_weight, ALL),
    (raised_under_weight, (STANDING,)),
    (switch_stuck, (OFF, STANDING)),
    (one_leg_steps, (STANDING,)),
    (disarmed, ALL),
    (disarmed_and_armed, ALL),
    (disarmed_for_a_tick, (STANDING, HELD)),
    (let_go, ALL),
    (raised_again, ALL),
    (forgotten, ALL),
    (overloaded, UP),
    (stuck_short_of_its_height, (LIFTING,)),
    (both_feet, ALL),
    (chattering, ALL),
    (battery_low, (OFF, HELD)),
    (supply_dips, ALL),
    (stick_open, ALL),
    (stick_away, (OFF, STANDING)),
    (stooped_and_risen, (STANDING,)),
    (stooped_for_long, (STOOPING,)),
    (stepping_while_stooped, (STOOPING,)),
    (heavier_than_the_spring, (STANDING,)),
    (jammed_while_it_rises, (STOOPING,)),
    (stick_pushed_on_one_foot, (STANDING,)),
    (off_the_ground, (STOOPING,)),
    (stick_held_while_a_foot_is_up, (LIFTING, HELD)),
    (host_falls_silent, (OFF, HELD)),
    (late, ALL),
    (hung, ALL),
    (stop_pressed, ALL),
    (drive_spoilt, (LIFTING, LOWERING, STOOPING)),
)
# What only a reset takes away, or a long time: each ends a stream of its own.
LASTING = (
    (settings_lost, ALL),
    (phase_spoilt, ALL),
    (phase_spoilt_at_a_cut, (HELD,)),
    (counter_spoilt, ALL),
    (switch_worn, (OFF,)),
)
