"""A board in this process: the real core and the real link, inputs from a walk, a wire in memory.

It is a port as well (`hocklift.transport.Transport`), whose time passes while somebody reads.
"""

from functools import cache
from types import SimpleNamespace

import numpy as np
from hocklift.errors import PortError
from hocklift.rehearsal import METRONOME, rehearse
from legboard.link import Link
from legboard.settings import Store
from legboard.words import places, read, write
from legcore.model import make
from legcore.step import step
from legsim.rig import Rig
from legsim.simboard.files import settings_file
from legwire.messages import FED
from rich.console import Console

PERIOD_S = 0.004


@cache
def walked_inputs(seconds=8):
    """Inputs of the core in each tick of a walk, in the order of FED."""
    trace = rehearse(Rig(), "demo", METRONOME, seconds, 1, Console(quiet=True)).trace
    battery_mV = (trace["bus_V"] * 1000).astype(int)
    constant = {"supply_mV": 5000, "stick_count": 2048}
    columns = []
    for name, _, _ in FED:
        leg, _, what = name.partition(".")
        if what:
            columns.append(trace[leg][what.replace(".", "_")])
        elif name == "battery_mV":
            columns.append(battery_mV)
        elif name == "arm":
            columns.append(trace["arm"])
        else:
            columns.append(np.full(len(trace), constant.get(name, 0)))
    return np.stack(columns, axis=1).tolist()


class FakeBoard:
    """Ticks whenever somebody reads; `spoil` may change, drop or add to each write."""

    name = "fake"
    about = "a board in memory"
    real = False

    def __init__(self, folder, inputs=(), credit=4000, kind="fake"):
        (folder / "settings.bin").write_bytes(settings_file(Rig()))
        self.credit = credit
        self.inputs = inputs
        self.rig = make("Rig")
        self.store = Store(self.rig.settings, str(folder))
        self.rig.left.pulse_us = self.rig.right.pulse_us = self.rig.settings.pulse_neutral_us
        self.places = places(self.rig, "Rig")
        self.fresh = self.words()
        self.period_us = round(1e6 * PERIOD_S)
        self.kind, self.unique, self.starts = kind, b"\x01\x02\0\0\0\0\0\0", 1
        self.firmware, self.micropython = "0.1.0", "none"
        self.lines = bytearray()
        self.out = bytearray()
        self.tick = self.at = 0
        self.feeding = 0
        self.most_credit = 0
        self.heard = []
        self.board = None
        self.spoil = bytes
        self.link = Link(self, SimpleNamespace(read_byte=self.read_byte, write=self.put))

    # The board's end.

    def read_byte(self):
        return self.lines.pop(0) if self.lines else -1

    def put(self, buffer, length):
        self.out += self.spoil(bytes(buffer[:length]))
        return length

    def words(self):
        return [read(place) for place in self.places]

    def let_pass(self):
        """One tick."""
        if self.link.asks.feed == 0:
            row = self.inputs[min(self.at, len(self.inputs) - 1)] if self.inputs else None
            if row is not None:
                self.at += 1
                for (name, _, _), value in zip(FED, row, strict=True):
                    if name in ("host", "host_heard"):
                        continue  # the link's own
                    owner = self.rig
                    *way, last = name.split(".")
                    for part in way:
                        owner = getattr(owner, part)
                    setattr(owner, last, value)
        if self.link.give_inputs():
            step(self.rig)
        self.tick += 1
        self.link.after_tick(self.tick, 321)
        self.link.poll()
        self.link.pull()
        if self.link.asks.feed != self.feeding:
            self.feeding = self.link.asks.feed
            for place, value in list(zip(self.places, self.fresh, strict=True))[self.store.count :]:
                write(place, value)
        self.most_credit = max(self.most_credit, self.link.credit)

    def restart(self):
        """Power off and on."""
        for place, value in zip(self.places, self.fresh, strict=True):
            write(place, value)
        self.tick = 0
        self.starts += 1
        self.lines.clear()
        self.link = Link(self, self.link.stream)

    # The host's end.

    def now_s(self):
        return self.passed * PERIOD_S

    passed = 0

    def read(self, most, timeout_s):
        end_s = self.now_s() + timeout_s
        while not self.out:
            self.passed += 1
            self.let_pass()
            if self.now_s() >= end_s:
                break
        data = bytes(self.out[:most])
        del self.out[:most]
        return data

    def write(self, data):
        self.heard.append(data.split(b"*")[0].decode())
        self.lines += data

    def close(self):
        """Nothing to let go of."""


class Breaking(FakeBoard):
    """Its cable is pulled after so many bytes."""

    bytes_left = 0

    def read(self, most, timeout_s):
        if self.bytes_left <= 0:
            raise PortError("fake: the connection has ended: pulled")
        data = super().read(min(most, self.bytes_left), timeout_s)
        self.bytes_left -= len(data)
        return data
