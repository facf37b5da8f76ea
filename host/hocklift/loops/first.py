"""First gains for a rig by named rules, from where its loop would swing."""

from dataclasses import dataclass, replace
from typing import Any

from legsim.rig import Rig

from hocklift.loops.rules import RULES, Gains, ModelRule, Ultimate, UltimateRule
from hocklift.rigfile.keys import key_at

# Where a rig file has its gains.
KEYS = tuple(key_at(f"control.{name}") for name in ("kp", "ki", "kd"))


@dataclass(frozen=True)
class First:
    """What one rule makes of a loop: its own gains, and what of them the rig file can hold.

    `values` are of `KEYS`: the rule's gains, all cut to the same `share` so that none is out
    of its range and their times stay.
    """

    rule: UltimateRule | ModelRule
    gains: Gains
    values: tuple[float, ...]
    share: float

    def rig(self, rig: Rig) -> Rig:
        """The rig with these gains."""
        values: Any = {key.field: value for key, value in zip(KEYS, self.values, strict=True)}
        return replace(rig, control=replace(rig.control, **values))


def first_gains(ultimate: Ultimate) -> list[First]:
    """By every rule; `ultimate.gain` is drive, 1 being full, per radian of fold."""
    return [_first(rule, rule.gains(ultimate)) for rule in RULES]


def _first(rule: UltimateRule | ModelRule, gains: Gains) -> First:
    wanted = (gains.gain, gains.per_second, gains.seconds)
    share = min(1.0, *(key.high / value for key, value in zip(KEYS, wanted, strict=True) if value))
    return First(rule, gains, tuple(share * value for value in wanted), share)
