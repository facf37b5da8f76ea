"""What a tuning asks of a kind of rig: how builds of it are tried, and by what they are judged."""

from collections.abc import Callable
from functools import cache
from typing import Any, NamedTuple

from legsim.perturb import TOLERANCES, Tolerance, draws, perturbed
from legsim.trial import trial
from legsim.wearer import Gait
from legsim.wing.perturb import WING_TOLERANCES, perturbed_wings, wing_draws
from legsim.wing.rig import WingRig
from legsim.wing.trial import wing_trial

from hocklift.rigfile.keys import AnyRig
from hocklift.tuning.score import Ran, WingRan
from hocklift.wearerfile import built_in_gait


class Tried(NamedTuple):
    """A build that was tried: each joint's figures, and how far it misses each want."""

    joints: dict[str, Any]
    missed: tuple[float, ...]


# A walk is as long as a rehearsal's: over fewer steps one step by chance moves the median more.
WALK_S = 20.0


class Kind(NamedTuple):
    """A kind of rig, by what its joints are called.

    A trial of the search takes `search_s`, or is a brief show where that is None; the build of a
    seed is drawn from `tolerances`.
    """

    joint: str
    ran: type[Ran]
    trial: Callable[[Any, int, float | None], Tried]
    search_s: float | None
    compare_s: float
    tolerances: tuple[Tolerance, ...]
    draws: Callable[[int], tuple[float, ...]]
    built: Callable[[Any, int], Any]


@cache
def _gait() -> Gait:
    return built_in_gait()


def _walk(rig: Any, seed: int, seconds: float | None) -> Tried:
    tried = trial(rig, seed, seconds or WALK_S, _gait())
    return Tried(dict(tried.legs), tried.missed)


def _show(rig: Any, seed: int, seconds: float | None) -> Tried:
    tried = wing_trial(rig, seed, seconds)
    return Tried(dict(tried.wings), tried.missed)


LEGS = Kind("leg", Ran, _walk, WALK_S, WALK_S, TOLERANCES, draws, perturbed)
WINGS = Kind("wing", WingRan, _show, None, 105.0, WING_TOLERANCES, wing_draws, perturbed_wings)


def kind_of(rig: AnyRig) -> Kind:
    """The kind of a rig."""
    return WINGS if isinstance(rig, WingRig) else LEGS
