"""The manual: its pages follow from the code, its links lead somewhere, its words are explained."""

import argparse
import re
import runpy
import tomllib
from collections.abc import Callable
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from hocklift import scriptfile
from hocklift.calibrating import POSES
from hocklift.cli import COMMANDS, main
from hocklift.commands import manual
from hocklift.commands.new import RIGS
from hocklift.manual.generated import PAGES, pictures
from hocklift.manual.wiring import wiring_svg
from hocklift.rigfile.keys import KEYS, WING_KEYS
from hocklift.tour import FIGURES_VARY, examples, masked, renewed, run
from legcore.model import LONG_ROUND_TICKS, RECORDS, ROUND_TICKS, VISIT_TICKS
from legsim.rig import Rig
from legsim.simboard.page import BOARDS, CONTACTS, CONVERTER, INPUTS, OUTPUTS, pin_table

TOP = Path(__file__).parents[2]
DOCS = TOP / "docs"
WRITTEN = sorted(DOCS.glob("*.md"))
# The long one has a test of its own, which looks closer at what came of it.
RUN_HERE = [
    path
    for path in (*WRITTEN, TOP / "README.md")
    if examples(path.read_text(encoding="utf-8")) and path.name != "from-flash-to-replay.md"
]
# Words of the trade that a newcomer to it cannot know; where one is used, the list of words has it.
TRADE_WORDS = (
    "act", "build", "clearance", "contactor", "converter", "Coulomb friction", "creep",
    "deadband", "debounced", "divider", "drum", "emergency stop", "feed-forward", "firmware",
    "fold", "foot switch", "gait", "gantry", "gear mesh", "gyration", "hash", "heap", "iron loss",
    "JSON", "knot share", "lead line", "machine code", "margin", "median", "metronome",
    "MicroPython", "multiplexer", "neutral", "nonlinearity", "parallelogram", "peak sensitivity",
    "permille", "PID", "pinion", "pot", "preload", "pretension", "pull-down", "pull-up",
    "pulse wire", "quadrant", "ratiometric", "relay experiment", "residual", "root mean square",
    "rotor", "script", "seed", "sensorless", "setpoint", "shear", "sheave", "sink", "slew",
    "snapshot", "sole contact", "speed controller", "SPI", "stage", "stall", "star ground",
    "stick", "stirrup", "stoop", "tackle", "tick", "tolerance", "trial", "trouble",
    "ultimate gain", "viscous friction", "watchdog", "winding", "wing", "wiper",
)  # fmt: skip


@pytest.mark.parametrize("name", PAGES)
def test_a_generated_page_is_what_its_tables_say(name: str) -> None:
    # To write it anew: python -m hocklift.manual
    assert (DOCS / name).read_text(encoding="utf-8") == PAGES[name]()


def test_a_picture_is_what_the_code_draws() -> None:
    """Its words are the same, and no point of it is half a pixel off."""
    number = re.compile(r"(?<![\w#-])-?\d+\.?\d*(?:e-?\d+)?")
    texts = re.compile(r">([^<>]+)<")
    drawn = dict(pictures())
    assert {path.name for path in (DOCS / "pictures").iterdir()} == set(drawn)
    for name, svg in drawn.items():
        kept = (DOCS / "pictures" / name).read_text(encoding="utf-8")
        assert texts.findall(kept) == texts.findall(svg), name
        found, wanted = ([float(x) for x in number.findall(text)] for text in (kept, svg))
        assert found == pytest.approx(wanted, abs=0.5), name


@pytest.mark.big
@pytest.mark.parametrize("path", RUN_HERE, ids=lambda path: path.stem)
def test_each_command_of_a_page_says_what_the_page_shows(path: Path, tmp_path: Path) -> None:
    # To write it anew: python -m hocklift.manual
    page = path.read_text(encoding="utf-8")
    new = renewed(page, run(page, tmp_path))
    if FIGURES_VARY in page:
        page, new = masked(page), masked(new)
    assert new == page


def test_every_pin_of_a_board_is_in_its_drawing() -> None:
    for title, name in BOARDS:
        pins = pin_table(name)
        svg = wiring_svg(title, pins)
        for pin, _ in (*OUTPUTS, *CONTACTS, *CONVERTER):
            assert svg.count(f">pin {pins[pin]}<") == 1, f"{title}: {pin}"
        for channel, _ in INPUTS:
            assert f">{pins[channel]}<" in svg, f"{title}: {channel}"
        moved = wiring_svg(title, {**pins, "ARM": 99})
        assert ">pin 99<" in moved


class _Page(HTMLParser):
    """What a page of the site leads to and shows, and the places in it."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.links: list[str] = []
        self.places: set[str] = set()
        self.unexplained_pictures = 0
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.links += [value for name, value in attrs if name in ("href", "src") and value]
        self.places |= {value for name, value in attrs if name == "id" and value}
        self.unexplained_pictures += tag == "img" and not values.get("alt")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from mkdocs.commands.build import build
    from mkdocs.config import load_config

    folder = tmp_path_factory.mktemp("site")
    build(load_config(str(TOP / "mkdocs.yml"), site_dir=str(folder)))
    return folder


def test_every_link_of_the_site_leads_somewhere_in_it_and_every_picture_is_there(
    site: Path,
) -> None:
    pages = {path: _Page(path) for path in site.rglob("*.html")}
    assert len(pages) == len(WRITTEN)
    followed = 0
    for path, page in pages.items():
        assert page.unexplained_pictures == 0, path
        for link in page.links:
            parts = urlsplit(link)
            assert not parts.scheme and not parts.netloc, f"{path}: {link} needs a network"
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            assert target.is_file(), f"{path.name}: {link}"
            if parts.fragment:
                assert unquote(parts.fragment) in pages[target].places, f"{path.name}: {link}"
            followed += 1
    assert followed > len(pages) ** 2  # each page has the list of all


def test_every_page_can_be_reached_by_the_list_of_pages(site: Path) -> None:
    listed = {urlsplit(link).path for link in _Page(site / "index.html").links}
    assert {path.with_suffix(".html").name for path in WRITTEN} <= listed


def test_a_word_of_the_trade_is_in_the_list_of_words_and_explained_where_it_is_used(
    site: Path,
) -> None:
    hook = runpy.run_path(str(DOCS / "look/hooks.py"))
    explained = hook["words"]((DOCS / "glossary.md").read_text(encoding="utf-8"))
    for path in WRITTEN:
        text = path.read_text(encoding="utf-8")
        for word in TRADE_WORDS:
            if re.search(rf"\b{word}s?\b", text, re.IGNORECASE):
                assert word in explained, f"{path.name}: {word}"
    wiring = (site / "wiring.html").read_text(encoding="utf-8")
    assert f'<abbr title="{escape(explained["contactor"], quote=False)}">contactor<' in wiring


# What a hand-written page says in figures, and where that figure is made.
FIGURES = (
    (
        "first-evening.md",
        "Python 3.11 or later",
        lambda: python_wanted() == ">=3.11",
    ),
    ("first-evening.md", "three text files", lambda: len({*RIGS, scriptfile.FILE_NAME}) == 3),
    ("commissioning.md", "Four poses of each leg", lambda: len(POSES) == 4),
    ("from-flash-to-replay.md", "Four poses", lambda: len(POSES) == 4),
    ("glossary.md", "-1000 to 1000 permille", lambda: drive_range() == (-1000, 1000)),
    ("glossary.md", "every 20 ms", lambda: Rig().controller.frame_s == 0.020),
    ("glossary.md", "every second one; eight ticks", lambda: (VISIT_TICKS, ROUND_TICKS) == (2, 8)),
    ("glossary.md", "takes four rounds", lambda: LONG_ROUND_TICKS == 4 * ROUND_TICKS),
    ("wiring.md", "5 V supply", lambda: "5 V supply" in drawn_wires()),
    ("wiring.md", "feeds\n   5 V back", lambda: "5 V" in drawn_wires()),
    ("wiring.md", "100 nF to ground", lambda: "100 nF to ground" in drawn_wires()),
    ("wiring.md", "pull-down of 1 Mohm", lambda: "1 Mohm to ground" in drawn_wires()),
    ("wiring.md", "pull-down of 10 kohm", lambda: "10 kΩ" in drawn_wires()),
)
_WITH_UNIT = re.compile(
    r"(?<![\w.])-?\d[\d.]*[ \n]*"
    r"(?:mm|cm|m|km|s|ms|us|h|g|kg|N|kN|V|mV|A|W|J|K|Hz|nF|ohm|kohm|Mohm|deg|°|%|permille)(?![\w])"
)


def python_wanted() -> str:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return str(project["requires-python"])


def drawn_wires() -> str:
    return "".join(wiring_svg(title, pin_table(name)) for title, name in BOARDS)


def drive_range() -> tuple[int, int]:
    """As the core's declaration of a leg has it."""
    return next(tuple(row[2:4]) for row in RECORDS["Leg"] if row[0] == "drive_permille")


@pytest.mark.parametrize(("name", "words", "holds"), FIGURES, ids=[row[1] for row in FIGURES])
def test_a_figure_that_a_page_says_is_the_one_that_the_code_has(
    name: str, words: str, holds: Callable[[], bool]
) -> None:
    assert words in (DOCS / name).read_text(encoding="utf-8")
    assert holds()


def test_no_page_says_a_figure_with_a_unit_that_nothing_makes() -> None:
    """It is generated, what a command really said, a drawing's, or a row of FIGURES."""
    for path in WRITTEN:
        if path.name in PAGES:
            continue
        prose = re.sub(r"^```.*?^```$", "", path.read_text(encoding="utf-8"), flags=re.M | re.S)
        for name, words, _ in FIGURES:
            if name == path.name:
                prose = prose.replace(words, "")
        assert not _WITH_UNIT.findall(prose), path.name


def test_words_stand_in_their_list_by_the_alphabet_and_once() -> None:
    names = re.findall(r"^\| (?!word|---)(.+?) \|", (DOCS / "glossary.md").read_text("utf-8"), re.M)
    assert names == sorted(names, key=str.lower)
    single = [name for row in names for name in row.split(", ")]
    assert len(single) == len(set(single))


def test_a_rig_key_that_a_page_names_is_there() -> None:
    kinds = (*KEYS.values(), *WING_KEYS.values())
    paths = {key.path for keys in kinds for key in keys.values()}
    for path in WRITTEN:
        named = re.findall(r"`([a-z_]+)\.([a-z_]+)`", path.read_text(encoding="utf-8"))
        for section, name in named:
            if section in KEYS | WING_KEYS:
                assert f"{section}.{name}" in paths, f"{path.name}: {section}.{name}"


def test_readme_tells_of_no_option_that_is_not_there() -> None:
    """A row's option is of the command that the table is headed by, or that the row names."""
    there: dict[str, set[str]] = {}
    for command in COMMANDS:
        parser = argparse.ArgumentParser()
        command.add_arguments(parser)
        there[command.name] = {each for one in parser._actions for each in one.option_strings}
    command, told = "", 0
    for line in (TOP / "README.md").read_text(encoding="utf-8").splitlines():
        if headed := re.match(r"\| option(?: of `(\w+)`)? \|", line):
            command = headed[1] or ""
        elif row := re.match(r"\| `(?:(\w+) )?(--[\w-]+)", line):
            name = row[1] or command
            assert not name or row[2] in there[name], line
            told += 1
    assert told > 20


def test_the_command_says_where_the_manual_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(manual, "SITE", tmp_path)
    (tmp_path / "index.html").touch()
    assert main(["manual", "--no-open"]) == 0
    assert capsys.readouterr().out == f"{tmp_path / 'index.html'}\n"
    (tmp_path / "index.html").unlink()
    assert main(["manual", "--no-open"]) == 2
    assert "install hocklift anew" in capsys.readouterr().err
