"""Gains by textbook rules, to run beside what a search finds: it must be no worse than they."""

from legsim.rig import Rig

from hocklift.loops.first import KEYS, first_gains
from hocklift.loops.margins import rig_ultimate
from hocklift.rigfile.keys import AnyRig
from hocklift.tuning.variables import as_written


def textbook(rig: AnyRig) -> list[dict[str, float]]:
    """Values of the gains by key, by each rule; of wings none, for no rule knows their loop."""
    if not isinstance(rig, Rig):
        return []
    return [
        {
            key.path: as_written(key.path, value)
            for key, value in zip(KEYS, first.values, strict=True)
        }
        for first in first_gains(rig_ultimate(rig))
    ]
