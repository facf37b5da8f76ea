"""Strikes the firmware at each of its lines in one armed cycle; CPython runs it as a board.

Arguments: folder of legsim, name of the exception, every how many lines, `once` or `twice`. The
working folder is the board's flash. Prints a list of what came of each strike. With `twice` one
strikes in the middle of the cycle already, and another at each line that still runs after it.
"""

import gc
import json
import os
import sys

SIM, RAISES, STRIDE, MODE = sys.argv[1:5]
sys.path[0] = SIM

from legsim.simboard.exchange import BACK, OUT, RESETS  # noqa: E402  (only now is the path set)
from legsim.simboard.exchange import RAISES as RAISES_ALL  # noqa: E402
from legsim.simboard.inside import flash, standins  # noqa: E402
from legsim.simboard.inside.wires import (  # noqa: E402
    CALLS,
    CONTACTOR,
    LEFT_NS,
    RAISED,
    RAISED_AT,
    RIGHT_NS,
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
# The arm input closes when the loop has run for a while; struck is a later tick.
CLOSES_US = 2100000
ARMED_TICKS = 21
CALLS_TO_FIRST = 20


class ResetError(BaseException):
    """The board resets: nothing more of its program runs."""


class CycleError(BaseException):
    """The cycle has been watched to its end."""


class Still(Plant):
    """A plant that stands still; its board is watched through one armed cycle."""

    def __init__(self):
        self.armed_ticks = 0

    def exchange(self, out, back):
        if out[KIND] == RESETS:
            raise ResetError
        back[BACK.index("now_us")] = out[UNTIL_US]
        for name, value in READINGS.items():
            back[BACK.index(name)] = value
        back[BACK.index("arm")] = 1 if out[UNTIL_US] > CLOSES_US else 0
        self.armed_ticks += out[CONTACTOR]
        if self.armed_ticks == ARMED_TICKS:
            watch.begin(sys._getframe())
            if MODE == "twice":
                back[RAISED] = RAISES_ALL.index(RAISES)
                back[RAISED_AT] = out[CALLS] + CALLS_TO_FIRST
        elif self.armed_ticks > ARMED_TICKS:
            sys.settrace(None)
            raise CycleError


class Watch:
    """Notes the lines of the firmware as they run, and raises at those that are asked for."""

    def __init__(self):
        self.clear(())

    def clear(self, strikes):
        self.strikes = strikes
        self.lines = []
        self.struck_us = 0
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
                # This ends the watch, too.
                raise getattr(builtins, RAISES)
        return self.line


def outputs():
    return (wires.out[CONTACTOR], wires.out[LEFT_NS], wires.out[RIGHT_NS])


def start(strikes):
    """One start of the board, from power to its end; its lines, and what came of it."""
    gc.enable()
    plant.armed_ticks = 0
    watch.clear(strikes)
    wires.connect(plant, wires.pins, 0)
    written = []
    flash.wrote = lambda: written.append(outputs())
    try:
        main(".")
    except BaseException as error:
        ended = type(error).__name__
    finally:
        sys.settrace(None)
    return watch.lines, {
        "lines": [watch.lines[i] for i in strikes if i < len(watch.lines)],
        "ended": ended,
        "outputs": outputs(),
        "written": written,
        "took_us": wires.now_us - watch.struck_us,
    }


plant = Still()
watch = Watch()
standins.put_in_place(plant, "rp2", 1, 0)

import builtins  # noqa: E402

from legboard.start import main  # noqa: E402  (only now are the stand-ins in place)

cycle, _ = start(())
strikes = range(0 if MODE == "once" else watch.first, len(cycle), int(STRIDE))
json.dump([start((i,))[1] for i in strikes], sys.__stdout__)
