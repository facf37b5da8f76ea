"""How warm each motor's winding must be by now: two bodies, warmed by current and by turning.

The board measures no current. A motor that moves as it should carries what spring and
weight ask for, which the feed-forward table tells, and what its rotor asks for to change
speed with the setpoint; drive that stays far beyond that and the motor's own back-EMF is
taken for current, up to what the speed controller lets through.
"""

import micropython
from micropython import const

from legcore.faults import HOT
from legcore.model import (
    FEEDFORWARD_POINTS,
    POWER_MAX_MW,
    RATE_MAX_CDPS,
    SETPOINT_RATE_MAX_CDPS,
    WARMTH_MAX_MK,
)
from legcore.phases import STANDING

_LAST = FEEDFORWARD_POINTS - 1
# From one look at a motor's work to the next, twice in a long round: eight visits.
_WORK_SHIFT = const(3)
_WARMEST_Q8 = WARMTH_MAX_MK * 256


@micropython.native
def current_permille(leg, rig, back, speed_q16, hold):
    """Current that a leg's motor must carry now, in permille of that at rest on full drive."""
    settings = rig.settings
    meant = 0
    current = 0
    over_q4 = -leg.over_q4
    if leg.phase > STANDING:
        current = hold
        meant = leg.step_cdeg_q6 * settings.visit_hz >> 6
        if meant > SETPOINT_RATE_MAX_CDPS:
            meant = SETPOINT_RATE_MAX_CDPS
        elif meant < -SETPOINT_RATE_MAX_CDPS:
            meant = -SETPOINT_RATE_MAX_CDPS
        meant = meant * speed_q16 >> 16
        # Budget: 1000 x 100000 = 1.0e8.
        drive = leg.drive_permille * rig.battery_mV // settings.usual_mV
        over_q4 += (drive - back - hold) * 16
    # What turns the rotor faster and slower. Budget: 10000 x 4096 = 4.1e7.
    current += abs(meant - leg.meant_permille) * settings.heat_accel_q8 >> 8
    leg.meant_permille = meant
    # A motor follows its drive late; over two seconds what it lags when a move begins and
    # when it ends cancels, and what stays is current.
    over_q4 = leg.over_q4 + (over_q4 >> 5)
    leg.over_q4 = over_q4
    over = abs(over_q4) >> 4
    if leg.phase > STANDING and over > settings.heat_doubt_permille:
        current += over
    if current > settings.heat_most_permille:
        return settings.heat_most_permille
    return current


@micropython.native
def work(leg, rig):
    """Add what one leg's motor now makes of heat, twice a long round."""
    settings = rig.settings
    i = (leg.fold_cdeg - settings.table_start_cdeg) // settings.table_step_cdeg
    if i < 0:
        i = 0
    elif i > _LAST:
        i = _LAST
    speed_q16 = settings.speed_q16[i]
    # Motion since the last look: a rate of one moment is mostly noise.
    rate = (leg.fold_cdeg - leg.warmed_cdeg) * settings.visit_hz >> _WORK_SHIFT
    leg.warmed_cdeg = leg.fold_cdeg
    if rate > RATE_MAX_CDPS:
        rate = RATE_MAX_CDPS
    elif rate < -RATE_MAX_CDPS:
        rate = -RATE_MAX_CDPS
    # Budget: 20000 x 32768 = 6.6e8. Back-EMF, in permille of the battery's usual voltage.
    back = rate * speed_q16 >> 16
    current = current_permille(leg, rig, back, speed_q16, settings.hold_permille[i])
    back = abs(back)
    if back > 1000:
        back = 1000
    # Budgets: 62500 x 16384 = 1.02e9; 1000 x 8192 = 8.2e6; 976 x 32768 = 3.2e7.
    copper_mW = (current * current >> 4) * settings.heat_copper_q6 >> 2
    if copper_mW > POWER_MAX_MW:
        copper_mW = POWER_MAX_MW
    turning_mW = back * settings.heat_turn_q8 >> 8
    turning_mW += (back * back >> 10) * settings.heat_turn2_q16 >> 6
    if turning_mW > POWER_MAX_MW:
        turning_mW = POWER_MAX_MW
    # Bounded also where the turn that spends them was lost.
    leg.copper_mW = copper_mW + min(leg.copper_mW, POWER_MAX_MW)
    leg.turning_mW = turning_mW + min(leg.turning_mW, POWER_MAX_MW)


@micropython.native
def warm(leg, settings):
    """Advance the warmth of one leg's winding and case over the air, once a long round."""
    # The mean of two looks.
    copper_mW = leg.copper_mW >> 1
    turning_mW = leg.turning_mW >> 1
    leg.copper_mW = 0
    leg.turning_mW = 0
    winding = leg.winding_mK_q8
    case = leg.case_mK_q8
    # Budgets: 16250 x 65536 = 1.06e9; 12500 x 85000 = 1.06e9; 4.2e6 x 256 = 1.06e9.
    across = (winding - case >> 12) * settings.heat_cross_q12 >> 8
    winding += ((copper_mW >> 4) * settings.heat_warm_q8 >> 4) - across
    # Cooling reckons with the case as it was, which is within its range.
    cooled = (case >> 12) * settings.heat_cool_q12 >> 8
    case += ((turning_mW >> 4) * settings.heat_case_q8 >> 4) - cooled
    case += across * settings.heat_share_q8 >> 8
    leg.winding_mK_q8 = max(0, min(_WARMEST_Q8, winding))
    leg.case_mK_q8 = max(0, min(_WARMEST_Q8, case))
    if winding >= settings.hot_mK * 256:
        leg.fault_bits |= HOT
