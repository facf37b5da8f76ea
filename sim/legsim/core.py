"""The control core in each form that a PC can run: plain, compiled, or watched.

All forms are the same source files, imported afresh with another `native`.
"""

import ast
import importlib
import importlib.util
import sys
import types
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import legcore
import legcore.wing_model  # its records join those of legcore.model
import numpy as np
from legcore.model import RECORDS

_FOLDER = Path(legcore.__file__).parent
_NAMES = [
    f"legcore.{path.stem}" for path in sorted(_FOLDER.glob("*.py")) if path.stem != "__init__"
]

Rewrite = Callable[[ast.Module], ast.Module]


def load(
    native: Callable[[Any], Any],
    rewrite: Rewrite | None = None,
    extra: dict[str, Any] | None = None,
) -> dict[str, types.ModuleType]:
    """Import a private copy of legcore whose functions went through `native`.

    `rewrite` may change each module's syntax tree first, and `extra` adds globals
    for what it inserts. Returns the modules by short name ("step", "model"). The
    ordinary legcore stays imported as it was.
    """
    standin = types.ModuleType("micropython")
    standin.__dict__.update(const=lambda value: value, native=native)
    kept = {
        name: sys.modules.pop(name)
        for name in list(sys.modules)
        if name == "micropython" or _ours(name)
    }
    finder = _RewritingFinder(rewrite, extra or {})
    sys.modules["micropython"] = standin
    sys.meta_path.insert(0, finder)
    try:
        return {name.removeprefix("legcore."): importlib.import_module(name) for name in _NAMES}
    finally:
        sys.meta_path.remove(finder)
        for name in list(sys.modules):
            if name == "micropython" or _ours(name):
                del sys.modules[name]
        sys.modules.update(kept)


def _ours(name: str) -> bool:
    return name == "legcore" or name.startswith("legcore.")


class _RewritingFinder:
    """Find legcore's own files, and compile them from their (rewritten) source."""

    def __init__(self, rewrite: Rewrite | None, extra: dict[str, Any]) -> None:
        self.rewrite = rewrite
        self.extra = extra

    def find_spec(self, name: str, path: object = None, target: object = None) -> Any:
        if not _ours(name):
            return None
        package = name == "legcore"
        file = _FOLDER / ("__init__.py" if package else f"{name.removeprefix('legcore.')}.py")
        return importlib.util.spec_from_file_location(
            name,
            file,
            loader=self,  # type: ignore[arg-type]  # a loader by its two methods, as PEP 451 asks
            submodule_search_locations=[str(_FOLDER)] if package else None,
        )

    def create_module(self, spec: object) -> None:
        """Let the import system make the module object."""

    def exec_module(self, module: types.ModuleType) -> None:
        assert module.__file__ is not None
        tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
        if self.rewrite is not None:
            tree = self.rewrite(tree)
        module.__dict__.update(self.extra)
        exec(compile(tree, module.__file__, "exec"), module.__dict__)


@cache
def compiled() -> dict[str, types.ModuleType]:
    """Return the core compiled by numba; its state is a record of `dtype("Rig")`."""
    from legsim.compiled import native

    return load(native)


@cache
def dtype(record: str) -> np.dtype[np.void]:
    """Return the nested structured dtype of a record declared in legcore.model."""
    fields: list[Any] = []
    for row in RECORDS[record]:
        if len(row) == 2:
            fields.append((row[0], dtype(row[1])))
        elif len(row) == 5:
            fields.append((row[0], np.int32, (row[4],)))
        else:
            fields.append((row[0], np.int32))
    return np.dtype(fields)


@cache
def words_of(record: str) -> tuple[str, ...]:
    """Dotted name of every integer of a record, in the order of its memory."""
    names: list[str] = []
    for row in RECORDS[record]:
        if len(row) == 2:
            names += [f"{row[0]}.{name}" for name in words_of(row[1])]
        elif len(row) == 5:
            names += [f"{row[0]}[{i}]" for i in range(row[4])]
        else:
            names.append(row[0])
    return tuple(names)


def word_of(name: str, record: str = "Rig") -> int:
    """Place of one integer of a record in its memory."""
    return words_of(record).index(name)


def integers(plain: Any, record: str) -> list[int]:
    """All integers of a plain object in declared order: the same as its record's memory."""
    flat: list[int] = []
    for row in RECORDS[record]:
        value = getattr(plain, row[0])
        if len(row) == 2:
            flat += integers(value, row[1])
        elif len(row) == 5:
            flat += value
        else:
            flat.append(value)
    return flat


def to_record(plain: Any, record: str = "Rig") -> np.recarray[Any, Any]:
    """Copy a plain object into a one-element array of its record."""
    flat = np.array(integers(plain, record), dtype=np.int32)
    return flat.view(dtype(record)).view(np.recarray)


def from_record(array: np.ndarray[Any, Any], plain: Any, record: str = "Rig") -> None:
    """Copy the first record of `array` into a plain object."""
    _fill(plain, record, iter(np.ascontiguousarray(array[:1]).view(np.int32).tolist()))


def _fill(plain: Any, record: str, values: Any) -> None:
    for row in RECORDS[record]:
        if len(row) == 2:
            _fill(getattr(plain, row[0]), row[1], values)
        elif len(row) == 5:
            array = getattr(plain, row[0])
            for i in range(row[4]):
                array[i] = next(values)
        else:
            setattr(plain, row[0], next(values))
