"""A look at some cases of a drill: how both legs moved around the strike, and their traces."""

from functools import partial
from typing import Any, NamedTuple

import numpy as np
from legcore.phases import HELD, LIFTING, STANDING, STOOPING
from legsim.drill import FEET, Drill, Strike
from legsim.tables import FAULTS, PHASES
from matplotlib.figure import Figure

from hocklift.drilling import Campaign, Ran
from hocklift.pages.drawing import Picture, Plan, drawn
from hocklift.pages.motion import Motion, motion_of_walk
from hocklift.pages.rerun import HEIGHT_IN, Rerun, draw_rerun, rerun_of

LOOKS_WORDS = (
    "The unsafe cases, one a trouble; the instructive ones; and the random one nearest to a limit."
    " Time is from the strike. In each trace: fold of both legs, the setpoint of a leg that is"
    " being moved dotted. Upright lines mark the strike and the first sight, with the rows of the"
    " fault table that saw it. The grey bar below is there while the contactor gives power. The"
    " wearer goes on as far as the rig lets them."
)


class Look(NamedTuple):
    """One case to look at, and why."""

    ran: Any
    why: str


# (trouble, phase, why it is worth a look)
_INSTRUCTIVE = (
    ("pot open", HELD, "no pose to be trusted: power off, and the spring puts the foot down"),
    ("controller full up", STANDING, "a standing leg folds under its own motor"),
    ("rope snaps", HELD, "no controller can hold what the rope held"),
    ("stumble", HELD, "weight on a raised leg: to be let down under control"),
    ("drum jams", STOOPING, "a leg stays behind in a stoop, and the other one waits for it"),
    ("program hangs", LIFTING, "the watchdog opens the contactor; told after the restart"),
)
MOST_UNSAFE = 3
_MOVING = [i for i, phase in enumerate(PHASES) if phase.moves]


def looks_of(campaign: Campaign) -> list[Look]:
    """Unsafe cases, one a trouble; the instructive ones; the random one nearest to a limit.

    None of them where no trouble could strike.
    """
    first: dict[str, Ran] = {}
    for ran in campaign.unsafe:
        first.setdefault(ran.case.strikes[0].trouble.name, ran)
    unsafe = [
        Look(ran, f"unsafe: {ran.failures[0].words}") for ran in list(first.values())[:MOST_UNSAFE]
    ]
    instructive = [
        Look(ran, why)
        for name, phase, why in _INSTRUCTIVE
        for ran in campaign.table
        if _is_of_left(ran.case.strikes[0], name, phase) and not ran.failures
    ]
    nearest = [
        Look(ran, f"random, nearest to a limit: {ran.nearest_words}")
        for ran in campaign.nearest[:1]
        if not ran.failures
    ]
    return [look for look in unsafe + instructive + nearest if look.ran.outcome.struck]


def _is_of_left(strike: Strike, name: str, phase: int) -> bool:
    return (strike.trouble.name, strike.phase, strike.leg) == (name, phase, 0)


def looked_at(campaign: Campaign) -> list[tuple[Picture, Motion]]:
    """The traces of each case that is worth a look, and how its legs moved."""
    bench = Drill(campaign.rig)
    shown = []
    for look in looks_of(campaign):
        rerun = _again(bench, look.ran)
        motion = motion_of_walk(
            campaign.rig,
            rerun.trace,
            0.0,
            start_s=rerun.begin_s,
            zero_s=rerun.zero_s,
            title=f"The legs: {rerun.troubles}",
        )
        shown.append((picture_of(look, partial(_draw, rerun=rerun)), motion))
    return shown


def picture_of(look: Look, draw: Any) -> Picture:
    """The picture of a look: the case in its heading, and why it is shown."""
    why = f"{look.why[0].upper()}{look.why[1:]}."
    (picture,) = drawn([Plan(look.ran.words, why, lambda figure, _: draw(figure), HEIGHT_IN)], look)
    return picture


def _again(bench: Drill, ran: Ran) -> Rerun:
    walk = bench.walk(ran.case, bench.strikes(ran.case))
    trace = walk.run()
    names = [strike.trouble.name for strike in ran.case.strikes]
    struck = list(zip(names, walk.troubles["struck_tick"].tolist(), strict=True))
    return rerun_of("fold", trace, bench.period_s, struck, ran.outcome, FAULTS)


def _draw(figure: Figure, rerun: Rerun) -> None:
    folds_deg, setpoints_deg = {}, {}
    for name in FEET:
        leg = rerun.trace[name]
        folds_deg[name] = np.degrees(leg["thigh_rad"] + leg["shank_rad"])
        setpoint_deg = leg["setpoint_cdeg_q6"] / 6400
        # A setpoint may be anything once memory changes; only folds set the axis.
        told = np.isin(leg["phase"], _MOVING) & (np.abs(setpoint_deg) < 180)
        setpoints_deg[name] = np.where(told, setpoint_deg, np.nan)
    draw_rerun(figure, rerun, folds_deg, setpoints_deg)
