"""The relay experiment at the bench: each leg in turn is lifted on its stand and swings a little.

The board's own core swings it. Settings for it are given before arming, judged by the board,
never kept, and put back after: a board that restarts has forgotten them.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from math import radians

import numpy as np
from legcore.model import FEEDFORWARD_POINTS
from legcore.phases import HELD, OFF, STANDING
from legcore.stages import STAND
from legsim.core import word_of
from legsim.tables import STAGES, fault_names

from hocklift.checking import settings
from hocklift.checking.bench import Bench
from hocklift.checking.ticks import LEGS, Look, Ticks, fault_bits, phase_is
from hocklift.errors import BoardError, HockliftError
from hocklift.loops.relay import swing_of
from hocklift.loops.swung import Swung

_STAGE = STAGES[STAND]
# Under what counts as a stall, so that an ordinary swing never is one: a blocked leg is told
# by the time that it takes to turn round, whichever way it is pushed.
_PUSH_SHARE = 0.75
# Of the noise at rest, and at least two steps of a pot: the relay must not follow either.
_NOISES = 3.0
_LEAST_CDEG = 20
# Farther than the setpoint may lead while lifting, and no more.
_BAND_PAST_LAG_CDEG = 100
# A leg that has not turned round in this time is blocked.
_TURN_S = 0.5
# The core ends the experiment when the foot has been up for the longest time; so long before
# that it is put down.
_EARLY_S = 0.5
_LOOK_S = 0.5


def check_stage(bench: Bench) -> None:
    """BoardError unless the board has been commissioned as far as the stand."""
    if bench.hello.values["settings_state"] != 0:
        raise BoardError(
            f"{bench.device.transport.name}: the board has no good settings; put them on with"
            " hocklift flash, then run hocklift check up to the stage stand"
        )
    if bench.setting("stage") < STAND:
        raise BoardError(
            f"{bench.device.transport.name}: the board is at the stage"
            f" {STAGES[bench.setting('stage')].name}, expected {_STAGE.name} or later; run"
            " hocklift check first: it opens the stages"
        )


def swing_both(bench: Bench) -> list[Swung]:
    """Swing the left leg, then the right one; the board has its own settings again after."""
    bench.device.send("every", 1)
    try:
        # Whatever posing the legs has set off is nobody's fault any more.
        bench.acknowledge()
        bench.seen = Ticks([], bench.period_s)
        with _relay_settings(bench) as (push, band_rad), bench.armed() as armed:
            if not armed:
                raise BoardError(
                    f"{bench.device.transport.name}: the board gives no power:"
                    f" {' '.join(bench.notes()) or 'the arm input was not seen held'}"
                )
            swung = [_swing(bench, leg, push, band_rad) for leg in range(len(LEGS))]
    finally:
        with suppress(HockliftError):
            bench.device.send("every", 0)
    return swung


@contextmanager
def _relay_settings(bench: Bench) -> Iterator[tuple[float, float]]:
    """The rig's settings at the stage stand, with a relay; gives push and band."""
    before = settings.read(bench.device)
    then = settings.wanted(bench.rig, _STAGE.name, before)

    def setting(name: str) -> int:
        return then[word_of(f"settings.{name}")]

    band_cdeg = max(_LEAST_CDEG, round(_NOISES * _noise_cdeg(bench)))
    push = _push_permille(bench, then)
    travel_cdeg = setting("lag_cdeg") + _BAND_PAST_LAG_CDEG
    for name, value in {
        "relay_permille": push,
        "relay_cdeg": band_cdeg,
        "relay_ticks": round(_TURN_S / bench.period_s),
        "adrift_cdeg": min(setting("adrift_cdeg"), travel_cdeg),
        "push_cdeg": min(setting("push_cdeg"), travel_cdeg),
    }.items():
        then[word_of(f"settings.{name}")] = value
    try:
        _put(bench, then)
        yield push / 1000, radians(band_cdeg / 100)
    finally:
        with suppress(HockliftError):
            _put(bench, before)


def _push_permille(bench: Bench, then: list[int]) -> int:
    """How hard the relay pushes; BoardError where what carries the leg leaves it nothing."""
    names = [f"settings.hold_permille[{i}]" for i in range(FEEDFORWARD_POINTS)]
    hold = max(then[word_of(name)] for name in names)
    limits = [then[word_of(f"settings.{name}_permille")] for name in ("stall_drive", "drive_max")]
    push = min(round(_PUSH_SHARE * min(limits)), min(limits) - hold - 1)
    if push <= then[word_of("settings.drive_min_permille")]:
        raise BoardError(
            f"{bench.device.transport.name}: to hold a leg takes {hold} permille of drive, and"
            f" {min(limits)} are a stall or the most: that leaves nothing to swing it with; look"
            " at hocklift size, or raise safety.stall_drive"
        )
    return push


def _put(bench: Bench, then: list[int]) -> None:
    """Give the board these settings, not kept."""
    now = settings.read(bench.device)
    for i, (old, new) in enumerate(zip(now, then, strict=True)):
        if old != new:
            bench.device.send("set", i, new)
    bench.words = list(then)


def _noise_cdeg(bench: Bench) -> float:
    """How far a fold at rest wanders, as the core sees it: standard deviation, either leg."""
    ticks = bench.watch(_LOOK_S)
    return max(float(np.std(ticks[f"{leg}_fold_cdeg"])) for leg in LEGS)


def _swing(bench: Bench, leg: int, push: float, band_rad: float) -> Swung:
    """Lift one leg, let it swing, put it down."""
    name = LEGS[leg]
    hold_s = bench.setting("hold_ticks") * bench.period_s
    path_cdeg = bench.setting("lift_fold_cdeg") - bench.setting("rest_fold_cdeg")
    lift_s = 1.0 + 1.5 * path_cdeg * 64 * bench.visit_s / bench.setting("lift_step_q6")
    bench.press(leg, True)
    up = bench.watch(lift_s, phase_is(leg, HELD, OFF))
    held = bench.watch(max(hold_s - _EARLY_S, 0.0), _not_in(leg, HELD))
    bench.press(leg, False)
    down = bench.watch(
        bench.setting("down_ticks") * bench.period_s + 1.0, phase_is(leg, STANDING, OFF)
    )
    rows = [row for row in up.rows + held.rows if row[f"{name}_phase"] == HELD]
    bits = 0
    for row in up.rows + held.rows + down.rows:
        bits |= fault_bits(row)
    ticks = Ticks(rows, bench.period_s)
    time_s = ticks.time_s
    fold_rad = np.radians(ticks[f"{name}_fold_cdeg"] / 100)
    drive = ticks[f"{name}_drive_permille"] / 1000
    return Swung(
        name,
        time_s.tolist(),
        fold_rad.tolist(),
        drive.tolist(),
        swing_of(time_s, fold_rad, drive, push, band_rad),
        fault_names(bits),
    )


def _not_in(leg: int, phase: int) -> Look:
    name = f"{LEGS[leg]}_phase"
    return lambda values: bool(values[name] != phase)
