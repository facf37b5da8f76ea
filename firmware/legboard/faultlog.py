"""The last faults, and a trace of what led to the latest, kept on the board across resets.

Flash stops the board for tenths of a second, so nothing is written before both legs are off.
Until then faults wait in memory, and the trace in a ring that holds its last three seconds.

After a mishap people press the stop, disarm, start anew: each may bring a fault of its own. So
what strikes with both legs off has a trace file of its own and leaves the other one alone.
"""

import errno
import os
from array import array

import micropython
from legcore.faults import FAULTS
from legcore.phases import PHASES, STANDING
from micropython import const

LIST = "faults.csv"
TRACE = "fault-trace.csv"
TRACE_OFF = "fault-trace-off.csv"
KEPT = const(16)
TRACE_S = const(3)
# A write that failed is tried again after this long, not every tick.
RETRY_S = const(10)

# What `save` returns.
IDLE = const(0)
SAVED = const(1)
FAILED = const(2)

# MicroPython's own table of error numbers leaves this one out.
_ENOSPC = const(28)

LIST_TITLE = "# The last faults, newest last. A fault-trace file names the fault that it shows."
LIST_COLUMNS = (
    "number,start,since_start_ms,leg,fault,left_phase,right_phase,left_fold_cdeg,right_fold_cdeg"
)
LIST_FIELDS = const(9)
# A list is shorter than this, or it is not one.
LIST_MOST = const(4096)
# Numbers read back count on from there, and have to stay small integers.
NUMBER_MOST = const(100000000)
TRACE_COLUMNS = (
    "since_fault_ms,"
    "left_thigh_count,left_shank_count,left_fold_cdeg,left_setpoint_cdeg,left_drive_permille,"
    "left_phase,left_switch,left_sole,"
    "right_thigh_count,right_shank_count,right_fold_cdeg,right_setpoint_cdeg,right_drive_permille,"
    "right_phase,right_switch,right_sole,"
    "battery_mV,arm,contactor,faults_begun"
)

# What the trace shows if more faults than the list keeps have begun since.
UNNAMED = "a fault that is no longer listed"

# A row is of the leg that its tick visited: counts of both pots, 12 bits each; fold; setpoint in
# 64ths; drive; flags, and above them the battery, with the left leg's only.
_ROW = const(5)
# Flags: 3 bits for either phase (off is 0), arm input and contactor; of the visited leg its
# switch and its sole; and which leg that is.
_ON = const(63 | 1 << 7)
_PHASES = const(63)
_RIGHT = const(1 << 10)
# An event: tick, flags, both folds, and which bits are new of left leg, right leg and rig.
_EVENT = const(7)
# Here the count of ticks stops, after weeks; from then on nothing more is saved.
_TICKS_MOST = const(1 << 29)
# When the trace ends: not before a fault begins; it has.
_OPEN = const(1 << 29)
_ENDED = const(0)


class FaultLog:
    """Made once, at start: reads the list back, and takes all the memory that `note` needs.

    `lines` is the list as it stands; `trouble` says what was wrong with the files, or nothing.
    """

    def __init__(self, folder, tick_hz):
        self.folder = folder.rstrip("/") + "/"
        self.tick_hz = tick_hz
        # With both legs off the trace ends so many ticks after the latest fault began. While one
        # is not, it goes on for what else may come, but keeps half of it for what came before.
        self.follow_off = tick_hz // 5
        self.follow_on = tick_hz * TRACE_S // 2

        # The row of a tick is the one of its number, counted round.
        self.ring_rows = tick_hz * TRACE_S
        self.ring = array("i", bytearray(4 * _ROW * self.ring_rows))
        self.first_tick = 1
        self.last_tick = 0
        self.ends_off = _OPEN
        self.ends_on = _OPEN
        # Of the latest fault in the trace, found out when it is to be saved.
        self.fault_tick = 0
        self.struck_on = 0
        self.title = UNNAMED
        self.begun = {}

        # The latest events, counted round.
        self.events = array("i", bytearray(4 * _EVENT * KEPT))
        self.event_count = 0

        self.tick = 0
        self.flags = 0
        self.left_bits = 0
        self.right_bits = 0
        self.rig_bits = 0

        self.trouble = ""
        self.lines = []
        self.number = 0
        # Counts the starts in which a fault was kept; the others leave nothing to tell apart.
        self.start = 1
        self.list_waits = 0
        self.retry_tick = 0
        self._read_back()

    @micropython.native
    def note(self, rig):
        """Keep what this tick was like, after its step; takes no memory and writes nothing."""
        left = rig.left
        right = rig.right
        tick = self.tick
        if tick < _TICKS_MOST:
            tick += 1
            self.tick = tick
        # Masked, as a memory error may have made a large number of a phase; the rest is fresh.
        flags = left.phase & 7 | (right.phase & 7) << 3 | rig.arm << 6 | rig.contactor << 7
        left_bits = left.fault_bits
        right_bits = right.fault_bits
        rig_bits = rig.fault_bits
        if (
            left_bits != self.left_bits
            or right_bits != self.right_bits
            or rig_bits != self.rig_bits
        ):
            _note_faults(self, left, right, left_bits, right_bits, rig_bits)
        ends = self.ends_off
        if tick > ends and (ends == _ENDED or self.flags & _ON == 0 or tick > self.ends_on):
            self.flags = flags
            if ends != _ENDED:
                self.last_tick = tick - 1
                self.ends_off = _ENDED
            return
        self.flags = flags
        if rig.turn & 1:
            leg = right
            flags |= _RIGHT
        else:
            leg = left
            # The core looks at it less often still.
            flags |= rig.battery_mV << 11
        ring = self.ring
        at = tick % self.ring_rows * _ROW
        ring[at] = leg.thigh.count | leg.shank.count << 12
        ring[at + 1] = leg.fold_cdeg
        ring[at + 2] = leg.setpoint_cdeg_q6
        ring[at + 3] = leg.drive_permille
        ring[at + 4] = flags | leg.switch << 8 | leg.sole << 9

    def save(self, feed=None):
        """Write what is not kept yet: SAVED or FAILED, or IDLE where nothing waits or may be.

        Takes seconds of flash, which are no missed ticks. `feed` is called between lines, for a
        watchdog that would not wait for all of them.
        """
        ended = self.ends_off == _ENDED
        if self.flags & _ON or self.tick < self.retry_tick:
            return IDLE
        if not ended and (self.ends_off != _OPEN or not self.list_waits):
            return IDLE
        self.trouble = ""
        try:
            self._list_events()
        except MemoryError as error:
            self._fail(LIST, error)
            return FAILED
        # The trace first: a list never tells of a fault whose trace the power could still take.
        if ended:
            name = TRACE if self.struck_on else TRACE_OFF
            if self._replace(name, self._trace_lines(), feed):
                self._restart_trace()
        if self.list_waits and self._replace(LIST, self._list_lines(), feed):
            self.list_waits = 0
        return FAILED if self.trouble else SAVED

    def _read_back(self):
        """Go on where the last start ended; a list that cannot be read counts as empty."""
        try:
            with open(self.folder + LIST) as file:
                rows = _rows_of(file.read(LIST_MOST))
        except (OSError, ValueError, MemoryError) as error:
            missing = isinstance(error, OSError) and error.errno == errno.ENOENT
            self.trouble = f"{LIST} is missing" if missing else f"{LIST} is damaged: {error}"
            return
        if rows:
            self.lines = rows[-KEPT:]
            last = rows[-1].split(",")
            self.number = int(last[0])
            self.start = int(last[1]) + 1

    def _list_events(self):
        """Turn the events into lines of the list, and into what the trace will say of them."""
        lines = self.lines[:]
        number = self.number
        begun = {}
        for tick, flags, left_fold, right_fold, *bits in self._events():
            words = _fault_words(bits)
            for leg, fault in words:
                number += 1
                lines.append(
                    f"{number},{self.start},{self._ms(tick)},{leg},{fault},"
                    f"{_phase(flags)},{_phase(flags >> 3)},{left_fold},{right_fold}"
                )
            if words and tick <= self.last_tick:
                begun[tick] = "; ".join([f"{leg}: {fault}" for leg, fault in words])
                self.title = f"fault {number}, start {self.start}, {begun[tick]}"
                self.fault_tick = tick
                self.struck_on |= flags & _PHASES
        lines = lines[-KEPT:]
        self.begun.update(begun)
        # Kept only now: a lack of memory on the way leaves the events as they were.
        if number > self.number:
            self.list_waits = 1
        self.number = number
        self.lines = lines
        self.event_count = 0

    def _events(self):
        """Every event that waits and is not overwritten, the oldest first."""
        for count in range(max(0, self.event_count - KEPT), self.event_count):
            at = count % KEPT * _EVENT
            yield self.events[at : at + _EVENT]

    def _list_lines(self):
        yield LIST_TITLE
        yield LIST_COLUMNS
        yield from self.lines

    def _trace_lines(self):
        """Every row shows both legs: the other one as it was in its own last visit."""
        yield f"# What led to {self.title}."
        yield TRACE_COLUMNS
        first = max(self.first_tick, self.last_tick - self.ring_rows + 1)
        # The first row shows the other leg as the second row has it.
        seen = [self._row(first), self._row(first + 1)]
        if seen[0][4] & _RIGHT:
            seen.reverse()
        for tick in range(first, self.last_tick + 1):
            row = self._row(tick)
            flags = row[4]
            seen[1 if flags & _RIGHT else 0] = row
            yield (
                f"{self._ms(tick - self.fault_tick)},"
                f"{_leg_words(seen[0], flags)},{_leg_words(seen[1], flags >> 3)},"
                f"{seen[0][4] >> 11},{flags >> 6 & 1},{flags >> 7 & 1},{self.begun.get(tick, '')}"
            )

    def _row(self, tick):
        at = tick % self.ring_rows * _ROW
        return self.ring[at : at + _ROW]

    def _restart_trace(self):
        """Begin the trace anew: the writing has torn a hole into the ticks."""
        self.first_tick = self.tick + 1
        self.ends_off = _OPEN
        self.fault_tick = 0
        self.struck_on = 0
        self.begun = {}
        self.title = UNNAMED

    def _replace(self, name, lines, feed):
        """Write a file beside the old one and rename it: at any moment one of them is whole."""
        aside = self.folder + name + ".new"
        try:
            with open(aside, "w") as file:
                for line in lines:
                    file.write(line + "\n")
                    if feed:
                        feed()
            os.rename(aside, self.folder + name)
        except (OSError, MemoryError) as error:
            _remove(aside)
            self._fail(name, error)
            return False
        return True

    def _fail(self, name, error):
        full = isinstance(error, OSError) and error.errno == _ENOSPC
        self.trouble = f"{name} is not saved: {'the flash is full' if full else repr(error)}"
        self.retry_tick = self.tick + RETRY_S * self.tick_hz

    def _ms(self, ticks):
        return ticks * 1000 // self.tick_hz


@micropython.native
def _note_faults(log, left, right, left_bits, right_bits, rig_bits):
    """Keep the faults that began in this tick, with the phases in which they struck.

    Those are of the tick before: a fault that cuts has turned them to off by now.
    """
    left_new = left_bits & ~log.left_bits
    right_new = right_bits & ~log.right_bits
    rig_new = rig_bits & ~log.rig_bits
    log.left_bits = left_bits
    log.right_bits = right_bits
    log.rig_bits = rig_bits
    if left_new | right_new | rig_new == 0:
        return
    count = log.event_count
    log.event_count = count + 1
    tick = log.tick
    events = log.events
    at = count % KEPT * _EVENT
    events[at] = tick
    events[at + 1] = log.flags
    events[at + 2] = left.fold_cdeg
    events[at + 3] = right.fold_cdeg
    events[at + 4] = left_new
    events[at + 5] = right_new
    events[at + 6] = rig_new
    # A trace that waits to be written stays as it is.
    if log.ends_off != _ENDED:
        log.ends_off = tick + log.follow_off
        log.ends_on = tick + log.follow_on


def _fault_words(bits):
    """(leg, name of the fault) of every bit; `bits` are the left leg's, the right one's, the rig's.

    A fault of the rig concerns both legs.
    """
    legs = ("left", "right", "both")
    return [(legs[i], row[1]) for i in range(3) for row in FAULTS if row[0] & bits[i]]


def _phase(flags):
    phase = flags & 7
    return PHASES[phase][0] if phase < len(PHASES) else "unknown"


def _leg_words(row, phase):
    """What a line says of one leg, by the row of its last visit and its phase now."""
    phase &= 7
    pots, fold, setpoint_q6, drive, flags = row
    if phase <= STANDING:
        # A cut makes the other leg's drive neutral, too, and does not wait for its visit.
        drive = 0
    words = [pots & 4095, pots >> 12, fold, setpoint_q6 >> 6, drive]
    words += [_phase(phase), flags >> 8 & 1, flags >> 9 & 1]
    return ",".join([str(word) for word in words])


def _rows_of(text):
    """The rows of a list; ValueError where it is not whole and in order."""
    lines = text.replace("\r", "").split("\n")
    if lines[:2] != [LIST_TITLE, LIST_COLUMNS] or lines[-1]:
        raise ValueError("not a list of faults, or not its end")
    rows = lines[2:-1]
    last_number = 0
    for row in rows:
        fields = row.split(",")
        if len(fields) != LIST_FIELDS:
            raise ValueError(f"a row of {len(fields)} fields")
        number = int(fields[0])
        start = int(fields[1])
        if not (last_number < number < NUMBER_MOST and 0 < start < NUMBER_MOST):
            raise ValueError(f"a row numbered {number}")
        last_number = number
    return rows


def _remove(path):
    try:
        os.remove(path)
    except OSError:
        pass
