"""What is in the way of arming both legs: each condition by itself, at its limit; all at once."""

import pytest
from legcore import arming, faults
from legcore.arming import arming_blocks
from legcore.model import make
from walk import DEMO, fill_settings

SHOWS = {
    faults.SETTINGS: arming.UNSETTLED,
    faults.POT_LOW: arming.UNSAFE_SENSOR,
    faults.POT_HIGH: arming.UNSAFE_SENSOR,
    faults.POT_JUMP: arming.UNSAFE_SENSOR,
    faults.LINKAGE: arming.UNSAFE_SENSOR,
    faults.STOP: arming.STOPPED,
    faults.BATTERY: arming.EMPTY,
}
FOLDED_CDEG = DEMO["rest_fold_cdeg"] + DEMO["hanging_cdeg"]
CENTRE, ZONE = DEMO["stick_centre_count"], DEMO["stick_zone_count"]
each_side = pytest.mark.parametrize("side", ["left", "right"])


@pytest.fixture
def rig():
    """Both legs off and straight, the arm input seen open, all well."""
    made = make("Rig")
    fill_settings(made.settings)
    made.arm_ready = 1
    made.stick_count = CENTRE
    for leg in (made.left, made.right):
        leg.fold_cdeg = DEMO["rest_fold_cdeg"]
    return made


def test_with_all_well_nothing_is_in_the_way(rig):
    assert arming_blocks(rig, 0) == 0


@pytest.mark.parametrize("fault", faults.FAULTS, ids=lambda row: row[1])
def test_a_fault_is_in_the_way_and_shows_at_the_condition_that_it_contradicts(rig, fault):
    bit = fault[0]
    assert arming_blocks(rig, bit) == arming.FAULTY | SHOWS.get(bit, 0)
    # Beside others, too.
    for other, shown in SHOWS.items():
        assert arming_blocks(rig, bit | other) == arming.FAULTY | shown | SHOWS.get(bit, 0)


@each_side
@pytest.mark.parametrize("name", ["pressed", "switch"])
def test_a_raised_foot_is_in_the_way_as_soon_as_its_switch_closes(rig, side, name):
    setattr(getattr(rig, side), name, 1)
    assert arming_blocks(rig, 0) == arming.PRESSED


@each_side
def test_a_leg_folded_past_its_limit_is_in_the_way(rig, side):
    for over, blocks in ((-1, 0), (0, 0), (1, arming.FOLDED)):
        getattr(rig, side).fold_cdeg = FOLDED_CDEG + over
        assert arming_blocks(rig, 0) == blocks


def test_a_stick_outside_its_middle_is_in_the_way(rig):
    for sign in (-1, 1):
        for over, blocks in ((-1, 0), (0, 0), (1, arming.STICK_AWAY)):
            rig.stick_count = CENTRE + sign * (ZONE + over)
            assert arming_blocks(rig, 0) == blocks


def test_an_arm_input_not_seen_open_is_in_the_way(rig):
    rig.arm_ready = 0
    assert arming_blocks(rig, 0) == arming.UNSEEN


def test_all_that_is_in_the_way_is_told_at_once(rig):
    rig.arm_ready = rig.stick_count = 0
    for leg in (rig.left, rig.right):
        leg.pressed = leg.switch = 1
        leg.fold_cdeg = FOLDED_CDEG + 1
    assert arming_blocks(rig, sum(SHOWS)) == sum(row[0] for row in arming.ARMING)
