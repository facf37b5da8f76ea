"""MicroPython on an emulated Cortex-M0 with 9.8 kB of heap: the core's ticks, and the file writer.

It is the smallest target there is: a MicroPython of 2017, bytecode only, its own compiler. A
whole tick does not fit. Shortened as far as it goes, its code takes some 8.5 kB there and the
state of both legs 2.0 kB, and up to 1.5 kB more are wanted while a function is compiled. So a
tick runs there in two parts, each after a fresh start: all of it but the judging of faults;
and that, with the model of heat. In each, the state stays on the target from tick to tick;
what the other part does to it is handed over. Machine code is not tried here: that MicroPython
has no emitter for it, and loads no precompiled files.
"""

import ast
import re
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import legcore.step
import pytest
from hocklift.errors import BoardError
from hocklift.flashing.prompt import FullError, Prompt
from hocklift.flashing.target import target_at
from legcore.faults import STICK
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING
from legsim import core
from shortened import RIG, Shortened
from walk import Walk

QEMU = Path("/usr/bin/qemu-system-arm")
FIRMWARE = Path("/usr/share/firmware-microbit-micropython/firmware.hex")
pytestmark = [
    pytest.mark.skipif(not path.exists(), reason=f"needs the Debian package {package}")
    for path, package in (
        (QEMU, "qemu-system-arm"),
        (FIRMWARE, "firmware-microbit-micropython"),
    )
]

OPTIONS = ["-M", "microbit", "-display", "none", "-monitor", "none", "-serial", "pty"]
# The port of the target holds no more, and loses what comes while it clears up its memory.
PORT_BYTES = 60
# Four times as long as text.
CHUNK_BYTES = 10
NAMES = core.words_of("Rig")
# The modules of the core whose functions a tick runs, in two parts.
JUDGING = ("watch", "heat", "stick")
THE_REST = ("estimate", "arming", "supervise", "setpoint", "law", "limits", "step")


@contextmanager
def target():
    """The prompt of a target that has just been switched on."""
    emulator = subprocess.Popen(
        [QEMU, *OPTIONS, "-device", f"loader,file={FIRMWARE}"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        said = emulator.stdout.readline()
        port = re.search(r"/dev/\S+", said)[0]
        with Prompt(port) as prompt, pytest.MonkeyPatch.context() as patch:
            # Nothing that is sent at a time needs a pause.
            quick = SimpleNamespace(sleep=lambda seconds: None, monotonic=time.monotonic)
            patch.setattr("mpremote.transport_serial.time", quick)
            yield prompt
    finally:
        emulator.kill()
        emulator.communicate()


class Tick(NamedTuple):
    """The core's memory by name: at first, before judging, after it, in the end."""

    start: dict[str, int]
    unjudged: dict[str, int]
    judged: dict[str, int]
    end: dict[str, int]


class SeenWalk(Walk):
    """A walk of the whole core on the PC that notes the core's memory as it goes."""

    def __init__(self, seed):
        # Soon armed, soon there: the walk is short.
        soon = {"arm_ticks": 16, "lift_fold_cdeg": 6900, "arrive_cdeg": 300}
        super().__init__(seed, release_step_q6=1638, **soon)
        self.seen = []
        self.judge = legcore.step.judge

    def note(self):
        self.seen.append(dict(zip(NAMES, core.integers(self.rig, "Rig"), strict=True)))

    def judge_seen(self, *records):
        self.note()
        self.judge(*records)
        self.note()

    def run(self, ticks):
        for _ in range(ticks):
            self.read()
            self.note()
            legcore.step.step(self.rig)
            self.note()


@pytest.fixture(scope="module")
def ticks():
    """Both feet up, one after the other, and a fault that lets the second one down."""
    walk = SeenWalk(seed=5)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(legcore.step, "judge", walk.judge_seen)
        walk.run(10)
        walk.board["arm"] = 1
        walk.until(0, STANDING)
        walk.foot(0, 1)
        walk.until(0, HELD)
        walk.run(10)
        walk.foot(0, 0)
        walk.until(0, STANDING)
        walk.foot(1, 1)
        walk.until(1, LIFTING)
        walk.run(30)
        walk.board["stick_count"] = 4095
        walk.until(1, OFF)
    return [Tick(*walk.seen[at : at + 4]) for at in range(0, len(walk.seen), 4)]


class Loaded:
    """Part of the core on the target, and what its memory there has to be by now."""

    def __init__(self, prompt, modules, *more):
        self.prompt = prompt
        self.short = Shortened(modules)
        self.paths = self.short.paths()
        self.memory = dict.fromkeys(self.paths, 0)
        prompt.run("import gc")
        # The longest functions need the most room to be compiled; then what comes in one piece.
        for source in self.short.sources[:3]:
            self.load(source)
        self.run(self.short.make())
        for source in (*self.short.sources[3:], *more):
            self.load(source)
        self.room = prompt.value("(gc.collect(), gc.mem_free())[1]")

    def load(self, source):
        """Run a longer text, by way of a file."""
        self.prompt.write("f", source.encode(), chunk_bytes=PORT_BYTES - 20)
        self.run(["gc.collect()", f"exec(open('f').read({len(source)}))", "gc.collect()"])

    def run(self, lines):
        """Run statements, so few at a time that the port can hold them; what the last printed."""
        text = ""
        for line in lines:
            if len(text) + len(line) > PORT_BYTES:
                self.run_text(text)
                text = ""
            text += line + "\n"
        return self.run_text(text)

    def run_text(self, text):
        """Run it; where there was no room to compile it, nothing has run, and it may run again."""
        try:
            return self.prompt.run(text)
        except BoardError as error:
            if "parser could not allocate" not in str(error):
                raise
        self.prompt.run("gc.collect()")
        return self.prompt.run(text)

    def changes(self, now, then):
        """(record, place, value) of each word in which one memory differs from another."""
        return [
            (*re.fullmatch(r"(.+)\[(\d+)\]", path).groups(), then[name])
            for name, path in self.paths.items()
            if now[name] != then[name]
        ]

    def step(self, start, calls, end):
        """One tick's part: its memory before, the statements, and what is not as it should be."""
        changes = self.changes(self.memory, start)
        lines = [f"{record}[{place}]={value}" for record, place, value in changes]
        rig = ast.literal_eval(self.run([*lines, *calls, f"print({RIG}[:-1])\ngc.collect()"]))
        self.memory = end
        found = {name: eval(path, {RIG: rig}) for name, path in self.words().items()}
        return {name: (word, end[name]) for name, word in found.items() if word != end[name]}

    def words(self):
        """Where everything is but the settings."""
        return {name: path for name, path in self.paths.items() if not name.startswith("settings.")}

    def settings_differ(self):
        """Settings that are not what they were at the start."""
        rig = [None] * self.short.places["settings"]
        rig.append(ast.literal_eval(self.prompt.run(f"print({RIG}[-1])")))
        return [
            name
            for name, path in self.paths.items()
            if name.startswith("settings.") and eval(path, {RIG: rig}) != self.memory[name]
        ]


def test_the_walk_goes_through_every_phase(ticks):
    phases = {tick.end[f"{leg}.phase"] for tick in ticks for leg in ("left", "right")}
    assert phases == {OFF, STANDING, LIFTING, HELD, LOWERING, RELEASING}
    assert ticks[-1].end["fault_bits"] & STICK


def test_a_tick_without_its_judging_is_the_same_to_the_bit_on_a_cortex_m0(ticks, record_property):
    with target() as prompt:
        # In the place of judging stands a function that does to the memory what it did on the PC.
        judged = "def judge(a,b,c,d,e):\n for r,i,v in log:\n  r[i]=v"
        loaded = Loaded(prompt, THE_REST, judged)
        step = loaded.short.names["step"]
        for number, tick in enumerate(ticks):
            done = loaded.changes(tick.unjudged, tick.judged)
            log = [f"log+=[({record},{place},{value})]" for record, place, value in done]
            differs = loaded.step(tick.start, ["log=[]", *log, f"{step}({RIG})"], tick.end)
            assert not differs, f"tick {number}: {differs}"
        assert loaded.settings_differ() == []
    record_property("cortex-m0: ticks without judging, both legs", len(ticks))
    record_property("cortex-m0: bytes of heap left beside them", loaded.room)


def test_judging_is_the_same_to_the_bit_on_a_cortex_m0(ticks, record_property):
    with target() as prompt:
        loaded = Loaded(prompt, JUDGING)
        places = loaded.short.places
        judge = loaded.short.names["judge"]
        settings = f"{RIG}[{places['settings']}]"
        for number, tick in enumerate(ticks):
            leg, other = ("right", "left") if tick.unjudged["turn"] & 1 else ("left", "right")
            arguments = [RIG, *(f"{RIG}[{places[side]}]" for side in (leg, other))]
            arguments += [f"{settings}[{places[f'{leg}_{pot}']}]" for pot in ("thigh", "shank")]
            calls = [f"{judge}({','.join(arguments)})"]
            differs = loaded.step(tick.unjudged, calls, tick.judged)
            assert not differs, f"tick {number}: {differs}"
        assert loaded.settings_differ() == []
    record_property("cortex-m0: ticks judged, both legs", len(ticks))
    record_property("cortex-m0: bytes of heap left beside it", loaded.room)


def test_a_micropython_that_is_too_old_is_refused():
    with target() as prompt, pytest.raises(BoardError, match=r"micropython 1\.9\.2.*needs.*1\.26"):
        target_at(prompt)


def test_files_are_written_through_the_prompt_to_the_targets_own_flash():
    data = bytes(range(256)) * 4
    with target() as prompt:
        prompt.write("whole.bin", data, chunk_bytes=CHUNK_BYTES)
        prompt.run("f = open('whole.bin', 'rb')")
        read = b"".join(prompt.value("f.read(256)") for _ in range(4))
        assert (read, prompt.value("f.read(1)")) == (data, b"")
        with pytest.raises(FullError, match="file system is full"):
            for number in range(100):
                prompt.write(f"{number}.bin", data, chunk_bytes=CHUNK_BYTES)
