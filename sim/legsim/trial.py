"""Trials: other builds of a rig walk with its settings, and are judged by its wants."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from legsim.figures import WANTS, LegFigures, leg_figures
from legsim.perturb import built, draws, misaligned
from legsim.rig import Rig
from legsim.run import Walk
from legsim.wearer import Gait, gait_raises, metronome_raises, script

LEGS = ("left", "right")


@dataclass(frozen=True)
class Trial:
    """One build of a rig that walked: its seed, each leg's figures, and how far each want is
    missed by the leg that misses it most, in the order of `WANTS`."""

    seed: int
    legs: dict[str, LegFigures]
    missed: tuple[float, ...]

    @property
    def met(self) -> bool:
        """Whether both legs met every want."""
        return max(self.missed) <= 0


def trial(rig: Rig, seed: int, seconds: float, gait: Gait) -> Trial:
    """Build `rig` as `seed` has it, and walk it for `seconds` with the settings of `rig`.

    The wearer steps as in `gait`, or to a metronome where the seed is odd; all chance follows
    from the seed. Raises SettingsError where the core cannot hold the rig's settings.
    """
    return trial_of(rig, draws(seed), seed, seconds, gait)


def trial_of(rig: Rig, drawn: Sequence[float], seed: int, seconds: float, gait: Gait) -> Trial:
    """The same of the build that has `drawn`, -1 to 1, of each tolerance; the rest as by seed."""
    made = build_of(rig, drawn)
    walk = trial_walk(rig, made, seed, seconds, gait)
    trace = walk.run()
    legs = {name: leg_figures(trace, name, made) for name in LEGS}
    return Trial(
        seed,
        legs,
        tuple(max(want.missed(leg, made) for leg in legs.values()) for want in WANTS),
    )


def build_of(rig: Rig, drawn: Sequence[float]) -> Rig:
    """The build that a trial walks: `drawn`, -1 to 1, of each tolerance, and nobody in a hurry."""
    return unhurried(built(rig, drawn))


def is_metronome(seed: int) -> bool:
    """Whether the wearer of a seed steps to a metronome, and not as recorded."""
    return seed % 2 == 1


def trial_walk(rig: Rig, made: Rig, seed: int, seconds: float, gait: Gait) -> Walk:
    """The walk of a trial, before its first tick: `made` walks, and `rig` is believed."""
    raises = (
        metronome_raises(made, seconds) if is_metronome(seed) else gait_raises(made, gait, seconds)
    )
    walk = Walk(made, script(made, raises, seconds, seed), seed, believed=rig)
    misaligned(walk.state, seed)
    return walk


def unhurried(rig: Rig) -> Rig:
    """The same rig, its wearer walking no faster than legs that do just what is wanted.

    A swing is a lift and a lowering. Whoever leaves it less time than is wanted of these
    raises the foot for too short a time, whatever the gains: such a step judges nobody.
    """
    swing_s = rig.wants.lift_s + rig.wants.lower_s
    quickest_per_s = 2 * (1 - rig.wearer.stance_share) / swing_s
    cadence_per_s = min(rig.wearer.cadence_per_s, quickest_per_s)
    return replace(rig, wearer=replace(rig.wearer, cadence_per_s=cadence_per_s))
