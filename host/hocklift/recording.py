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
    came = bytearray()
    device.tap = came.extend
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
    recording = Recording(path, int(hello.values["period_us"]) / 1e6)
    with LogWriter(path, header) as writer:
        # What came before the board's hello is the end of something else.
        writer.came(bytes(came[max(came.rfind(hello.raw), 0) :]))
        device.tap = writer.came
        walks()
        try:
            recording.why = _run(device, writer, recording, seconds, marks, show)
        except (PortError, BoardError) as error:
            recording.why = recording.trouble = str(error)
        writer.end(recording.why)
        recording.bytes = writer.bytes
    return recording


def _run(
    device: Device,
    writer: LogWriter,
    recording: Recording,
    seconds: float | None,
    marks: "SimpleQueue[str] | None",
    show: Callable[[Recording], None],
) -> str:
    """Let frames come in until the time is over, or Ctrl-C; returns which."""
    now_s = device.transport.now_s
    taken_s = now_s()
    again_s = _SNAPSHOT_AGAIN_S
    torn = False
    with _stop_asked() as asked:
        for frame in device.frames(seconds):
            torn |= recording.take(frame)
            recording.lost, recording.damaged = device.lost, device.damaged
            if marks is not None:
                _mark(writer, recording, marks)
            show(recording)
            if asked.is_set():
                break
            if now_s() - taken_s > (again_s if torn else _SNAPSHOT_S):
                again_s = min(2 * again_s, _SNAPSHOT_S) if torn else _SNAPSHOT_AGAIN_S
                device.snapshot()
                taken_s, torn = now_s(), False
    # One more, so that the end is known as well as the start.
    device.snapshot()
    device.send("every", 0)
    for frame in device.frames(0):
        recording.take(frame)
    return STOPPED if asked.is_set() else TIME_OVER


def _mark(writer: LogWriter, recording: Recording, marks: "SimpleQueue[str]") -> None:
    try:
        while True:
            writer.mark(marks.get_nowait(), int(recording.values.get("tick", 0)))
            recording.marks += 1
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
