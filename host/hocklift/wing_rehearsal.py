"""A rehearsal of wings: one show of a rig in closed loop, its figures, and its verdict."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from legsim.figures import mm_words, seconds_words
from legsim.settings import SettingsError
from legsim.wing.figures import WING_WANTS, WingFigures, degrees_words, wing_figures
from legsim.wing.rig import WingRig
from legsim.wing.run import Show
from legsim.wing.script import poses, show_script
from legsim.wing.trial import WINGS, trial_show
from numpy.typing import NDArray

from hocklift.errors import RigFileError

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
            f"{self.seconds:g} s of raising, holding and lowering, first empty, then with"
            f" {self.rig.wants.load_kg:g} kg at each tip, by {self.rig.control.command},"
            f" seed {self.seed}"
        )


def rehearse_wings(
    rig: WingRig, rig_name: str, seconds: float, seed: int, *, built: bool = False
) -> WingRehearsal:
    """Run the show of `rig` for `seconds`, or, `built`, of the build of it that `seed` has.

    Raises RigFileError where its numbers make no settings.
    """
    try:
        show, made = (
            trial_show(rig, seed, seconds) if built else (as_filed(rig, seed, seconds), rig)
        )
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    trace = show.run()
    moves = poses(made, seconds)
    figures = {name: wing_figures(trace, name, made, moves) for name in WINGS}
    name = f"build {seed} of {rig_name}" if built else rig_name
    return WingRehearsal(made, name, seconds, seed, trace, figures)


def as_filed(rig: WingRig, seed: int, seconds: float) -> Show:
    """The show of a rig that is just as its file has it, before its first tick."""
    return Show(rig, show_script(rig, seconds), seed)


# (what, how one wing's figure reads, how the want reads). The page shows the same rows.
WING_ROWS: tuple[tuple[str, Any, Any], ...] = (
    (
        "whole moves made, of those asked",
        lambda wing: f"{wing.moves_made} of {wing.moves_asked}",
        lambda rig: "all",
    ),
    (
        "time to raise, worst",
        lambda wing: seconds_words(wing.raise_worst_s),
        lambda rig: f"at most {seconds_words(rig.wants.raise_s)}",
    ),
    (
        "time to lower, worst",
        lambda wing: seconds_words(wing.lower_worst_s),
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
    ("upper rope, holding the load", lambda wing: f"{wing.up_hold_N:.0f} N", lambda rig: ""),
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
