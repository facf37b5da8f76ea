"""Everything that `hocklift size` checks: tables of rows, one file for each kind of part.

A row compares a demand with a capacity, both worked out from a rig's loads; the rig keys
in `levers` are those that a person would change first to mend it.
"""

from legsim.wing.rig import WingRig

from hocklift.rigfile.keys import AnyRig
from hocklift.sizing.checks import drive, gears, hip, line, pins, springs, wings
from hocklift.sizing.checks.check import Check, Row
from hocklift.sizing.kinds import loads_of

CHECKS = (*springs.CHECKS, *line.CHECKS, *drive.CHECKS, *pins.CHECKS, *hip.CHECKS)


def checks_of(rig: AnyRig) -> list[Check]:
    """All checks that concern a rig: the tables of its kind, and two for each gear mesh."""
    if isinstance(rig, WingRig):
        return wings.checks_of(rig)
    return [check for check in (*CHECKS, *gears.checks_of(rig)) if check.applies(rig)]


def rows_of(rig: AnyRig) -> list[Row]:
    """Work out every check of a rig."""
    loads = loads_of(rig)
    return [Row(check, check.demand(loads), check.capacity(loads)) for check in checks_of(rig)]
