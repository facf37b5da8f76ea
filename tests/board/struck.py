"""Strikes the firmware at each of its lines in some cycles of its loop; CPython runs it as a board.

Arguments: folder of legsim, name of the exception, every how many lines, `once` or `twice`. The
working folder is the board's flash. Prints a list of what came of each strike. With `twice` one
strikes in the middle of a lift already, and another at each line that still runs after it.
"""

import gc
import json
import os
import select
import sys
from binascii import crc_hqx
from typing import NamedTuple

SIM, RAISES, STRIDE, MODE = sys.argv[1:5]
sys.path[0] = SIM

from legsim.simboard.exchange import BACK, OUT, RESETS  # noqa: E402  (only now is the path set)
from legsim.simboard.exchange import RAISES as RAISES_ALL  # noqa: E402
from legsim.simboard.inside import flash, port, standins  # noqa: E402
from legsim.simboard.inside.wires import (  # noqa: E402
    CALLS,
    CONTACTOR,
    LEFT_NS,
    RAISED,
    RAISED_AT,
    RIGHT_NS,
    WATCHDOG_MS,
    Plant,
    wires,
)

FLASH = os.getcwd()
KIND, UNTIL_US = OUT.index("kind"), OUT.index("until_us")
# What a rig that stands reads.
READINGS = {
    **dict.fromkeys(("left_thigh", "right_thigh"), 1905),
    **dict.fromkeys(("left_shank", "right_shank"), 1868),
    **dict.fromkeys(("left_sole", "right_sole", "stop"), 1),
    **{"stick": 2047, "battery": 3374, "supply": 3102},
}
# The arm input closes when the loop has run for a while; ticks are counted from there on.
CLOSES_US = 2100000
CALLS_TO_FIRST = 20


class Act(NamedTuple):
    """What is done at the rig and what the host says, by tick; which ticks are watched.

    A line that runs many times is struck the first time: in an act that drives a leg each of
    them, in any other those that no act before has struck. Pots read the same all the time: a
    leg that is driven does not follow.
    """

    name: str
    done: dict[int, dict[str, int]]
    says: dict[int, str]
    first: int
    last: int
    drives: int = 0


# Pushed, let go, pulled, let go. All that is done in turn has its turn in 32 ticks.
STICK = {40: {"stick": 3900}, 74: {"stick": 2047}, 110: {"stick": 200}, 122: {"stick": 2047}}
UP = {40: {"left_switch": 1, "left_sole": 0}}
STOP = {62: {"stop": 0}, 70: {"arm": 0}}
TELL = {20: "grant 60000", 24: "every 1"}
INPUTS = "1905 1868 0 1 1905 1868 0 1 1 0 0 0 0 24700 5000 2047 0 0"
# While both legs are off each line takes a tick.
ASKS = (
    "set 0 125",
    "set 65535 0",
    "faults",
    "trace",
    "feed 1",
    f"in {INPUTS}",
    "set 999 0",
    "feed 0",
)
ACTS = (
    Act("stooping", STICK, TELL, 60, 122, 1),
    Act("lifting", UP, {**TELL, 52: "snapshot"}, 48, 92, 1),
    Act("put down", {**UP, 62: {"left_switch": 0, "left_sole": 1}}, TELL, 60, 120),
    Act("disarmed in a lift", {**UP, 62: {"arm": 0}}, TELL, 60, 130),
    Act("cut in a lift", {**UP, **STOP}, TELL, 60, 100),
    Act("asked in a lift", UP, {**TELL, 60: "hello", 66: "take", 72: "beat", 78: "stop"}, 60, 90),
    # Flash is written when the legs have been off for two seconds.
    Act("faults kept", {**UP, **STOP}, TELL, 555, 600),
    Act("asked while off", {40: {"arm": 0}}, TELL | dict(enumerate(ASKS, 62)), 60, 100),
    Act("settings kept", {40: {"arm": 0}}, TELL | {62: "keep 9000", 66: "restart"}, 60, 340),
    Act("arming", {}, TELL, 0, 24),
)


class ResetError(BaseException):
    """The board resets: nothing more of its program runs."""


class CycleError(BaseException):
    """The cycle has been watched to its end."""


class Still(Plant):
    """A plant that stands still; its board is watched through some cycles of an act."""

    def __init__(self):
        self.begin(ACTS[0])

    def begin(self, act):
        self.act = act
        self.tick = -1
        self.readings = {**READINGS, "arm": 0}

    def exchange(self, out, back):
        if out[KIND] == RESETS:
            raise ResetError
        back[BACK.index("now_us")] = out[UNTIL_US]
        act = self.act
        if out[UNTIL_US] > CLOSES_US:
            self.tick += 1
            self.readings.update({"arm": 1} if self.tick == 0 else act.done.get(self.tick, {}))
            self.say(act.says.get(self.tick))
        for name, value in self.readings.items():
            back[BACK.index(name)] = value
        if self.tick == act.first:
            watch.begin(sys._getframe())
            if MODE == "twice":
                back[RAISED] = RAISES_ALL.index(RAISES)
                back[RAISED_AT] = out[CALLS] + CALLS_TO_FIRST
        elif self.tick > act.last:
            sys.settrace(None)
            raise CycleError

    def say(self, text):
        """Send a line as the host does."""
        if text:
            os.write(HOST, b"%s*%04X\n" % (text.encode(), crc_hqx(text.encode(), 0xFFFF)))


class Watch:
    """Notes the lines of the firmware as they run, and raises at those that are asked for."""

    def __init__(self):
        self.clear(())

    def clear(self, strikes):
        self.strikes = strikes
        self.lines = []
        # What was given when it struck.
        self.driven = ()
        self.struck_us = 0
        self.watchdog = 0
        # How many lines had run when the first exception struck.
        self.first = None

    def begin(self, frame):
        """From now on, in every frame there is and in every new one."""
        sys.settrace(self.call)
        while frame:
            frame.f_trace = self.line
            frame = frame.f_back

    def call(self, frame, event, _):
        return self.line

    def line(self, frame, event, _):
        name = frame.f_code.co_filename
        if event == "exception" and self.first is None:
            self.first = len(self.lines)
            self.struck_us = wires.now_us
        if event == "line" and name.startswith(FLASH):
            at = len(self.lines)
            self.lines.append(f"{os.path.basename(name)}:{frame.f_lineno}")
            if at in self.strikes:
                self.struck_us = self.struck_us or wires.now_us
                self.watchdog = wires.out[WATCHDOG_MS]
                self.driven = outputs()
                # This ends the watch, too.
                raise getattr(builtins, RAISES)
        return self.line


def outputs():
    return (wires.out[CONTACTOR], wires.out[LEFT_NS], wires.out[RIGHT_NS])


def start(act, strikes):
    """One start of the board, from power to its end; its lines, and what came of it."""
    gc.enable()
    plant.begin(act)
    watch.clear(strikes)
    wires.connect(plant, wires.pins, 0)
    written = []
    while select.select([FROM_HOST], [], [], 0)[0]:
        os.read(FROM_HOST, 4096)
    flash.wrote = lambda: written.append(outputs())
    try:
        main(".")
    except BaseException as error:
        ended = type(error).__name__
    finally:
        sys.settrace(None)
    return watch.lines, {
        "act": act.name,
        "lines": [watch.lines[i] for i in strikes if i < len(watch.lines)],
        "watchdog": watch.watchdog,
        "driven": watch.driven,
        "ended": ended,
        "outputs": outputs(),
        "written": written,
        "took_us": wires.now_us - watch.struck_us,
    }


# The host's end of a cable that nobody reads.
FROM_HOST, HOST = os.pipe()
# Kept, or what is to be printed would find its end closed.
OWN_ENDS = port.STDIN.buffer, port.STDOUT.buffer
port.STDIN.buffer = port.RawFile(FROM_HOST, "rb")
port.STDOUT.buffer = port.RawFile(os.open(os.devnull, os.O_WRONLY), "wb")
plant = Still()
watch = Watch()
standins.put_in_place(plant, "rp2", 1, 0)

import builtins  # noqa: E402

from legboard.start import main  # noqa: E402  (only now are the stand-ins in place)


def once():
    """Strike each line where it first runs, in every act that drives a leg, or wherever else."""
    told, seen = [], set()
    for act in ACTS:
        places = {}
        for place, line in enumerate(start(act, ())[0]):
            places.setdefault(line, place)
        new = [place for line, place in places.items() if act.drives or line not in seen]
        seen.update(places)
        told += [start(act, (place,))[1] for place in new[:: int(STRIDE)]]
    return told


def twice():
    """Strike at every line that runs after a first strike in a lift."""
    act = ACTS[1]
    lines, _ = start(act, ())
    return [start(act, (place,))[1] for place in range(watch.first, len(lines), int(STRIDE))]


json.dump(once() if MODE == "once" else twice(), sys.__stdout__)
