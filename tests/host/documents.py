"""What `--json` printed, held to the schema that hocklift ships for it."""

import json
from typing import Any

import pytest
from hocklift import schemas
from jsonschema import Draft202012Validator


def document_of(name: str, text: str) -> dict[str, Any]:
    """The document in a text, which must be of the schema of this name and JSON as RFC 8259 has it.

    (section 6: "Numeric values that cannot be represented ... (such as Infinity and NaN) are not
    permitted")
    """

    def no_number(word: str) -> None:
        pytest.fail(f"JSON has no {word}")

    document = json.loads(text, parse_constant=no_number)
    Draft202012Validator(json.loads(schemas.text(name))).validate(document)
    return dict(document)
