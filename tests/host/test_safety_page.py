"""The hazard tables leave out no fault row and no trouble, and name nothing that is not there."""

from pathlib import Path
from typing import NamedTuple

import pytest
from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.safety.hazards import HAZARDS, WING_HAZARDS, Hazard
from hocklift.safety.page import safety_page
from legsim.drill import LIMITS, Limit
from legsim.tables import ARMING, FAULTS, STAGES, Condition, Fault
from legsim.troubles import DOUBLES, TROUBLES, Double, Trouble
from legsim.wing.drill import WING_LIMITS
from legsim.wing.tables import WING_ARMING, WING_FAULTS
from legsim.wing.troubles import WING_DOUBLES, WING_TROUBLES

TOP = Path(__file__).parents[2]
PAGE = TOP / "docs/safety.md"


def test_the_page_is_in_step_with_the_tables() -> None:
    # To write it anew: python -m hocklift.safety.page > docs/safety.md
    assert PAGE.read_text(encoding="utf-8") == safety_page()


class Kind(NamedTuple):
    """All tables of one kind of joint that the page is made of."""

    hazards: tuple[Hazard, ...]
    faults: tuple[Fault, ...]
    arming: tuple[Condition, ...]
    troubles: tuple[Trouble, ...]
    doubles: tuple[Double, ...]
    limits: dict[str, Limit]


KINDS = {
    "legs": Kind(HAZARDS, FAULTS, ARMING, TROUBLES, DOUBLES, LIMITS),
    "wings": Kind(WING_HAZARDS, WING_FAULTS, WING_ARMING, WING_TROUBLES, WING_DOUBLES, WING_LIMITS),
}
each_kind = pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS.keys())


@each_kind
def test_every_fault_row_stands_against_some_hazard(kind: Kind) -> None:
    named = 0
    for hazard in kind.hazards:
        named |= hazard.faults
    assert [fault.name for fault in kind.faults if not named & fault.bit] == []
    assert named == sum(fault.bit for fault in kind.faults)


@each_kind
def test_every_trouble_of_the_drill_belongs_to_some_hazard_and_no_other_is_named(
    kind: Kind,
) -> None:
    named = {name for hazard in kind.hazards for name in hazard.troubles}
    assert named == {trouble.name for trouble in kind.troubles}


@pytest.mark.parametrize(
    "hazard", HAZARDS + WING_HAZARDS, ids=[row.what[:40] for row in HAZARDS + WING_HAZARDS]
)
def test_a_hazard_says_who_is_hurt_and_what_stands_against_it_first_in_wood_and_steel(
    hazard: Hazard,
) -> None:
    assert hazard.hurt
    assert hazard.built
    assert hazard.controlled
    # Whatever electronics claims, a fault row does it and a test has shown it.
    assert bool(hazard.faults) == bool(hazard.tests)
    assert [test for test in hazard.tests if not (TOP / test).exists()] == []


@each_kind
def test_the_page_tells_every_row_of_every_table_it_is_made_of(kind: Kind) -> None:
    page = safety_page()
    for hazard in kind.hazards:
        assert f"| {hazard.what} | {hazard.hurt} |" in page
    for fault in kind.faults:
        assert f" | {fault.text} | {fault.remedy} |" in page
    for condition in kind.arming:
        assert condition.said in page
    for limit in kind.limits.values():
        assert f"| {limit.text} | {limit.most:g} {limit.unit} |" in page
    for trouble in kind.troubles:
        for measure, most, reason in trouble.spared:
            limit = kind.limits[measure]
            assert f"| {limit.text} | {most:g} {limit.unit} | {reason} |" in page
    for double in kind.doubles:
        assert f"| {' and '.join(double.names)} | one " in page


def test_the_page_tells_the_cautions_and_the_stages() -> None:
    page = safety_page()
    for words in BEFORE_MOTION:
        assert words in page
    for stage in STAGES:
        assert f"| {stage.name} |" in page


@each_kind
def test_a_row_is_told_with_its_limit_in_numbers_wherever_it_has_one(kind: Kind) -> None:
    """Whether a limit is right for a rig can be judged only by who reads it."""
    rows = [line.split(" | ") for line in safety_page().splitlines()]
    for fault in kind.faults:
        (limit,) = {row[2] for row in rows if row[0] == f"| {fault.name}" and fault.watched in row}
        if fault.limit:
            assert limit == "as calibrated" or any(letter.isdigit() for letter in limit)
        else:
            assert limit == "-"
