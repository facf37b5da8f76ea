"""A rehearsal: one walk of a rig in closed loop, its figures, and its verdict."""

from dataclasses import dataclass, replace
from math import degrees
from pathlib import Path
from typing import Any

import numpy as np
from legsim.acts import ActError, play, seconds_of
from legsim.figures import (
    STOOP_WORDS,
    WANTS,
    LegFigures,
    deg_words,
    leg_figures,
    mm_words,
    seconds_words,
)
from legsim.perturb import draws
from legsim.rig import Rig
from legsim.run import Walk
from legsim.settings import SettingsError
from legsim.trial import build_of, is_metronome, trial_walk
from legsim.wearer import Gait, GaitError, gait_raises, metronome_raises, script
from numpy.typing import NDArray
from rich.console import Console

from hocklift.errors import RigFileError, ScriptFileError, WearerFileError
from hocklift.progress import bar
from hocklift.scriptfile import LEG_TRACK, place, read_script
from hocklift.studying.words import build_rows
from hocklift.wearerfile import built_in_gait, read_gait

METRONOME = "metronome"
LEGS = ("left", "right")
# So many of `ROWS` are of steps.
_STEP_ROWS = 5


@dataclass(frozen=True)
class Rehearsal:
    """One walk: what was asked, what happened, in figures and as a trace."""

    rig: Rig
    rig_name: str
    wearer_name: str
    seconds: float
    seed: int
    trace: NDArray[np.void]
    legs: dict[str, LegFigures]
    what: str = "walking"
    # Of another build of the rig file's rig: key, the file's number, its own; the farthest first.
    build: tuple[tuple[str, str, str], ...] = ()

    @property
    def unmet(self) -> list[tuple[str, str, str]]:
        """Every want that a leg does not meet: leg and want, what was found, advice."""
        return [
            (f"{name} leg, {want.name}", want.found(leg, self.rig), want.advice)
            for want in WANTS
            for name, leg in self.legs.items()
            if not want.met(leg, self.rig)
        ]


def rehearse(
    rig: Rig, rig_name: str, wearer: str | None, seconds: float, seed: int, console: Console
) -> Rehearsal:
    """Walk `rig` for `seconds`; the wearer is a CSV file, "metronome", or None for the built-in.

    Raises RigFileError or WearerFileError where rig or gait make no walk.
    """
    gait, wearer_name = _gait_of(wearer)
    if gait is None:
        raises = metronome_raises(rig, seconds)
    else:
        try:
            raises = gait_raises(rig, gait, seconds)
        except GaitError as error:
            raise WearerFileError(f"{wearer_name}: {error}; record a longer level walk") from error
    try:
        walk = Walk(rig, script(rig, raises, seconds, seed), seed)
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    return _rehearsed(rig, rig_name, wearer_name, seconds, seed, walk, console)


def rehearse_script(
    rig: Rig, rig_name: str, script_file: Path, wearer: str | None, seed: int, console: Console
) -> Rehearsal:
    """Play what a script file says; whoever walks in it does so as in `rehearse`.

    Raises RigFileError, ScriptFileError or WearerFileError where they make no walk.
    """
    acts = read_script(script_file, LEG_TRACK)
    gait, wearer_name = _gait_of(wearer)
    try:
        walk = Walk(rig, play(rig, acts, gait, seed), seed)
    except ActError as error:
        where = f"{script_file}: {place(LEG_TRACK, acts, error.index)}"
        raise ScriptFileError(f"{where}: {error.key} {error}; give it more") from error
    except GaitError as error:
        raise WearerFileError(f"{wearer_name}: {error}; record a longer level walk") from error
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    seconds = seconds_of(rig, acts)
    rehearsal = _rehearsed(rig, rig_name, wearer_name, seconds, seed, walk, console)
    return replace(rehearsal, what=f"{script_file.name}")


def _gait_of(wearer: str | None) -> tuple[Gait | None, str]:
    """The gait that `--wearer` names, None for a metronome; and what to call it."""
    if wearer == METRONOME:
        return None, "a metronome"
    if wearer is None:
        return built_in_gait(), "the built-in recorded gait"
    return read_gait(Path(wearer)), wearer


def rehearse_build(
    rig: Rig, rig_name: str, seconds: float, seed: int, console: Console
) -> Rehearsal:
    """Walk the build of `rig` that a study has for `seed`: the same walk, to the bit.

    Its settings are those of `rig`; its wearer and all chance follow from the seed. Raises
    RigFileError where the rig's numbers make no settings, WearerFileError where the wearer has no
    time to raise a foot.
    """
    made = build_of(rig, draws(seed))
    try:
        walk = trial_walk(rig, made, seed, seconds, built_in_gait())
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    except GaitError as error:
        raise WearerFileError(f"the build of seed {seed}: {error}") from error
    wearer_name = "a metronome" if is_metronome(seed) else "the built-in recorded gait"
    name = f"{rig_name}, as seed {seed} builds it"
    rehearsal = _rehearsed(made, name, wearer_name, seconds, seed, walk, console)
    return replace(rehearsal, build=build_rows(rig, seed))


def _rehearsed(
    rig: Rig,
    rig_name: str,
    wearer_name: str,
    seconds: float,
    seed: int,
    walk: Walk,
    console: Console,
) -> Rehearsal:
    """Walk to the end, and work out the figures."""
    with bar(console, "s walked") as progress:
        # The first run on a machine compiles the control code and the plant.
        task = progress.add_task("Rehearsing", total=seconds)
        for done in walk.ticks(round(1 / rig.control.period_s)):
            progress.update(task, completed=done * rig.control.period_s)
    legs = {name: leg_figures(walk.trace, name, rig) for name in LEGS}
    return Rehearsal(rig, rig_name, wearer_name, seconds, seed, walk.trace, legs)


# (what, how one leg's figure reads, how the want reads). The page shows the same rows.
ROWS: tuple[tuple[str, Any, Any], ...] = (
    (
        "steps made, of those asked",
        lambda leg: f"{leg.steps_made} of {leg.steps_asked}",
        lambda rig: "all",
    ),
    (
        "clearance, worst step",
        lambda leg: mm_words(leg.clearance_worst_m),
        lambda rig: f"at least {mm_words(rig.wants.clearance_worst_m)}",
    ),
    (
        "clearance, median",
        lambda leg: mm_words(leg.clearance_median_m),
        lambda rig: (
            f"{mm_words(rig.wants.clearance_m)} ± {100 * rig.wants.clearance_tolerance:.0f} %"
        ),
    ),
    (
        "time to lift, worst",
        lambda leg: seconds_words(leg.lift_worst_s),
        lambda rig: f"at most {seconds_words(rig.wants.lift_s)}",
    ),
    (
        "time to lower, worst",
        lambda leg: seconds_words(leg.lower_worst_s),
        lambda rig: f"at most {seconds_words(rig.wants.lower_s)}",
    ),
    ("fold past its target", lambda leg: f"{degrees(leg.past_target_rad):.2f}°", lambda rig: ""),
    (
        "fold past the soft end stop",
        lambda leg: f"{degrees(leg.past_soft_stop_rad):.2f}°",
        lambda rig: "never",
    ),
    (
        "rope tension, peak",
        lambda leg: f"{leg.tension_peak_N:.0f} N",
        lambda rig: f"at most {rig.rope.breaking_N / rig.wants.rope_factor:.0f} N",
    ),
    (
        "motor current, peak",
        lambda leg: f"{leg.current_peak_A:.0f} A",
        lambda rig: f"controller limits to {rig.controller.current_limit_A:.0f} A",
    ),
    ("motor current, mean", lambda leg: f"{leg.current_mean_A:.1f} A", lambda rig: ""),
    ("energy a step", lambda leg: f"{leg.energy_per_step_J:.0f} J", lambda rig: ""),
    (
        "winding over the air, warmest",
        lambda leg: f"{leg.winding_K:.1f} K",
        lambda rig: f"at most {rig.drive.winding_limit_K:.0f} K",
    ),
    (
        "loose rope, foot up",
        lambda leg: mm_words(leg.slack_moving_m),
        lambda rig: f"at most {mm_words(rig.wants.slack_m)}",
    ),
    (
        "loose rope, standing",
        lambda leg: mm_words(leg.slack_standing_m),
        lambda rig: "the leg sinks under weight",
    ),
    ("faults", lambda leg: ", ".join(leg.faults) or "none", lambda rig: "none"),
)


# The same of a stoop, where there is one.
STOOP_ROWS: tuple[tuple[str, Any, Any], ...] = (
    (
        "stooped, deepest",
        lambda leg: deg_words(leg.stoop.deepest_rad),
        lambda rig: deg_words(rig.wants.stoop_fold_rad),
    ),
    (
        STOOP_WORDS["down_s"],
        lambda leg: _asked_words(leg.stoop.down_s),
        lambda rig: f"at most {seconds_words(rig.wants.stoop_s)}",
    ),
    (
        STOOP_WORDS["up_s"],
        lambda leg: _asked_words(leg.stoop.up_s),
        lambda rig: f"at most {seconds_words(rig.wants.stoop_s)}",
    ),
    (
        STOOP_WORDS["apart_rad"],
        lambda leg: deg_words(leg.stoop.apart_rad),
        lambda rig: f"at most {deg_words(rig.wants.stoop_apart_rad)}",
    ),
    (
        STOOP_WORDS["weighed_apart_rad"],
        lambda leg: deg_words(leg.stoop.weighed_apart_rad),
        lambda rig: "a rope only pulls",
    ),
    (
        STOOP_WORDS["drift_rad"],
        lambda leg: deg_words(leg.stoop.drift_rad) if leg.stoop.held_s else "never held",
        lambda rig: f"at most {deg_words(rig.wants.stoop_drift_rad)} in 5 s",
    ),
    (
        STOOP_WORDS["held_s"],
        lambda leg: seconds_words(leg.stoop.held_s) if leg.stoop.held_s else "never held",
        lambda rig: "",
    ),
    (
        STOOP_WORDS["risen"],
        lambda leg: f"{leg.stoop.risen} times" if leg.stoop.risen else "never",
        lambda rig: f"after {rig.control.stoop_time_s:g} s, or too warm",
    ),
)


def _asked_words(seconds: float) -> str:
    """A time that is 0 where nobody pushed for long enough to judge it by."""
    return seconds_words(seconds) if seconds else "not asked"


def rows_of(rehearsal: Rehearsal) -> tuple[tuple[str, Any, Any], ...]:
    """What there is to tell of this rehearsal; what was never done has no rows."""
    leg = rehearsal.legs[LEGS[0]]
    rows = ROWS if leg.steps_asked or leg.stoop is None else ROWS[_STEP_ROWS:]
    return rows if leg.stoop is None else rows + STOOP_ROWS


def verdict(rehearsal: Rehearsal) -> str:
    """One line to act on."""
    if not rehearsal.unmet:
        walks = any(leg.steps_asked for leg in rehearsal.legs.values())
        return f"The rig {'walks' if walks else 'does it'}: both legs meet every want."
    what, found, advice = rehearsal.unmet[0]
    rest = len(rehearsal.unmet) - 1
    more = f" ({rest} more not met, below.)" if rest else ""
    return f"Not yet: {what}: {found}. Next: {advice}.{more}"
