"""The firmware's source as a board runs it: integer constants of other modules as their values.

MicroPython's compiler folds a `const` only within its own module. One that is imported is
looked up by its name in every tick, which costs the board far more than the sum that it is
used in. So its value is put in its place on the way to the board, and the source keeps its words.
"""

import ast
import importlib
from pathlib import Path

# Packages that a PC can import, so that their constants are known here.
_KNOWN = ("legcore", "legwire")


def inlined(path: Path) -> str:
    """Text of one file of the firmware, its constants' values inside its functions.

    Constants are the integers in capitals of `legcore` and `legwire`, imported ones and the
    file's own. Every line stays where it is, so that a board's traceback names the right one.
    """
    text = path.read_text(encoding="utf-8")
    lines = [line.encode() for line in text.splitlines(keepends=True)]
    tree = ast.parse(text)
    constants = _constants(tree, path)
    # From the end of each line, or what is put in would move what follows.
    for name in sorted(_read(tree), key=lambda name: (name.lineno, -name.col_offset)):
        if name.id in constants:
            line = lines[name.lineno - 1]
            value = str(constants[name.id]).encode()
            lines[name.lineno - 1] = line[: name.col_offset] + value + line[name.end_col_offset :]
    return b"".join(lines).decode()


def _read(tree: ast.Module) -> set[ast.Name]:
    """Every reading of a name inside a function."""
    return {
        part
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef)
        for part in ast.walk(function)
        if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Load)
    }


def _constants(tree: ast.Module, path: Path) -> dict[str, int]:
    """Value of each constant that a file knows, by the name that it has there."""
    known: dict[str, object] = {}
    package = path.parent.name
    if package in _KNOWN and path.stem != "__init__":
        known.update(vars(importlib.import_module(f"{package}.{path.stem}")))
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in _KNOWN:
            module = importlib.import_module(str(node.module))
            for alias in node.names:
                known[alias.asname or alias.name] = getattr(module, alias.name)
    return {
        name: value
        for name, value in known.items()
        if name.lstrip("_").isupper() and type(value) is int and value >= 0
    }
