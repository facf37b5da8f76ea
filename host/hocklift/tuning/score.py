"""How good a set of gains is: first how far other builds miss the wants, then what is in hand.

A score is a number, the lower the better: the builds that miss any want, counted; then by how
much they do; then the share of their room that the worst few builds miss, less than 0 where some
is left; and how smoothly all walk counts a little. Of some of the builds it is hardly ever more
than of all, so that who does badly on a few need not be tried on the others.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, radians
from typing import Any, ClassVar, NamedTuple

from legsim.figures import WANTS
from legsim.wing.figures import WING_WANTS

# A want's room: so much of what is asked, left over, is plenty; more of it is worth nothing. A
# want that is only met or not (none of these) has no room.
ROOM: dict[str, float] = {
    # Up to what is wanted of the median step: one a little lower counts as never lifted.
    "every step made": 0.25,
    "clearance": 0.10,
    "time to lift": 0.20,
    "time to lower": 0.20,
    "slack": 0.15,
    "winding warmth": 0.30,
    "rope strength": 0.30,
}
WING_ROOM: dict[str, float] = {
    "time to raise": 0.20,
    "time to lower": 0.20,
    "tracking": 0.30,
    "holding": 0.30,
    "end stops not passed": 0.30,
    "slack": 0.10,
    "winding warmth": 0.30,
    "rope strength": 0.30,
}
_MISSED_MOST = 10.0
_REFUSED_SEED = -1
# The worst few, not the one worst: what is best for a single build is good luck for others.
_WORST = 8
_SMOOTH_SHARE = 0.1


class Smooth(NamedTuple):
    """A figure of how smoothly a leg walks or a wing moves; `usual` is worth 1, less is better."""

    name: str
    figure: Callable[[Any, Any], float]
    usual: float
    words: Callable[[float], str]


SMOOTH = (
    Smooth(
        "fold past its target",
        lambda leg, rig: leg.past_target_rad,
        radians(2),
        lambda rad: f"{rad / radians(1):.1f} deg",
    ),
    Smooth(
        "drive moves, up and down",
        lambda leg, rig: leg.drive_travel_per_s,
        2.0,
        lambda per_s: f"{100 * per_s:.0f} % a second",
    ),
    Smooth(
        "rope tension, peak",
        lambda leg, rig: leg.tension_peak_N * rig.wants.rope_factor / rig.rope.breaking_N,
        0.5,
        lambda share: f"{100 * share:.0f} % of allowed",
    ),
    Smooth(
        "motor current, mean",
        lambda leg, rig: leg.current_mean_A / rig.controller.current_limit_A,
        0.2,
        lambda share: f"{100 * share:.0f} % of its limit",
    ),
)


WING_SMOOTH = (
    Smooth(
        "off its setpoint",
        lambda wing, rig: wing.track_worst_rad,
        radians(2),
        lambda rad: f"{rad / radians(1):.1f} deg",
    ),
    Smooth(
        "drive moves, up and down",
        lambda wing, rig: wing.drive_travel_per_s,
        1.0,
        lambda per_s: f"{100 * per_s:.0f} % a second",
    ),
    Smooth(
        "rope tension, peak",
        lambda wing, rig: wing.tension_peak_N * rig.wants.rope_factor / rig.rope.breaking_N,
        0.15,
        lambda share: f"{100 * share:.0f} % of allowed",
    ),
    Smooth(
        "motor current, mean",
        lambda wing, rig: wing.current_mean_A / rig.controller.current_limit_A,
        0.1,
        lambda share: f"{100 * share:.0f} % of its limit",
    ),
)


@dataclass(frozen=True)
class Scale:
    """By what builds of one kind of rig are judged."""

    wants: tuple[Any, ...]
    room: dict[str, float]
    smooth: tuple[Smooth, ...]

    @cached_property
    def rooms(self) -> tuple[float, ...]:
        """Each want's room, 0 where it has none."""
        return tuple(self.room.get(want.name, 0.0) for want in self.wants)


@dataclass(frozen=True)
class Ran:
    """What came of one build: how far each want of its scale is missed, and how smooth it was."""

    seed: int
    missed: tuple[float, ...]
    smooth: tuple[float, ...]
    scale: ClassVar[Scale] = Scale(WANTS, ROOM, SMOOTH)

    @classmethod
    def refused(cls) -> "Ran":
        """Of a rig that the core or the rules refuse: no walk is as bad."""
        return cls(_REFUSED_SEED, (inf,) * len(cls.scale.wants), (inf,) * len(cls.scale.smooth))

    @property
    def met(self) -> bool:
        """Whether both legs met every want."""
        return max(self.missed) <= 0

    @property
    def nearest(self) -> tuple[float, int]:
        """Share of its room by which the nearest want is missed, and the want's index.

        -1 where all have room enough, over 0 where one is missed.
        """
        return max(
            (min(max(missed / room if room else missed, -1.0), _MISSED_MOST), i)
            for i, (missed, room) in enumerate(zip(self.missed, self.scale.rooms, strict=True))
            if room or missed > 0
        )

    @property
    def excess(self) -> float:
        """Sum of what the missed wants are missed by, in shares of their room, each bounded."""
        return sum(
            min(missed / (room or 1.0), _MISSED_MOST)
            for missed, room in zip(self.missed, self.scale.rooms, strict=True)
            if missed > 0
        )


@dataclass(frozen=True)
class WingRan(Ran):
    """The same of a build with wings."""

    scale: ClassVar[Scale] = Scale(WING_WANTS, WING_ROOM, WING_SMOOTH)


def score(fleet: Sequence[Ran]) -> float:
    """The lower the better; at least the number of these builds that miss a want, less 1."""
    if any(ran.seed == _REFUSED_SEED for ran in fleet):
        return inf
    unmet = sum(not ran.met for ran in fleet)
    # All that is missed counts, so that what helps towards any want is seen to help.
    excess = sum(ran.excess for ran in fleet) / _MISSED_MOST
    worst = sorted(min(ran.nearest[0], 1.0) for ran in fleet)[-_WORST:]
    rough = sum(
        min(figure / one.usual, _MISSED_MOST)
        for ran in fleet
        for figure, one in zip(ran.smooth, ran.scale.smooth, strict=True)
    )
    smooth_share = rough / len(fleet) / len(fleet[0].smooth) / _MISSED_MOST
    return unmet + excess + sum(worst) / len(worst) + _SMOOTH_SHARE * smooth_share
