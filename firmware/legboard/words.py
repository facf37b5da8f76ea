"""The integers of a record by number: the order in which `legcore.model` declares them.

Settings are kept, sent and compared by these numbers.
"""

import micropython
from legcore.model import RECORDS


def places(made, record):
    """Where each integer of `made` is: (owner, key), the key an attribute or an index."""
    found = []
    names = own_names(made)
    for row in RECORDS[record]:
        value = getattr(made, row[0])
        if len(row) == 2:
            found += places(value, row[1])
        elif len(row) == 5:
            found += [(value, i) for i in range(row[4])]
        else:
            found.append((made, names[row[0]]))
    return found


def fields(made, record):
    """(owner, name) of each field of `made` that holds an integer or an array of them."""
    found = []
    names = own_names(made)
    for row in RECORDS[record]:
        if len(row) == 2:
            found += fields(getattr(made, row[0]), row[1])
        else:
            found.append((made, names[row[0]]))
    return found


def own_names(made):
    """Each attribute's name as the object itself holds it.

    MicroPython finds an attribute at once by that; of a table's longer names it would have to
    search all names there are, each time.
    """
    return {name: name for name in dir(made)}


def rows(record):
    """(name, unit, low, high) of every integer of a record."""
    return list(each_row(record))


def each_row(record):
    """The same one after another, which takes less memory."""
    for row in RECORDS[record]:
        if len(row) == 2:
            for name, unit, low, high in each_row(row[1]):
                yield (row[0] + "." + name, unit, low, high)
        elif len(row) == 5:
            for i in range(row[4]):
                yield (row[0] + "[" + str(i) + "]", row[1], row[2], row[3])
        else:
            yield row


@micropython.native
def read(place):
    """The integer at a place; takes no memory."""
    owner, key = place
    if isinstance(key, int):
        return owner[key]
    return getattr(owner, key)


@micropython.native
def write(place, value):
    """Change the integer at a place; takes no memory."""
    owner, key = place
    if isinstance(key, int):
        owner[key] = value
    else:
        setattr(owner, key, value)
