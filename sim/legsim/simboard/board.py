"""The simulated board: the real firmware in a process of its own, its pins wired to the plant.

The board's time passes only while the plant's does: in lock step, as fast as both can, or
paced by the clock on the wall. What happens, happens the same in every run.
"""

import tempfile
import threading
import time
from array import array
from dataclasses import dataclass, fields, replace
from pathlib import Path
from runpy import run_path
from types import TracebackType
from typing import Any, Self

import numpy as np
from legwire import kept
from numpy.typing import NDArray

from legsim import core
from legsim.board import sense
from legsim.compiled import native
from legsim.loop import obey
from legsim.plant import plant_tick, start_state
from legsim.records import rig_record
from legsim.rig import Rig
from legsim.sensors import FULL_SCALE
from legsim.simboard.exchange import BACK, HAS_ENDED, OUT, RAISES, RESETS
from legsim.simboard.files import firmware_files, lay_out, settings_file
from legsim.simboard.hands import FEET, Hands
from legsim.simboard.in_use import hold
from legsim.simboard.process import BoardGoneError, Process, micropython
from legsim.simboard.usb import Usb
from legsim.troubles import place_of

# From power until MicroPython runs main.py (common practice, no source).
BOOT_US = 300000
# Causes of a reset as MicroPython numbers them.
POWER, HARD, WATCHDOG = 1, 2, 3
# So far behind the wall's clock it catches up; farther behind it gives up the time. A board that
# lived a tenth of a second all at once would say more in it than its host has granted.
_BEHIND_TICKS = 5
# What a stand lifts the hips by: the feet hang free.
STAND_M = 0.15
# A frame that carries less than this is lifted by its own springs.
_LEAST_KG = 1.0

# What the board is doing.
BOOTS, WAITS, HANGS, ENDED = "boots", "waits", "hangs", "ended"

# Where the core has what goes onto each of the board's wires.
_SENSED = {
    **{
        f"{foot}_{wire}": f"{foot}.{name}"
        for foot in FEET
        for wire, name in (
            ("thigh", "thigh.count"),
            ("shank", "shank.count"),
            ("switch", "switch"),
            ("sole", "sole"),
        )
    },
    "stick": "stick_count",
    "battery": "battery_mV",
    "supply": "supply_mV",
    "stop": "stop",
}
_PLACES = [BACK.index(name) for name in _SENSED]
_WORDS = [core.word_of(name) for name in _SENSED.values()]
_NOW, _RAISES, _RAISES_AT = (BACK.index(name) for name in ("now_us", "raises", "raises_at"))
_STOP, _ARM = BACK.index("stop"), BACK.index("arm")


@dataclass(frozen=True)
class LegTruth:
    """One leg as it is, whatever the board thinks."""

    fold_rad: float
    thigh_rad: float
    shank_rad: float
    clearance_m: float
    load_N: float
    slack_m: float
    tension_N: float
    wound_m: float
    motor_radps: float
    current_A: float
    pulse_us: int


# What is told of a leg as the plant has it.
_OF_LEG = tuple(item.name for item in fields(LegTruth) if item.name not in ("fold_rad", "pulse_us"))


@dataclass(frozen=True)
class Truth:
    """The rig as it is, and what the board gives it now."""

    contactor: bool
    battery_V: float
    left: LegTruth
    right: LegTruth


class SimBoard:
    """A board on its rig, from power-on; a context manager that takes everything away after.

    `believed` is the rig that the settings on its flash are made from, where that is not the
    true one; `blank` is a board that has no settings. `flash` is a folder with what an earlier
    board had on its flash, empty for one as it comes from its maker: it is used as it is, and
    stays; BusyError where another board uses it. `realtime` runs by itself, paced by the wall's
    clock; otherwise time passes only in `advance`.
    """

    def __init__(
        self,
        rig: Rig | None = None,
        *,
        realtime: bool = False,
        seed: int = 1,
        believed: Rig | None = None,
        blank: bool = False,
        flash: Path | None = None,
        platform: str = "rp2",
        start_ticks_us: int = 0,
        program: Path | None = None,
        on_cpython: bool = False,
    ) -> None:
        self.rig = rig or Rig()
        self.platform = platform
        self.start_ticks_us = start_ticks_us
        self.program = None if on_cpython else program or micropython()
        self.realtime = realtime
        self._folder = tempfile.TemporaryDirectory(prefix="board-")
        self._errors = Path(self._folder.name) / "errors.txt"
        self.kept = flash
        self._in_use = None if flash is None else hold(flash)
        self.files = flash or Path(self._folder.name) / "flash"
        if flash is None:
            self.files.mkdir()
            lay_out(self.files)
            if not blank:
                (self.files / kept.FILE).write_bytes(settings_file(believed or self.rig))
        table = "pins_esp32.py" if platform == "esp32" else "pins_rp2040.py"
        self.pins = run_path(str(firmware_files()[f"legboard/{table}"]))

        self.hands = Hands(self.rig)
        self.state = start_state(self.rig, seed)
        self._floats = self.state.view(np.float64)
        self._record = rig_record(self.rig)
        self._io = np.zeros(1, core.dtype("Rig"))
        self._io_words = self._io.view(np.int32)
        self._dividers = [
            (BACK.index(name), self.pins[f"{name.upper()}_FULL_MV"])
            for name in ("battery", "supply")
        ]
        self._period_us = round(self.rig.control.period_s * 1e6)
        self._armed = 0
        self.usb = Usb()

        self.plant_us = 0
        # How often the board has started; how often it was reset, and that by its watchdog.
        self.starts = self.resets = self.bites = 0
        self._process: Process | None = None
        self._began_us = 0
        self._back = array("l", [0] * len(BACK))
        self._lock = threading.RLock()
        self._power(POWER)
        self._sense()
        self._thread: threading.Thread | None = None
        self._closed = False
        self._failed: BoardGoneError | None = None
        if realtime:
            self._thread = threading.Thread(target=self._pace, daemon=True)
            self._thread.start()

    # What a test or a command may do, at any time.

    @property
    def port(self) -> str:
        """Path of the board's USB port, for a serial library."""
        return self.usb.port

    @property
    def now_s(self) -> float:
        """Time since the rig was made, in its own seconds."""
        return self.plant_us * 1e-6

    def advance(self, seconds: float) -> None:
        """Let so much time pass."""
        end_us = self.plant_us + round(seconds * 1e6)
        if self._thread is not None:
            while self.plant_us < end_us:
                if self._failed is not None:
                    raise self._failed
                time.sleep(0.001)
            return
        while self.plant_us + self._period_us <= end_us:
            self._tick()

    def reset(self) -> None:
        """Take the board's power and give it back."""
        with self._lock:
            self._power(POWER)

    def raise_foot(self, leg: int, pressed: bool) -> None:
        """Raise a foot against its switch, or put it down; the wearer shifts their weight."""
        with self._lock:
            self.hands.raise_foot(FEET[leg], pressed)

    def lean(self, side: float) -> None:
        """Lean over: -1 puts all weight on the left leg, 1 on the right, 0 on both alike."""
        with self._lock:
            self.hands.lean = min(max(side, -1.0), 1.0)

    def push_stick(self, place: float) -> None:
        """Push the stick: 1 stoops as fast as it can, -1 rises; 0 lets it spring back."""
        with self._lock:
            self.hands.stick = min(max(place, -1.0), 1.0)

    def weigh(self, carried_kg: float, wearer_kg: float) -> None:
        """Change what the frame carries, and who wears it.

        The wearer carries themself; of what they weigh more than the rig's own wearer, the
        frame bears the share that they lean on it.
        """
        hip = self.rig.hip
        leant_kg = hip.lean_share * (wearer_kg - hip.wearer_mass_kg)
        carried_kg = max(carried_kg + leant_kg, _LEAST_KG)
        loaded = replace(self.rig.mechanism, carried_mass_kg=carried_kg)
        with self._lock:
            self._record = rig_record(replace(self.rig, mechanism=loaded))
            self.hands.hanging = loaded.leg_mass_kg / carried_kg

    def wear(self, lines: NDArray[np.void]) -> None:
        """Obey a script of `legsim.wearer`, a line a tick from now on; its last line stays."""
        with self._lock:
            self.hands.wear(lines)

    def swing(self, leg: int, foot_x_m: float) -> None:
        """Draw a foot forward by its stirrup, or back."""
        with self._lock:
            self.hands.foot_x_m[FEET[leg]] = foot_x_m

    def ground(self, leg: int, height_m: float) -> None:
        """Push something up under a foot that is so high."""
        with self._lock:
            self.hands.line[FEET[leg]]["ground_m"] = height_m

    def arm(self, closed: bool) -> None:
        """Close or open the arm input."""
        with self._lock:
            self._armed = int(closed)

    def stop(self, pressed: bool) -> None:
        """Press the emergency stop, or release it."""
        self.set_trouble("board.stop", float(pressed))

    def on_stand(self, on: bool) -> None:
        """Hang the frame on a stand, so that both feet are free, or put it down."""
        with self._lock:
            if bool(self.state["stand"][0]) == on:
                return
            self.state["stand"] = float(on)
            for foot in FEET:
                leg = self.state[foot]
                leg["hip_m"] += STAND_M if on else -STAND_M
                leg["hip_mps"] = leg["hip_mps2"] = 0.0

    def hold(self, leg: int, fold_rad: float | None) -> None:
        """Turn a leg to a fold by hand and hold it there, or let go."""
        with self._lock:
            self.hands.held[FEET[leg]] = fold_rad

    def rope(self, on: bool) -> None:
        """Put both ropes onto their drums, just straight, or take them off."""
        with self._lock:
            for foot in FEET:
                leg = self.state[foot]
                leg["snapped"] = float(not on)
                if on:
                    straight_m = self._record["derived"]["rope_extended_m"] - leg["rope_m"]
                    leg["wound_m"] = self.rig.rope.parts * np.maximum(straight_m, 0.0)

    def block(self, leg: int, blocked: bool = True) -> None:
        """Block a drum, or free it."""
        self.set_trouble(f"{FEET[leg]}.jammed", float(blocked))

    def set_trouble(self, place: str, value: float) -> None:
        """Change a number of the plant, as `legsim.troubles` does: "left.thigh_ill", "board.hung".

        Of what a board may suffer, these are simulated here: hung, late_ticks, supply_dip_V,
        stop, stick_ill; what else the rows name, the firmware itself must be brought to.
        """
        if place in ("board.settings_bad", "board.host", "board.crashed"):
            raise ValueError(f"{place} is the firmware's own here")
        with self._lock:
            self._floats[place_of(place, "", "")] = value

    def strike(self, raises: str, calls: int = 0) -> None:
        """Let an exception strike the program, so many calls into the hardware from now on."""
        with self._lock:
            self._back[_RAISES] = RAISES.index(raises)
            self._back[_RAISES_AT] = self.out["calls"] + calls

    @property
    def out(self) -> dict[str, int]:
        """What is on the board's wires now, by the names of `exchange.OUT`."""
        return dict(zip(OUT, self._out, strict=True))

    @property
    def doing(self) -> str:
        """What the board is doing: boots, waits for its next period, hangs, or is at its prompt."""
        return self._doing

    @property
    def truth(self) -> Truth:
        """The rig as it is."""
        with self._lock:
            out = self.out
            return Truth(
                contactor=bool(out["contactor"]),
                battery_V=float(self.state["bus_V"][0]),
                left=self._leg_truth("left", out["left_ns"]),
                right=self._leg_truth("right", out["right_ns"]),
            )

    def _leg_truth(self, foot: str, pulse_ns: int) -> LegTruth:
        leg = self.state[foot][0]
        return LegTruth(
            fold_rad=float(leg["thigh_rad"] + leg["shank_rad"]),
            pulse_us=round(pulse_ns / 1000),
            **{name: float(leg[name]) for name in _OF_LEG},
        )

    def close(self) -> None:
        """Take everything away; nothing more where that was done before."""
        if self._closed:
            return
        self._closed = True
        if self._thread is not None:
            self._thread.join()
        with self._lock:
            if self._process is not None:
                self._process.end()
                self._process = None
            self.usb.close()
        self._folder.cleanup()
        if self._in_use is not None:
            self._in_use.close()

    def __enter__(self) -> Self:
        """Nothing is left to do: it runs since it was made."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take everything away."""
        self.close()

    # How time passes.

    def _pace(self) -> None:
        """Tick by the wall's clock; a computer that is too slow only makes the rig slower."""
        due_s = time.monotonic()
        while not self._closed:
            try:
                self._tick()
            except BoardGoneError as error:
                # Told to whoever waits for the board; nobody may be.
                self._failed = error
                return
            due_s += self._period_us * 1e-6
            ahead_s = due_s - time.monotonic()
            if ahead_s > 0:
                time.sleep(ahead_s)
            elif ahead_s < -_BEHIND_TICKS * self._period_us * 1e-6:
                due_s = time.monotonic()

    def _tick(self) -> None:
        """One period: the board does what is due before its end, then the plant moves on."""
        with self._lock:
            next_us = self.plant_us + self._period_us
            if self._doing == BOOTS and self._until_us < next_us:
                self._start()
            hung = bool(self.state["board"]["hung"][0])
            while self._doing in (WAITS, ENDED) and not hung and self._until_us < next_us:
                self._go_on()
            self._watch(next_us)
            self._move()
            self.plant_us = next_us

    def _move(self) -> None:
        out = self.out
        move(
            self.state,
            self._record,
            self.hands.act(),
            out["contactor"],
            round(out["left_ns"] / 1000),
            round(out["right_ns"] / 1000),
        )
        self.hands.hold(self.state[0])
        self._sense()

    def _sense(self) -> None:
        """Put what the sensors read onto the board's wires."""
        read(self.state, self._record, self._io)
        back = self._back
        for i, value in zip(_PLACES, self._io_words[_WORDS].tolist(), strict=True):
            back[i] = value
        for i, full_mV in self._dividers:
            back[i] = min(max(round(back[i] * FULL_SCALE / full_mV), 0), FULL_SCALE)
        # Closed while nobody presses it.
        back[_STOP] = 1 - back[_STOP]
        back[_ARM] = self._armed

    # The board itself.

    def _power(self, cause: int) -> None:
        """Start anew: no pulse, contactor open, until the program runs."""
        if self._process is not None:
            self._process.end()
            self._process = None
        self._cause = cause
        self._doing = BOOTS
        self._until_us = self.plant_us + BOOT_US
        self._out = array("l", [0] * len(OUT))
        self._back[_RAISES] = 0
        self.state["board"]["hung"] = 0.0

    def _start(self) -> None:
        """MicroPython is up, and runs main.py; the board's clock begins."""
        self.starts += 1
        self._process = Process(
            self.files,
            self.platform,
            self._cause,
            self.start_ticks_us,
            self.program,
            self._errors,
        )
        self._began_us = self.plant_us
        self._listen()

    def _go_on(self) -> None:
        """The board's wait is over: let it read its wires, and go on to its next wait."""
        assert self._process is not None
        self._back[_NOW] = self._until_us - self._began_us
        self._process.send(self._back)
        self._back[_RAISES] = 0
        self._listen()

    def _listen(self) -> None:
        """Take in what the board says when it waits again, and what it has written."""
        process = self._process
        assert process is not None
        said = process.receive()
        if said is None:
            self._doing = HANGS
            return
        self._out = said
        out = self.out
        interrupted, stall_us = self.usb.serve(process)
        if interrupted:
            self.strike("KeyboardInterrupt")
        if out["kind"] == RESETS:
            # To an RP2040 its own reset looks like the watchdog's.
            self._reset(HARD if self.platform == "esp32" else WATCHDOG)
            return
        self._doing = ENDED if out["kind"] == HAS_ENDED else WAITS
        late_us = int(self.state["board"]["late_ticks"][0]) * self._period_us
        self._until_us = self._began_us + out["until_us"] + stall_us + late_us

    def _watch(self, now_us: int) -> None:
        """Let the watchdog bite if nobody has fed it."""
        out = self.out
        bites_us = self._began_us + out["fed_us"] + 1000 * out["watchdog_ms"]
        if self._process is not None and out["watchdog_ms"] and now_us > bites_us:
            self.bites += 1
            self._reset(WATCHDOG)

    def _reset(self, cause: int) -> None:
        self.resets += 1
        self._power(cause)


@native
def move(states: Any, rigs: Any, lines: Any, contactor: int, left_us: int, right_us: int) -> None:
    """Move wearer and plant on by one tick under what the board gives; arrays of one each."""
    state, rig = states[0], rigs[0]
    obey(state, lines[0])
    state.contactor = contactor
    # No pulse at all is taken for neutral, at least until a controller notices.
    left_s = left_us * 1e-6 if left_us else rig.controller.neutral_s
    right_s = right_us * 1e-6 if right_us else rig.controller.neutral_s
    plant_tick(state, rig, left_s, right_s)


@native
def read(states: Any, rigs: Any, inputs: Any) -> None:
    """Read all sensors into a record of the core's inputs; arrays of one each."""
    sense(states[0], rigs[0], inputs[0])
