"""Every report as Chromium shows it, from its file: on screens and paper, and by keyboard alone."""

import re
from importlib import import_module, resources
from itertools import pairwise
from math import cos, degrees, hypot, radians, sin
from pkgutil import iter_modules

import html5lib
import numpy as np
import pytest
from browsing import chromium, opened, violations
from fakeboard import FakeBoard, walked_inputs
from hocklift import pages
from hocklift.cli import main
from hocklift.device import Device
from hocklift.drilling import Campaign, random_case, run_random_case, run_table_case, table_cases
from hocklift.log import read_log
from hocklift.logfigures import figures_of
from hocklift.loops.relay import swing_of
from hocklift.loops.swung import Relay, Swung
from hocklift.pages import drill_page, log_page, relay_page, wing_drill_page
from hocklift.pages.motion import motion_of_log, motion_of_walk
from hocklift.recording import record
from hocklift.rehearsal import METRONOME, rehearse
from hocklift.rigfile.file import write_rig
from hocklift.wing_drilling import WingCampaign
from hocklift.wing_drilling import run_table_case as run_wing_case
from hocklift.wing_drilling import table_cases as wing_cases
from legsim.drill import Drill
from legsim.rig import Rig
from legsim.wing.drill import WingDrill
from legsim.wing.rig import WingRig
from pages import Page, assert_self_contained
from rich.console import Console

pytestmark = pytest.mark.big
RIG = Rig()
PARADE = resources.files("hocklift") / "data" / "parade.toml"
WALK = ["rehearse", "--wearer", METRONOME, "--seconds", "6"]
# More than any page needs that a person may want to send to somebody.
MOST_BYTES = 2_000_000


def commanded(*words):
    """Whatever the command makes of the demo rig."""

    def make(folder):
        assert main([*words, "--out", str(folder)]) in (0, 1)

    return make


def recorded(folder):
    board = FakeBoard(folder, walked_inputs())
    record(Device(board), folder / "a.log", None, 5.0)
    log_page.write_page(figures_of(read_log(folder / "a.log")), folder, parquet=False)


def drilled(folder):
    bench = Drill(RIG)
    cases = [case for case in table_cases(1) if case.first == 0 and case.seconds < 100][:40]
    table = tuple(run_table_case(bench, case) for case in cases)
    random = tuple(run_random_case(bench, random_case(1 + i)) for i in range(2))
    drill_page.write_page(Campaign(RIG, "a rig", 1, table, random), folder)


def swung(folder):
    """A leg that swings 1 degree either way in 0.4 s; the drive turns round with the fold."""
    time_s = np.arange(0, 4, RIG.control.period_s)
    fold_rad = radians(75) + radians(1) * np.sin(2 * np.pi * time_s / 0.4)
    drive = np.where(fold_rad < radians(75), 0.1, -0.1)
    swing = swing_of(time_s, fold_rad, drive, 0.1, 0.0)
    legs = [
        Swung(leg, time_s.tolist(), fold_rad.tolist(), drive.tolist(), swing, ())
        for leg in ("left", "right")
    ]
    relay_page.write_page(Relay("a rig", legs), folder)


def of_wings(*words):
    """Whatever the command makes of the demo rig with wings."""

    def make(folder):
        write_rig(WingRig(), folder / "wings.toml")
        command, *options = words
        found = main([command, str(folder / "wings.toml"), *options, "--out", str(folder)])
        assert found in (0, 1)

    return make


def of_wings_drilled(folder):
    rig = WingRig()
    bench = WingDrill(rig)
    cases = [case for case in wing_cases(1) if case.strikes[0].wing == 0]
    shown = [case for case in cases if case.strikes[0].trouble.name in WORTH_A_LOOK]
    table = tuple(run_wing_case(bench, case) for case in shown)
    wing_drill_page.write_page(WingCampaign(rig, "a rig", 1, table, ()), folder)


def fitted(folder):
    recording = folder / "recording.hklog"
    assert main(["record", "--seconds", "12", "--out", str(recording)]) == 0
    assert main(["fit", str(recording), "--out", str(folder)]) in (0, 1)


WORTH_A_LOOK = ("pot open", "upper rope snaps", "motor reversed", "program hangs")

# A small case of every page, by its module, and what else it may be of.
MAKERS = {
    "rehearsal_page": commanded(*WALK),
    "rehearsal_page, on parade": commanded("rehearse", "--script", str(PARADE)),
    "wing_rehearsal_page": of_wings("rehearse"),
    "log_page": recorded,
    "tune_page": commanded("tune", "--rigs", "2", "--budget", "12"),
    "tune_page, of wings": of_wings("tune", "--rigs", "2", "--budget", "12"),
    "fit_page": fitted,
    "size_page": commanded("size"),
    "size_page, of wings": of_wings("size"),
    "sweep_page": commanded("size", "--sweep", "spring.rate=50..70 N/mm:3", "rope.parts=3..5:3"),
    "study_page": commanded("study", "--rigs", "4", "--seconds", "8"),
    "margins_page": commanded("margins"),
    "relay_page": swung,
    "drill_page": drilled,
    "wing_drill_page": of_wings_drilled,
}
MOVING = (
    "rehearsal_page",
    "rehearsal_page, on parade",
    "wing_rehearsal_page",
    "log_page",
    "tune_page",
    "tune_page, of wings",
    "drill_page",
    "wing_drill_page",
)


def module_of(name):
    return import_module(f"hocklift.pages.{name.partition(',')[0]}")


@pytest.fixture(scope="module")
def paths(tmp_path_factory):
    """Where each page is; made when it is first asked for."""
    made = {}

    def path(name):
        if name not in made:
            folder = tmp_path_factory.mktemp("page")
            MAKERS[name](folder)
            made[name] = folder / module_of(name).PAGE
        return made[name]

    return path


@pytest.fixture(scope="module")
def browser():
    with chromium() as found:
        yield found


def told(page):
    """The moment that the first player tells: seconds, and its cells."""
    player = page.locator(".player").first
    time_s = float(player.locator(".time").inner_text().removesuffix(" s"))
    return time_s, player.locator("tbody td").all_inner_texts()


def at_moment(page, time_s):
    """Put the slider where a time is."""
    page.evaluate(
        """time => {
          const data = JSON.parse(document.querySelector(".player script").textContent);
          const slider = document.querySelector(".player input");
          slider.value = Math.round((time - data.start_s) / data.step_s);
          slider.dispatchEvent(new Event("input"));
        }""",
        time_s,
    )


def test_every_page_that_there_is_is_looked_at_here():
    modules = [one.name for one in iter_modules(pages.__path__) if one.name.endswith("_page")]
    assert set(modules) == {name.partition(",")[0] for name in MAKERS}


@pytest.mark.parametrize("name", MAKERS)
def test_a_page_has_what_moves_where_it_is_said_to(paths, name):
    text = paths(name).read_text(encoding="utf-8")
    assert ('class="player"' in text) == (name in MOVING)


@pytest.mark.parametrize("name", MAKERS)
def test_a_page_is_whole_well_formed_and_not_too_long_to_send(paths, name):
    text = paths(name).read_text(encoding="utf-8")
    # The parser of the HTML standard, which in strict mode raises at the first error in it.
    html5lib.HTMLParser(strict=True).parse(text)
    assert_self_contained(Page(text))
    assert len(text.encode()) < MOST_BYTES
    levels = [int(level) for level in re.findall(r"<h([1-6])", text)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(below - above <= 1 for above, below in pairwise(levels))


@pytest.mark.parametrize("name", MAKERS)
def test_nobody_is_shut_out_by_how_a_report_is_made(browser, paths, name):
    """On a phone, too; opening asks nobody for anything but the file (see `opened`)."""
    address = paths(name).as_uri()
    for scheme, width in (("light", 1280), ("dark", 390)):
        viewport = {"width": width, "height": 844}
        with opened(browser, address, viewport=viewport, color_scheme=scheme) as page:
            assert violations(page) == [], scheme
            # WCAG 2.2, success criterion 1.4.10 (reflow): only pictures and tables by themselves.
            assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", MAKERS)
def test_paper_is_white_and_loses_nothing_at_its_edge(browser, paths, name):
    with opened(browser, paths(name).as_uri(), color_scheme="dark") as page:
        page.emulate_media(media="print")
        # ISO 216: A4 is 210 mm wide; between edges of 15 mm, at 96 CSS pixels an inch.
        page.set_viewport_size({"width": 680, "height": 1000})
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == (
            "rgb(255, 255, 255)"
        )
        assert page.evaluate(
            """() => [...document.querySelectorAll("figure svg")].every((one) =>
              one.getBoundingClientRect().right <= document.body.clientWidth + 1)"""
        )
        assert not page.locator(".player input:visible").count()


@pytest.mark.parametrize("name", MOVING)
def test_legs_and_traces_go_by_the_keyboard_alone(browser, paths, name):
    with opened(browser, paths(name).as_uri()) as page:
        slider = page.get_by_role("slider", name="Moment shown").first
        for _ in range(40):
            page.keyboard.press("Tab")
            if slider.evaluate("one => one === document.activeElement"):
                break
        page.keyboard.press("Home")
        start_s, _ = told(page)
        page.keyboard.press("End")
        end_s, _ = told(page)
        assert end_s > start_s + 1
        page.keyboard.press("ArrowLeft")
        # Some 25 poses a second, a whole number of control periods apart.
        assert 0.03 < end_s - told(page)[0] < 0.05
        joint = "wing" if "wing" in name else "leg"
        now = f"{told(page)[0]:.2f} s; left {joint} "
        assert slider.get_attribute("aria-valuetext").startswith(now)
        lines = page.locator("line.cursor")
        assert lines.count() >= 1
        after = lines.first.get_attribute("x1")
        page.keyboard.press("PageDown")
        assert float(lines.first.get_attribute("x1")) < float(after)
        # Of several, each moves with its own slider alone.
        if "drill" in name:
            assert lines.last.get_attribute("x1") != lines.first.get_attribute("x1")
        # The button plays and pauses.
        page.keyboard.press("Home")
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Enter")
        page.wait_for_function(
            "start => parseFloat(document.querySelector('.time').textContent) > start", arg=start_s
        )
        page.keyboard.press("Enter")
        assert page.get_by_role("button", name="Play").first.is_visible()


def test_the_legs_are_drawn_to_the_rigs_own_lengths_and_folds(browser, paths):
    """Measured on the page: links as long as the rig file says, at the angle that is told."""
    rehearsal = rehearse(RIG, "a rig", METRONOME, 6.0, 1, Console(quiet=True))
    period_s = RIG.control.period_s
    lifted = rehearsal.trace["left"]["clearance_m"]
    top = int(np.argmax(lifted))
    with opened(browser, paths("rehearsal_page").as_uri()) as page:
        at_moment(page, top * period_s)
        time_s, cells = told(page)
        row = rehearsal.trace["left"][round(time_s / period_s)]
        fold_deg = degrees(row["thigh_rad"] + row["shank_rad"])
        assert float(cells[1].removesuffix("°")) == pytest.approx(fold_deg, abs=0.6)
        assert float(cells[2].removesuffix(" mm")) == pytest.approx(
            1000 * row["clearance_m"], abs=1
        )
        points = page.evaluate(
            """() => document.querySelector(".player svg > g polyline[stroke-width='8']")
              .getAttribute("points")"""
        )
    hip, knee, foot = (tuple(map(float, pair.split(","))) for pair in points.split())
    thigh, shank = ((b[0] - a[0], b[1] - a[1]) for a, b in ((hip, knee), (knee, foot)))
    assert hypot(*thigh) == pytest.approx(1000 * RIG.mechanism.thigh_length_m, abs=0.5)
    assert hypot(*shank) == pytest.approx(1000 * RIG.mechanism.shank_length_m, abs=0.5)
    # By the cosine between both links: forward is right and down is down.
    between = (thigh[0] * shank[0] + thigh[1] * shank[1]) / hypot(*thigh) / hypot(*shank)
    assert between == pytest.approx(cos(radians(fold_deg)), abs=0.01)


def test_the_line_in_a_trace_stands_where_the_picture_has_that_time(browser, paths):
    """Against Matplotlib's own tick marks, which it labels with the seconds."""
    with opened(browser, paths("rehearsal_page").as_uri()) as page:
        at_moment(page, 4.0)
        found = page.evaluate(
            """() => {
              const box = [...document.querySelectorAll("[data-tracks]")].at(-2);
              const words = [...box.querySelectorAll("text")];
              const label = words.find((one) => one.textContent === "4");
              const middle = (one) => {
                const at = one.getBoundingClientRect();
                return at.x + at.width / 2;
              };
              return [middle(box.querySelector("line.cursor")), middle(label)];
            }"""
        )
        assert found[0] == pytest.approx(found[1], abs=2)


def test_a_click_into_a_trace_goes_to_its_moment(browser, paths):
    with opened(browser, paths("rehearsal_page").as_uri()) as page:
        at_moment(page, 2.0)
        line = page.locator("line.cursor").nth(2)
        line.evaluate("one => one.scrollIntoView({ block: 'center' })")
        where = line.bounding_box()
        at_moment(page, 5.0)
        page.mouse.click(where["x"] + where["width"] / 2, where["y"] + where["height"] / 2)
        assert told(page)[0] == pytest.approx(2.0, abs=0.03)


def test_who_wants_less_motion_gets_stills(browser, paths):
    """WCAG 2.2, success criterion 2.3.3: nothing moves by itself, and what plays goes in steps."""
    with opened(browser, paths("rehearsal_page").as_uri(), reduced_motion="reduce") as page:
        page.locator(".player input").press("Home")
        page.evaluate(
            """() => { window.seen = [];
              new MutationObserver(() => seen.push(performance.now()))
                .observe(document.querySelector(".player .time"), { childList: true }); }"""
        )
        page.wait_for_timeout(300)
        assert page.evaluate("seen.length") == 0
        page.get_by_role("button", name="Play").click()
        page.wait_for_function("seen.length >= 4", timeout=30_000)
        seen_ms = page.evaluate("seen")
        assert min(np.diff(seen_ms)) > 400


def test_without_javascript_every_picture_and_figure_is_there(browser, paths):
    path = paths("rehearsal_page")
    with opened(browser, path.as_uri(), java_script_enabled=False) as page:
        assert not page.locator(".player").is_visible()
        assert page.get_by_text("With JavaScript switched on, both legs move here").is_visible()
        assert page.locator("figure svg").count() == path.read_text().count("<figure>")
        assert page.locator("figure svg").last.is_visible()


def test_a_gap_in_a_recording_is_told_and_the_poses_keep_to_the_folds(tmp_path):
    board = FakeBoard(tmp_path, walked_inputs())
    writes = []

    def spoil(data):
        writes.append(data)
        return b"" if 300 <= len(writes) < 400 else data

    board.spoil = spoil
    record(Device(board), tmp_path / "a.log", None, 5.0)
    log = read_log(tmp_path / "a.log")
    data = motion_of_log(RIG, log, 0.0).data
    left = {name: np.cumsum(column) for name, column in data["joints"][0].items()}
    assert 0 in left["here"]
    time_s = data["start_s"] + data["step_s"] * np.arange(len(left["here"]))
    fold_deg = (left["thigh_ddeg"] + left["shank_ddeg"]) / 10
    row = np.searchsorted(log.time_s, time_s + 1e-6) - 1
    np.testing.assert_allclose(fold_deg, log.ticks["left_fold_cdeg"][row] / 100, atol=0.11)
    # The foot is below the hip: the links' shares of the way forward cancel.
    for thigh, shank in zip(left["thigh_ddeg"], left["shank_ddeg"], strict=True):
        m = RIG.mechanism
        forward_m = m.shank_length_m * sin(radians(shank / 10)) - m.thigh_length_m * sin(
            radians(thigh / 10)
        )
        assert abs(forward_m) < 0.001


def test_of_a_long_walk_a_page_has_fewer_poses_a_second_and_stays_short():
    rehearsal = rehearse(RIG, "a rig", METRONOME, 2.0, 1, Console(quiet=True))
    hours = np.tile(rehearsal.trace, 2700)
    motion = motion_of_walk(RIG, hours, 0.0)
    data = motion.data
    poses = len(data["joints"][0]["phase"])
    assert poses <= 12_001
    assert f"a pose every {data['step_s']:.2f} s" in motion.words
    assert "a pose every" not in motion_of_walk(RIG, rehearsal.trace, 0.0).words
    assert poses * data["step_s"] == pytest.approx(len(hours) * RIG.control.period_s, rel=0.01)
