"""What a page may say, as a table: its words, their fields, and who may say them."""

import json
from collections.abc import Callable
from math import isfinite
from typing import Any, NamedTuple

from hocklift.benchpage.people import CARRIED_KG, JOINTS, WEARER_KG

# Longer than anything that a page says.
BYTES_MOST = 2048
TEXT_MOST = 200

# Who may: whoever has the page; whoever is in charge; in charge of a simulated rig.
ANYONE, IN_CHARGE, SIM_ONLY = "anyone", "in charge", "sim"

_Fits = Callable[[Any], bool]


class MalformedError(ValueError):
    """A message that is none; says why."""


def _text(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= TEXT_MOST


def _flag(value: Any) -> bool:
    return isinstance(value, bool)


def _leg(value: Any) -> bool:
    return type(value) is int and value in (0, 1)


def _joint(value: Any) -> bool:
    return value in JOINTS


def _number(low: float, high: float) -> _Fits:
    def fits(value: Any) -> bool:
        return type(value) in (int, float) and isfinite(value) and low <= value <= high

    return fits


class Ask(NamedTuple):
    """One word of the page: who may say it, and what must stand beside it."""

    who: str
    fields: dict[str, _Fits] = {}  # noqa: RUF012  (never changed)


ASKS = {
    "beat": Ask(ANYONE),
    "stop": Ask(ANYONE),
    "take": Ask(ANYONE),
    "leave": Ask(IN_CHARGE),
    "press": Ask(IN_CHARGE, {"leg": _leg, "on": _flag}),
    "change": Ask(IN_CHARGE, {"path": _text, "value": _text}),
    "undo": Ask(IN_CHARGE),
    "keep": Ask(IN_CHARGE),
    "record": Ask(IN_CHARGE, {"on": _flag}),
    "mark": Ask(IN_CHARGE, {"text": _text}),
    "arm": Ask(SIM_ONLY, {"on": _flag}),
    "emergency": Ask(SIM_ONLY, {"on": _flag}),
    "foot": Ask(SIM_ONLY, {"leg": _leg, "on": _flag}),
    "lean": Ask(SIM_ONLY, {"side": _number(-1, 1)}),
    "stick": Ask(SIM_ONLY, {"place": _number(-1, 1)}),
    "stand": Ask(SIM_ONLY, {"on": _flag}),
    "weigh": Ask(SIM_ONLY, {"carried_kg": _number(*CARRIED_KG), "wearer_kg": _number(*WEARER_KG)}),
    "walk": Ask(SIM_ONLY, {"on": _flag}),
    "power": Ask(SIM_ONLY),
    "trouble": Ask(SIM_ONLY, {"name": _text, "leg": _leg, "joint": _joint}),
    "heal": Ask(SIM_ONLY),
}


def read(text: str) -> tuple[str, dict[str, Any]]:
    """A message's word and fields; MalformedError where it is none of ASKS."""
    try:
        asked = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MalformedError("it is not JSON") from error
    if not isinstance(asked, dict) or not isinstance(asked.get("ask"), str):
        raise MalformedError("it asks for nothing")
    word = asked.pop("ask")
    if word not in ASKS:
        raise MalformedError("nothing is called that")
    fields = ASKS[word].fields
    if asked.keys() != fields.keys():
        raise MalformedError(f"{word} takes {', '.join(fields) or 'nothing'}")
    for name, fits in fields.items():
        if not fits(asked[name]):
            raise MalformedError(f"{name} of {word} is out of range")
    return word, asked
