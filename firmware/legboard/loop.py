"""The loop: one tick of the core every period, and between ticks what may take its time.

Armed, a tick takes no memory and nothing collects: a collection would stop the board for
several periods. What writes to flash or takes long waits until both legs are off.
"""

import gc
import os
import sys
from time import sleep_us, ticks_add, ticks_diff, ticks_us

import machine
import micropython
from legcore.model import VISIT_TICKS, make
from legcore.step import step
from legwire.kept import GOOD, STATES
from micropython import const

from legboard import VERSION
from legboard.faultlog import IDLE, LIST_COLUMNS, TRACE, TRACE_OFF, FaultLog
from legboard.link import Link
from legboard.pins import pins
from legboard.sensors import Sensors
from legboard.settings import Store
from legboard.start import CRASH, RestartError
from legboard.stream import Stream
from legboard.words import places, read, write

# Where no settings say otherwise.
USUAL_HZ = const(250)
MISSED_MOST = const(1000)
LOOP_MOST_US = const(65535)
TICKS_MOST = const((1 << 30) - 1)
# So long a reply to `restart` may take to get away.
RESTART_TICKS = const(250)
# A leg without power takes half a second to come down.
SETTLE_S = const(2)


class Board:
    """Everything on the board, made once; `run` is its loop."""

    def __init__(self, drive, watchdog, was_hung, program):
        self.drive = drive
        self.watchdog = watchdog
        # Looked up once: each look-up makes an object.
        self.feed_watchdog = watchdog.feed
        self.folder = os.getcwd()
        self.rig = rig = make("Rig")
        self.store = store = Store(rig.settings, program)
        tick_hz = USUAL_HZ
        if store.state == GOOD:
            tick_hz = rig.settings.visit_hz * VISIT_TICKS
            drive.neutral_ns = rig.settings.pulse_neutral_us * 1000
        else:
            rig.settings_bad = 1
        self.tick_hz = tick_hz
        rig.was_hung = was_hung
        self.period_us = 1000000 // tick_hz
        self.sensors = Sensors(pins)
        self.log = FaultLog(self.folder, tick_hz)
        self.places = places(rig, "Rig")
        # All integers but the settings, as they are at the start, and while inputs are fed.
        self.fresh = self.state()
        self.set_aside = self.fresh
        self.feeding = 0

        self.kind = sys.platform
        self.unique = machine.unique_id()
        self.firmware = VERSION
        self.micropython = ".".join([str(part) for part in sys.implementation.version[:3]])
        self.starts = self.log.start
        self.link = Link(self, Stream())
        self.tick = 0
        # Held by hand to arm; armed.
        self.ready = 0
        self.armed = 0
        # What came before was meant to take long: the next tick's time is set anew.
        self.paused = 1
        self.restart_ticks = 0
        self.say_what_is_wrong()

    def say_what_is_wrong(self):
        """What a person should hear of at the start."""
        store = self.store
        if store.state != GOOD:
            self.link.note(f"settings are {STATES[store.state]} {store.trouble}")
        if self.rig.was_hung:
            self.link.note("the program hung and was started anew")
        try:
            with open(CRASH) as file:
                last = file.read().strip().split("\n")[-1]
            self.link.note(f"the program failed once: {last}")
        except OSError:
            pass

    def run(self):
        """Tick for ever. In bytecode, so that Ctrl-C gets in."""
        deadline = ticks_us()
        while True:
            if self.paused:
                self.paused = 0
                deadline = ticks_add(ticks_us(), self.period_us)
            wait_us = ticks_diff(deadline, ticks_us())
            if wait_us > 0:
                sleep_us(wait_us)
            begun = ticks_us()
            missed = max(0, ticks_diff(begun, deadline) // self.period_us)
            deadline = ticks_add(deadline, (missed + 1) * self.period_us)
            if self.armed:
                self.locked_tick(begun, missed)
            else:
                self.run_tick(begun, missed)
            if missed == 0:
                self.watchdog.feed()
            self.between()

    def locked_tick(self, begun, missed):
        """A tick that fails at once where it would take memory."""
        micropython.heap_lock()
        try:
            self.run_tick(begun, missed)
        finally:
            micropython.heap_unlock()

    @micropython.native
    def run_tick(self, begun, missed):
        """Read, step and drive; then what may come a little later."""
        rig = self.rig
        link = self.link
        feeding = link.asks.feed
        if feeding == 0:
            self.read(missed)
        if link.give_inputs():
            step(rig)
        if feeding or rig.contactor == 0:
            self.drive.neutral()
        else:
            self.drive.give(rig.left.pulse_us, rig.right.pulse_us)
        if feeding == 0:
            self.log.note(rig)
        tick = self.tick
        if tick < TICKS_MOST:
            tick += 1
            self.tick = tick
        loop_us = ticks_diff(ticks_us(), begun)
        if loop_us > LOOP_MOST_US:
            loop_us = LOOP_MOST_US
        link.after_tick(tick, loop_us)
        link.poll()

    @micropython.native
    def read(self, missed):
        """Fill in every input that is the board's own."""
        rig = self.rig
        self.sensors.read(rig)
        if missed > MISSED_MOST:
            missed = MISSED_MOST
        rig.missed_ticks = missed
        if self.store.watch():
            rig.settings_bad = 1

    def between(self):
        """Between two ticks: from off to armed and back; while off, what takes long."""
        rig = self.rig
        if self.armed:
            if rig.contactor == 0:
                self.stand_down()
        elif self.link.asks.feed or self.feeding:
            self.feed()
        elif rig.contactor:
            self.armed = 1
            self.watchdog.start()
        else:
            if rig.arm_ticks:
                if self.ready == 0:
                    self.get_ready()
            elif self.ready:
                self.ready = 0
                gc.enable()
            # Not while the arm input is held: what is cleared up for arming stays so.
            if rig.arm_ticks == 0 and self.settled():
                if self.log.save(self.feed_watchdog) != IDLE:
                    self.paused = 1
            self.obey()

    def settled(self):
        """Both legs have been off for so long that the springs have put the feet down.

        A leg that still falls while the flash is written would have moved on by more than a
        pot may leap between two visits.
        """
        rig = self.rig
        return min(rig.left.phase_ticks, rig.right.phase_ticks) >= SETTLE_S * self.tick_hz

    def get_ready(self):
        """The arm input is held: clear up now, so that nothing needs to while armed."""
        self.ready = 1
        self.paused = 1
        rig = self.rig
        # Another period counts only from the next start on.
        if self.store.judge() or rig.settings.visit_hz * VISIT_TICKS != self.tick_hz:
            rig.settings_bad = 1
        if rig.settings_bad == 0:
            self.drive.neutral_ns = rig.settings.pulse_neutral_us * 1000
        gc.collect()
        gc.disable()

    def stand_down(self):
        """Both legs are off again."""
        self.watchdog.relax()
        self.ready = 0
        self.armed = 0
        self.paused = 1
        gc.enable()
        gc.collect()

    def obey(self):
        """What the host asks for that takes long, or more than a tick's time."""
        link = self.link
        asks = link.asks
        link.pull()
        if asks.keep:
            asks.keep = 0
            self.paused = 1
            why_not = self.store.keep(asks.day)
            link.answer(0 if why_not else 1, why_not)
        if asks.faults:
            asks.faults = 0
            self.paused = 1
            link.tell([LIST_COLUMNS] + self.log.lines)
        if asks.trace:
            asks.trace = 0
            self.tell_trace()
        if asks.restart:
            self.restart_ticks += 1
            if link.idle() or self.restart_ticks > RESTART_TICKS:
                raise RestartError

    def tell_trace(self):
        """Send the trace of the latest fault that struck a leg that was not off."""
        for name in (TRACE, TRACE_OFF):
            try:
                # Read, and closed, as the port takes its lines.
                lines = open(self.folder.rstrip("/") + "/" + name)  # noqa: SIM115
            except OSError:
                continue
            self.link.tell(lines)
            return
        self.link.answer(0, "there is no trace")

    def feed(self):
        """Set the core's state aside while inputs are fed, and put it back after."""
        asks = self.link.asks
        self.link.pull()
        if asks.feed and self.feeding == 0:
            self.feeding = 1
            self.set_aside = self.state()
            self.put_state(self.fresh)
            if self.ready:
                self.ready = 0
                gc.enable()
        elif asks.feed == 0 and self.feeding:
            self.feeding = 0
            self.put_state(self.set_aside)
            # Nobody watched the arm input meanwhile: it must be seen open again.
            self.rig.arm_ready = 0
            self.rig.arm_ticks = 0
            self.paused = 1

    def state(self):
        """Every integer of the core but its settings."""
        return [read(place) for place in self.places[self.store.count :]]

    def put_state(self, values):
        """Change every integer of the core but its settings."""
        first = self.store.count
        for i in range(len(values)):
            write(self.places[first + i], values[i])
