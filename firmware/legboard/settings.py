"""The settings on the board: loaded at start, watched while they are used, kept as one file.

What does not load counts as missing: nothing moves on a guess.
"""

import os
import struct
from array import array

import micropython
from legcore.validity import problem
from legwire.crc import crc16
from legwire.kept import CHANGED, FILE, GOOD, MISSING, NOT_ALLOWED, layout, pack, unpack
from micropython import const

from legboard.words import each_row, fields, places, read, write

# How many settings are compared with their copies in each tick: all of them in a fraction of a
# second, at a cost that no tick notices.
FIELDS_A_TICK = const(3)


class Store:
    """The settings of one rig: `state` is one of STATES, `trouble` says more where it is not 0."""

    def __init__(self, settings, folder):
        self.settings = settings
        self.path = folder.rstrip("/") + "/" + FILE
        self.places = places(settings, "Settings")
        self.count = len(self.places)
        self.layout = layout([row[0] + " " + row[1] for row in each_row("Settings")])
        self.lows = array("i", [row[2] for row in each_row("Settings")])
        self.highs = array("i", [row[3] for row in each_row("Settings")])
        # The settings again as the bytes of their file.
        self.bytes = bytearray(4 * self.count)
        self.day = 0
        self.at = 0
        self.trouble = ""
        self.state = self._load()
        # Whether they are judged as they are now.
        self.judged = 1
        for i in range(self.count):
            self._note(i)
        self.crc = crc16(self.bytes, 4 * self.count)
        # Each field and its copy, an integer or an array, which are compared all at once.
        self.fields = fields(settings, "Settings")
        self.copies = [_copy(getattr(owner, name)) for owner, name in self.fields]
        # By number of an integer, the number of its field.
        self.field_of = array("H")
        for i in range(len(self.copies)):
            copy = self.copies[i]
            self.field_of.extend(array("H", [i] * (1 if isinstance(copy, int) else len(copy))))

    def _load(self):
        """Fill the settings from their file, wholly or not at all."""
        try:
            with open(self.path, "rb") as file:
                data = file.read()
        except OSError:
            return MISSING
        state, day, values = unpack(data, self.layout, self.count)
        if state != GOOD:
            return state
        before = [read(place) for place in self.places]
        for i in range(self.count):
            write(self.places[i], struct.unpack_from("<i", values, 4 * i)[0])
        self.trouble = problem(self.settings)
        if self.trouble:
            # Back to what they were, as a fresh board has them.
            for i in range(self.count):
                write(self.places[i], before[i])
            return NOT_ALLOWED
        self.day = day
        return GOOD

    def put(self, word, value):
        """Change one integer of the settings; why it may not be, or nothing."""
        if not 0 <= word < self.count:
            return "no such setting"
        if not self.lows[word] <= value <= self.highs[word]:
            return f"it may be {self.lows[word]} to {self.highs[word]}"
        write(self.places[word], value)
        field = self.field_of[word]
        key = self.places[word][1]
        if isinstance(key, int):
            self.copies[field][key] = value
        else:
            self.copies[field] = value
        self._note(word)
        self.crc = crc16(self.bytes, 4 * self.count)
        self.judged = 0
        return ""

    def _note(self, word):
        """Take one integer as it is now into the bytes of the file."""
        struct.pack_into("<i", self.bytes, 4 * word, read(self.places[word]))

    def judge(self):
        """Why the settings may not be used as they are now, or nothing. Takes long."""
        if self.judged == 0:
            self.judged = 1
            self.trouble = problem(self.settings)
            if self.trouble:
                self.state = NOT_ALLOWED
        return self.trouble

    def keep(self, day):
        """Write the settings to their file, calibrated on `day`; why they are not, or nothing.

        Beside the old file, then renamed: at any moment one of the two is whole.
        """
        why_not = problem(self.settings)
        if why_not:
            return why_not
        aside = self.path + ".new"
        try:
            with open(aside, "wb") as file:
                file.write(pack(self.bytes, self.layout, day))
            os.rename(aside, self.path)
        except OSError as error:
            return "not kept: " + str(error)
        self.day = day
        return ""

    @micropython.native
    def watch(self):
        """Compare the next few settings with their copies; 1 if one has changed by itself."""
        fields = self.fields
        copies = self.copies
        at = self.at
        for _ in range(FIELDS_A_TICK):
            owner, name = fields[at]
            if getattr(owner, name) != copies[at]:
                self.state = CHANGED
                return 1
            at += 1
            if at == len(fields):
                at = 0
        self.at = at
        return 0


def _copy(value):
    return value if isinstance(value, int) else array("i", value)
