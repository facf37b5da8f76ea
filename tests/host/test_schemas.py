"""What `--json` prints is documented: a schema a document, and every field in it told."""

import argparse
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hocklift import schemas
from hocklift.cli import COMMANDS
from hocklift.schemas import fields, names
from jsonschema import Draft202012Validator

HERE = Path(__file__).parent
SCHEMAS = {name: json.loads(schemas.text(name)) for name in names()}


def parts(node: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema inside a schema, with where it is."""
    if isinstance(node, dict):
        if "type" in node or "const" in node or "enum" in node:
            yield path, node
        for name, child in node.items():
            yield from parts(child, f"{path}/{name}")


@pytest.mark.parametrize("name", names())
def test_a_schema_is_one_of_the_standard_and_is_named_as_its_document(name: str) -> None:
    schema = SCHEMAS[name]
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    version = schema["title"].rsplit(" ", 1)[1]
    assert schema["title"] == f"hocklift {name.replace('-', ' ')} {version}"
    assert schema["$id"] == f"urn:hocklift:{name}:{version}"
    assert schema["properties"]["schema"]["const"] == schema["title"]


@pytest.mark.parametrize("name", names())
def test_nothing_undeclared_is_allowed_and_nothing_declared_may_be_left_out(name: str) -> None:
    for path, part in parts(SCHEMAS[name]):
        if "properties" in part and not path.endswith("properties"):
            assert part["additionalProperties"] is False, path
            assert part["required"] == list(part["properties"]), path


@pytest.mark.parametrize("name", names())
def test_each_field_is_told_and_each_number_has_a_unit_and_each_null_a_meaning(name: str) -> None:
    for field in fields(name):
        assert field.meaning, field.path
        assert bool(field.unit) == ("number" in field.kind), field.path
    for path, part in parts(SCHEMAS[name]):
        if "null" in part.get("type", ()) and path.rsplit("/", 1)[1] not in (
            "items",
            "additionalProperties",
        ):
            assert re.search(r"\bnull\b", part["description"]), path


def test_a_field_whose_name_ends_in_a_unit_is_told_in_that_unit() -> None:
    units = {
        "s": "s", "m": "m", "N": "N", "A": "A", "K": "K", "J": "J", "V": "V", "rad": "rad",
        "deg": "deg", "degps": "deg/s", "radps": "rad/s", "mps": "m/s", "cdeg": "0.01 deg",
    }  # fmt: skip
    told = 0
    for name in names():
        for field in fields(name):
            words = field.path.rstrip("[].*").rsplit(".", 1)[-1].split("_")
            if field.unit and len(words) > 1 and words[-2] != "per" and words[-1] in units:
                assert field.unit == units[words[-1]], f"{name}: {field.path}"
                told += 1
    assert told > 100


def test_every_command_that_prints_json_has_its_document() -> None:
    for command in COMMANDS:
        parser = argparse.ArgumentParser()
        command.add_arguments(parser)
        if any("--json" in action.option_strings for action in parser._actions):
            assert command.name in names(), command.name


def test_every_document_is_held_to_its_schema_as_a_command_really_prints_it() -> None:
    tests = "".join(path.read_text(encoding="utf-8") for path in HERE.glob("test_*.py"))
    for name in names():
        assert f'document_of("{name}", ' in tests, name


def test_every_command_with_figures_to_print_has_them_as_json_too() -> None:
    """The others print where something is: what was written, a page's address, the manual."""
    assert {command.name for command in COMMANDS} - set(names()) == {
        *("new", "bench", "manual", "completion"),
    }
