"""The bench page's server: who is let in, who is in charge, and what the board hears of it all."""

import json
import time

import httpx
import pytest
from fakeboard import walked_inputs
from hocklift.benchpage.asks import ASKS, BYTES_MOST
from hocklift.benchpage.live import WAITING_MOST
from hocklift.benchpage.server import HOST, MALFORMED_MOST
from legcore.phases import OFF
from legsim.rig import Rig
from legsim.settings import core_rig
from legsim.tables import FAULTS
from serving import PacedBoard, Visitor, served
from websockets.exceptions import ConnectionClosed, InvalidStatus

PATHS = (
    "/",
    "/static/bench.js",
    "/static/bench.css",
    "/static/uplot/uPlot.iife.min.js",
    "/look/inks.css",
    "/look/legs.js",
)
HOST_SILENT = next(fault for fault in FAULTS if fault.name == "host silent")
STOP = next(fault for fault in FAULTS if fault.name == "emergency stop")
# In the walk that the board is given it is armed after so many ticks, and walks on for good.
ARMED_TICK = 600


def board_of(tmp_path, *, armed=False, **options):
    inputs = walked_inputs(20) if armed else walked_inputs()[:1]
    return PacedBoard(tmp_path, inputs, **options)


@pytest.fixture
def resting(tmp_path):
    """A bench whose board rests: nobody arms it."""
    board = board_of(tmp_path)
    with served(lambda: board, tmp_path) as bench:
        bench.board = board
        yield bench


@pytest.fixture
def walking(tmp_path):
    """A bench whose board is armed, and walks."""
    board = board_of(tmp_path, armed=True)
    board.at = ARMED_TICK - 580
    with served(lambda: board, tmp_path) as bench:
        bench.board = board
        yield bench


def get(bench, path="/", token=True, **headers):
    query = {"token": "a-token-for-tests"} if token is True else ({"token": token} if token else {})
    return httpx.get(f"{bench.origin}{path}", params=query, headers=headers)


# Who is let in.


def test_the_page_and_what_it_needs_come_from_this_server(resting):
    for path in PATHS:
        found = get(resting, path)
        assert found.status_code == 200, path
        assert found.headers["content-security-policy"].startswith("default-src 'none'")
        assert found.headers["referrer-policy"] == "no-referrer"


def test_only_this_computer_can_knock_at_all(resting):
    # The address that the operating system has the server listen at: loopback, RFC 1122, 3.2.1.3.
    assert HOST == "127.0.0.1"
    with pytest.raises(httpx.ConnectError):
        httpx.get(f"http://127.0.0.2:{resting.port}/")


@pytest.mark.parametrize("token", [None, "", "wrong", "a-token-for-test", "a-token-for-tests&x=1"])
def test_without_its_token_there_is_no_page_and_no_stream(resting, token):
    found = httpx.get(f"{resting.origin}/" + ("" if token is None else f"?token={token}"))
    assert found.status_code == 403
    assert "use the whole address" in found.text
    with pytest.raises(InvalidStatus), Visitor(resting, token=token):
        pass


# A page elsewhere that makes its name point here sends its own name as the host: DNS rebinding.
@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1:1", "[::1]:{port}"]
)
@pytest.mark.parametrize("path", PATHS)
def test_another_host_is_refused(resting, path, host):
    assert get(resting, path, Host=host.format(port=resting.port)).status_code == 403


# A browser says which page asks, RFC 6454; "null" is a page from a file.
@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1", None])
def test_another_page_cannot_open_the_stream(resting, origin):
    with pytest.raises(InvalidStatus) as refused, Visitor(resting, origin=origin):
        pass
    assert refused.value.response.status_code == 403


def test_another_page_cannot_fetch_anything(resting):
    for path in PATHS:
        assert get(resting, path, Origin="http://evil.example").status_code == 403


def test_no_other_path_is_served(resting):
    outside = ("/static/../live.py", "/static/%2e%2e/live.py", "/look/%2e%2e/page.py")
    for path in (*outside, "/stream", "/docs", "//"):
        assert get(resting, path).status_code in (403, 404), path


# What comes.


def test_every_tick_reaches_the_page(resting):
    with Visitor(resting) as page:
        page.take_in(2.0)
    assert sum(len(times_s) for times_s, _ in page.rows) > 200
    assert page.steps() == {1}
    fold_deg = page.rows[-1][1]["left_fold_deg"][-1]
    assert fold_deg == pytest.approx(resting.board.rig.left.fold_cdeg / 100, abs=1)


def test_a_page_is_told_who_the_board_is_and_what_it_waits_for(resting):
    with Visitor(resting) as page:
        welcome = page.until(lambda one: one["kind"] == "welcome" and one, "welcome")
        settings = page.until(
            lambda one: one["kind"] == "settings" and one["rows"] and one, "settings"
        )
        state = page.state(lambda one: one["arming"], "arming")
    assert welcome["board"]["firmware"] == "0.1.0"
    assert welcome["shape"]["thigh_m"] == Rig().mechanism.thigh_length_m
    assert welcome["troubles"] == []
    assert settings["stage"]["name"] == "walking"
    assert settings["odd"] == []
    assert len(state["arming"]) == 9


# Who is in charge.


def test_the_second_page_watches_and_takes_charge_only_when_the_first_has_let_go(resting):
    with Visitor(resting) as first, Visitor(resting) as second:
        assert first.in_charge()
        assert not second.in_charge()
        for word, fields in (
            ("change", {"path": "control.kp", "value": "2"}),
            ("keep", {}),
            ("press", {"leg": 0, "on": True}),
            ("record", {"on": True}),
        ):
            answer = second.answer(word, **fields)
            assert (answer["done"], answer["words"]) == (
                False,
                "This page only watches: take charge first.",
            )
        assert "must let go first" in second.answer("take")["words"]
        first.ask("leave")
        assert not first.in_charge()
        second.ask("take")
        assert second.in_charge()


def test_a_page_that_goes_leaves_its_charge_to_whoever_takes_it(resting):
    with Visitor(resting) as second:
        with Visitor(resting) as first:
            second.ask("take")
            assert second.in_charge()
        first.beats = False
        assert second.in_charge()


def test_whoever_comes_while_a_leg_may_move_only_watches_until_they_take_charge(walking):
    with Visitor(walking) as page:
        # Comes while all rests, goes on watching.
        page.ask("leave")
        page.state(lambda one: one["flags"]["contactor"], "armed")
    taken = walking.board.heard.count("take")
    with Visitor(walking) as page:
        assert not page.in_charge()
        assert walking.board.heard.count("take") == taken
        page.beats = True
        page.ask("take")
        page.state(lambda one: one["flags"]["host"], "host in charge")
        assert page.in_charge()


# One that fits, of each field that a message to the simulated rig has.
GOOD = {
    "on": True,
    "leg": 1,
    "side": 0.5,
    "place": 0.5,
    "carried_kg": 30.0,
    "wearer_kg": 80.0,
    "name": "pot open",
    "joint": "thigh",
}


def test_the_real_board_has_no_simulated_hands(resting):
    with Visitor(resting) as page:
        words = [word for word, ask in ASKS.items() if ask.who == "sim"]
        assert {"arm", "stick", "foot", "trouble"} < set(words)
        for word in words:
            fields = {name: GOOD[name] for name in ASKS[word].fields}
            told = page.answer(word, **fields)["words"]
            assert told == "This is a real board: do it at the rig.", word


# Silence.


def beats(bench):
    return bench.board.heard.count("beat")


def test_the_board_hears_no_more_beats_than_the_page_gives(resting):
    with Visitor(resting) as page:
        page.beats = True
        page.state(lambda one: one["flags"]["host"], "host in charge")
        page.take_in(1.0)
        page.beats = False
        page.take_in(0.2)
        given = beats(resting)
        assert given > 3
        page.take_in(0.6)
        assert beats(resting) == given


def test_a_page_that_falls_silent_while_armed_lets_the_feet_down_within_the_host_limit(walking):
    board = walking.board
    limit_ticks = core_rig(Rig()).settings.host_ticks
    with Visitor(walking) as page:
        page.beats = True
        page.state(
            lambda one: one["flags"]["host"] and one["flags"]["contactor"], "armed, in charge"
        )
        page.take_in(0.5)
        assert not board.rig.fault_bits
        # Asleep: the stream stays open, and nothing more is said.
        last_beat = [board.tick, beats(walking)]
        seen = None
        end_s = time.monotonic() + 10
        while seen is None and time.monotonic() < end_s:
            if beats(walking) > last_beat[1]:
                last_beat = [board.tick, beats(walking)]
            if board.rig.fault_bits & HOST_SILENT.bit:
                seen = board.tick
            time.sleep(0.001)
    assert seen is not None
    # A round of eight ticks is looked at at once; this thread sees either a little late.
    assert seen - last_beat[0] <= limit_ticks + 8 + 25


def test_a_page_that_is_closed_while_armed_lets_the_feet_down(walking):
    with Visitor(walking) as page:
        page.beats = True
        page.state(lambda one: one["flags"]["host"] and one["flags"]["contactor"], "armed")
    with Visitor(walking) as other:
        state = other.state(lambda one: one["faults"], "a fault")
        assert state["faults"][0]["name"] == "host silent"
        assert "wake the computer" in state["faults"][0]["remedy"]
        other.state(lambda one: all(leg["off"] for leg in one["legs"]), "both off")
    assert walking.board.rig.left.phase == OFF


def test_a_page_that_is_closed_while_all_rests_is_no_fault(resting):
    with Visitor(resting) as page:
        page.beats = True
        page.state(lambda one: one["flags"]["host"], "host in charge")
    with Visitor(resting) as other:
        other.state(lambda one: not one["flags"]["host"], "host has left")
        other.take_in(0.7)
    assert resting.board.rig.fault_bits == 0
    assert "leave" in resting.board.heard


# Stop.


def test_any_page_may_stop_and_the_board_says_so(walking):
    with Visitor(walking) as chief, Visitor(walking) as watcher:
        chief.beats = True
        chief.state(lambda one: one["flags"]["contactor"], "armed")
        watcher.ask("stop")
        state = watcher.state(lambda one: one["faults"], "the stop")
        assert state["faults"][0]["name"] == STOP.name
        assert walking.board.rig.contactor == 0


def test_a_stop_that_is_lost_on_its_way_is_sent_again(walking):
    with Visitor(walking) as page:
        page.beats = True
        page.state(lambda one: one["flags"]["contactor"], "armed")
        walking.board.deaf_to = ["stop", "stop"]
        page.ask("stop")
        page.state(lambda one: not one["stopping"] and one["faults"], "stopped")
    heard = [line for line in walking.board.heard if "stop" in line]
    assert heard[:3] == ["lost stop", "lost stop", "stop"]


# What is no message, and too many of them.

NO_MESSAGES = (
    "",
    "stop",
    "[]",
    "null",
    "{}",
    '{"ask": 1}',
    '{"ask": "no such"}',
    '{"ask": "press"}',
    '{"ask": "press", "leg": 2, "on": true}',
    '{"ask": "press", "leg": true, "on": true}',
    '{"ask": "press", "leg": 0, "on": 1}',
    '{"ask": "press", "leg": 0, "on": true, "more": 1}',
    '{"ask": "change", "path": "control.kp", "value": 2}',
    '{"ask": "lean", "side": NaN}',
    '{"ask": "lean", "side": 1e999}',
    "[" * 1500,
    b"\x00\xff",
)


@pytest.mark.parametrize("message", NO_MESSAGES)
def test_what_is_no_message_is_refused_and_does_nothing(resting, message):
    with Visitor(resting) as page:
        before = [line for line in resting.board.heard if line.split()[0] in ("set", "press")]
        page.socket.send(message)
        answer = page.until(lambda one: one["kind"] == "answer" and one, "a refusal")
        assert not answer["done"]
        assert answer["words"].startswith("Not understood: ")
        assert before == [
            line for line in resting.board.heard if line.split()[0] in ("set", "press")
        ]


def test_who_sends_nothing_else_is_shown_the_door(resting):
    with Visitor(resting) as page:
        for _ in range(MALFORMED_MOST):
            page.socket.send("?")
        with pytest.raises(ConnectionClosed) as closed:
            page.take_in(5.0)
        # Policy violation, RFC 6455, 7.4.1.
        assert closed.value.rcvd.code == 1008


def test_a_message_that_is_too_big_ends_its_page_and_nobody_else(resting):
    with Visitor(resting) as other, Visitor(resting) as page:
        page.socket.send(json.dumps({"ask": "mark", "text": "x" * BYTES_MOST}))
        with pytest.raises(ConnectionClosed) as closed:
            page.take_in(5.0)
        # Message too big, RFC 6455, 7.4.1.
        assert closed.value.rcvd.code == 1009
        rows = len(other.rows)
        other.take_in(0.5)
        assert len(other.rows) > rows


def test_a_thousand_commands_at_once_leave_the_loop_as_it_was_and_a_stop_first(walking):
    with Visitor(walking) as page:
        page.beats = True
        page.state(lambda one: one["flags"]["contactor"], "armed")
        heard = len(walking.board.heard)
        for i in range(1000):
            page.ask("change", path="control.kp", value=str(1 + i / 1000))
        page.ask("stop")
        state = page.state(lambda one: one["faults"] and not one["stopping"], "stopped")
        page.take_in(0.5)
    assert state["faults"][0]["name"] == STOP.name
    assert state["loop"]["missed"] == 0
    assert state["loop"]["lost"] == state["loop"]["damaged"] == 0
    # Few of them were ever put to the board, and none after the stop.
    lines = [line.split()[0] for line in walking.board.heard[heard:]]
    assert lines.count("set") <= 2 * WAITING_MOST
    assert "set" not in lines[lines.index("stop") :]
    assert page.steps() == {1}
