"""Trials of wings: other builds of a rig run with its settings, and are judged by its wants."""

from dataclasses import dataclass

from legsim.wing.figures import WING_WANTS, WingFigures, wing_figures
from legsim.wing.perturb import misalign_wings, perturbed_wings
from legsim.wing.rig import WingRig
from legsim.wing.run import Show
from legsim.wing.script import poses, show_script

WINGS = ("left", "right")


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


def wing_trial(rig: WingRig, seed: int, seconds: float) -> WingTrial:
    """Build `rig` as `seed` has it, and run its show for `seconds` with the settings of `rig`.

    Raises SettingsError where the core cannot hold the rig's settings.
    """
    show, made = trial_show(rig, seed, seconds)
    trace = show.run()
    moves = poses(made, seconds)
    wings = {name: wing_figures(trace, name, made, moves) for name in WINGS}
    return WingTrial(
        seed,
        wings,
        tuple(max(want.missed(wing, made) for wing in wings.values()) for want in WING_WANTS),
    )


def trial_show(rig: WingRig, seed: int, seconds: float) -> tuple[Show, WingRig]:
    """The show of a trial before its first tick, and the build that runs it."""
    made = perturbed_wings(rig, seed)
    show = Show(made, show_script(made, seconds), seed, believed=rig)
    misalign_wings(show.state, seed)
    return show, made
