"""What `--json` prints: a JSON Schema (draft 2020-12) for each document, and its fields as a list.

A schema's file is its document's name without the version. Everything in it is required and
described, nothing undeclared is allowed, and each number says its unit under `unit`, a keyword
that is no part of the standard and that validators pass over.
"""

import json
from collections.abc import Iterator
from importlib.resources import files
from typing import Any, NamedTuple

Schema = dict[str, Any]

_KINDS = {
    "string": "text",
    "number": "number",
    "integer": "whole number",
    "boolean": "true or false",
    "array": "list",
    "object": "object",
    "null": "null",
}


class Field(NamedTuple):
    """One field: its place, as in `checks[].margin` or `legs.*.lifts`, what it holds and means."""

    path: str
    kind: str
    unit: str
    meaning: str


def names() -> list[str]:
    """Every document's name, as in "size" or "rehearse-wings"."""
    found = (file.name for file in files(__name__).iterdir())
    return sorted(name.removesuffix(".json") for name in found if name.endswith(".json"))


def text(name: str) -> str:
    """The schema of a document as its file has it."""
    return files(__name__).joinpath(f"{name}.json").read_text(encoding="utf-8")


def fields(name: str) -> Iterator[Field]:
    """Every field of a document, in order; what two places share is told at the first of them."""
    schema = json.loads(text(name))
    yield from _fields_in(schema, "", schema.get("$defs", {}), set())


def _fields_in(node: Schema, path: str, defs: Schema, told: set[str]) -> Iterator[Field]:
    for name, child in node["properties"].items():
        place = f"{path}.{name}" if path else name
        each, part = _down(place, child, defs)
        if "properties" not in part:
            yield Field(each, _kind(part), part.get("unit", ""), child["description"])
            continue
        yield Field(place, _kind(child), "", child["description"])
        if part.get("$ref") not in told:
            told |= {part["$ref"]} if "$ref" in part else set()
            yield from _fields_in(part, each, defs, told)


def _down(place: str, node: Schema, defs: Schema) -> tuple[str, Schema]:
    """Down through lists and maps to what one entry of them is."""
    if "$ref" in node:
        node = {**defs[node["$ref"].removeprefix("#/$defs/")], **node}
    if "items" in node:
        return _down(f"{place}[]", node["items"], defs)
    if isinstance(node.get("additionalProperties"), dict):
        return _down(f"{place}.*", node["additionalProperties"], defs)
    return place, node


def _kind(node: Schema) -> str:
    if "const" in node:
        return f"`{node['const']}`"
    if "enum" in node:
        return ", ".join(f"`{word}`" for word in node["enum"])
    kinds = node["type"] if isinstance(node["type"], list) else [node["type"]]
    return " or ".join(_KINDS[kind] for kind in kinds)
