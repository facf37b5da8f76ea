"""One tick of a pair of wings, and one of a board that has legs and wings."""

import micropython

from legcore.faults import CUT_BITS
from legcore.law import control
from legcore.limits import give_pulse, pass_on
from legcore.step import rest, step
from legcore.wing_command import aim_wing, estimate_wing
from legcore.wing_phases import CUT, OFF, RELEASE, RESTING
from legcore.wing_supervise import supervise_wing
from legcore.wing_watch import judge_wing


@micropython.native
def step_wings(wings):
    """Run one tick of a pair of wings, as `legcore.step.step` does of two legs."""
    settings = wings.settings
    turn = wings.turn + 1 & 31
    wings.turn = turn
    if turn & 1:
        wing = wings.right
        other = wings.left
        cal = settings.right_pot
        command_cal = settings.right_command
    else:
        wing = wings.left
        other = wings.right
        cal = settings.left_pot
        command_cal = settings.left_command
    estimate_wing(wing, cal, command_cal, settings)
    judge_wing(wings, wing, cal)
    supervise_wing(wings, wing, other)
    if wing.phase <= RESTING:
        rest(wing, settings)
    else:
        aim_wing(wing, settings)
        control(wing, settings)
        limit_wing(wing, settings)
        give_pulse(wing, settings)
    # A cut does not wait for the other wing's turn.
    if other.phase <= RESTING and other.drive_permille:
        rest(other, settings)


@micropython.native
def limit_wing(wing, settings):
    """Turn `wanted_permille` into `drive_permille` of one moving wing.

    As with a leg, an end stop brakes before the limit; but both ends push back where they
    are passed, for no spring does.
    """
    most = settings.drive_max_permille
    least = -most
    # Budgets: 20000 x 512 = 1.0e7; (18000 + 36000 + 10000) x 8192 = 5.2e8.
    ahead = wing.fold_cdeg + (wing.rate_cdps * settings.stop_ahead_q10 >> 10)
    gain = settings.stop_gain_q8
    upper = (settings.fold_max_cdeg - ahead) * gain >> 8
    lower = (settings.fold_min_cdeg - ahead) * gain >> 8
    wanted = wing.wanted_permille
    if wanted > upper:
        wanted = upper
    if wanted < lower:
        wanted = lower
    if wanted > most:
        wanted = most
    elif wanted < least:
        wanted = least
    pass_on(wing, settings, wanted)


@micropython.native
def step_frame(rig, wings):
    """Run one tick of a board with two legs and two wings: of three ticks one is a wing's.

    So no tick costs more than the dearer of the two, a leg is visited every third tick and
    a wing every sixth. The board writes what both share (arm, stop, supplies) into both, and
    closes the contactor while either wants it. Each side hears of the other's faults: a cut of
    the legs cuts the wings too; whatever befalls the wings, the legs are let down.
    """
    slot = wings.slot + 1
    if slot > 2:
        slot = 0
    wings.slot = slot
    if slot == 2:
        step_wings(wings)
        keep_within(rig)
        rig.elsewhere = wings.fault_bits | wings.left.fault_bits | wings.right.fault_bits
    else:
        step(rig)
        if slot == 1:
            # In every round once between theirs; the tick before has more to do in a stoop.
            keep_within(wings)
        faults = rig.fault_bits | rig.left.fault_bits | rig.right.fault_bits
        wings.elsewhere = 0
        if faults & CUT_BITS:
            wings.elsewhere = CUT
            # The wings' own tick may be two away.
            wings.contactor = 0
        elif faults:
            wings.elsewhere = RELEASE


@micropython.native
def keep_within(pair):
    """Make neutral what a memory error has made of two joints' outputs between their own ticks.

    Where legs and wings take turns, a joint's own visit may be five ticks away.
    """
    settings = pair.settings
    left = pair.left
    right = pair.right
    neutral = settings.pulse_neutral_us
    span = settings.pulse_span_us
    most = settings.drive_max_permille
    away = left.pulse_us - neutral
    drive = left.drive_permille
    if left.phase <= RESTING:
        if away or drive:
            rest(left, settings)
    elif not (-span <= away <= span and -most <= drive <= most):
        rest(left, settings)
    away = right.pulse_us - neutral
    drive = right.drive_permille
    if right.phase <= RESTING:
        if away or drive:
            rest(right, settings)
    elif not (-span <= away <= span and -most <= drive <= most):
        rest(right, settings)
    if left.phase == OFF and right.phase == OFF:
        pair.contactor = 0
