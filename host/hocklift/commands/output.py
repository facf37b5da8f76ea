"""What commands print for programs."""

import json
import sys
from math import isfinite
from typing import Any


def print_json(document: dict[str, Any]) -> None:
    """Print a document as JSON; what is infinite or unknown is null, for JSON has neither."""
    json.dump(_finite(document), sys.stdout, indent=2)
    print()


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not isfinite(value):
        return None
    return value
