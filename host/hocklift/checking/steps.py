"""The steps of commissioning, in order: what is done, what is measured, what must come of it.

Limits are those of the rig file and of the stage wherever they have one.
"""

from dataclasses import dataclass
from math import degrees
from typing import Any

import numpy as np
from legcore.faults import STALL, STOP
from legcore.phases import HELD, OFF, STANDING, STOOPING
from legsim.tables import STAGES
from legwire.kept import STATES

from hocklift.checking.asker import Act
from hocklift.checking.bench import Bench, Figure, Measure, no, yes
from hocklift.checking.ticks import (
    LEGS,
    SOLE,
    SWITCH,
    Ticks,
    contact_is,
    fault_bits,
    flag_is,
    in_order,
    phase_is,
)

# A joint that is turned by hand turns at least so far; one that is left alone stays within.
TURNED_DEG = 4.0
STILL_DEG = 2.0
# The wire's ticks are so fine, and the board looks at each leg every second one.
_TICK_SLACK_S = 0.03
# A cut is for both legs in the same tick; a tick may be lost on the way.
_CUT_S = 0.012
_SUPPLY_MOST_V = 5.5
_CELL_MOST_V = 4.25
# A stick that is pushed all the way reads at least so much of what full speed asks for.
_PUSHED_SHARE = 0.9
# How long a stoop is watched with the stick let go.
_LET_GO_S = 5.0
# Of the fold's speed, for the filter's ripple and the spring's help.
_SPEED_OVER = 1.5
_NEAR_DEG = 2.0
LIFTS = 3


@dataclass(frozen=True)
class Step:
    """One step for one leg or for the board; `moves` where a motor may turn."""

    name: str
    stage: str
    leg: int
    moves: bool
    measure: Measure
    remedy: str


def _other(leg: int) -> int:
    return 1 - leg


def settings_good(bench: Bench, leg: int) -> list[Figure]:
    """Whether the board has settings and was calibrated."""
    hello = bench.hello.values
    state = int(hello["settings_state"])
    return [
        yes(f"settings usable (they are {STATES[state]})", state == 0),
        Figure("day of calibration, since 2000", int(hello["calibrated_day"]), "", 1),
    ]


def supplies(bench: Bench, leg: int) -> list[Figure]:
    """Battery and the board's own supply at rest, and the stick in its middle."""
    ticks = bench.watch(1.0)
    cells = round(bench.rig.battery.cells)
    centre, zone = bench.setting("stick_centre_count"), bench.setting("stick_zone_count")
    return [
        Figure(
            "battery",
            _least(ticks, "battery_mV") / 1000,
            "V",
            bench.setting("battery_least_mV") / 1000,
            _CELL_MOST_V * cells,
        ),
        Figure(
            "board's own supply, least",
            _least(ticks, "supply_mV") / 1000,
            "V",
            bench.setting("supply_least_mV") / 1000,
            _SUPPLY_MOST_V,
        ),
        Figure("stick at rest", _median(ticks, "stick_count"), "", centre - zone, centre + zone),
    ]


def fold(bench: Bench, leg: int) -> list[Figure]:
    """Both joints of a leg that a person folds rise, and no other joint moves."""
    m = bench.rig.mechanism
    half_rad = (m.fold_extended_rad + m.fold_hard_stop_rad) / 2
    before = bench.first()
    bench.asker.do(
        f"Fold the {LEGS[leg]} leg by 10 deg or more, with a strap or a lever, and hold it there.",
        lambda board: board.hold(leg, half_rad),
    )
    wanted = [(leg, "thigh", TURNED_DEG), (leg, "shank", TURNED_DEG)]
    ticks = before.then(bench.watch(until=bench.moved(wanted, before)))
    bench.asker.wait(
        f"Let the {LEGS[leg]} leg straighten, hands away.", lambda board: board.hold(leg, None)
    )
    return _turns(bench, ticks, leg, (TURNED_DEG, None), (TURNED_DEG, None))


def swing(bench: Bench, leg: int) -> list[Figure]:
    """Swinging a straight leg back raises its thigh's lean and lowers its shank's."""
    before = bench.first()
    bench.asker.do(
        f"Swing the {LEGS[leg]} foot backward, the knee left straight, and hold it there.",
        lambda board: board.swing(leg, -0.2),
    )
    wanted = [(leg, "thigh", TURNED_DEG), (leg, "shank", -TURNED_DEG)]
    ticks = before.then(bench.watch(until=bench.moved(wanted, before)))
    bench.asker.wait(
        f"Let the {LEGS[leg]} leg hang, hands away.", lambda board: board.swing(leg, 0.0)
    )
    return _turns(bench, ticks, leg, (TURNED_DEG, None), (None, -TURNED_DEG))


def _turns(
    bench: Bench,
    ticks: Ticks,
    leg: int,
    thigh_deg: tuple[float | None, float | None],
    shank_deg: tuple[float | None, float | None],
) -> list[Figure]:
    """How far each joint turned, at its farthest from where it began, with its sign."""
    limits = {(leg, "thigh"): thigh_deg, (leg, "shank"): shank_deg}
    found = []
    for (one, joint), lean in bench.leans_deg(ticks).items():
        turned = _farthest(lean)
        least, most = limits.get((one, joint), (-STILL_DEG, STILL_DEG))
        found.append(Figure(f"{LEGS[one]} {joint} turned", turned, "deg", least, most))
    return found


def _farthest(values: Any) -> float | None:
    """The farthest from the start; a spike of one reading is none."""
    if len(values) < 3:
        return None
    smooth = np.median([values[:-2], values[1:-1], values[2:]], axis=0)
    away = smooth - smooth[0]
    return float(away[np.argmax(np.abs(away))])


def foot_switch(bench: Bench, leg: int) -> list[Figure]:
    """The foot switch is seen open, closed and open again, and the other one stays open."""
    seen = bench.first()
    bench.asker.do(
        f"Press the {LEGS[leg]} foot's switch by hand for a second, and let go.",
        lambda board: board.raise_foot(leg, True),
    )
    seen = seen.then(bench.watch(until=contact_is(leg, SWITCH, 1)))
    bench.asker.do("Let go.", lambda board: board.raise_foot(leg, False))
    seen = seen.then(bench.watch(until=contact_is(leg, SWITCH, 0)))
    return _contact(seen, leg, SWITCH, "switch")


def sole_contact(bench: Bench, leg: int) -> list[Figure]:
    """The sole contact is seen open, closed and open again, and the other one stays open."""
    seen = bench.first()
    bench.asker.do(
        f"Push a board up against the {LEGS[leg]} sole until it bears, then take it away.",
        lambda board: _push(board, leg, True),
    )
    seen = seen.then(bench.watch(until=contact_is(leg, SOLE, 1)))
    bench.asker.do("Take it away.", lambda board: _push(board, leg, False))
    seen = seen.then(bench.watch(until=contact_is(leg, SOLE, 0)))
    return _contact(seen, leg, SOLE, "sole contact")


def _push(board: Any, leg: int, under: bool) -> None:
    """Raise the ground under a foot that hangs free, the leg held, or lower it."""
    m = board.rig.mechanism
    clearance_m = _truth(board, leg).clearance_m
    board.hold(leg, m.fold_extended_rad if under else None)
    load_m = 3 * board.rig.sensors.sole_force_N / board.rig.ground.stiffness_N_per_m
    board.ground(leg, clearance_m + load_m if under else 0.0)


def _truth(board: Any, leg: int) -> Any:
    return (board.truth.left, board.truth.right)[leg]


def _contact(ticks: Ticks, leg: int, bit: int, name: str) -> list[Figure]:
    closed = ticks.contact(leg, bit)
    other = ticks.contact(_other(leg), bit)
    return [
        yes(f"{LEGS[leg]} {name} open at first", _start(1 - closed)),
        yes(f"{LEGS[leg]} {name} seen closed", _any(closed)),
        yes(f"{LEGS[leg]} {name} open at last", _end(1 - closed)),
        no(f"{LEGS[_other(leg)]} {name} closed meanwhile", _any(other)),
    ]


def stick(bench: Bench, leg: int) -> list[Figure]:
    """Pushed to stoop the stick reads more, pulled to rise less; let go it finds its middle."""
    centre, zone = bench.setting("stick_centre_count"), bench.setting("stick_zone_count")
    least = zone + round(_PUSHED_SHARE * bench.setting("stick_span_count"))
    bench.asker.do(
        "Push the stick all the way to stoop, and hold it there.", lambda b: b.push_stick(1)
    )
    pushed = bench.watch(until=lambda values: abs(values["stick_count"] - centre) >= least)
    # One that is turned round has gone the other way.
    side = np.sign((_settled(pushed, "stick_count") or centre) - centre)
    bench.asker.do("Pull it all the way to rise, and hold it.", lambda b: b.push_stick(-1))
    pulled = bench.watch(until=lambda v: (v["stick_count"] - centre) * side <= -least)
    bench.asker.do("Let go of the stick.", lambda b: b.push_stick(0))
    let_go = bench.watch(until=lambda values: abs(values["stick_count"] - centre) <= zone)
    low, high = bench.setting("stick_low_count"), bench.setting("stick_high_count")
    return [
        Figure("stick pushed", _settled(pushed, "stick_count"), "", centre + least, high),
        Figure("stick pulled", _settled(pulled, "stick_count"), "", low, centre - least),
        Figure("stick let go", _settled(let_go, "stick_count"), "", centre - zone, centre + zone),
    ]


def emergency_stop(bench: Bench, leg: int) -> list[Figure]:
    """The emergency stop is seen, its fault is there, and stays when the stop is released."""
    before = bench.watch(0.2)
    bench.asker.do("Press the emergency stop.", lambda board: board.stop(True))
    pressed = bench.watch(until=flag_is("stop", 1))
    bench.asker.do("Release the emergency stop.", lambda board: board.stop(False))
    after = bench.watch(until=flag_is("stop", 0))
    return [
        no("stop input while it is out", _any(before.flag("stop"))),
        yes("stop input seen when pressed", _any(pressed.flag("stop"))),
        yes("its fault seen", _any(pressed["fault_bits"] & STOP)),
        no("stop input after its release", _end(after.flag("stop"))),
        yes("its fault still there after", _end(after["fault_bits"] & STOP)),
    ]


def arming(bench: Bench, leg: int) -> list[Figure]:
    """Held, the arm input gives power in its time; opened, it takes it at once."""
    # This also acknowledges the fault of the emergency stop.
    first = bench.acknowledge()
    # What this has cleared is nobody's fault any more.
    bench.seen = Ticks([], bench.period_s)
    bench.asker.do("Close the arm input, and hold it.", lambda board: board.arm(True))
    held = bench.watch(until=flag_is("contactor", 1))
    bench.asker.do("Open the arm input.", lambda board: board.arm(False))
    opened = bench.watch(until=in_order(flag_is("arm", 0), flag_is("contactor", 0)))
    closed_s = held.first_s(held.flag("arm") == 1)
    power_s = held.first_s(held.flag("contactor") == 1)
    off_s = opened.first_s((opened.flag("arm") == 0) & (opened.flag("contactor") == 0))
    open_s = opened.first_s(opened.flag("arm") == 0)
    arm_s = bench.setting("arm_ticks") * bench.period_s
    return [
        yes("arm input seen closed", _any(first.flag("arm"))),
        no("power too soon", _any(first.flag("contactor"))),
        Figure("held until power", _gap(closed_s, power_s), "s", arm_s * 0.98, arm_s + 0.1),
        Figure("drive while nothing is asked", _most_drive(held, 0, 1), "permille", None, 0),
        Figure("from open to no power", _gap(open_s, off_s), "s", None, _CUT_S),
    ]


def motor_turns(bench: Bench, leg: int) -> list[Figure]:
    """A free drum turns the right way, at low force, and the stall cut-out ends it."""
    start_m = _wound_m(bench, leg)
    ticks = Ticks([], bench.period_s)
    with bench.armed() as armed:
        if armed:
            bench.press(leg, True)
            ticks = bench.watch(_hold_s(bench), flag_is("contactor", 0))
        end_m = _wound_m(bench, leg)
    way = bench.asker.ask(
        f"Which way did the {LEGS[leg]} drum turn: `up`, taking the rope in, `down`, or `not`?",
        lambda _: _way(end_m - start_m),
    )
    return [
        yes("armed", armed),
        *_stall_figures(bench, ticks, leg),
        yes("drum takes the rope in", way.lower() == "up"),
    ]


def _wound_m(bench: Bench, leg: int) -> float:
    """Rope on the simulated drum; at a real one a person looks."""
    board = bench.device.transport.board
    return 0.0 if board is None else float(_truth(board, leg).wound_m)


def _way(wound_m: float) -> str:
    if abs(wound_m) < 1e-4:
        return "not"
    return "up" if wound_m > 0 else "down"


def _stall_figures(bench: Bench, ticks: Ticks, leg: int) -> list[Figure]:
    """The stall cut-out: seen, in its time, with no more drive than the stage gives."""
    drive = ticks[f"{LEGS[leg]}_drive_permille"]
    stall = (ticks[f"{LEGS[leg]}_fault_bits"] & STALL) > 0
    stall_s = ticks.first_s(stall)
    pushing_s = _began_s(ticks, drive >= bench.setting("stall_drive_permille"), stall_s)
    time_s = bench.setting("stall_ticks") * bench.period_s
    off = (ticks.flag("contactor") == 0) & stall
    return [
        Figure(
            "drive, most",
            _most_drive(ticks, leg),
            "permille",
            bench.setting("stall_drive_permille"),
            bench.setting("drive_max_permille"),
        ),
        Figure(
            "from pushing to the stall fault",
            _gap(pushing_s, stall_s),
            "s",
            None,
            time_s + _TICK_SLACK_S,
        ),
        Figure(
            "from the fault to no power",
            _gap(stall_s, ticks.first_s(off)),
            "s",
            None,
            _CUT_S,
        ),
    ]


def _began_s(ticks: Ticks, pushing: Any, end_s: float | None) -> float | None:
    """When the push began that lasted until `end_s`."""
    if end_s is None:
        return None
    not_yet = np.flatnonzero(~pushing & (ticks.time_s < end_s))
    return float(ticks.time_s[not_yet[-1] + 1]) if len(not_yet) else 0.0


def lift(bench: Bench, leg: int) -> list[Figure]:
    """A press lifts the leg at the stage's speed to its height; let go, the foot comes down."""
    return _lift_and_lower(bench, leg, "lift")


def _lift_and_lower(bench: Bench, leg: int, name: str) -> list[Figure]:
    target_deg = bench.setting("lift_fold_cdeg") / 100
    rest_deg = bench.setting("rest_fold_cdeg") / 100
    speed_degps = bench.setting("lift_step_q6") / 64 / bench.visit_s / 100
    up = down = Ticks([], bench.period_s)
    with bench.armed() as armed:
        if armed:
            bench.press(leg, True)
            up = bench.watch(_move_s(bench), phase_is(leg, HELD, OFF))
            bench.press(leg, False)
            down = bench.watch(_down_s(bench), phase_is(leg, STANDING, OFF))
    fold_deg = up[f"{LEGS[leg]}_fold_cdeg"] / 100
    held_s = up.first_s(up[f"{LEGS[leg]}_phase"] == HELD)
    landed_s = down.first_s(down[f"{LEGS[leg]}_phase"] == STANDING)
    return [
        yes("armed", armed),
        Figure("time to lift", held_s, "s", None, _move_s(bench)),
        Figure(
            "fold when up",
            float(fold_deg[-1]) if len(fold_deg) else None,
            "deg",
            target_deg - _NEAR_DEG,
            target_deg + _NEAR_DEG,
        ),
        Figure("speed up, most", _speed_degps(up, leg), "deg/s", None, _SPEED_OVER * speed_degps),
        Figure(
            "drive, most",
            _most_drive(up, leg),
            "permille",
            None,
            bench.setting("drive_max_permille"),
        ),
        Figure("time to come down", landed_s, "s", None, _down_s(bench)),
        Figure("fold when down", _last_fold_deg(down, leg), "deg", None, rest_deg + _NEAR_DEG),
        no("any fault", _faults(up, down)),
    ]


def end_stop(bench: Bench, leg: int) -> list[Figure]:
    """Asked up to the soft stop, the leg ends there and not past it."""
    usual = bench.setting("lift_fold_cdeg")
    stop_cdeg = bench.setting("fold_max_cdeg")
    zone_deg = bench.rig.control.stop_zone_rad * 180 / np.pi
    bench.change("lift_fold_cdeg", stop_cdeg)
    up = down = Ticks([], bench.period_s)
    try:
        with bench.armed() as armed:
            if armed:
                bench.press(leg, True)
                up = bench.watch(_move_s(bench), phase_is(leg, HELD, OFF))
                bench.press(leg, False)
                down = bench.watch(_down_s(bench), phase_is(leg, STANDING, OFF))
    finally:
        bench.change("lift_fold_cdeg", usual)
    fold_deg = up[f"{LEGS[leg]}_fold_cdeg"] / 100
    return [
        yes("armed", armed),
        Figure(
            "highest fold",
            float(fold_deg.max()) if len(fold_deg) else None,
            "deg",
            stop_cdeg / 100 - zone_deg,
            (stop_cdeg + bench.setting("stop_margin_cdeg")) / 100,
        ),
        no("any fault", _faults(up, down)),
    ]


def stall(bench: Bench, leg: int) -> list[Figure]:
    """A blocked leg: the stall cut-out trips within its time, and power is off."""
    bench.asker.wait(
        f"Block the {LEGS[leg]} leg so that it cannot fold; clamp it, do not hold it.",
        lambda board: board.block(leg, True),
    )
    ticks = Ticks([], bench.period_s)
    with bench.armed() as armed:
        if armed:
            bench.press(leg, True)
            ticks = bench.watch(_hold_s(bench), flag_is("contactor", 0))
    bench.asker.wait("Take the block away.", lambda board: board.block(leg, False))
    return [yes("armed", armed), *_stall_figures(bench, ticks, leg)]


def release(bench: Bench, leg: int) -> list[Figure]:
    """Disarmed in mid-air, the foot is let down within its time, then power is off."""
    up = down = Ticks([], bench.period_s)
    with bench.armed() as armed:
        if armed:
            bench.press(leg, True)
            up = bench.watch(_move_s(bench), phase_is(leg, HELD, OFF))
            bench.asker.do("Open the arm input, the leg still up.", lambda board: board.arm(False))
            down = bench.watch(until=in_order(flag_is("arm", 0), flag_is("contactor", 0)))
    open_s = down.first_s(down.flag("arm") == 0)
    off_s = down.first_s((down.flag("arm") == 0) & (down.flag("contactor") == 0))
    return [
        yes("armed", armed),
        Figure("fold when disarmed", _fold_at(down, leg, open_s), "deg", _up_deg(bench)),
        Figure("from disarmed to no power", _gap(open_s, off_s), "s", None, _down_s(bench)),
        Figure("fold after", _last_fold_deg(down, leg), "deg", None, _low_deg(bench)),
        no("any fault", _faults(up, down)),
    ]


def stop_in_mid_air(bench: Bench, leg: int) -> list[Figure]:
    """The emergency stop takes the power at once, and the spring alone puts the foot down."""
    down = Ticks([], bench.period_s)
    with bench.armed() as armed:
        if armed:
            bench.press(leg, True)
            bench.watch(_move_s(bench), phase_is(leg, HELD, OFF))
            bench.asker.do(
                "Press the emergency stop, the leg still up.", lambda board: board.stop(True)
            )
            down = bench.watch(
                until=in_order(
                    flag_is("stop", 1),
                    lambda values: values[f"{LEGS[leg]}_fold_cdeg"] <= 100 * _low_deg(bench),
                )
            )
            bench.asker.do("Release the emergency stop.", lambda board: board.stop(False))
            bench.watch(until=flag_is("stop", 0))
    stop_s = down.first_s(down.flag("stop") == 1)
    off_s = down.first_s((down.flag("stop") == 1) & (down.flag("contactor") == 0))
    low = down[f"{LEGS[leg]}_fold_cdeg"] <= 100 * _low_deg(bench)
    return [
        yes("armed", armed),
        Figure("fold when stopped", _fold_at(down, leg, stop_s), "deg", _up_deg(bench)),
        Figure("from the stop to no power", _gap(stop_s, off_s), "s", None, _CUT_S),
        Figure("from the stop to the foot down", _gap(stop_s, down.first_s(low)), "s", None, 2),
    ]


def stoop(bench: Bench, leg: int) -> list[Figure]:
    """The stick folds both legs together, they stay when it is let go, and it lets them rise."""
    down = held = up = Ticks([], bench.period_s)
    half_cdeg = (bench.setting("rest_fold_cdeg") + bench.setting("stoop_fold_cdeg")) / 2
    with bench.armed() as armed:
        if armed:
            bench.asker.do("Push the stick to stoop, and hold it there.", lambda b: b.push_stick(1))
            down = bench.watch(until=lambda v: v["left_phase"] == OFF or _both_folded(v, half_cdeg))
            bench.asker.do("Let go of the stick.", lambda b: b.push_stick(0))
            bench.watch(1.0)
            held = bench.watch(_LET_GO_S)
            bench.asker.do("Pull the stick to rise, and hold it.", lambda b: b.push_stick(-1))
            up = bench.watch(until=lambda v: v["left_phase"] in (STANDING, OFF))
            bench.asker.do("Let go of the stick.", lambda b: b.push_stick(0))
    stooped = down.then(held).then(up)
    wants = bench.rig.wants
    return [
        yes("armed", armed),
        Figure("time to fold half way", _fold_s(down, half_cdeg), "s", None, _half_s(bench)),
        Figure(
            "one leg from the other, most",
            _apart_deg(stooped),
            "deg",
            None,
            degrees(wants.stoop_apart_rad),
        ),
        Figure(
            "drift with the stick let go",
            _drift_deg(held),
            "deg",
            None,
            degrees(wants.stoop_drift_rad),
        ),
        Figure(
            "drive, most",
            _most_drive(stooped, 0, 1),
            "permille",
            None,
            bench.setting("drive_max_permille"),
        ),
        yes("both legs stand again", _end(up["left_phase"] == STANDING)),
        Figure("fold when they stand", _last_fold_deg(up, leg), "deg", None, _low_deg(bench)),
        no("any fault", _faults(down, held, up)),
    ]


def _both_folded(values: Any, cdeg: float) -> bool:
    return all(values[f"{name}_fold_cdeg"] >= cdeg for name in LEGS)


def _fold_s(down: Ticks, cdeg: float) -> float | None:
    """From the first tick of a stoop until both legs are so far folded."""
    if not len(down):
        return None
    least = np.minimum(down["left_fold_cdeg"], down["right_fold_cdeg"])
    return _gap(down.first_s(down["left_phase"] == STOOPING), down.first_s(least >= cdeg))


def _half_s(bench: Bench) -> float:
    """The longest that half a stoop may take: half as long again as at the stage's speed."""
    path = (bench.setting("stoop_fold_cdeg") - bench.setting("rest_fold_cdeg")) / 2
    return 1.5 * path / (bench.setting("stoop_step_q6") / 64 / bench.visit_s) + 1.0


def _apart_deg(ticks: Ticks) -> float | None:
    """The most by which one leg's fold differs from the other's."""
    if not len(ticks):
        return None
    return float(np.abs(ticks["left_fold_cdeg"] - ticks["right_fold_cdeg"]).max()) / 100


def _drift_deg(ticks: Ticks) -> float | None:
    """The most that either leg's fold changes."""
    if not len(ticks):
        return None
    return max(float(np.ptp(ticks[f"{name}_fold_cdeg"])) for name in LEGS) / 100


def own_steps(bench: Bench, leg: int) -> list[Figure]:
    """A wearer's own steps: each raised foot is lifted and put down, and no fault comes."""
    lifts = landed = 0
    rows = []
    armed = bench.arm()
    for _ in range(LIFTS if armed else 0):
        bench.asker.do(
            f"Weight to the other side; raise the {LEGS[leg]} foot and keep it raised.",
            lambda board: board.raise_foot(leg, True),
        )
        up = bench.watch(until=phase_is(leg, HELD, OFF))
        lifts += int((up[f"{LEGS[leg]}_phase"] == HELD).any())
        bench.asker.do(f"Put the {LEGS[leg]} foot down.", lambda b: b.raise_foot(leg, False))
        down = bench.watch(until=phase_is(leg, STANDING, OFF))
        landed += int((down[f"{LEGS[leg]}_phase"] == STANDING).any())
        rows += up.rows + down.rows
    bench.disarm()
    return [
        yes("armed", armed),
        Figure("times lifted", lifts, "", LIFTS),
        Figure("times put down", landed, "", LIFTS),
        no("any fault", _faults(Ticks(rows, bench.period_s))),
    ]


# Small sums over ticks. None where nothing was there to be seen.


def _any(values: Any) -> int | None:
    return int(bool(np.any(values))) if len(values) else None


def _start(values: Any) -> int | None:
    return int(bool(values[0])) if len(values) else None


def _settled(ticks: Ticks, name: str) -> float | None:
    """The reading at the end; a spike is none."""
    return float(np.median(ticks[name][-10:])) if len(ticks) else None


def _end(values: Any) -> int | None:
    return int(bool(values[-1])) if len(values) else None


def _least(ticks: Ticks, name: str) -> float:
    return float(ticks[name].min())


def _median(ticks: Ticks, name: str) -> float:
    return float(np.median(ticks[name]))


def _most_drive(ticks: Ticks, *legs: int) -> int | None:
    if not len(ticks):
        return None
    return max(int(np.abs(ticks[f"{LEGS[leg]}_drive_permille"]).max()) for leg in legs)


def _gap(start_s: float | None, end_s: float | None) -> float | None:
    return None if start_s is None or end_s is None else end_s - start_s


def _speed_degps(ticks: Ticks, leg: int) -> float | None:
    """The fastest rise of the fold over a tenth of a second."""
    fold, time_s = ticks[f"{LEGS[leg]}_fold_cdeg"] / 100, ticks.time_s
    over = max(1, round(0.1 / ticks.period_s))
    if len(ticks) <= over:
        return None
    return float(((fold[over:] - fold[:-over]) / (time_s[over:] - time_s[:-over])).max())


def _last_fold_deg(ticks: Ticks, leg: int) -> float | None:
    return float(ticks[f"{LEGS[leg]}_fold_cdeg"][-1]) / 100 if len(ticks) else None


def _fold_at(ticks: Ticks, leg: int, at_s: float | None) -> float | None:
    if at_s is None:
        return None
    i = int(np.searchsorted(ticks.time_s, at_s))
    return float(ticks[f"{LEGS[leg]}_fold_cdeg"][i]) / 100


def _faults(*parts: Ticks) -> bool:
    return any(fault_bits(row) for part in parts for row in part.rows)


def _low_deg(bench: Bench) -> float:
    """A leg under this fold is down."""
    return (bench.setting("rest_fold_cdeg") + bench.setting("hanging_cdeg")) / 100


def _up_deg(bench: Bench) -> float:
    """A leg over this fold is up: half way from straight to its height."""
    return (bench.setting("rest_fold_cdeg") + bench.setting("lift_fold_cdeg")) / 200


def _move_s(bench: Bench) -> float:
    """The longest that a move up may take: half as long again as at the stage's speed."""
    path = bench.setting("lift_fold_cdeg") - bench.setting("rest_fold_cdeg")
    speed = bench.setting("lift_step_q6") / 64 / bench.visit_s
    return 1.5 * path / speed + 1.0


def _hold_s(bench: Bench) -> float:
    """The longest that a foot may be held up, and so that a motor may push."""
    return bench.setting("hold_ticks") * bench.period_s + 1.0


def _down_s(bench: Bench) -> float:
    return bench.setting("down_ticks") * bench.period_s + _TICK_SLACK_S


@dataclass(frozen=True)
class _Row:
    """One row of the table; `legs` where it is done for each leg."""

    name: str
    stage: str
    legs: bool
    moves: bool
    measure: Measure
    remedy: str


_ROWS = (
    _Row(
        "settings",
        "unloaded",
        False,
        False,
        settings_good,
        "Put the settings on with hocklift flash, calibrate with hocklift calibrate, restart the"
        " board.",
    ),
    _Row(
        "supplies",
        "unloaded",
        False,
        False,
        supplies,
        "Charge the battery; look at its plug, at the fuse, at the board's own supply, and at"
        " the stick's wires.",
    ),
    _Row(
        "joint sensors, folding",
        "unloaded",
        True,
        False,
        fold,
        "A lean that falls: the pot was turned round in its wiring; calibrate again. The other"
        " leg's lean moves: left and right are swapped. None moves: look at its wire and shaft.",
    ),
    _Row(
        "joint sensors, swinging",
        "unloaded",
        True,
        False,
        swing,
        "The thigh's lean falls and the shank's rises: thigh and shank are swapped; change their"
        " plugs, then calibrate again.",
    ),
    _Row(
        "foot switch",
        "unloaded",
        True,
        False,
        foot_switch,
        "Always closed: free the switch, look for a crushed cable. Never closed: look for a"
        " broken wire. The other one closes: left and right are swapped.",
    ),
    _Row(
        "sole contact",
        "unloaded",
        True,
        False,
        sole_contact,
        "Never closed: look for a broken wire, or a contact that is set too low. Always closed:"
        " free it. The other one closes: left and right are swapped.",
    ),
    _Row(
        "stick",
        "unloaded",
        False,
        False,
        stick,
        "Reads less when pushed: change the outer two wires of its pot. Too little either way, or"
        " not in its middle when let go: put what it reads into the rig file's"
        " sensors.stick_rest and sensors.stick_throw, then flash; or see to its spring.",
    ),
    _Row(
        "emergency stop",
        "unloaded",
        False,
        False,
        emergency_stop,
        "Its contact is closed while it is out: an input that always reads pressed has an open"
        " wire; one that never does is wired to the wrong contact, or bridged.",
    ),
    _Row(
        "arming",
        "unloaded",
        False,
        True,
        arming,
        "Look at the arm input's wire and at what the board says against arming; see that the"
        " contactor's coil follows the board.",
    ),
    _Row(
        "motor's direction",
        "unloaded",
        True,
        True,
        motor_turns,
        "The wrong way: swap two of the motor's three wires. Not at all: look at the speed"
        " controller's signal and power. Not cut off: do not go on; keep the power off, and put"
        " the firmware and the settings on again.",
    ),
    _Row(
        "lifting",
        "stand",
        True,
        True,
        lift,
        "Look at the fault; then at how the rope lies on drum and sheaves, at the spring, and at"
        " what hocklift size says of the drive.",
    ),
    _Row(
        "soft end stop",
        "stand",
        True,
        True,
        end_stop,
        "Calibrate again; lower control.lift_speed, or widen control.stop_zone.",
    ),
    # Before the emergency stop in mid-air: a drum that runs on without power leaves its rope loose.
    _Row(
        "stooping",
        "stand",
        False,
        True,
        stoop,
        "One leg behind: look for a rope or gear that jams. Drift: a speed controller that does not"
        " brake at neutral, or gears that turn back; see controller.neutral. Too slow: look at what"
        " hocklift size says of the drive.",
    ),
    _Row(
        "stall cut-out",
        "stand",
        True,
        True,
        stall,
        "Do not go on without it: keep the power off, and put the firmware and the settings on"
        " again.",
    ),
    _Row(
        "release when disarmed",
        "stand",
        True,
        True,
        release,
        "Look at the arm input, then for a rope or gear that jams on the way down.",
    ),
    _Row(
        "emergency stop in mid-air",
        "stand",
        True,
        True,
        stop_in_mid_air,
        "Power stays: look at the stop's wire and at the contactor. The foot stays up: look for"
        " gears that do not turn back, a weak spring, a jammed rope.",
    ),
    _Row(
        "own steps",
        "gantry",
        True,
        True,
        own_steps,
        "Read the fault; look at sole contacts and foot switches under the wearer's own weight.",
    ),
    _Row(
        "own stoop",
        "gantry",
        False,
        True,
        stoop,
        "Read the fault; look at sole contacts: both must bear all the while. One leg behind: more"
        " weight is on the other.",
    ),
)

STEPS = tuple(
    Step(
        f"{row.name}, {LEGS[leg]}" if row.legs else row.name,
        row.stage,
        leg,
        row.moves,
        row.measure,
        row.remedy,
    )
    for row in _ROWS
    for leg in range(len(LEGS) if row.legs else 1)
)


def _unloaded(board: Any) -> None:
    board.arm(False)
    board.on_stand(True)
    board.rope(False)


def _strung(board: Any) -> None:
    board.on_stand(True)
    board.rope(True)


def _worn(board: Any) -> None:
    board.rope(True)
    board.on_stand(False)


# What a person sets up before a stage's steps, and what simulated hands do.
SET_UP: dict[str, tuple[str, Act]] = {
    "unloaded": (
        "Frame on its stand, feet free, nobody in it; both ropes off their drums; arm input open,"
        " emergency stop out.",
        _unloaded,
    ),
    "stand": ("Frame on its stand, nobody in it; both ropes on their drums.", _strung),
    "gantry": (
        "Worn, held from above, both feet on the ground; somebody at the emergency stop.",
        _worn,
    ),
}
assert list(SET_UP) == [stage.name for stage in STAGES][: len(SET_UP)]
