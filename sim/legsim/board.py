"""The board around the control core: its loop, watchdog, relay and the inputs it fills.

This is what the firmware's own loop does, in the form that compiled code can run; what the
core decides is the core's own.
"""

from typing import Any

from legsim import core
from legsim.compiled import native
from legsim.sensors import FULL_SCALE, sense_leg

step = core.compiled()["step"].step

# Settings are compared with their copy a few words a tick: all of them in a fraction of a
# second, at a cost that no tick notices.
WORDS_A_TICK = 4
# From reset until the loop runs again (common practice, no source).
BOOT_S = 1.0


@native
def sense(state: Any, rig: Any, core_rig: Any) -> None:
    """Write every input of the core but the arm input and the board's own."""
    board = state.board
    sense_leg(state.left, rig, state, core_rig.left)
    sense_leg(state.right, rig, state, core_rig.right)
    core_rig.stop = int(board.stop)
    core_rig.battery_mV = int(state.bus_V * (1 + rig.sensors.battery_error) * 1000)
    core_rig.supply_mV = int((rig.sensors.supply_V - board.supply_dip_V) * 1000)
    stick = rig.sensors.stick_rest + state.stick * rig.sensors.stick_throw + board.stick_ill
    stick = min(max(stick, 0.0), 1.0)
    core_rig.stick_count = 0 if board.stick_ill == 1 else int(stick * FULL_SCALE)
    core_rig.host = 1 if board.host > 0 else 0
    if board.host == 1:
        core_rig.host_heard = 1


@native
def check_settings(board: Any, words: Any, sealed: Any) -> int:
    """Compare the next few words of the settings with their copy; 1 if one has changed."""
    at = int(board.checked)
    for _ in range(WORDS_A_TICK):
        if words[at] != sealed[at]:
            return 1
        at = (at + 1) % len(sealed)
    board.checked = at
    return 0


@native
def reset(board: Any, core_rig: Any, words: Any, fresh: Any) -> None:
    """Start the board anew after its watchdog bit: settings read again, nothing armed."""
    for i in range(len(fresh)):
        words[i] = fresh[i]
    core_rig.was_hung = 1
    board.unfed_s = 0.0
    board.hung = 0.0
    board.checked = 0.0
    board.missed_ticks = 0.0
    board.boot_s = BOOT_S


@native
def ready(state: Any, rig: Any, core_rig: Any, words: Any, fresh: Any, sealed: Any) -> int:
    """One period of the board up to the core's step: 1 if the core is to step now.

    `words` are all integers of `core_rig`, `fresh` the same at start, `sealed` a copy of
    those that are settings.
    """
    board = state.board
    period_s = rig.control.period_s
    if board.crashed != 0:
        neutral(core_rig)
        return 0
    if board.boot_s > 0:
        # Outputs are inputs with a pull-down until the program runs: no pulse, relay open.
        board.boot_s -= period_s
        neutral(core_rig)
        return 0
    board.unfed_s += period_s
    if board.unfed_s > rig.control.watchdog_s:
        reset(board, core_rig, words, fresh)
        neutral(core_rig)
        return 0
    if board.hung != 0:
        return 0
    if board.missed_ticks < board.late_ticks:
        board.missed_ticks += 1
        return 0
    core_rig.missed_ticks = int(board.missed_ticks)
    board.missed_ticks = 0.0
    if board.settings_bad != 0 or check_settings(board, words, sealed):
        core_rig.settings_bad = 1
    return 1


@native
def feed(board: Any, core_rig: Any) -> None:
    """After the core's step: only a tick that came in time feeds the watchdog."""
    if core_rig.missed_ticks == 0:
        board.unfed_s = 0.0


@native
def board_tick(state: Any, rig: Any, core_rig: Any, words: Any, fresh: Any, sealed: Any) -> None:
    """One period of the board: the core steps, unless the board cannot."""
    if ready(state, rig, core_rig, words, fresh, sealed):
        step(core_rig)
        feed(state.board, core_rig)


@native
def neutral(core_rig: Any) -> None:
    """What the outputs are while no program drives them."""
    core_rig.contactor = 0
    core_rig.left.drive_permille = 0
    core_rig.right.drive_permille = 0
    core_rig.left.pulse_us = 0
    core_rig.right.pulse_us = 0
