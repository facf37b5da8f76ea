"""A host at the end of a cable in memory: it says lines, grants bytes, and keeps all frames."""

from dataclasses import replace
from functools import cache

from hocklift.wire import Decoder, encode_line
from legcore.phases import HELD, OFF, STANDING
from legsim.rig import Rig

# A board says nothing that is not granted; this is enough for 50 ticks.
GRANT_BYTES = 6000
STEP_S = 0.1
# Until the loop runs: MicroPython starts, then the moment in which a person may break in.
START_S = 2.7


@cache
def quick_rig():
    """The demo rig, armed in half a second."""
    rig = Rig()
    return replace(rig, control=replace(rig.control, arm_time_s=0.5))


class Cable:
    """Plugged into a simulated board."""

    def __init__(self, board, every=1):
        self.board = board
        board.usb.plugged = True
        self.decoder = Decoder()
        self.every = every
        self.frames = []

    def say(self, word, *numbers):
        self.board.usb.from_host += encode_line(word, *numbers)

    def run(self, seconds):
        """Let time pass, and hear all that is said."""
        for _ in range(round(seconds / STEP_S)):
            self.say("grant", GRANT_BYTES)
            self.board.advance(STEP_S)
            self.hear()

    def hear(self):
        data = bytes(self.board.usb.to_host)
        self.board.usb.to_host.clear()
        self.frames += self.decoder.feed(data)

    def start(self):
        """From power to the loop, each tick told from then on."""
        self.run(START_S)
        self.say("every", self.every)
        self.run(0.2)

    def arm(self):
        """Arm as a person does, and wait until both legs stand."""
        self.board.arm(False)
        self.run(0.3)
        self.board.arm(True)
        self.until(lambda tick: tick["left_phase"] == tick["right_phase"] == STANDING)

    def disarm(self):
        self.board.arm(False)
        self.until(lambda tick: tick["left_phase"] == tick["right_phase"] == OFF)

    def lift(self, leg=0):
        self.board.raise_foot(leg, True)
        side = ("left", "right")[leg]
        self.until(lambda tick: tick[f"{side}_phase"] == HELD)

    def until(self, holds, at_most_s=6.0):
        """Run until the last tick told has it so."""
        for _ in range(round(at_most_s / STEP_S)):
            self.run(STEP_S)
            if self.ticks and holds(self.ticks[-1]):
                return
        raise AssertionError(f"it never came: {self.ticks[-1:]}, {self.texts()}")

    @property
    def ticks(self):
        return [frame.values for frame in self.frames if frame.message == "tick"]

    def values(self, message):
        return [frame.values for frame in self.frames if frame.message == message]

    def texts(self):
        """All notes as one text."""
        return "".join(values["text"] for values in self.values("note"))

    def ask(self, word, *numbers):
        """Say a line and wait for its reply."""
        before = len(self.values("reply"))
        self.say(word, *numbers)
        for _ in range(30):
            self.run(STEP_S)
            replies = self.values("reply")[before:]
            if replies:
                return replies[-1]
        raise AssertionError(f"no reply to {word}")


NEUTRAL_NS = 1500000


def neutral(board):
    """Whether what the board gives moves nothing: no power, each pulse at rest or none at all."""
    out = board.out
    pulses = {out["left_ns"], out["right_ns"]}
    return out["contactor"] == 0 and pulses <= {0, NEUTRAL_NS}
