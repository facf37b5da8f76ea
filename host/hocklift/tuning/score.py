"""How good a set of gains is: first how far other builds miss the wants, then what is in hand.

A score is a number, the lower the better: over 1 while any build misses any want, under it
once all are met. Then it is the share of their room that the worst few builds have left, and
how smoothly all walk counts a little.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, radians
from typing import NamedTuple

from legsim.figures import WANTS, LegFigures
from legsim.rig import Rig

# A want's room: so much of what is asked, left over, is plenty; more of it is worth nothing. A
# want that is only met or not (none of these) has no room.
ROOM: dict[str, float] = {
    "clearance": 0.10,
    "time to lift": 0.20,
    "time to lower": 0.20,
    "slack": 0.15,
    "winding warmth": 0.30,
    "rope strength": 0.30,
}
_ROOMS = tuple(ROOM.get(want.name, 0.0) for want in WANTS)
_MISSED_MOST = 10.0
_WORST_SHARE = 0.125
_SMOOTH_SHARE = 0.1


class Smooth(NamedTuple):
    """A figure of how smoothly a leg walks; `usual` is worth 1, less is better."""

    name: str
    figure: Callable[[LegFigures, Rig], float]
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


@dataclass(frozen=True)
class Ran:
    """What came of one build: how far each of `WANTS` is missed, and each figure of `SMOOTH`."""

    seed: int
    missed: tuple[float, ...]
    smooth: tuple[float, ...]

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
            for i, (missed, room) in enumerate(zip(self.missed, _ROOMS, strict=True))
            if room or missed > 0
        )

    @property
    def excess(self) -> float:
        """Sum of what the missed wants are missed by, in shares of their room, each bounded."""
        return sum(
            min(missed / (room or 1.0), _MISSED_MOST)
            for missed, room in zip(self.missed, _ROOMS, strict=True)
            if missed > 0
        )


# A rig that the core or the rules refuse: no walk is as bad.
REFUSED = Ran(-1, (inf,) * len(WANTS), (inf,) * len(SMOOTH))


def score(fleet: Sequence[Ran]) -> float:
    """The lower the better; over 1 while any of these builds misses a want."""
    if REFUSED in fleet:
        return inf
    unmet = sum(not ran.met for ran in fleet) / len(fleet)
    if unmet:
        # All that is missed counts, so that what helps towards any want is seen to help.
        return 1 + 10 * unmet + sum(ran.excess for ran in fleet) / len(fleet)
    nearest = [ran.nearest[0] for ran in fleet]
    rough = sum(
        min(figure / one.usual, _MISSED_MOST)
        for ran in fleet
        for figure, one in zip(ran.smooth, SMOOTH, strict=True)
    )
    smooth_share = rough / len(fleet) / len(SMOOTH) / _MISSED_MOST
    # The worst few, not the one worst: what is best for a single build is good luck for others.
    worst = sorted(nearest)[-max(1, round(len(fleet) * _WORST_SHARE)) :]
    return sum(worst) / len(worst) + _SMOOTH_SHARE * smooth_share
