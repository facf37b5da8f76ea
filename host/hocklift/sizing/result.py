"""A rig sized: every check worked out, what limits it, and what can hurt."""

from dataclasses import dataclass
from math import floor, isfinite, isnan
from typing import Any

from legsim.wing.rig import WingRig

from hocklift.errors import RigFileError
from hocklift.rigfile.keys import AnyRig
from hocklift.rigfile.units import show, with_unit
from hocklift.sizing.checks import rows_of
from hocklift.sizing.checks.check import Row
from hocklift.sizing.facts import FACTS
from hocklift.sizing.kinds import loads_of
from hocklift.sizing.remedy import Remedy, nearest_remedy
from hocklift.sizing.springs import fall_of_10kg_m
from hocklift.sizing.wing_facts import WING_FACTS
from hocklift.sizing.wing_loads import WingLoads

# How many limits are told, and the margin that their remedies aim at: a quarter in hand.
_LIMITS = 3
_AIM = 1.25


@dataclass(frozen=True)
class Limit:
    """One of the things that limit a rig: its check, and the nearest change that mends it."""

    row: Row
    remedy: Remedy | None

    def words(self) -> str:
        """Two sentences: what, how far off, and what to change by how much."""
        row, check = self.row, self.row.check
        if row.margin == 0:
            far = "beyond all measure"
        elif row.margin < 1:
            far = f"{100 * (1 / row.margin - 1):.0f} % too much"
        else:
            far = f"{100 * (row.margin - 1):.0f} % in hand"
        told = (
            f"{check.part}, {check.situation}: {check.what}: {shown(row.demand, check.unit)}"
            f" against {shown(row.capacity, check.unit)}, {far}."
        )
        if self.remedy is None:
            return f"{told} No change of one key alone mends it: {', '.join(check.levers)}."
        told += f" Change {self.remedy.words()}"
        if self.remedy.failing:
            told += f"; even then look at: {', '.join(self.remedy.failing)}"
        return f"{told}."


@dataclass(frozen=True)
class Sizing:
    """A rig sized: every check worked out, and its limits, the worst first."""

    # A rig of either kind, and `Loads` or `WingLoads` by its kind.
    rig: Any
    rig_name: str
    loads: Any
    rows: list[Row]
    limits: list[Limit]

    @property
    def failing(self) -> list[Row]:
        """Every check that fails."""
        return [row for row in self.rows if row.verdict == "fails"]

    @property
    def facts(self) -> list[tuple[str, str]]:
        """What is good to know of a rig of its kind, and how it reads."""
        facts = WING_FACTS if isinstance(self.rig, WingRig) else FACTS
        return [(fact.what, fact.words(self.loads)) for fact in facts]

    @property
    def verdict(self) -> str:
        """One line to act on."""
        if self.failing:
            parts = ", ".join(dict.fromkeys(row.check.part for row in self.failing))
            count = len(self.failing)
            fail = "1 check fails" if count == 1 else f"{count} checks fail"
            return f"Do not build it like this: {fail}, of {parts}."
        return "Every part bears what it has to."


def size(rig: AnyRig, rig_name: str) -> Sizing:
    """Work out every check of a rig, and its limits with their remedies.

    Raises RigFileError where the numbers together describe no possible rig.
    """
    try:
        rows = rows_of(rig)
    except (ValueError, ZeroDivisionError) as error:
        raise RigFileError(f"{rig_name}: cannot be sized: {error}") from error
    known = [row for row in rows if row.verdict != "unknown"]
    worst = sorted(known, key=lambda row: row.margin)
    failing = [row for row in worst if row.verdict == "fails"]
    limits = [
        Limit(row, nearest_remedy(rig, row, 1.0 if failing else _AIM))
        for row in failing or worst[:_LIMITS]
    ]
    return Sizing(rig, rig_name, loads_of(rig), rows, limits)


def shown(value: float, unit: str) -> str:
    """A value as people read it: three digits and its unit."""
    if not isfinite(value):
        return "unknown" if isnan(value) else "endless"
    return with_unit(show(value, unit, 3), unit)


def margin_shown(row: Row) -> str:
    """A margin in two digits, and no more than people can use."""
    if isnan(row.margin):
        return ""
    # Rounded down, so that what fails never reads 1.00.
    return f"{floor(100 * row.margin) / 100:.2f}" if row.margin < 10 else "over 10"


def cautions(loads: Any) -> list[str]:
    """What can hurt, in numbers that a person feels."""
    told = [
        *_stored(loads),
        "Links, gears and rope pinch and draw in: guard them, and keep hands, hair, straps and"
        " cloth away while anything can move.",
        "A lithium-polymer pack burns when crushed, shorted or overcharged: fuse it at the pack,"
        " charge it on stone and attended, and carry it where it can be thrown off.",
        "These figures are estimates by formulas of the trade, without a load test. Local codes and"
        " licensed practice take precedence.",
    ]
    return told


def _stored(loads: Any) -> list[str]:
    """What springs, or what is up, gives back when it is let go."""
    if isinstance(loads, WingLoads):
        fall_J = loads.fall_J
        return [
            f"A raised wing that loses its rope or its power swings down with {fall_J:.0f} J: a"
            f" 10 kg weight falling from {fall_of_10kg_m(fall_J):.1f} m, by the reach of its tip."
            " Keep everybody out of that circle, and block the wing before you reach in.",
        ]
    energy_J = loads.spring_energy_J
    told = [
        f"Folded to its stop, each coil spring stores {energy_J:.0f} J: a 10 kg weight falling from"
        f" {fall_of_10kg_m(energy_J):.1f} m. Never stand in line with it; block the leg before you"
        " reach in, and squeeze or release a spring only with a screw clamp made for it.",
    ]
    if loads.rig.gas_spring.force_extended_N > 0:
        told.append("A gas spring stays full of pressure: never drill, saw, heat or open one.")
    return told
