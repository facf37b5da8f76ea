"""Judge what is seen against the fault table; what changes slowly is looked at in turn."""

import micropython
from micropython import const

from legcore.faults import (
    ADRIFT,
    AGAINST,
    ASKED,
    BATTERY,
    END_STOP,
    HANGING,
    HOST,
    LATE,
    LINKAGE,
    MEMORY,
    MISMATCH,
    POT_FROZEN,
    POT_HIGH,
    POT_JUMP,
    POT_LOW,
    RATE,
    SETTINGS,
    SLACK,
    STALL,
    STICK,
    STOP,
    SUPPLY,
    SWITCH_CHATTER,
    SWITCH_STUCK,
    SWITCH_UNSEEN,
    UNASKED,
    UNBORNE,
    WATCHDOG,
    WEIGHT,
)
from legcore.heat import warm, work
from legcore.model import ROUND_TICKS, VISIT_TICKS
from legcore.phases import HELD, OFF, STANDING, STOOPING
from legcore.stages import GANTRY
from legcore.stick import heed

# What a missed period adds to the score of lateness; a tick in time takes one off.
_MISSED = const(16)
_LATE_MAX = const(1000)


@micropython.native
def judge(rig, leg, other, thigh_cal, shank_cal):
    """Set the fault bits that hold now: of the leg that this tick visits, and of the board."""
    settings = rig.settings
    watch_board(rig)
    ticks = settings.pot_ticks
    if leg.thigh.bad_ticks >= ticks:
        leg.fault_bits |= pot_fault(leg.thigh, thigh_cal)
    if leg.shank.bad_ticks >= ticks:
        leg.fault_bits |= pot_fault(leg.shank, shank_cal)
    # A leg that is off may still have power: while the other one is let down.
    if leg.phase != OFF or rig.contactor:
        watch_motion(leg, settings)
    # The rest changes slowly and is looked at in turn, so that no tick has much more to do
    # than another.
    turn = rig.turn & 7
    if turn < 2:
        watch_joints(leg, settings)
    elif turn < 4:
        watch_contacts(leg, other, settings)
    elif turn < 6:
        if rig.turn & 8:
            work(leg, rig)
        elif rig.turn & 16:
            warm(leg, settings)
        else:
            scrub(leg, rig)
    elif turn == 6:
        watch_supplies(rig)
    else:
        watch_hands(rig)


@micropython.native
def watch_board(rig):
    """What the board says of itself, every tick."""
    if rig.stop:
        rig.fault_bits |= STOP
    if rig.settings_bad:
        rig.fault_bits |= SETTINGS
    if rig.was_hung:
        rig.was_hung = 0
        rig.fault_bits |= WATCHDOG
    # A period missed now and then is no harm; many close together are.
    late = rig.late
    if rig.missed_ticks:
        late += rig.missed_ticks * _MISSED
        if late > _LATE_MAX:
            late = _LATE_MAX
        rig.late = late
        if late >= rig.settings.late_most:
            rig.fault_bits |= LATE
    elif late > 0:
        rig.late = late - 1


@micropython.native
def watch_joints(leg, settings):
    """Both pots of one leg: alive, and of one mind."""
    thigh = leg.thigh
    shank = leg.shank
    # A fold that goes on while one joint never moves: that joint's sensor is frozen.
    few = settings.frozen_count
    if thigh.moved == 0 and abs(thigh.good_count - thigh.mark_count) > few:
        thigh.moved = 1
    if shank.moved == 0 and abs(shank.good_count - shank.mark_count) > few:
        shank.moved = 1
    fold = leg.fold_cdeg
    if abs(fold - leg.mark_cdeg) > settings.frozen_cdeg:
        if thigh.moved != shank.moved:
            leg.fault_bits |= POT_FROZEN
        leg.mark_cdeg = fold
        thigh.mark_count = thigh.good_count
        shank.mark_count = shank.good_count
        thigh.moved = 0
        shank.moved = 0

    skew = (thigh.angle_cdeg_q4 - shank.angle_cdeg_q4 >> 4) - settings.skew_cdeg
    if abs(skew) <= settings.skew_most_cdeg:
        leg.skew_ticks = 0
    elif leg.skew_ticks < settings.skew_ticks:
        leg.skew_ticks += ROUND_TICKS
    else:
        leg.fault_bits |= LINKAGE


@micropython.native
def pot_fault(joint, cal):
    """Which fault the count of a pot shows that has been bad for too long."""
    if joint.count < cal.low_count:
        return POT_LOW
    if joint.count > cal.high_count:
        return POT_HIGH
    return POT_JUMP


@micropython.native
def watch_motion(leg, settings):
    """Where a leg with power is, against its end stop; if it moves, how it moves."""
    if leg.fold_cdeg <= settings.fold_max_cdeg + settings.stop_margin_cdeg:
        leg.stop_ticks = 0
    elif leg.stop_ticks < settings.stop_ticks:
        leg.stop_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= END_STOP
    if leg.phase > STANDING:
        watch_drive(leg, settings)
        watch_path(leg, settings)
        return
    # Weight folds a standing leg only so far.
    if leg.fold_cdeg <= settings.rest_fold_cdeg + settings.sunk_cdeg:
        leg.sunk_ticks = 0
    elif leg.sunk_ticks < settings.sunk_ticks:
        leg.sunk_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= UNASKED


@micropython.native
def watch_drive(leg, settings):
    """What a strong drive upward does to a moving leg: nothing, or the wrong thing.

    Paying out against a foot that has landed is the slack guard's business, so this counts
    only where the motor pulls. Motion is measured over the whole time, not tick by tick: a
    rate near zero is all noise.
    """
    weak = 1 if leg.drive_permille < settings.stall_drive_permille else 0
    if leg.phase == STOOPING and leg.setpoint_cdeg_q6 - leg.fold_cdeg * 64 <= (
        settings.apart_cdeg * 64
    ):
        # A stoop is slow, and pots are noisy: a leg that follows it is not measured by its gain.
        weak = 1
    if weak:
        leg.stall_ticks = 0
        leg.against_ticks = 0
        return
    if leg.stall_ticks == 0:
        leg.stall_ticks = VISIT_TICKS
        leg.stall_from_cdeg = leg.fold_cdeg
    elif leg.stall_ticks < settings.stall_ticks:
        leg.stall_ticks += VISIT_TICKS
    else:
        leg.stall_ticks = 0
        if leg.fold_cdeg - leg.stall_from_cdeg < settings.stall_move_cdeg:
            leg.fault_bits |= STALL
    if leg.rate_cdps >= -settings.against_cdps:
        leg.against_ticks = 0
    elif leg.against_ticks < settings.against_ticks:
        leg.against_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= AGAINST


@micropython.native
def watch_path(leg, settings):
    """How fast a moving leg goes, how far from its setpoint, and whether it bears.

    The setpoint waits for the leg (`setpoint.aim`), so far apart only a broken rope, a push
    from below, a motor that runs by itself or a changed memory can bring them. Lowering, a
    foot that meets the ground early, and is then loaded, is no fault.
    """
    if abs(leg.rate_cdps) <= settings.rate_most_cdps:
        leg.rate_ticks = 0
    elif leg.rate_ticks < settings.rate_ticks:
        leg.rate_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= RATE
    lead = (leg.setpoint_cdeg_q6 >> 6) - leg.fold_cdeg
    if lead <= settings.adrift_cdeg:
        leg.adrift_ticks = 0
    elif leg.adrift_ticks < settings.adrift_ticks:
        leg.adrift_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= ADRIFT
    down = 1 if leg.phase > HELD else 0
    # May weight alone have folded it so far?
    borne = leg.sole if down else 0
    if leg.phase == STOOPING:
        if leg.fold_cdeg > settings.rest_fold_cdeg + settings.sunk_cdeg:
            borne = 0
        if abs(lead) <= settings.apart_cdeg:
            leg.apart_ticks = 0
        elif leg.apart_ticks < settings.apart_ticks:
            leg.apart_ticks += VISIT_TICKS
        else:
            leg.fault_bits |= MISMATCH
    if lead >= -settings.push_cdeg or borne:
        leg.push_ticks = 0
    elif leg.push_ticks < settings.push_ticks:
        leg.push_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= SLACK
    if down or leg.sole == 0:
        leg.weight_ticks = 0
    elif leg.weight_ticks < settings.weight_ticks:
        leg.weight_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= WEIGHT


@micropython.native
def watch_contacts(leg, other, settings):
    """Foot switch and sole contact of one leg, once a turn."""
    phase = leg.phase
    # The foot switch.
    if leg.pressed:
        leg.unseen_lifts = 0
        if leg.pressed_ticks < settings.stuck_ticks:
            leg.pressed_ticks += ROUND_TICKS
        else:
            leg.fault_bits |= SWITCH_STUCK
    else:
        leg.pressed_ticks = 0
    if leg.chatter >= settings.chatter_most:
        leg.fault_bits |= SWITCH_CHATTER
    if leg.chatter > 0:
        leg.chatter -= 1
    if leg.unseen_lifts >= settings.unseen_lifts:
        leg.fault_bits |= SWITCH_UNSEEN

    # The sole. On a stand no foot bears, so there it never says anything.
    if leg.sole == 0 or phase != STANDING or leg.pressed == 0:
        leg.asked_ticks = 0
    elif leg.asked_ticks < settings.asked_ticks:
        leg.asked_ticks += ROUND_TICKS
    else:
        leg.fault_bits |= ASKED
    if leg.sole or (phase != STANDING and phase != STOOPING):
        leg.unborne_ticks = 0
        leg.hanging_ticks = 0
        return
    # Of two legs that stoop, one may do without the ground for a while.
    borne = 1 if other.phase <= STANDING else 0
    if phase == STOOPING:
        borne = other.sole
    if borne or settings.stage < GANTRY:
        leg.unborne_ticks = 0
    elif leg.unborne_ticks < settings.unborne_ticks:
        leg.unborne_ticks += ROUND_TICKS
    else:
        leg.fault_bits |= UNBORNE
    # Free of weight, the spring's preload straightens a leg wholly, or something holds it.
    if phase == STOOPING or leg.fold_cdeg <= settings.rest_fold_cdeg + settings.hanging_cdeg:
        leg.hanging_ticks = 0
    elif leg.hanging_ticks < settings.hanging_ticks:
        leg.hanging_ticks += ROUND_TICKS
    else:
        leg.fault_bits |= HANGING


@micropython.native
def watch_supplies(rig):
    """Battery and the board's own supply, once a turn."""
    settings = rig.settings
    if rig.battery_mV >= settings.battery_least_mV:
        rig.battery_ticks = 0
    elif rig.battery_ticks < settings.battery_ticks:
        rig.battery_ticks += ROUND_TICKS
    else:
        rig.fault_bits |= BATTERY
    if rig.supply_mV >= settings.supply_least_mV:
        rig.supply_ticks = 0
    elif rig.supply_ticks < settings.supply_ticks:
        rig.supply_ticks += ROUND_TICKS
    else:
        rig.fault_bits |= SUPPLY


@micropython.native
def watch_hands(rig):
    """The stick, and the host while it is in charge, once a turn."""
    settings = rig.settings
    if settings.stick_low_count <= rig.stick_count <= settings.stick_high_count:
        rig.stick_ticks = 0
        heed(rig, settings)
    elif rig.stick_ticks < settings.stick_ticks:
        rig.stick_ticks += ROUND_TICKS
        rig.stick_step_q6 = 0
        if rig.left.phase != STOOPING:
            # A leg may step while nobody sees the stick.
            rig.stick_ready = 0
    else:
        rig.fault_bits |= STICK
    if rig.host == 0 or rig.host_heard:
        rig.host_heard = 0
        rig.host_ticks = 0
    elif rig.host_ticks < settings.host_ticks:
        rig.host_ticks += ROUND_TICKS
    else:
        rig.fault_bits |= HOST


@micropython.native
def scrub(leg, rig):
    """No counter is ever negative; one that is would keep its fault from tripping for hours."""
    # The sign of all of them ORed together is that of any negative one.
    signs = leg.switch_ticks | leg.phase_ticks | leg.skew_ticks | leg.stop_ticks | leg.sunk_ticks
    signs |= leg.stall_ticks | leg.against_ticks | leg.rate_ticks | leg.adrift_ticks
    signs |= leg.push_ticks | leg.apart_ticks | leg.pressed_ticks | leg.chatter | leg.unseen_lifts
    signs |= leg.weight_ticks | leg.asked_ticks | leg.unborne_ticks | leg.hanging_ticks
    signs |= leg.slack_ticks | leg.relay_ticks | leg.thigh.bad_ticks | leg.shank.bad_ticks
    signs |= leg.winding_mK_q8 | leg.case_mK_q8 | leg.copper_mW | leg.turning_mW
    signs |= rig.battery_ticks | rig.supply_ticks | rig.stick_ticks | rig.host_ticks
    signs |= rig.late | rig.arm_ticks
    if signs < 0:
        leg.fault_bits |= MEMORY
