"""What goes wrong with a wing, or what a hand does at an odd moment: each to one wing of a walk.

As in `troubles.py`, of which those that concern the whole board strike wings, too.
"""

from frame_walk import DOWN_COUNT, REST_COUNT, UP_COUNT
from kinds import SIDES
from legcore.wing_phases import FOLLOWING, OFF, RELEASING, RESTING
from troubles import (
    battery_low,
    disarmed,
    disarmed_and_armed,
    hung,
    late,
    stop_pressed,
    supply_dips,
)

# A stick just beside its middle.
SLOWLY_UP_COUNT, SLOWLY_DOWN_COUNT = 2475, 1620
ALL = (OFF, RESTING, FOLLOWING, RELEASING)
MOVING = (FOLLOWING, RELEASING)


def pot_open(walk, side):
    walk.crude_wings[side].ill.stuck = 4095


def pot_shorted(walk, side):
    walk.crude_wings[side].ill.stuck = 0


def pot_slips(walk, side):
    walk.crude_wings[side].ill.slipped_cdeg = 3000.0


def spike(walk, side):
    # The last good count stands for a single bad one.
    for _ in range(6):
        walk.crude_wings[side].ill.stuck = walk.rng.choice((0, 1200, 4095))
        walk.run(1)
        walk.crude_wings[side].ill.stuck = None
        walk.run(walk.rng.randrange(6, 12))


def command_open(walk, side):
    walk.crude_wings[side].ill.command_stuck = walk.rng.choice((0, 4095))


def command_lifts_off(walk, side):
    # For too short a time: it asks on for what it asked.
    walk.crude_wings[side].ill.command_stuck = 0
    walk.run(2)
    walk.crude_wings[side].ill.command_stuck = None


def command_away(walk, side):
    # Held aside, as nobody should while arming.
    walk.commands[side] = DOWN_COUNT
    walk.board["arm"] = 1 - walk.board["arm"]
    walk.run(70)


def both_ways(walk, side):
    # To either end, and left there.
    for count in (UP_COUNT, DOWN_COUNT):
        walk.commands[side] = count
        walk.run(700)
        walk.commands[side] = REST_COUNT
        walk.run(60)


def back_to_rest(walk, side):
    # From above and from below, slowly at last, until its weight alone keeps it.
    for away, slowly, sign in ((UP_COUNT, SLOWLY_DOWN_COUNT, 1), (DOWN_COUNT, SLOWLY_UP_COUNT, -1)):
        walk.commands[side] = away
        walk.run(40)
        walk.commands[side] = slowly
        at_most = 900
        while walk.wing(side).setpoint_cdeg_q6 * sign > 0 and at_most:
            walk.run(1)
            at_most -= 1
        walk.commands[side] = REST_COUNT
        walk.run(60)


def let_go(walk, side):
    walk.commands[side] = REST_COUNT
    walk.run(60)


def jams(walk, side):
    walk.crude_wings[side].ill.jammed = True
    walk.run(500)


def caught_short_of_rest(walk, side):
    # Its setpoint gets there, and waits.
    crude = walk.crude_wings[side]
    at_most = 900
    while crude.fold_cdeg > 300 and at_most:
        walk.run(1)
        at_most -= 1
    crude.ill.jammed = True
    walk.run(60)


def overloaded(walk, side):
    walk.crude_wings[side].ill.load_permille = 900.0
    walk.run(200)


def pushes_in_vain(walk, side):
    walk.crude_wings[side].ill.load_permille = 300.0
    walk.run(600)


def runs_up(walk, side):
    walk.crude_wings[side].ill.runs_cdps = 2500.0
    walk.run(200)


def runs_down(walk, side):
    walk.crude_wings[side].ill.runs_cdps = -2500.0
    walk.run(200)


def thrown(walk, side):
    walk.crude_wings[side].ill.runs_cdps = walk.rng.choice((-15000.0, 15000.0))
    walk.run(60)


def past_its_end(walk, side):
    # Neither so slowly that it is a stall, nor so fast that it goes against its drive; and no foot
    # is up for so long.
    walk.raised = [0, 0]
    walk.commands[side] = UP_COUNT
    walk.run(700)
    walk.crude_wings[side].ill.runs_cdps = 900.0
    walk.run(200)


def until_its_tick(walk, side):
    # The wings' next tick is that of this one.
    while walk.wings.slot != 1 or (walk.wings.turn + 1) % 2 != side:
        walk.tick()


def disarmed_for_a_tick(walk, side):
    # And that tick was the other wing's.
    until_its_tick(walk, 1 - side)
    walk.board["arm"] = 0
    walk.tick()
    walk.board["arm"] = 1


def drive_spoilt(walk, side):
    # On the way up, and on the way down; in its own tick, and in the other wing's.
    walk.raised = [0, 0]
    for count, sign in ((UP_COUNT, 1), (DOWN_COUNT, -1)):
        walk.commands[side] = count
        at_most = 400
        while walk.wing(side).drive_permille * sign < 100 and at_most:
            walk.run(1)
            at_most -= 1
        for when in (side, 1 - side):
            until_its_tick(walk, when)
            spoil(walk, side, "drive_permille", 1 << 12)
            walk.run(20)


def phase_spoilt(walk, side):
    spoil(walk, side, "phase_not", 1 << 4)


def phase_spoilt_at_a_cut(walk, side):
    # In the very tick in which the other wing, whose turn it is, is cut.
    until_its_tick(walk, 1 - side)
    stop_pressed(walk, side, 0)
    phase_spoilt(walk, side)


def counter_spoilt(walk, side):
    # All bits turned over: less than nothing.
    spoil(walk, side, "stall_ticks", -1)


def spoil(walk, side, name, bits):
    word = walk.kind.state_names.index(f"wings.{SIDES[side]}.{name}")
    walk.flip = (word + 1, bits)


def settings_lost(walk, side):
    walk.board["settings_bad"] = 1


# Each with the phases of the wing in which it strikes.
WING_TROUBLES = (
    (pot_open, ALL),
    (pot_shorted, ALL),
    (pot_slips, ALL),
    (spike, ALL),
    (command_open, ALL),
    (command_lifts_off, ALL),
    (command_away, (OFF, RESTING)),
    (both_ways, (FOLLOWING,)),
    (back_to_rest, (RESTING,)),
    (let_go, MOVING),
    (jams, MOVING),
    (caught_short_of_rest, (RELEASING,)),
    (overloaded, MOVING),
    (runs_up, ALL),
    (runs_down, ALL),
    (thrown, ALL),
    (past_its_end, (FOLLOWING,)),
    (drive_spoilt, (FOLLOWING,)),
    (disarmed, ALL),
    (disarmed_for_a_tick, (FOLLOWING,)),
    (disarmed_and_armed, ALL),
    (battery_low, ALL),
    (supply_dips, ALL),
    (late, ALL),
    (hung, ALL),
    (stop_pressed, ALL),
)
# What only a reset takes away: each ends a stream of its own.
WING_LASTING = (
    (settings_lost, ALL),
    (phase_spoilt, ALL),
    (phase_spoilt_at_a_cut, (FOLLOWING,)),
    (counter_spoilt, ALL),
)
