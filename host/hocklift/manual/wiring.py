"""A board's wiring as a drawing, from the firmware's own pin table."""

from collections.abc import Iterator
from html import escape
from itertools import count, pairwise
from typing import Any

from legsim.simboard.page import CONTACTS, CONVERTER, INPUTS, OUTPUTS

_WIDTH, _HEIGHT = 980, 1020
_ROW = 40
_BOARD_LEFT, _BOARD_RIGHT, _BOARD_TOP, _BOARD_HIGH = 440, 640, 300, 640
_CONTACTS_TOP, _CONVERTER_TOP, _OUTPUTS_TOP = 345, 625, 345
_STAR = (490, 1000)
# Of the inputs, those that hang between the converter's reference and ground.
_POTS = 5


def wiring_svg(title: str, pins: dict[str, Any]) -> str:
    """Return the SVG of a board's whole wiring; `pins` is its pin table, wired by `spi`."""
    assert pins["WIRING"] == "spi", f"{title}: only a converter of its own is drawn"
    parts = [*_power(), *_board(title), *_contacts(pins), *_converter(pins), *_outputs(pins)]
    return (
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" font-family="sans-serif" font-size="13"'
        f' fill="currentColor" role="img"><title>Wiring of {escape(title)}</title>'
        + "\n".join([*parts, *_grounds()])
        + "</svg>"
    )


def _text(x: float, y: float, words: str, anchor: str = "start", style: str = "") -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" {style}>{escape(words)}</text>'


def _line(*points: tuple[float, float], style: str = "") -> str:
    path = " ".join(f"{x},{y}" for x, y in points)
    return f'<polyline points="{path}" fill="none" stroke="currentColor" {style}/>'


_THICK = 'stroke-width="4"'
_GROUND = 'stroke-dasharray="5 3"'


def _box(x: float, y: float, wide: float, high: float, *lines: str) -> Iterator[str]:
    """A part with its words, one below the other, in its middle."""
    yield (
        f'<rect x="{x}" y="{y}" width="{wide}" height="{high}" fill="none"'
        ' stroke="currentColor" stroke-width="1.5"/>'
    )
    first = y + high / 2 + 4.5 - 8 * (len(lines) - 1)
    for words, at in zip(lines, count(first, 16)):
        yield _text(x + wide / 2, at, words, "middle")


def _power() -> Iterator[str]:
    """The motors' power, from the pack to the motors, and the board's own supply beside it."""
    yield _text(20, 24, "Motors' power: thick wires", style='font-weight="bold"')
    chain = (
        (20, 110, "battery pack"),
        (165, 90, "fuse", "at the pack"),
        (290, 130, "emergency stop", "breaks the power"),
        (455, 130, "contactor", "both controllers"),
    )
    for x, wide, *words in chain:
        yield from _box(x, 70, wide, 50, *words)
    ends = [(x, x + wide) for x, wide, *_ in chain]
    for (_, start), (end, _) in pairwise(ends):
        yield _line((start, 95), (end, 95), style=_THICK)
    for leg, y in (("left", 40), ("right", 110)):
        yield _line((585, 95), (625, 95), (625, y + 25), (665, y + 25), style=_THICK)
        yield from _box(665, y, 160, 50, f"{leg} speed", "controller")
        yield _line((825, y + 25), (870, y + 25), style=_THICK)
        yield from _box(870, y, 90, 50, f"{leg}", "motor")
    yield _text(165, 172, "The board's own supply, not through the contactor")
    yield _line((75, 120), (75, 215), (165, 215))
    yield from _box(165, 190, 90, 50, "small fuse")
    yield _line((255, 215), (290, 215))
    yield from _box(290, 190, 130, 50, "5 V supply", "for logic only")
    yield _line((420, 215), (500, 215), (500, _BOARD_TOP))
    yield _text(508, 285, "5 V")


def _board(title: str) -> Iterator[str]:
    yield from _box(_BOARD_LEFT, _BOARD_TOP, _BOARD_RIGHT - _BOARD_LEFT, _BOARD_HIGH)
    for words, y in zip(title.split(" and "), count(905, 16)):
        yield _text(540, y, words, "middle", 'font-weight="bold"')


def _pin(x: float, y: float, pin: int, left: bool) -> str:
    return _text(x + (8 if left else -8), y + 4.5, f"pin {pin}", "start" if left else "end")


def _contacts(pins: dict[str, Any]) -> Iterator[str]:
    yield _text(20, 305, "Contacts: each to ground, pulled up inside the chip")
    for (name, words), y in zip(CONTACTS, count(_CONTACTS_TOP, _ROW)):
        yield from _box(20, y - 15, 280, 30, words.split(",")[0].removesuffix(" to ground"))
        yield _line((300, y), (_BOARD_LEFT, y))
        yield _pin(_BOARD_LEFT, y, pins[name], left=True)


def _converter(pins: dict[str, Any]) -> Iterator[str]:
    top = _CONVERTER_TOP
    yield from _box(270, top - 20, 100, 7 * _ROW)
    for words, at in (("converter", top + _ROW * 3 + 4), ("12 bits", top + _ROW * 3 + 20)):
        yield _text(296, at, words)
    # Above the pots, the reference that both they and the converter hang on.
    yield _line((315, top - 20), (315, top - 38), (12, top - 38), (12, top + _ROW * (_POTS - 1)))
    yield _text(20, top - 43, "converter's reference, on top of each pot")
    for i, (name, words) in enumerate(INPUTS):
        y = top + _ROW * i
        yield from _box(20, y - 15, 160, 30, words.removeprefix("the ").replace("through a ", ""))
        if i < _POTS:
            yield _line((12, y), (20, y))
        yield _line((180, y), (270, y))
        yield f'<circle cx="225" cy="{y}" r="9" fill="var(--paper)" stroke="currentColor"/>'
        yield _text(225, y + 4.5, "F", "middle")
        yield _text(276, y + 4.5, str(pins[name]))
    for (name, words), y in zip(CONVERTER, count(top, 2 * _ROW)):
        yield _line((370, y), (_BOARD_LEFT, y))
        short = words.split(",")[0].replace("the converter", "it")
        yield _text(374, y - 4, short, style='font-size="10"')
        yield _pin(_BOARD_LEFT, y, pins[name], left=True)
    yield _text(20, 910, "F: filter at the input, 100 nF to ground,")
    yield _text(20, 926, "and 1 Mohm to ground: an open wire reads 0")


def _outputs(pins: dict[str, Any]) -> Iterator[str]:
    """Pulse wires and the contactor's, each with its pull-down."""
    ways = (
        ((920, None), (920, 200), (645, 200), (645, 80), (665, 80)),
        ((890, None), (890, 220), (745, 220), (745, 160)),
        ((860, None), (860, 240), (560, 240), (560, 120)),
    )
    for (name, _), way, y in zip(OUTPUTS, ways, count(_OUTPUTS_TOP, 90)):
        yield _pin(_BOARD_RIGHT, y, pins[name], left=False)
        yield f'<circle cx="680" cy="{y}" r="3"/>'
        yield _line((680, y), (680, y + 12))
        yield from _box(673, y + 12, 14, 26)
        yield _line((680, y + 38), (680, y + 50), style=_GROUND)
        yield _line((672, y + 50), (688, y + 50))
        yield _text(692, y + 30, "10 kΩ")
        driven = name == "CONTACTOR"
        if driven:
            yield _line((_BOARD_RIGHT, y), (740, y))
            yield from _box(740, y - 25, 100, 50, "driver, off", "while low")
            yield _text(745, y + 44, "diode across the coil")
        points = [(x, y if at is None else at) for x, at in way]
        yield _line((840 if driven else _BOARD_RIGHT, y), *points)
        if not driven:
            yield _text(700, y - 6, f"{name.split('_', maxsplit=1)[0].lower()} pulse wire")


def _grounds() -> Iterator[str]:
    """One wire from each part to one point: what the motors draw lifts nobody else's ground."""
    x, y = _STAR
    yield f'<circle cx="{x}" cy="{y}" r="7"/>'
    yield _text(x + 14, y + 8, "star point: the battery's minus; one wire to it from each")
    for i, words in enumerate(("contacts", "converter", "board", "5 V supply", "controllers")):
        at = x + 180 * (i - 2)
        yield _line((at, y - 26), (x, y), style=_GROUND)
        yield _text(at, y - 30, f"ground, {words}", "middle", 'font-size="11"')
