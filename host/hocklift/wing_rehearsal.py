"""A rehearsal of wings: one show of a rig in closed loop, its figures, and its verdict."""

from dataclasses import dataclass
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np
from legsim.acts import ActError
from legsim.figures import mm_words, seconds_words
from legsim.settings import SettingsError
from legsim.wing.acts import play_wings
from legsim.wing.figures import WING_WANTS, WingFigures, degrees_words, wing_figures
from legsim.wing.perturb import perturbed_wings
from legsim.wing.rig import WingRig
from legsim.wing.run import Show
from legsim.wing.script import WINGS, Played, once_raised_s, whole_show
from legsim.wing.trial import trial_show
from numpy.typing import NDArray

from hocklift.errors import HockliftError, RigFileError, ScriptFileError
from hocklift.scriptfile import WING_TRACK, place, read_script
from hocklift.sizing.wing_loads import WingLoads

# Long enough for one show with empty wings and one with their load.
USUAL_SECONDS = 105.0


@dataclass(frozen=True)
class WingRehearsal:
    """One show: what was asked, what happened, in figures and as a trace."""

    rig: WingRig
    rig_name: str
    seconds: float
    seed: int
    trace: NDArray[np.void]
    wings: dict[str, WingFigures]
    what: str
    # What a build has otherwise than its file, as `hocklift.rehearsal.Rehearsal` tells it.
    build: tuple[tuple[str, str, str], ...] = ()

    @property
    def unmet(self) -> list[tuple[str, str, str]]:
        """Every want that a wing does not meet: wing and want, what was found, advice."""
        return [
            (f"{name} wing, {want.name}", want.found(wing, self.rig), want.advice)
            for want in WING_WANTS
            for name, wing in self.wings.items()
            if not want.met(wing, self.rig)
        ]

    @property
    def verdict(self) -> str:
        """One line to act on."""
        if not self.unmet:
            return "The wings hold and follow: both meet every want."
        what, found, advice = self.unmet[0]
        rest = len(self.unmet) - 1
        more = f" ({rest} more not met, below.)" if rest else ""
        return f"Not yet: {what}: {found}. Next: {advice}.{more}"

    @property
    def told(self) -> str:
        """What was rehearsed."""
        return (
            f"{self.seconds:.4g} s of {self.what}, by {self.rig.control.command}, seed {self.seed}"
        )


def rehearse_wings(rig: WingRig, rig_name: str, seconds: float, seed: int) -> WingRehearsal:
    """Run the show of `rig` for `seconds`.

    Raises RigFileError where its numbers make no settings, HockliftError where it is too short.
    """
    return _rehearsed(rig, rig, rig_name, seed, _whole_show(rig, seconds), _whole_words(rig))


def rehearse_wing_build(rig: WingRig, rig_name: str, seconds: float, seed: int) -> WingRehearsal:
    """Run the show of the build of `rig` that a study has for `seed`: the same, to the bit.

    Raises as `rehearse_wings` does.
    """
    made = perturbed_wings(rig, seed)
    name = f"{rig_name}, as seed {seed} builds it"
    return _rehearsed(made, rig, name, seed, _whole_show(made, seconds), _whole_words(rig))


def rehearse_wing_script(
    rig: WingRig, rig_name: str, script_file: Path, seed: int
) -> WingRehearsal:
    """Play what a script file says of wings; raises RigFileError or ScriptFileError."""
    acts = read_script(script_file, WING_TRACK)
    try:
        played = play_wings(rig, acts)
    except ActError as error:
        where = f"{script_file}: {place(WING_TRACK, acts, error.index)}"
        raise ScriptFileError(f"{where}: {error.key} {error}; give it more") from error
    return _rehearsed(rig, rig, rig_name, seed, played, script_file.name)


def _whole_words(rig: WingRig) -> str:
    return (
        "raising, holding and lowering, first empty, then with"
        f" {rig.wants.load_kg:g} kg at each tip"
    )


def _whole_show(rig: WingRig, seconds: float) -> Played:
    least_s = once_raised_s(rig)
    if seconds < least_s:
        raise HockliftError(
            f"--seconds: found {seconds:g}, and these wings are held up for the first time after"
            f" {least_s:.1f} s; give {ceil(least_s)} or more"
        )
    return whole_show(rig, seconds)


def _rehearsed(
    made: WingRig, believed: WingRig, name: str, seed: int, played: Played, what: str
) -> WingRehearsal:
    """Run to the end, and work out the figures."""
    try:
        if made is believed:
            show = Show(made, played.lines, seed)
        else:
            show = trial_show(believed, made, seed, played)
    except SettingsError as error:
        raise RigFileError(f"{name}: {error}") from error
    trace = show.run()
    figures = {wing: wing_figures(trace, wing, made, played.moves[wing]) for wing in WINGS}
    seconds = len(trace) * made.control.period_s
    return WingRehearsal(made, name, seconds, seed, trace, figures, what)


def _asked_words(seconds: float) -> str:
    """A time that is 0 where no whole move was asked for."""
    return seconds_words(seconds) if seconds else "not asked"


# (what, how one wing's figure reads, how the want reads). The page shows the same rows.
WING_ROWS: tuple[tuple[str, Any, Any], ...] = (
    (
        "whole moves made, of those asked",
        lambda wing: f"{wing.moves_made} of {wing.moves_asked}",
        lambda rig: "all",
    ),
    (
        "time to raise, worst",
        lambda wing: _asked_words(wing.raise_worst_s),
        lambda rig: f"at most {seconds_words(rig.wants.raise_s)}",
    ),
    (
        "time to lower, worst",
        lambda wing: _asked_words(wing.lower_worst_s),
        lambda rig: f"at most {seconds_words(rig.wants.lower_s)}",
    ),
    (
        "off its setpoint, worst",
        lambda wing: degrees_words(wing.track_worst_rad),
        lambda rig: f"at most {degrees_words(rig.wants.track_rad)}",
    ),
    (
        "drift while held, worst",
        lambda wing: f"{degrees_words(wing.hold_worst_rad)} in {wing.holds} holds",
        lambda rig: f"at most {degrees_words(rig.wants.drift_rad)} in {rig.wants.hold_s:g} s",
    ),
    (
        "past its ends",
        lambda wing: degrees_words(wing.past_end_rad),
        lambda rig: f"at most {degrees_words(rig.wing.beyond_rad / 2)}",
    ),
    (
        "upper rope, peak",
        lambda wing: f"{wing.up_peak_N:.0f} N",
        lambda rig: f"at most {rig.rope.breaking_N / rig.wants.rope_factor:.0f} N",
    ),
    (
        "lower rope, peak",
        lambda wing: f"{wing.down_peak_N:.0f} N",
        lambda rig: f"at most {rig.rope.breaking_N / rig.wants.rope_factor:.0f} N",
    ),
    (
        "upper rope, raising the load, near the top",
        lambda wing: f"{wing.up_raise_N:.0f} N" if wing.up_raise_N else "not raised",
        lambda rig: f"sized: {WingLoads(rig).steady_line_N:.0f} N",
    ),
    (
        "upper rope, holding the load",
        lambda wing: f"{wing.up_hold_N:.0f} N" if wing.up_hold_N else "not held",
        lambda rig: f"sized: {WingLoads(rig).holding_line_N:.0f} N",
    ),
    (
        "loose rope, most",
        lambda wing: f"{1000 * wing.slack_worst_m:.1f} mm",
        lambda rig: f"at most {mm_words(rig.wants.slack_m)}",
    ),
    (
        "loose rope where the motor turns round",
        lambda wing: f"{1000 * wing.slack_reversing_m:.1f} mm",
        lambda rig: "",
    ),
    (
        "motor current, peak",
        lambda wing: f"{wing.current_peak_A:.0f} A",
        lambda rig: f"controller limits to {rig.controller.current_limit_A:.0f} A",
    ),
    ("motor current, mean", lambda wing: f"{wing.current_mean_A:.1f} A", lambda rig: ""),
    (
        "motor current, holding the load",
        lambda wing: f"{wing.current_hold_A:.1f} A",
        lambda rig: "",
    ),
    ("energy", lambda wing: f"{wing.energy_J:.0f} J", lambda rig: ""),
    (
        "winding over the air, warmest",
        lambda wing: f"{wing.winding_K:.1f} K",
        lambda rig: f"at most {rig.drive.winding_limit_K:.0f} K",
    ),
    ("faults", lambda wing: ", ".join(wing.faults) or "none", lambda rig: "none"),
)
