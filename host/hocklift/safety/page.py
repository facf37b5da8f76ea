"""docs/safety.md, made from the tables: `python -m hocklift.manual safety.md`."""

from collections.abc import Iterable, Sequence
from typing import Any

from legsim.drill import LIMITS, Limit
from legsim.rig import Rig
from legsim.settings import core_rig
from legsim.tables import (
    ARMING,
    FAULTS,
    PHASES,
    STAGES,
    Condition,
    Fault,
    Phase,
    fault_names,
    trip_s,
)
from legsim.troubles import DOUBLES, TROUBLES, Double, Trouble
from legsim.wing.drill import WING_LIMITS
from legsim.wing.rig import WingRig
from legsim.wing.settings import core_wings
from legsim.wing.tables import WING_ARMING, WING_FAULTS, WING_PHASES
from legsim.wing.troubles import WING_DOUBLES, WING_TROUBLES

from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.safety.hazards import HAZARDS, WING_HAZARDS, Hazard

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
    rig, wings = Rig(), WingRig()
    return "\n".join(
        [
            _HEAD,
            *_cautions(),
            _IDEAS,
            "## Hazards\n",
            *_hazards(HAZARDS, FAULTS),
            *_arming(rig),
            *_stages(),
            "## Faults\n",
            *_faults("foot", FAULTS, PHASES, core_rig(rig).settings, rig.control.period_s),
            "## The drill\n",
            "`hocklift drill` strikes the simulated rig with every trouble of its table, in every"
            " phase of either leg, and with random ones and pairs at random moments. Where a"
            " trouble must show, a row of the fault table must see it, and outputs be safe, in the"
            " time above. A case is unsafe that passes one of these:\n",
            *_limits(LIMITS),
            *_bounds(TROUBLES, DOUBLES, LIMITS, "one leg"),
            "## Wings\n",
            "A joint with two ropes, that a stick or a pot moves, has tables of its own. It has no"
            " spring: without power its weight brings it to hang. Any fault of the wings lets a"
            " raised foot of the same rig down, and what cuts the legs' power cuts the wings'. No"
            " board drives wings yet ([Limits](limits.md)): this is what the control code and the"
            " simulation hold to.\n",
            "### Hazards of wings\n",
            *_hazards(WING_HAZARDS, WING_FAULTS),
            "### Arming wings, said aloud\n",
            *_checklist(WING_ARMING),
            "### Faults of wings\n",
            *_faults(
                "wing",
                WING_FAULTS,
                WING_PHASES,
                core_wings(wings).settings,
                wings.control.period_s,
            ),
            "### The drill of wings\n",
            "The same at every moment of a show, of either wing.\n",
            *_limits(WING_LIMITS),
            *_bounds(WING_TROUBLES, WING_DOUBLES, WING_LIMITS, "one wing"),
        ]
    )


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """The lines of a Markdown table, with an empty one behind it."""
    lines = [f"| {' | '.join(headings)} |", "|" + "---|" * len(headings)]
    return [*lines, *(f"| {' | '.join(row)} |" for row in rows), ""]


def _cautions() -> list[str]:
    return ["## Before anything moves", "", *(f"- {words}" for words in BEFORE_MOTION), ""]


def _hazards(hazards: Sequence[Hazard], faults: tuple[Fault, ...]) -> list[str]:
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
            ", ".join(fault_names(hazard.faults, faults)) or "none",
            ", ".join(hazard.troubles) or "not",
            ", ".join(f"`{test}`" for test in hazard.tests) or "none",
        )
        for hazard in hazards
    ]
    return table(headings, rows)


def _checklist(conditions: tuple[Condition, ...]) -> list[str]:
    """What is said while arming, and what to do where it does not hold."""
    said = [f"{i}. {row.said}" for i, row in enumerate(conditions, 1)]
    rows = [(row.said, row.remedy) for row in conditions]
    return [*said, "", *table(("does not hold", "what to do"), rows)]


def _arming(rig: Rig) -> list[str]:
    return [
        "## Arming, said aloud",
        "",
        *_checklist(ARMING),
        f"The arm input must be seen open, and then be held closed for {rig.control.arm_time_s:g} s"
        " while all of it holds. After any reset, and after any fault, it begins anew: opening the"
        " arm input is how a person acknowledges a fault. Opened with a foot up, it lets the foot"
        " down first.",
        "",
    ]


def _stages() -> list[str]:
    rows = [
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
        "## Stages of commissioning",
        "",
        "The stage is in the settings (`control.stage` of the rig file). `hocklift` makes no"
        " settings over their stage's bounds, and the board refuses any that are. A motor at rest"
        " draws all the current its controller lets through at a few percent of drive, so no bound"
        " of drive is a bound of force: set the controller's own current limit, and use a"
        " current-limited supply until the last stage.",
        "",
        *table(("stage", "most drive", "most fold speed", "longest stall", "for"), rows),
    ]


def _faults(
    part: str,
    faults: tuple[Fault, ...],
    phases: tuple[Phase, ...],
    settings: Any,
    period_s: float,
) -> list[str]:
    headings = (
        "fault",
        "watched",
        "limit",
        "in phases",
        "safe within",
        "action",
        "clears",
        "text",
        "remedy",
    )
    rows = [
        (
            fault.name,
            fault.watched,
            _limit(fault, settings),
            _phases(fault, phases),
            f"{1000 * trip_s(fault, settings, period_s):.0f} ms",
            fault.action_on(part),
            fault.latch_words,
            fault.text,
            fault.remedy,
        )
        for fault in faults
    ]
    return [
        "Where two hold, the stricter action is taken, whichever came first. Limits and times are"
        " the demo rig's; a time is from the moment that what is watched passes its limit to safe"
        " outputs.",
        "",
        *table(headings, rows),
    ]


def _phases(fault: Fault, phases: tuple[Phase, ...]) -> str:
    if len(fault.phases) == len(phases):
        return "all"
    return ", ".join(phases[phase].name for phase in sorted(fault.phases))


# By the end of a setting's name: how many of it make one of the unit, and the unit.
_UNITS = {
    "cdeg": (100, "°"),
    "cdps": (100, "°/s"),
    "permille": (10, " %"),
    "mV": (1000, " V"),
    "mK": (1000, " K"),
    "count": (1, " of 4095"),
    "lifts": (1, " lifts"),
    "most": (1, ""),
}


def _limit(fault: Fault, settings: Any) -> str:
    """The limit of a row in numbers; a dash where what is watched is none."""
    parts = [_sum(one.split(" + "), settings) for one in fault.limit.split(", ") if one]
    return ", ".join(dict.fromkeys(parts)) or "-"


def _sum(names: list[str], settings: Any) -> str:
    if not all(hasattr(settings, name) for name in names):
        return "as calibrated"  # each joint has its own
    of_one, unit = _UNITS[names[-1].rpartition("_")[2]]
    return f"{sum(int(getattr(settings, name)) for name in names) / of_one:g}{unit}"


def _limits(limits: dict[str, Limit]) -> list[str]:
    rows = [(limit.text, f"{limit.most:g} {limit.unit}") for limit in limits.values()]
    return table(("measure", "most"), rows)


def _bounds(
    troubles: tuple[Trouble, ...],
    doubles: tuple[Double, ...],
    limits: dict[str, Limit],
    together: str,
) -> list[str]:
    def told(measure: str, most: float) -> tuple[str, str]:
        return limits[measure].text, f"{most:g} {limits[measure].unit}"

    rows = [
        (trouble.name, trouble.text, *told(measure, most), why)
        for trouble in troubles
        for measure, most, why in trouble.spared
    ]
    rows += [
        (" and ".join(one.names), together, *told(one.measure, one.most), one.reason)
        for one in doubles
    ]
    return [
        "What no controller can keep from happening, and the bound that the drill holds it to:",
        "",
        *table(("trouble", "", "measure", "most", "why"), rows),
    ]


if __name__ == "__main__":
    print(safety_page(), end="")
