"""The hazard table leaves out no fault row and no trouble, and names nothing that is not there."""

from pathlib import Path

import pytest
from hocklift.safety.cautions import BEFORE_MOTION
from hocklift.safety.hazards import HAZARDS, Hazard
from hocklift.safety.page import safety_page
from legsim.tables import ARMING, FAULTS, STAGES
from legsim.troubles import TROUBLES

TOP = Path(__file__).parents[2]
PAGE = TOP / "docs/safety.md"


def test_the_page_is_in_step_with_the_tables() -> None:
    # To write it anew: python -m hocklift.safety.page > docs/safety.md
    assert PAGE.read_text(encoding="utf-8") == safety_page()


def test_every_fault_row_stands_against_some_hazard() -> None:
    named = 0
    for hazard in HAZARDS:
        named |= hazard.faults
    assert [fault.name for fault in FAULTS if not named & fault.bit] == []


def test_every_trouble_of_the_drill_belongs_to_some_hazard_and_no_other_is_named() -> None:
    named = {name for hazard in HAZARDS for name in hazard.troubles}
    assert named == {trouble.name for trouble in TROUBLES}


@pytest.mark.parametrize("hazard", HAZARDS, ids=[hazard.what[:40] for hazard in HAZARDS])
def test_a_hazard_says_who_is_hurt_and_what_stands_against_it_first_in_wood_and_steel(
    hazard: Hazard,
) -> None:
    assert hazard.hurt
    assert hazard.built
    assert hazard.controlled
    # Whatever electronics claims, a fault row does it and a test has shown it.
    assert bool(hazard.faults) == bool(hazard.tests)
    assert [test for test in hazard.tests if not (TOP / test).exists()] == []


def test_the_page_tells_every_row_of_every_table_it_is_made_of() -> None:
    page = safety_page()
    for words in BEFORE_MOTION:
        assert words in page
    for fault in FAULTS:
        assert fault.text in page
        assert fault.remedy in page
    for condition in ARMING:
        assert condition.said in page
    for stage in STAGES:
        assert f"| {stage.name} |" in page
    for trouble in TROUBLES:
        for _, _, reason in trouble.spared:
            assert reason in page
