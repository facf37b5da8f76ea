"""Every formula says where it is from."""

import importlib
import inspect
import re

import pytest
from hocklift.sizing.sources import SOURCES

KEY = re.compile(r"\[([a-z0-9-]+)\]")
# The formulas; what puts them together for a rig is no formula of its own.
NAMES = (
    *("springs", "wires", "suspension", "tackle", "drums", "ropes", "gears", "pins"),
    *("motors", "heat", "profile", "battery", "controllers"),
)
MODULES = [importlib.import_module(f"hocklift.sizing.{name}") for name in NAMES]
FUNCTIONS = [
    function
    for module in MODULES
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if function.__module__ == module.__name__ and not name.startswith("_")
]


def named(function):
    return f"{function.__module__.rpartition('.')[2]}.{function.__name__}"


@pytest.mark.parametrize("function", FUNCTIONS, ids=named)
def test_a_formula_cites_a_source_or_says_that_it_has_none(function):
    text = " ".join(inspect.getdoc(function).lower().split())
    assert KEY.search(text) or "common practice, no source" in text or "definition" in text


@pytest.mark.parametrize("function", FUNCTIONS, ids=named)
def test_a_formula_says_when_its_source_is_only_remembered(function):
    text = inspect.getdoc(function)
    remembered = [key for key in KEY.findall(text) if not SOURCES[key].verified]
    assert not remembered or "from memory" in text


def test_every_bracket_is_a_source_and_every_source_is_used():
    # Comments beside tables cite too; all else in brackets there is code.
    comments = [
        line
        for module in MODULES
        for line in inspect.getsource(module).splitlines()
        if line.lstrip().startswith("#")
    ]
    cited = set(KEY.findall("\n".join([*comments, *map(inspect.getdoc, FUNCTIONS)])))
    assert cited == SOURCES.keys()


@pytest.mark.parametrize("function", FUNCTIONS, ids=named)
def test_names_end_in_a_unit_or_are_plain_numbers(function):
    """A parameter or result in SI has its unit at its name's end; the rest are listed here."""
    plain = {
        *("index", "active_coils", "total_coils", "ground", "progression", "lever_ratio"),
        *("parts", "sheave_efficiency", "friction", "layer", "layers", "shares_left"),
        *("factor", "teeth", "pinion_teeth", "wheel_teeth", "stages", "meshes", "ratio"),
        *("mesh_efficiency", "efficiency", "usable_share", "steps", "duty_step", "kind"),
        *("material", "cycles"),
    }
    unit = re.compile(r"_(m|N|Pa|J|kg|rad|s|W|K|A|V|C|ohm|Nm|kgm2|mps2?|radps2?|\w+_per_\w+)$")
    for name in inspect.signature(function).parameters:
        assert name in plain or unit.search(name), name
