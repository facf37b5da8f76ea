"""First gains for a rig by named rules, from where its loop would swing."""

from dataclasses import dataclass, fields, replace
from typing import Any

from legsim.rig import Control, Rig

from hocklift.loops.rules import RULES, Gains, ModelRule, Ultimate, UltimateRule

KEYS = ("kp_per_rad", "ki_per_rad_s", "kd_s_per_rad")
_RANGES = {
    item.name: (item.metadata["low"], item.metadata["high"])
    for item in fields(Control)
    if item.name in KEYS
}


@dataclass(frozen=True)
class First:
    """What one rule makes of a loop: its own gains, and those that the rig file can hold.

    `values` are of `KEYS`; `clipped` names those that the rule would have greater.
    """

    rule: UltimateRule | ModelRule
    gains: Gains
    values: dict[str, float]
    clipped: tuple[str, ...]

    def rig(self, rig: Rig) -> Rig:
        """The rig with these gains."""
        values: dict[str, Any] = self.values
        return replace(rig, control=replace(rig.control, **values))


def first_gains(ultimate: Ultimate) -> list[First]:
    """By every rule; `ultimate.gain` is drive, 1 being full, per radian of fold."""
    return [_first(rule, rule.gains(ultimate)) for rule in RULES]


def _first(rule: UltimateRule | ModelRule, gains: Gains) -> First:
    wanted = dict(zip(KEYS, (gains.gain, gains.per_second, gains.seconds), strict=True))
    values = {
        key: min(max(value, _RANGES[key][0]), _RANGES[key][1]) for key, value in wanted.items()
    }
    return First(rule, gains, values, tuple(key for key in KEYS if wanted[key] > values[key]))
