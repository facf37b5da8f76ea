"""The integers of a record of the core's state, in the order in which legcore has them."""

from legcore.wing_model import RECORDS


def ranges(record):
    """(low, high) of every integer of a record, in declared order."""
    found: list[tuple[int, int]] = []
    for row in RECORDS[record]:
        if len(row) == 2:
            found += ranges(row[1])
        else:
            found += [row[2:4]] * (row[4] if len(row) == 5 else 1)
    return found


def names(record, prefix=""):
    """The dotted name of every integer of a record, in declared order."""
    found: list[str] = []
    for row in RECORDS[record]:
        if len(row) == 2:
            found += names(row[1], f"{prefix}{row[0]}.")
        elif len(row) == 5:
            found += [f"{prefix}{row[0]}[{i}]" for i in range(row[4])]
        else:
            found.append(prefix + row[0])
    return found


def slots(made, record):
    """(object, attribute or index) of every integer of a plain object, in declared order."""
    found = []
    for row in RECORDS[record]:
        value = getattr(made, row[0])
        if len(row) == 2:
            found += slots(value, row[1])
        elif len(row) == 5:
            found += [(value, i) for i in range(row[4])]
        else:
            found.append((made, row[0]))
    return found


def put(slot, value):
    if isinstance(slot[1], int):
        slot[0][slot[1]] = value
    else:
        setattr(slot[0], slot[1], value)


def get(slot):
    return slot[0][slot[1]] if isinstance(slot[1], int) else getattr(slot[0], slot[1])


# What a tick may change: every integer of the rig that is no setting.
SETTINGS_COUNT = len(names("Settings"))
assert RECORDS["Rig"][0] == ("settings", "Settings")
STATE_NAMES = names("Rig")[SETTINGS_COUNT:]
STATE_RANGES = ranges("Rig")[SETTINGS_COUNT:]
