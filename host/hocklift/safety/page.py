"""docs/safety.md, made from the tables: `python -m hocklift.safety.page > docs/safety.md`."""

from collections.abc import Iterable, Sequence

from legsim.drill import LIMITS
from legsim.rig import Rig
from legsim.settings import core_rig
from legsim.tables import ARMING, FAULTS, PHASES, STAGES, Fault, fault_names, trip_s
from legsim.troubles import DOUBLES, TROUBLES

from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.safety.hazards import HAZARDS

_HEAD = """\
# Staying safe

Made from the tables that the control code, the simulator and the tests read.

**Read this first.** You are about to stand in a machine of your own making. The springs of such
a rig hold enough energy to break fingers, its links pinch, a lithium battery can burn, and a
person who stands in it can fall. Nothing here has been run on a physical board or rig. Nothing
here is a safety function in the sense of any standard, and no compliance with any is claimed.
Where local codes or a licensed practitioner say otherwise, they are right.
"""

_IDEAS = """\
## The ideas

**Design it out, guard it, warn, in this order** (the idea of ISO 12100, from memory). The rig is
designed so that power is not needed to stand: the springs carry the frame, and without any power
a raised foot comes down. What is left is guarded: hard stops, boxed gears, netting, a stop
within reach. Electronics comes after both, and this page after electronics.

**Two ways to stop** (IEC 60204-1, 9.2.2, as quoted on plcprogramming.io). Category 0 removes power
at once: here a *cut*, where the pose cannot be trusted, and the emergency stop, which does it in
hardware whatever the program thinks. Category 1 stops under control and removes power then: here
a *release*, where the pose can be trusted. An emergency stop overrides everything, and letting it
out must not start anything: here the person must arm anew. Category 2, stopped with power on, is
never used to be safe; a foot held up is not a safe state.

**What ISO 13849-1 would ask.** A fall from such a rig can hurt for good (S2), the wearer is in it
all the time (F2), and can hardly get out of its way (P2): by the risk graph (from memory) that
asks for performance level e, or d if falls are made harmless by a gantry. That level asks for two
channels that each can stop the rig and watch each other (category 3: a single fault does not lose
the function; category 4: it is found before the next one; as quoted in a controls maker's
manual), for parts of known failure rates, for most of their failures to be diagnosed, for measures
against both channels failing of one cause, and for software made and checked by the standard's
rules. ISO 13482 speaks of robots that people wear.

**What this controller cannot claim.** It has one processor, one program, one set of sensors and one
contactor. A single fault in any of them can lose the function (category B or 1 at best). Its parts
have no failure rates that you know, its diagnoses have no proven coverage, it was written by people
who never saw your rig, and the drill that tests it runs on a simulation. It lowers the risk of an
honest mistake or a broken wire; it does not make an unsafe mechanism safe. What must be safe
without it: the springs, the stops, the harness, and a hard-wired stop.
"""


def safety_page() -> str:
    """The whole page as Markdown."""
    return "\n".join([_HEAD, *_cautions(), _IDEAS, *_hazards(), *_arming(), *_faults(), *_drill()])


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """The lines of a Markdown table, with an empty one behind it."""
    lines = [f"| {' | '.join(headings)} |", "|" + "---|" * len(headings)]
    return [*lines, *(f"| {' | '.join(row)} |" for row in rows), ""]


def _cautions() -> list[str]:
    return ["## Before anything moves", "", *(f"- {words}" for words in BEFORE_MOTION), ""]


def _hazards() -> list[str]:
    headings = (
        "what can go wrong",
        "who is hurt",
        "in wood and steel",
        "in electronics",
        "fault rows",
        "drilled as",
        "tests",
    )
    rows = [
        (
            hazard.what,
            hazard.hurt,
            hazard.built,
            hazard.controlled,
            ", ".join(fault_names(hazard.faults)) or "none",
            ", ".join(hazard.troubles) or "not",
            ", ".join(f"`{test}`" for test in hazard.tests) or "none",
        )
        for hazard in HAZARDS
    ]
    return ["## Hazards", "", *table(headings, rows)]


def _arming() -> list[str]:
    seconds = Rig().control.arm_time_s
    checklist = [f"{i}. {row.said}" for i, row in enumerate(ARMING, 1)]
    rows = [(row.said, row.remedy) for row in ARMING]
    stages = [
        (
            stage.name,
            f"{stage.drive_permille / 10:g} %",
            f"{stage.speed_cdps / 100:g} °/s",
            f"{stage.stall_ms} ms",
            stage.meaning,
        )
        for stage in STAGES
    ]
    return [
        "## Arming, said aloud",
        "",
        *checklist,
        "",
        f"The arm input must be seen open, and then be held closed for {seconds:g} s while all of"
        " it holds. After any reset, and after any fault, it begins anew: opening the arm input is"
        " how a person acknowledges a fault. Opened with a foot up, it lets the foot down first.",
        "",
        *table(("does not hold", "what to do"), rows),
        "## Stages of commissioning",
        "",
        "The stage is in the settings (`control.stage` of the rig file). `hocklift` makes no"
        " settings over their stage's bounds, and the board refuses any that are. A motor at rest"
        " draws all the current its controller lets through at a few percent of drive, so no bound"
        " of drive is a bound of force: set the controller's own current limit, and use a"
        " current-limited supply until the last stage.",
        "",
        *table(("stage", "most drive", "most fold speed", "longest stall", "for"), stages),
    ]


def _faults() -> list[str]:
    settings = core_rig(Rig()).settings
    period_s = Rig().control.period_s
    headings = (
        "fault",
        "watched",
        "in phases",
        "seen within",
        "action",
        "clears",
        "text",
        "remedy",
    )
    rows = [
        (
            fault.name,
            fault.watched,
            _phases(fault),
            f"{1000 * trip_s(fault, settings, period_s):.0f} ms",
            fault.action_words,
            fault.latch_words,
            fault.text,
            fault.remedy,
        )
        for fault in FAULTS
    ]
    return [
        "## Faults",
        "",
        "Where two hold, the stricter action is taken, whichever came first. Times are the demo"
        " rig's, from the moment that what is watched passes its limit.",
        "",
        *table(headings, rows),
    ]


def _phases(fault: Fault) -> str:
    if len(fault.phases) == len(PHASES):
        return "all"
    return ", ".join(PHASES[phase].name for phase in sorted(fault.phases))


def _drill() -> list[str]:
    limits = [(limit.text, f"{limit.most:g} {limit.unit}") for limit in LIMITS.values()]
    rows = [
        (trouble.name, trouble.text, *_measure_words(measure, most), why)
        for trouble in TROUBLES
        for measure, most, why in trouble.spared
    ]
    rows += [
        (" and ".join(one.names), "one leg", *_measure_words(one.measure, one.most), one.reason)
        for one in DOUBLES
    ]
    return [
        "## The drill",
        "",
        "`hocklift drill` strikes the simulated rig with every trouble of its table, in every phase"
        " of either leg, and with random ones and pairs at random moments. A case is unsafe that"
        " passes one of these:",
        "",
        *table(("measure", "most"), limits),
        "What no controller can keep from happening, and the bound that the drill holds it to:",
        "",
        *table(("trouble", "", "measure", "most", "why"), rows),
    ]


def _measure_words(measure: str, most: float) -> tuple[str, str]:
    return LIMITS[measure].text, f"{most:g} {LIMITS[measure].unit}"


if __name__ == "__main__":
    print(safety_page(), end="")
