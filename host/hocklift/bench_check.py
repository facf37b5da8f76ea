"""Commission a rig on the bench: step by step, stage by stage, each opened by those before it."""

from collections.abc import Callable
from dataclasses import dataclass, field

from legcore.model import VISIT_TICKS
from legsim.rig import Rig
from legsim.tables import STAGES

from hocklift.checking import settings
from hocklift.checking.asker import Asker
from hocklift.checking.bench import Bench
from hocklift.checking.record import Entry, Record, now_words
from hocklift.checking.steps import SET_UP, STEPS, Step
from hocklift.checking.ticks import Ticks
from hocklift.device import Device
from hocklift.errors import BoardError
from hocklift.rigfile.file import rig_text
from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.wire import Frame

_STAGE_NAMES = [stage.name for stage in STAGES]


@dataclass
class Outcome:
    """What a run came to: `stage` is the farthest that is open, `left` what was not tried."""

    record: Record
    stage: str
    failed: list[Entry] = field(default_factory=list)
    left: list[Step] = field(default_factory=list)
    refused: bool = False

    @property
    def passed(self) -> bool:
        """Whether every step has passed."""
        return not (self.failed or self.left)


def steps_for(rig: Rig) -> tuple[Step, ...]:
    """The steps up to the stage that the rig file asks for."""
    last = _STAGE_NAMES.index(rig.control.stage)
    return tuple(step for step in STEPS if _STAGE_NAMES.index(step.stage) <= last)


def mark_parts(device: Device, rig: Rig, hello: Frame) -> list[object]:
    """What must stay the same for an earlier run's steps to count."""
    words = settings.read(device)
    calibrated = [
        words[settings.first_word(name) : settings.first_word(name) + 12]
        for name in settings.CALIBRATIONS
    ]
    return [rig_text(rig), hello.values["unique"], hello.values["firmware"], calibrated]


def check(
    device: Device,
    rig: Rig,
    asker: Asker,
    hello: Frame,
    record: Record,
    show: Callable[[Entry], None],
) -> Outcome:
    """Try every step that has not passed yet; after a failure nothing moves and no stage opens."""
    bench = Bench(device, rig, asker, hello)
    check_period(bench)
    steps = steps_for(rig)
    outcome = Outcome(record, _STAGE_NAMES[0])
    cautioned = False
    day = int(hello.values["calibrated_day"])
    device.send("every", 1)
    for i, step in enumerate(steps):
        if record.passed(step.name):
            continue
        blind = not bench.words  # without settings no reading means anything
        if outcome.failed and (step.moves or blind or step.stage != bench.stage):
            outcome.left = [one for one in steps[i:] if not record.passed(one.name)]
            break
        if step.stage != bench.stage:
            asker.tell(f"\nStage {step.stage}: {STAGES[_STAGE_NAMES.index(step.stage)].meaning}.")
            asker.wait(*SET_UP[step.stage])
            bench.stage = step.stage
            if hello.values["settings_state"] == 0:
                bench.open_stage(step.stage, day)
                outcome.stage = step.stage
        if step.moves and not cautioned:
            cautioned = True
            if not caution(asker):
                outcome.refused = True
                outcome.left = [one for one in steps[i:] if not record.passed(one.name)]
                break
        asker.tell(f"\n{step.name}")
        entry = attempt(bench, step)
        record.add(entry)
        show(entry)
        if not entry.passed:
            outcome.failed.append(entry)
    if outcome.passed:
        bench.open_stage(rig.control.stage, day)
        outcome.stage = rig.control.stage
    device.send("every", 0)
    return outcome


def check_period(bench: Bench) -> None:
    """The period is taken from the settings at the board's start only; BoardError if it differs."""
    visit_hz = settings.staged(bench.rig, _STAGE_NAMES[0]).visit_hz
    found_us, wanted_us = round(bench.period_s * 1e6), 1_000_000 // (visit_hz * VISIT_TICKS)
    if bench.hello.values["settings_state"] == 0 and found_us != wanted_us:
        raise BoardError(
            f"{bench.device.transport.name}: the board's loop has a period of {found_us} us, the"
            f" rig file's control.period makes {wanted_us}; put the rig file's settings on the"
            " board with hocklift flash"
        )


def caution(asker: Asker) -> bool:
    """Say what must be so before anything moves; whether the person says that it is."""
    asker.tell("\nFrom here on motors turn. Before that:")
    for words in BEFORE_MOTION:
        asker.tell(f"- {words}")
    return asker.confirm("Is all of this so?")


def attempt(bench: Bench, step: Step) -> Entry:
    """Do one step and judge it by its figures."""
    bench.seen = Ticks([], bench.period_s)
    figures = step.measure(bench, step.leg)
    passed = all(figure.good for figure in figures)
    return Entry(
        step.name,
        step.stage,
        passed,
        now_words(),
        figures,
        [] if passed else bench.notes(),
        "" if passed else step.remedy,
    )
