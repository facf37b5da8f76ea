"""The board behind the page: one thread that listens, beats, stops, and does what is asked.

Whatever that thread waits for, what the board says goes to the page as it comes, and a stop
goes out at once. The board hears a beat only for each beat of the page in charge.
"""

import json
import struct
import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from queue import Empty, Full, Queue
from typing import Any

import numpy as np
from cobs import cobs
from legcore.faults import STOP
from legsim.rig import Rig
from legwire.messages import TICK_FLAGS

from hocklift.benchpage.history import History
from hocklift.benchpage.livedevice import LiveDevice
from hocklift.benchpage.people import People
from hocklift.benchpage.shadow import Shadow
from hocklift.benchpage.telling import settings, state
from hocklift.benchpage.tuning import Tuning, Words
from hocklift.checking.settings import NAMES
from hocklift.device import Device, Snapshot
from hocklift.errors import BoardError, HockliftError, OutputError
from hocklift.log import TICK_DTYPE
from hocklift.recording import Recorder
from hocklift.replaying import Ticks
from hocklift.transport import Transport
from hocklift.wire import Frame, encode_line

# Ticks go to the page so often; what is not a trace, so often or as soon as it changes.
ROWS_S = 0.02
STATE_S = 0.1
# A page that has not beaten for so long is gone: less than any host_time that makes sense.
PAGE_SILENT_S = 0.3
# Ticks that have not come for so long are missed by whoever looks on.
SILENT_S = 0.5
# So many commands may wait; a person never has more than one or two.
WAITING_MOST = 16
_STOP_AGAIN_S = 0.05
_SNAPSHOT_AGAIN_S = 1.0
_OPEN_AGAIN_S = 1.0
_LOOP_TICKS = 250
STOPPED = "Stopped: all that waited is dropped."
BUSY = "Too much at once: this was not done."
NO_BOARD = "No board is connected."

# Told with an answer: done or not, and words for a person.
Answer = Callable[[bool, str], None]
Act = Callable[[LiveDevice], str]


class Live:
    """A board and its rig; `tell` is given what all pages are to be told, from another thread.

    `rig_given` is None for the demo rig. Raises PortError or BoardError where there is no board
    at the start; one that goes away later is looked for again and again.
    """

    def __init__(
        self,
        open_port: Callable[[], Transport],
        rig: Rig,
        rig_given: Rig | None,
        folder: Path,
    ) -> None:
        self.rig = rig
        self.tell: Callable[[str | bytes], None] = lambda _: None
        self.history = History()
        self.tuning = Tuning(rig)
        self.shadow = Shadow(rig)
        self.people: People | None = None
        self.board: dict[str, Any] = {}
        self.trouble = ""
        self.rig_given = rig_given
        self.folder = folder
        self._open_port = open_port
        self.recorder: Recorder | None = None
        self._pending: list[Frame] = []
        self.last: dict[str, int] = {}
        self.loop_us: deque[int] = deque(maxlen=_LOOP_TICKS)
        self.missed = 0
        self._period_s = 0.004
        self.day = 0
        self._rows_s = self._state_s = self._snapshot_s = -1.0
        self.lost = self.damaged = 0
        # What other threads ask for.
        self._waiting: Queue[tuple[Act, Answer]] = Queue(WAITING_MOST)
        self._closing = threading.Event()
        self.stopping = threading.Event()
        self._stop_tick = self._stop_s = -1.0
        self._held = False
        self._even_armed = False
        self._leave = False
        self._page_beat_s = self._beaten_s = -1.0
        self._device: LiveDevice | None = None
        self._device = self._connect()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def close(self) -> None:
        """Let go of the board; where anything may move it falls silent, and so is let down."""
        self._closing.set()
        if self._thread.is_alive():
            self._thread.join()

    # What the server asks for, from its own thread.

    def stop(self) -> None:
        """Cut the power now; again and again until the board has."""
        self.history.add("host", "Stop, from a page.")
        self.stopping.set()

    def hold(self, held: bool, *, even_armed: bool = False) -> None:
        """A page is in charge from now on, or none is; `even_armed`: take it in mid-motion, too."""
        self._held = held
        self._even_armed = even_armed
        self.beat()

    def leave(self) -> None:
        """The page in charge only watches from now on: the board no longer waits for beats."""
        self._held = False
        self._leave = True

    def beat(self) -> None:
        """The page in charge is alive."""
        self._page_beat_s = self._now_s()

    def do(self, act: Act, answer: Answer) -> None:
        """Have something done with the board as soon as it can be, or refused at once."""
        try:
            self._waiting.put_nowait((act, answer))
        except Full:
            answer(False, BUSY)

    # The thread.

    def _connect(self) -> LiveDevice:
        device = LiveDevice(self._open_port(), self._hear, self._send_stop)
        self._now_s = device.transport.now_s
        try:
            hello = device.hello()
        except BaseException:
            device.transport.close()
            raise
        self._period_s = int(hello.values["period_us"]) / 1e6
        self.day = min(int(hello.values["calibrated_day"]), 65535)
        self.board = {
            name: hello.values[name] for name in ("firmware", "board", "micropython", "period_us")
        } | {"port": device.transport.name, "real": device.transport.real}
        if device.transport.board is not None:
            self.people = People(device.transport.board, self.rig)
        device.alive = self._page_is_alive
        self.trouble = ""
        return device

    def _run(self) -> None:
        while not self._closing.is_set():
            try:
                with self._device or self._connect() as self._device:
                    self._serve(self._device)
            except HockliftError as error:
                self._lose(str(error))
                self._closing.wait(_OPEN_AGAIN_S)
            self._device = None

    def _lose(self, why: str) -> None:
        """The board is gone: whatever waits is refused, and every page told."""
        if self.recorder is not None:
            with suppress(OutputError):
                self.recorder.end(why, why)
            self.recorder = None
        if self.trouble != why:
            self.history.add("gap", why)
        self.trouble = why
        self.shadow.synced = False
        self.stopping.clear()
        self._refuse(NO_BOARD)
        self._tell_state()

    def _serve(self, device: LiveDevice) -> None:
        device.send("every", 1)
        device.snapshot()
        frames = device.frames()
        while not self._closing.is_set():
            try:
                frame = next(frames)
                if self.recorder is not None:
                    self.recorder.take(frame)
                    self.recorder.keep_up()
                self._between(device)
            except OutputError as error:
                # Of the recording only; the board goes on.
                self.end_recording(str(error))
                frames = device.frames()
        if self.recorder is not None:
            self.end_recording("the bench was ended")
        if device.in_charge and self.rests():
            device.leave()

    def _between(self, device: LiveDevice) -> None:
        """Between two frames: who is in charge, what is asked for, and being in step."""
        if self.people is not None:
            self.people.pass_time()
            if not self._held:
                self.people.let_go()
        there = self._held and self._now_s() - self._page_beat_s < PAGE_SILENT_S
        if self._leave:
            self._leave = False
            if device.in_charge:
                device.leave()
        elif there and not device.in_charge and (self.rests() or self._even_armed):
            device.take()
        elif device.in_charge and not there and self.rests():
            # Nothing moves that would have to be let down.
            device.leave()
        if not self.stopping.is_set():
            self._do_next(device)
        due_s = self._snapshot_s + _SNAPSHOT_AGAIN_S
        if not self.shadow.synced and self._now_s() > due_s:
            self._snapshot_s = self._now_s()
            device.snapshot()

    def silent(self) -> bool:
        """Whether no tick has come for so long that what the page shows may be wrong."""
        return self._now_s() - self._rows_s > SILENT_S

    def rests(self) -> bool:
        """Whether the board gives no power."""
        return not self.last.get("flags", 0) >> TICK_FLAGS.index("contactor") & 1

    def _do_next(self, device: LiveDevice) -> None:
        try:
            act, answer = self._waiting.get_nowait()
        except Empty:
            return
        try:
            answer(True, act(device))
        except HockliftError as error:
            answer(False, str(error))
            if not isinstance(error, BoardError | OutputError):
                raise

    def _refuse(self, why: str) -> None:
        with suppress(Empty):
            while True:
                self._waiting.get_nowait()[1](False, why)

    def _page_is_alive(self) -> bool:
        """Whether the page in charge has beaten since the board last heard of it."""
        beat_s = self._page_beat_s
        if not self._held or beat_s <= self._beaten_s:
            return False
        self._beaten_s = beat_s
        return True

    def _send_stop(self, device: Device) -> None:
        if not self.stopping.is_set():
            return
        now_s = device.transport.now_s()
        if self._stop_tick < 0:
            self._stop_tick = self.last.get("tick", 0)
            self._refuse(STOPPED)
        if now_s - self._stop_s > _STOP_AGAIN_S:
            self._stop_s = now_s
            device.transport.write(encode_line("stop"))

    def _hear(self, frames: list[Frame]) -> None:
        for frame in frames:
            if frame.message == "tick":
                self._pending.append(frame)
            elif frame.message == "words":
                if snapshot := self.shadow.gather(frame):
                    self._sync(snapshot)
            elif frame.message == "note":
                self.history.add("note", frame.text().strip())
            elif frame.message == "hello":
                self.shadow.synced = False
        if self._pending and self._now_s() - self._rows_s >= ROWS_S:
            self._tell_rows()
        if self.history.fresh or self._now_s() - self._state_s >= STATE_S:
            self._tell_state()

    def _sync(self, snapshot: Snapshot) -> None:
        if self._pending:
            self._tell_rows()
        before = self.shadow.settings
        self.shadow.sync(snapshot)
        if self.shadow.settings != before:
            self.tell_settings()

    def _tell_rows(self) -> None:
        """Tell every tick that has come since the last time, as rows of floats."""
        payloads = b"".join(cobs.decode(frame.raw[:-1])[:-2] for frame in self._pending)
        self._pending = []
        self._rows_s = self._now_s()
        ticks: Ticks = np.frombuffer(payloads, TICK_DTYPE)
        time_s = np.array(self.history.take(ticks, self._period_s))
        rows = self.shadow.rows(ticks, time_s)
        last = ticks[-1]
        self.last = {name: int(last[name]) for name in TICK_DTYPE.names or ()}
        self.loop_us.extend(ticks["loop_us"].tolist())
        self.missed += int(ticks["missed_ticks"].sum())
        self._see_stopped(ticks)
        self.tell(struct.pack("<d", time_s[0]) + rows.tobytes())

    def _see_stopped(self, ticks: Ticks) -> None:
        """See whether the board has heard of a stop: it shows, or there is no power any more."""
        if self._stop_tick < 0:
            return
        later = ticks[ticks["tick"].astype(np.int64) > self._stop_tick + 2]
        contactor = later["flags"] >> TICK_FLAGS.index("contactor") & 1
        if ((later["fault_bits"] & STOP != 0) | (contactor == 0)).any():
            self._stop_tick = self._stop_s = -1.0
            self.stopping.clear()

    def _tell_state(self) -> None:
        self._state_s = self._now_s()
        if self._device is not None:
            self.lost, self.damaged = self._device.lost, self._device.damaged
        self.tell(json.dumps(state(self) | {"events": self.history.told()}))

    def tell_settings(self) -> None:
        """Tell every page of gains and limits as they are now."""
        self.tell(json.dumps(settings(self)))

    def board_settings(self) -> list[int]:
        """The settings as the board has them."""
        if not self.shadow.settings:
            raise BoardError("the board's settings have not been read yet; try again in a second")
        return self.shadow.settings

    def put(self, device: LiveDevice, words: Words) -> None:
        """Set words of the settings, and read them back; BoardError where they are not so."""
        try:
            for word, value in words:
                device.send("set", word, value)
        finally:
            device.snapshot()
        found = self.board_settings()
        for word, value in words:
            if found[word] != value:
                raise BoardError(
                    f"the board's {NAMES[word]} reads back as {found[word]}, written was {value};"
                    " restart the board and try again, then suspect its memory"
                )

    def end_recording(self, why: str) -> str:
        """End the recording, if there is one, and say how long it is and where."""
        recorder, self.recorder = self.recorder, None
        if recorder is None:
            raise BoardError("nothing is being recorded")
        try:
            recording = recorder.end(why)
        except OutputError:
            recorder.close()
            self.history.add("gap", why)
            return why
        words = f"Recorded {recording.seconds:.1f} s to {recording.path}"
        self.history.add("host", words)
        return words
