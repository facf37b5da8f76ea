"""Everything that `hocklift size` checks: tables of rows, one file for each kind of part.

A row compares a demand with a capacity, both worked out from a rig's loads; the rig keys
in `levers` are those that a person would change first to mend it.
"""

from legsim.rig import Rig

from hocklift.sizing.checks import drive, gears, hip, line, pins, springs
from hocklift.sizing.checks.check import Check, Row
from hocklift.sizing.loads import Loads

CHECKS = (*springs.CHECKS, *line.CHECKS, *drive.CHECKS, *pins.CHECKS, *hip.CHECKS)


def checks_of(rig: Rig) -> list[Check]:
    """All checks that concern a rig: the tables, and two for each gear mesh."""
    return [check for check in (*CHECKS, *gears.checks_of(rig)) if check.applies(rig)]


def rows_of(rig: Rig) -> list[Row]:
    """Work out every check of a rig."""
    loads = Loads(rig)
    return [Row(check, check.demand(loads), check.capacity(loads)) for check in checks_of(rig)]
