"""Trials of wings: other builds of a rig run with its settings, and are judged by its wants."""

from collections.abc import Sequence
from dataclasses import dataclass

from legsim.wing.figures import WING_WANTS, WingFigures, wing_figures
from legsim.wing.perturb import built_wings, misalign_wings, wing_draws
from legsim.wing.rig import WingRig
from legsim.wing.run import Show
from legsim.wing.script import WINGS, Played, brief_show, whole_show


@dataclass(frozen=True)
class WingTrial:
    """One build that ran: its seed, each wing's figures, and how far each want is missed by the
    wing that misses it most, in the order of `WING_WANTS`."""

    seed: int
    wings: dict[str, WingFigures]
    missed: tuple[float, ...]

    @property
    def met(self) -> bool:
        """Whether both wings met every want."""
        return max(self.missed) <= 0


def wing_trial(rig: WingRig, seed: int, seconds: float | None) -> WingTrial:
    """Build `rig` as `seed` has it, and run its show with the settings of `rig`: for `seconds`,
    or, None, the brief one.

    Raises SettingsError where the core cannot hold the rig's settings.
    """
    return wing_trial_of(rig, wing_draws(seed), seed, seconds)


def wing_trial_of(
    rig: WingRig, drawn: Sequence[float], seed: int, seconds: float | None
) -> WingTrial:
    """The same of the build that has `drawn`, -1 to 1, of each tolerance; the rest as by seed."""
    made = built_wings(rig, drawn)
    played = brief_show(made) if seconds is None else whole_show(made, seconds)
    trace = trial_show(rig, made, seed, played).run()
    wings = {name: wing_figures(trace, name, made, played.moves[name]) for name in WINGS}
    return WingTrial(
        seed,
        wings,
        tuple(max(want.missed(wing, made) for wing in wings.values()) for want in WING_WANTS),
    )


def trial_show(rig: WingRig, made: WingRig, seed: int, played: Played) -> Show:
    """The show of a trial before its first tick: `made` runs, and `rig` is believed."""
    show = Show(made, played.lines, seed, believed=rig)
    misalign_wings(show.state, seed)
    return show
