"""MicroPython on an emulated Cortex-M0 with 9.8 kB of heap: the core's ticks, and the file writer.

It is the smallest target there is: a MicroPython of 2017, bytecode only, its own compiler. A
whole tick does not fit. Shortened as far as it goes, its code takes some 12 kB there and the
state of both legs 2.0 kB, and up to 1.5 kB more are wanted while a function is compiled. So a
tick runs there in three parts, each after a fresh start: faults are judged, with the stick and
the model of heat; the next phase is chosen; and the tick without these two, from estimating the
pose to the pulse. Nothing of a leg's tick is left out; a wing's is not tried. In each part the
state stays on the target from tick to tick; what the others do to it is handed over. Machine
code is not tried here: that MicroPython has no emitter for it, and loads no precompiled files.
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
from legcore.phases import HELD, LIFTING, OFF, PHASES, STANDING, STOOPING
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
# The modules of the core whose functions a leg's tick runs, in three parts.
JUDGING = ("watch", "heat", "stick")
DECIDING = ("supervise", "arming")
THE_REST = ("estimate", "setpoint", "law", "limits", "stoop", "step")
# In the place of the first two: what they did to the memory on the PC.
HANDED_OVER = "def supervise(a,b,c):\n for r,i,v in log:\n  r[i]=v\njudge=lambda*a:0"


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
    """The core's memory by name: at first, before judging, after it, decided, in the end."""

    start: dict[str, int]
    unjudged: dict[str, int]
    judged: dict[str, int]
    decided: dict[str, int]
    end: dict[str, int]


class SeenWalk(Walk):
    """A walk of the whole core on the PC that notes the core's memory as it goes."""

    def __init__(self, seed):
        # Soon armed, soon there: the walk is short.
        soon = {"arm_ticks": 16, "lift_fold_cdeg": 6900, "arrive_cdeg": 300}
        soon |= {"stoop_fold_cdeg": 7000, "stoop_step_q6": 1400, "stoop_accel_q6": 100}
        super().__init__(seed, release_step_q6=1638, **soon)
        self.seen = []

    def note(self):
        self.seen.append(dict(zip(NAMES, core.integers(self.rig, "Rig"), strict=True)))

    def watch(self, patch):
        """Note the memory before and after judging, and when the phase has been chosen."""
        judge, supervise = legcore.step.judge, legcore.step.supervise

        def judge_seen(*records):
            self.note()
            judge(*records)
            self.note()

        def supervise_seen(*records):
            supervise(*records)
            self.note()

        patch.setattr(legcore.step, "judge", judge_seen)
        patch.setattr(legcore.step, "supervise", supervise_seen)

    def run(self, ticks):
        for _ in range(ticks):
            self.read()
            self.note()
            legcore.step.step(self.rig)
            self.note()


@pytest.fixture(scope="module")
def ticks():
    """A stoop, then both feet up in turn, and a fault that lets the second one down."""
    walk = SeenWalk(seed=5)
    with pytest.MonkeyPatch.context() as patch:
        walk.watch(patch)
        walk.run(10)
        walk.arm()
        walk.come_to(0, STOOPING)
        walk.run(70)
        walk.board["stick_count"] = 2048
        walk.run(80)
        walk.board["stick_count"] = 300
        walk.until(0, STANDING)
        walk.board["stick_count"] = 2048
        walk.come_to(0, HELD)
        walk.run(10)
        walk.foot(0, 0)
        walk.until(0, STANDING)
        walk.come_to(1, LIFTING)
        walk.run(30)
        walk.board["stick_count"] = 4095
        walk.until(1, OFF)
    size = len(Tick._fields)
    return [Tick(*walk.seen[at : at + size]) for at in range(0, len(walk.seen), size)]


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
    assert phases == set(range(len(PHASES)))
    assert {tick.end["stoop_still"] for tick in ticks if tick.end["left.phase"] == STOOPING} == {
        0,
        1,
    }
    assert ticks[-1].end["fault_bits"] & STICK


def run_part(modules, more, ticks, part):
    """Run one part of every tick; `part(loaded, tick)`: before it, statements, after it."""
    with target() as prompt:
        loaded = Loaded(prompt, modules, *more)
        for number, tick in enumerate(ticks):
            differs = loaded.step(*part(loaded, tick))
            assert not differs, f"tick {number}: {differs}"
        assert loaded.settings_differ() == []
    return f"{len(ticks)} ticks, {loaded.room} bytes of heap left beside it"


def visited(loaded, tick):
    """The records of the leg that a tick visits, and of the other one, on the target."""
    legs = ("right", "left") if tick.unjudged["turn"] & 1 else ("left", "right")
    return legs[0], [f"{RIG}[{loaded.short.places[side]}]" for side in legs]


def judging(loaded, tick):
    names, places = loaded.short.names, loaded.short.places
    side, (leg, other) = visited(loaded, tick)
    settings = f"{RIG}[{places['settings']}]"
    pots = ",".join(f"{settings}[{places[f'{side}_{pot}']}]" for pot in ("thigh", "shank"))
    return tick.unjudged, [f"{names['judge']}({RIG},{leg},{other},{pots})"], tick.judged


def deciding(loaded, tick):
    _, (leg, other) = visited(loaded, tick)
    return tick.judged, [f"{loaded.short.names['supervise']}({RIG},{leg},{other})"], tick.decided


def the_rest(loaded, tick):
    done = loaded.changes(tick.unjudged, tick.decided)
    log = [f"log+=[({record},{place},{value})]" for record, place, value in done]
    return tick.start, ["log=[]", *log, f"{loaded.short.names['step']}({RIG})"], tick.end


@pytest.mark.parametrize(
    ("modules", "more", "part"),
    [(JUDGING, (), judging), (DECIDING, (), deciding), (THE_REST, (HANDED_OVER,), the_rest)],
    ids=["judging", "deciding", "the rest"],
)
def test_each_part_of_a_tick_is_the_same_to_the_bit_on_a_cortex_m0(
    modules, more, part, ticks, record_property
):
    name = part.__name__.replace("_", " ")
    record_property(f"cortex-m0: {name} of both legs", run_part(modules, more, ticks, part))


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
