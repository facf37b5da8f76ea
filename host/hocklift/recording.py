"""Record a board: from its hello to the end of the file, whatever ends it."""

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from types import FrameType
from typing import Any

from legcore.phases import PHASES
from legsim.rig import Rig
from legsim.tables import fault_names
from legsim.wearer import gait_raises, script

from hocklift.device import Device
from hocklift.errors import BoardError, PortError
from hocklift.log import SETTINGS_COUNT, LogWriter, core_mark, date_words
from hocklift.rigfile.file import rig_text
from hocklift.wearerfile import built_in_gait
from hocklift.wire import Frame

LEGS = ("left", "right")
TIME_OVER = "time over"
STOPPED = "stopped by hand"
# A snapshot so often: each can tell that the core's whole memory is right, and be begun from.
_SNAPSHOT_S = 10.0
# After lost ticks a new one; not so soon again where more are lost at once.
_SNAPSHOT_AGAIN_S = 1.0


@dataclass
class Recording:
    """A recording on its way: the latest tick, and what has come so far."""

    path: Path
    period_s: float
    values: dict[str, Any] = field(default_factory=dict)
    ticks: int = 0
    missing: int = 0
    restarts: int = 0
    lost: int = 0
    damaged: int = 0
    bytes: int = 0
    faults: dict[str, None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    marks: int = 0
    # Why it ended, and the message where something went wrong.
    why: str = ""
    trouble: str = ""

    @property
    def seconds(self) -> float:
        """How long it is."""
        return (self.ticks + self.missing) * self.period_s

    def take(self, frame: Frame) -> bool:
        """Take a frame; whether ticks before it are missing."""
        if frame.message == "note":
            self.notes.append(frame.text())
        if frame.message != "tick":
            return False
        before = int(self.values.get("tick", int(frame.values["tick"]) - 1))
        self.values = frame.values
        self.ticks += 1
        gap = int(frame.values["tick"]) - before - 1
        self.missing += max(gap, 0)
        self.restarts += gap < 0
        for name in fault_names(self.fault_bits()):
            self.faults.setdefault(name)
        return gap != 0

    def fault_bits(self) -> int:
        """Faults that hold now, of either leg and of the board."""
        names = ("fault_bits", *(f"{leg}_fault_bits" for leg in LEGS))
        bits = 0
        for name in names:
            bits |= int(self.values[name])
        return bits

    def phase(self, leg: str) -> str:
        """The phase of a leg now."""
        phase = int(self.values[f"{leg}_phase"])
        return PHASES[phase][0] if phase < len(PHASES) else f"phase {phase}"


class Recorder:
    """Writes down what a board says, beside whatever else it is asked; `take` each frame of it.

    From when it is made until `end`, every byte that comes is in the file; whatever ends the
    program before, the file is good. Raises PortError or BoardError if nothing can be recorded
    at all, OutputError if nothing can be written. `rig` is None for the demo rig.
    """

    def __init__(self, device: Device, path: Path, rig: Rig | None) -> None:
        self._device = device
        came = bytearray()
        device.tap = came.extend
        try:
            hello = device.hello()
            device.send("every", 1)
            words = device.snapshot().words
            header = {
                "date": date_words(),
                "rig": "demo" if rig is None else rig_text(rig),
                "port": device.transport.name,
                "board": {
                    name: value.hex() if isinstance(value, bytes) else value
                    for name, value in hello.values.items()
                },
                "core": core_mark(),
                "settings": words[:SETTINGS_COUNT].tolist(),
            }
            self._writer = LogWriter(path, header)
        except BaseException:
            device.tap = None
            raise
        # What came before the board's hello is the end of something else.
        self._writer.came(bytes(came[max(came.rfind(hello.raw), 0) :]))
        device.tap = self._writer.came
        self.recording = Recording(path, int(hello.values["period_us"]) / 1e6)
        self._taken_s = device.transport.now_s()
        self._again_s = _SNAPSHOT_AGAIN_S
        self._torn = False

    def take(self, frame: Frame) -> None:
        """Take a frame that has come."""
        self._torn |= self.recording.take(frame)
        self.recording.lost, self.recording.damaged = self._device.lost, self._device.damaged

    def mark(self, text: str) -> None:
        """Put a person's remark beside the latest tick."""
        self._writer.mark(text, int(self.recording.values.get("tick", 0)))
        self.recording.marks += 1

    def keep_up(self) -> None:
        """Take a snapshot where one is due; what comes meanwhile waits for `Device.frames`."""
        now_s = self._device.transport.now_s()
        if now_s - self._taken_s > (self._again_s if self._torn else _SNAPSHOT_S):
            self._again_s = min(2 * self._again_s, _SNAPSHOT_S) if self._torn else _SNAPSHOT_AGAIN_S
            self._device.snapshot()
            self._taken_s, self._torn = self._device.transport.now_s(), False

    def end(self, why: str, trouble: str = "") -> Recording:
        """End the file, saying why; nothing more is written."""
        recording = self.recording
        recording.why, recording.trouble = why, trouble
        self._device.tap = None
        self._writer.end(why)
        recording.bytes = self._writer.bytes
        return recording

    def close(self) -> None:
        """Let go of the file; without `end` it reads as one that broke off."""
        self._device.tap = None
        self._writer.close()


def record(
    device: Device,
    path: Path,
    rig: Rig | None,
    seconds: float | None,
    *,
    walks: Callable[[], None] = lambda: None,
    marks: "SimpleQueue[str] | None" = None,
    show: Callable[[Recording], None] = lambda _: None,
) -> Recording:
    """Record for so long, or until Ctrl-C; whatever ends it later on, the file is good.

    `walks` is called once all is ready; `marks` are a person's remarks as they type them. `rig`
    is None for the demo rig. Raises PortError or BoardError if nothing can be recorded at all.
    """
    recorder = Recorder(device, path, rig)
    try:
        walks()
        trouble = ""
        try:
            why = _run(device, recorder, seconds, marks, show)
        except (PortError, BoardError) as error:
            why = trouble = str(error)
        return recorder.end(why, trouble)
    finally:
        recorder.close()


def _run(
    device: Device,
    recorder: Recorder,
    seconds: float | None,
    marks: "SimpleQueue[str] | None",
    show: Callable[[Recording], None],
) -> str:
    """Let frames come in until the time is over, or Ctrl-C; returns which."""
    with _stop_asked() as asked:
        for frame in device.frames(seconds):
            recorder.take(frame)
            if marks is not None:
                _mark(recorder, marks)
            show(recorder.recording)
            if asked.is_set():
                break
            recorder.keep_up()
    # One more, so that the end is known as well as the start.
    device.snapshot()
    device.send("every", 0)
    for frame in device.frames(0):
        recorder.take(frame)
    return STOPPED if asked.is_set() else TIME_OVER


def _mark(recorder: Recorder, marks: "SimpleQueue[str]") -> None:
    try:
        while True:
            recorder.mark(marks.get_nowait())
    except Empty:
        pass


@contextmanager
def _stop_asked() -> Iterator[threading.Event]:
    """Let the first Ctrl-C only ask for the end; the next one breaks off."""
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked
        return

    def ask(_signal: int, _frame: FrameType | None) -> None:
        asked.set()
        signal.signal(signal.SIGINT, before)

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield asked
    finally:
        signal.signal(signal.SIGINT, before)


def walk(board: Any, rig: Rig, seconds: float, seed: int) -> None:
    """Let the simulated board's wearer walk as in the built-in recording, armed."""
    raises = gait_raises(rig, built_in_gait(), seconds)
    board.wear(script(rig, raises, seconds, seed))
    board.arm(True)
