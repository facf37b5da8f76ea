"""What every command does with what it worked out: print it for people or programs, draw it."""

import argparse
import json
import sys
from collections.abc import Callable
from math import isfinite
from pathlib import Path
from typing import Any, TypeVar

from rich.console import Console

from hocklift.files import check_writable

_Result = TypeVar("_Result")


def check_out(args: argparse.Namespace) -> None:
    """Before the work, so that nobody waits for figures that cannot be kept; OutputError."""
    if args.out is not None:
        check_writable(args.out)


def deliver(
    args: argparse.Namespace,
    result: _Result,
    *,
    show: Callable[[_Result, Console], None],
    as_json: Callable[[_Result], dict[str, Any]],
    write_page: Callable[[_Result, Path], Path],
) -> None:
    """Show a result, or print it as JSON, and write its page, as the arguments ask."""
    if args.json:
        print_json(as_json(result))
    else:
        show(result, Console())
    if args.out is not None:
        page = write_page(result, args.out)
        Console(stderr=True).print(f"Pictures: {page}", highlight=False, soft_wrap=True)


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
