"""What sizing has for each kind of rig: its loads, and its figures that are good to know."""

from typing import Any

from legsim.wing.rig import WingRig

from hocklift.rigfile.keys import AnyRig
from hocklift.sizing.loads import Loads
from hocklift.sizing.wing_loads import WingLoads


def loads_of(rig: AnyRig) -> Any:
    """The loads of a rig, `Loads` or `WingLoads`: what the checks of its kind take."""
    return WingLoads(rig) if isinstance(rig, WingRig) else Loads(rig)
