"""While a host feeds inputs the core steps on them; the board gives nothing and forgets nothing."""

from cable import NEUTRAL_NS, neutral
from legcore.faults import STOP
from legcore.phases import LIFTING, OFF, STANDING
from legwire.messages import FED

STILL = {
    **{f"{leg}.{joint}.count": 1890 for leg in ("left", "right") for joint in ("thigh", "shank")},
    **{
        "left.sole": 1,
        "right.sole": 1,
        "battery_mV": 24000,
        "supply_mV": 5000,
        "stick_count": 2047,
    },
}
# The most that a line, a tick and its telling take.
EACH_S = 0.012


def feed(cable, ticks, **changes):
    """Feed so many ticks of one kind; what the board gave meanwhile."""
    inputs = STILL | changes
    given = set()
    for _ in range(ticks):
        cable.say("grant", 200)
        cable.say("in", *(inputs.get(row[0], 0) for row in FED))
        cable.board.advance(EACH_S)
        out = cable.board.out
        given.add((out["contactor"], out["left_ns"], out["right_ns"], out["watchdog_ms"]))
    cable.hear()
    return given


def lift(cable):
    """Fed from the start: unarmed, armed, a foot raised; what the board gave meanwhile."""
    given = feed(cable, 20)
    given |= feed(cable, 150, arm=1)
    return given | feed(cable, 30, **{"arm": 1, "left.switch": 1, "left.sole": 0})


def test_a_fed_core_lifts_a_leg_and_the_board_gives_nothing(make_either):
    board, cable = make_either()
    cable.start()
    assert cable.ask("feed", 1)["done"]
    assert lift(cable) == {(0, NEUTRAL_NS, NEUTRAL_NS, 0)}
    assert cable.ticks[-1]["left_phase"] == LIFTING
    assert cable.ticks[-1]["left_drive_permille"] != 0
    # What is fed is nothing that has happened to this board.
    feed(cable, 30, stop=1)
    assert cable.ticks[-1]["fault_bits"] & STOP
    cable.run(1.0)
    assert not (board.files / "faults.csv").exists()


def test_feeding_begins_anew_each_time(make_board):
    _, cable = make_board()
    cable.start()
    told = []
    for _ in range(2):
        assert cable.ask("feed", 1)["done"]
        before = len(cable.ticks)
        lift(cable)
        # Their number goes on, and they take what they take.
        told.append([tick | {"tick": 0, "loop_us": 0} for tick in cable.ticks[before:]])
        assert cable.ask("feed", 0)["done"]
        cable.run(0.3)
    assert told[0] == told[1]


def test_after_feeding_the_board_is_where_it_was_but_must_be_armed_anew(make_board):
    board, cable = make_board()
    cable.start()
    board.stop(True)
    cable.run(0.1)
    board.stop(False)
    cable.run(0.1)
    assert cable.ticks[-1]["fault_bits"] == STOP
    # Nearly armed, had there been no fault.
    board.arm(True)
    cable.run(0.2)
    assert cable.ask("feed", 1)["done"]
    lift(cable)
    assert cable.ask("feed", 0)["done"]
    cable.run(0.2)
    assert cable.ticks[-1]["fault_bits"] == STOP
    assert cable.ticks[-1]["left_phase"] == OFF
    cable.run(2.0)
    assert neutral(board)
    cable.arm()
    assert cable.ticks[-1]["left_phase"] == STANDING


def test_the_arm_input_counts_for_nothing_while_inputs_are_fed(make_board):
    """Held to arm, then a host feeds for a while: held all the time or not, nobody has seen it."""
    board, cable = make_board()
    cable.start()
    board.arm(True)
    cable.run(0.1)
    board.arm(False)
    cable.run(0.1)
    board.arm(True)
    cable.run(0.3)
    assert cable.ask("feed", 1)["done"]
    feed(cable, 10)
    assert cable.ask("feed", 0)["done"]
    cable.run(2.0)
    assert neutral(board)
    cable.arm()


def test_feeding_is_refused_to_an_armed_board(make_board):
    board, cable = make_board()
    cable.start()
    cable.arm()
    assert not cable.ask("feed", 1)["done"]
    assert board.out["contactor"] == 1
