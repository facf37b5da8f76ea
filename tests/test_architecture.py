"""The arrows between the packages: who may import whom."""

import ast
from pathlib import Path

import pytest

TOP = Path(__file__).parent.parent
PACKAGES = {
    "legcore": TOP / "firmware/legcore",
    "legwire": TOP / "firmware/legwire",
    "legboard": TOP / "firmware/legboard",
    "legsim": TOP / "sim/legsim",
    "hocklift": TOP / "host/hocklift",
}
# package -> those of our own it may import, itself aside
ARROWS: dict[str, set[str]] = {
    "legcore": set(),
    "legwire": set(),
    "legboard": {"legcore", "legwire"},
    "legsim": {"legcore", "legwire"},
    "hocklift": {"legcore", "legsim", "legwire"},
}


def imported(path: Path) -> set[str]:
    """Top-level names of everything a file imports, wherever in it."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; MicroPython files use full names"
            names.add(str(node.module).partition(".")[0])
    return names


def files() -> list[tuple[str, Path]]:
    return [(name, path) for name, folder in PACKAGES.items() for path in folder.rglob("*.py")]


@pytest.mark.parametrize(("package", "path"), files(), ids=lambda value: str(value)[-40:])
def test_no_import_runs_against_the_arrows(package: str, path: Path):
    ours = imported(path) & PACKAGES.keys()
    assert ours <= ARROWS[package] | {package}


@pytest.mark.parametrize("path", sorted(PACKAGES["legcore"].glob("*.py")), ids=lambda p: p.name)
def test_the_control_core_needs_nothing_that_a_small_board_lacks(path: Path):
    assert imported(path) <= {"micropython", "array", "legcore"}


@pytest.mark.parametrize("path", sorted(PACKAGES["legwire"].glob("*.py")), ids=lambda p: p.name)
def test_the_wire_is_the_same_on_a_board_and_on_a_pc(path: Path):
    assert imported(path) <= {"micropython", "array", "struct", "legwire"}
