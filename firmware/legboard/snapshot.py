"""Copies all integers of a record in one go, in the order in which `legcore.model` has them.

A look at one integer by its name costs the board four times what compiled code for it does, and
a tick has no time for three hundred of those. So the code is made from the table, at start.
"""

from legcore.model import RECORDS


def copier(record, at=0, leave_out=""):
    """A function of (made, into) that copies `made` into an array from `at` on, without heap.

    The field `leave_out` of the record is passed over, and what it holds.
    """
    lines = ["def copy(made, into):"]
    _write(lines, record, "made", at, leave_out)
    names: dict = {}
    exec("\n".join(lines), names)
    return names["copy"]


def _write(lines, record, owner, count, leave_out=""):
    """Add the lines for the object called `owner`, from place `count` on; return the next place."""
    for row in RECORDS[record]:
        name = row[0]
        if name == leave_out:
            continue
        part = owner + "_" + name
        if len(row) == 2:
            lines.append(f" {part} = {owner}.{name}")
            count = _write(lines, row[1], part, count)
        elif len(row) == 5:
            lines.append(f" {part} = {owner}.{name}")
            for i in range(row[4]):
                lines.append(f" into[{count}] = {part}[{i}]")
                count += 1
        else:
            lines.append(f" into[{count}] = {owner}.{name}")
            count += 1
    return count
