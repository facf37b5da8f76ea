"""Judge what is seen of a wing against its fault table; either way it goes."""

import micropython

from legcore.faults import (
    ADRIFT,
    AGAINST,
    END_STOP,
    MEMORY,
    RATE,
    STALL,
    STICK,
    UNASKED,
)
from legcore.heat import warm, work
from legcore.model import VISIT_TICKS
from legcore.watch import pot_fault, watch_board, watch_supplies
from legcore.wing_phases import OFF, RESTING


@micropython.native
def judge_wing(wings, wing, cal):
    """Set the fault bits that hold now: of the wing that this tick visits, and of the board."""
    settings = wings.settings
    watch_board(wings)
    if wing.pot.bad_ticks >= settings.pot_ticks:
        wing.fault_bits |= pot_fault(wing.pot, cal)
    if wing.command.bad_ticks >= settings.stick_ticks:
        wing.fault_bits |= STICK
    # A wing that is off may still have power: while the other one is brought down.
    if wing.phase != OFF or wings.contactor:
        watch_wing(wing, settings)
    # The rest changes slowly and is looked at in turn, at the places that a leg has for it.
    turn = wings.turn & 7
    if turn == 6:
        watch_supplies(wings)
    elif 4 <= turn < 6:
        if wings.turn & 8:
            work(wing, wings)
        elif wings.turn & 16:
            warm(wing, wings.settings)
        else:
            scrub_wing(wing, wings)


@micropython.native
def watch_wing(wing, settings):
    """Where a wing with power is, against its end stops; if it moves, how it moves."""
    fold = wing.fold_cdeg
    margin = settings.stop_margin_cdeg
    if settings.fold_min_cdeg - margin <= fold <= settings.fold_max_cdeg + margin:
        wing.stop_ticks = 0
    elif wing.stop_ticks < settings.stop_ticks:
        wing.stop_ticks += VISIT_TICKS
    else:
        wing.fault_bits |= END_STOP
    if wing.phase > RESTING:
        watch_wing_drive(wing, settings)
        watch_wing_path(wing, settings)
        return
    away = fold - settings.rest_fold_cdeg
    if -settings.sunk_cdeg <= away <= settings.sunk_cdeg:
        wing.sunk_ticks = 0
    elif wing.sunk_ticks < settings.sunk_ticks:
        wing.sunk_ticks += VISIT_TICKS
    else:
        wing.fault_bits |= UNASKED


@micropython.native
def watch_wing_drive(wing, settings):
    """What a strong drive does to a moving wing: nothing, or the wrong thing.

    Motion is measured over the whole time, not visit by visit: a rate near zero is all noise.
    """
    drive = wing.drive_permille
    rate = wing.rate_cdps
    moved = wing.fold_cdeg - wing.stall_from_cdeg
    if drive < 0:
        drive = -drive
        rate = -rate
        moved = -moved
    if drive < settings.stall_drive_permille:
        wing.stall_ticks = 0
        wing.against_ticks = 0
        return
    if wing.stall_ticks == 0:
        wing.stall_ticks = VISIT_TICKS
        wing.stall_from_cdeg = wing.fold_cdeg
    elif wing.stall_ticks < settings.stall_ticks:
        wing.stall_ticks += VISIT_TICKS
    else:
        wing.stall_ticks = 0
        if moved < settings.stall_move_cdeg:
            wing.fault_bits |= STALL
    if rate >= -settings.against_cdps:
        wing.against_ticks = 0
    elif wing.against_ticks < settings.against_ticks:
        wing.against_ticks += VISIT_TICKS
    else:
        wing.fault_bits |= AGAINST


@micropython.native
def watch_wing_path(wing, settings):
    """How fast a moving wing goes, and how far from its setpoint, which waits for it."""
    if abs(wing.rate_cdps) <= settings.rate_most_cdps:
        wing.rate_ticks = 0
    elif wing.rate_ticks < settings.rate_ticks:
        wing.rate_ticks += VISIT_TICKS
    else:
        wing.fault_bits |= RATE
    if abs((wing.setpoint_cdeg_q6 >> 6) - wing.fold_cdeg) <= settings.adrift_cdeg:
        wing.adrift_ticks = 0
    elif wing.adrift_ticks < settings.adrift_ticks:
        wing.adrift_ticks += VISIT_TICKS
    else:
        wing.fault_bits |= ADRIFT


@micropython.native
def scrub_wing(wing, wings):
    """No counter is ever negative; one that is would keep its fault from tripping for hours."""
    # The sign of all of them ORed together is that of any negative one.
    signs = wing.phase_ticks | wing.stop_ticks | wing.sunk_ticks | wing.stall_ticks
    signs |= wing.against_ticks | wing.rate_ticks | wing.adrift_ticks
    signs |= wing.pot.bad_ticks | wing.command.bad_ticks
    signs |= wing.winding_mK_q8 | wing.case_mK_q8
    signs |= wings.battery_ticks | wings.supply_ticks | wings.late | wings.arm_ticks
    if signs < 0:
        wing.fault_bits |= MEMORY
