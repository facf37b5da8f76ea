"""The control law of one leg: PID on the fold, with what is known beforehand fed forward."""

import micropython

from legcore.faults import STALL
from legcore.model import (
    ERROR_MAX_CDEG,
    FEEDFORWARD_POINTS,
    SETPOINT_RATE_MAX_CDPS,
    VISIT_TICKS,
)
from legcore.phases import HELD
from legcore.stages import STAND

_LAST_SEGMENT = FEEDFORWARD_POINTS - 2


@micropython.native
def control(leg, settings):
    """Set `wanted_permille` of one moving leg, positive folding it.

    The derivative acts on the measured rate, so a setpoint that moves off does not
    kick. The tables over fold hold the drive that carries the spring, and the drive
    that each cdeg/s of setpoint needs; the integral has only the rest to find.
    """
    setpoint_cdeg = leg.setpoint_cdeg_q6 >> 6
    error = setpoint_cdeg - leg.fold_cdeg
    if error > ERROR_MAX_CDEG:
        error = ERROR_MAX_CDEG
    elif error < -ERROR_MAX_CDEG:
        error = -ERROR_MAX_CDEG

    # Feed-forward between two points of the tables.
    step_cdeg = settings.table_step_cdeg
    past = setpoint_cdeg - settings.table_start_cdeg
    if past < 0:
        past = 0
    i = past // step_cdeg
    if i > _LAST_SEGMENT or i < 0:
        # Never below 0 but by a memory error, which must not read past the table.
        i = _LAST_SEGMENT
        past = step_cdeg * (_LAST_SEGMENT + 1)
    past -= i * step_cdeg
    hold = settings.hold_permille
    feed = hold[i] * 65536 + (hold[i + 1] - hold[i]) * past // step_cdeg * 65536
    if settings.relay_permille and leg.phase == HELD and settings.stage <= STAND:
        swing(leg, settings, feed, error)
        return
    table = settings.speed_q16
    speed_q16 = table[i] + (table[i + 1] - table[i]) * past // step_cdeg
    rate = leg.step_cdeg_q6 * settings.visit_hz >> 6
    if rate > SETPOINT_RATE_MAX_CDPS:
        rate = SETPOINT_RATE_MAX_CDPS
    elif rate < -SETPOINT_RATE_MAX_CDPS:
        rate = -SETPOINT_RATE_MAX_CDPS
    # Budget, all q16: hold 6.6e7, speed 32768 x 10000 = 3.3e8, P 65536 x 4000 = 2.6e8,
    # D 8192 x 20000 = 1.6e8, integral 6.6e7; together 8.9e8 of 1.07e9.
    feed += speed_q16 * rate + settings.kp_q16 * error - settings.kd_q16 * leg.rate_cdps

    integral = leg.integral_q16
    most = settings.integral_permille * 65536
    if leg.law_on == 0:
        # Bumpless start: the integral takes up the difference to the drive of now.
        leg.law_on = 1
        integral = leg.drive_permille * 65536 - feed
    else:
        # Anti-windup: no integration further into what held the drive back last tick.
        blocked = leg.wanted_permille - leg.drive_permille
        if not ((blocked > 0 and error > 0) or (blocked < 0 and error < 0)):
            integral += settings.ki_q16 * error
    if integral > most:
        integral = most
    elif integral < -most:
        integral = -most
    leg.integral_q16 = integral

    wanted = feed + integral >> 16
    if wanted > 1000:
        wanted = 1000
    elif wanted < -1000:
        wanted = -1000
    leg.wanted_permille = wanted


@micropython.native
def swing(leg, settings, feed, error):
    """The relay experiment: instead of PID a fixed drive up or down about what carries the leg.

    It turns round where the fold is farther than `relay_cdeg` on the wrong side, so the leg
    swings as it would at its ultimate gain, but no harder than this. The integral stays what it
    was, or the law that lets the foot down would first have to unlearn the last push. Limits, end
    stops and all faults stay as they are. A leg that does not turn round in time is blocked, or
    its sensors are: a stall, whichever way it is pushed.
    """
    hold = feed >> 16
    push = settings.relay_permille
    # The way of its last push; at first that in which the law drove.
    last = -push if leg.wanted_permille < hold else push
    if error < -settings.relay_cdeg:
        push = -push
    elif error <= settings.relay_cdeg:
        push = last
    if push != last or leg.phase_ticks == 0:
        leg.relay_ticks = 0
    elif leg.relay_ticks < settings.relay_ticks:
        leg.relay_ticks += VISIT_TICKS
    else:
        leg.fault_bits |= STALL
    # Budget: hold 1000 and push 500.
    leg.wanted_permille = max(-1000, min(1000, hold + push))
