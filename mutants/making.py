"""Every small change that cosmic-ray knows to make in a file."""

import ast
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from typing import NamedTuple

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

from mutants.plan import CORE


class Piece(NamedTuple):
    """A function of a file with its decorators, or another of its statements."""

    # Its name, or nothing where it is no function.
    function: str
    before: str
    text: str
    after: str


@cache
def pieces(file: str) -> tuple[Piece, ...]:
    """The pieces of a file of the core, in order."""
    source = (CORE / file).read_text(encoding="utf-8")
    lines = source.splitlines(keepends=True)
    found = []
    for node in ast.parse(source).body:
        function = node.name if isinstance(node, ast.FunctionDef) else ""
        first = min(part.lineno for part in (node, *getattr(node, "decorator_list", ()))) - 1
        last = node.end_lineno or first
        parts = lines[:first], lines[first:last], lines[last:]
        found.append(Piece(function, *("".join(part) for part in parts)))
    return tuple(found)


@dataclass
class Mutant:
    """One changed copy of a file: in which piece, and which change, as cosmic-ray counts them."""

    file: str
    place: int
    operator: str
    occurrence: int

    @property
    def name(self) -> str:
        """What no other mutant is called."""
        return f"{self.file} {self.place} {self.operator} {self.occurrence}"

    @property
    def piece(self) -> Piece:
        """What is changed."""
        return pieces(self.file)[self.place]

    @cached_property
    def text(self) -> str:
        """What it is changed to."""
        changed: str = mutate_code(self.piece.text, get_operator(self.operator)(), self.occurrence)
        return changed

    @property
    def source(self) -> str:
        """The whole changed copy."""
        return self.piece.before + self.text + self.piece.after

    @cached_property
    def is_program(self) -> bool:
        """Whether it can be run at all: `a < not b` cannot."""
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                compile(self.text, self.file, "exec")
        except SyntaxError:
            return False
        return True

    @cached_property
    def difference(self) -> tuple[int, str, str]:
        """Number of the first line that differs in its piece; what stood there, what stands now."""
        old, new = self.piece.text.splitlines(), self.text.splitlines()
        first = next(i for i, both in enumerate(zip(old, new, strict=False)) if both[0] != both[1])
        while new and old[-1] == new[-1]:
            old.pop()
            new.pop()
        before, after = (" ".join(line.strip() for line in lines[first:]) for lines in (old, new))
        return first, before, after

    @property
    def words(self) -> str:
        """The change for a person to read, and to find it by in the table of survivors."""
        _, before, after = self.difference
        return f"{self.file} {self.piece.function or 'table'}: {before} -> {after}"


def mutants_of(file: str) -> Iterator[Mutant]:
    """Every changed copy of a file of the core, from its top to its end."""
    for place, piece in enumerate(pieces(file)):
        nodes = list(ast_nodes(get_ast(piece.text)))
        for name in sorted(operator_names()):
            try:
                operator = get_operator(name)()
            except TypeError:
                # It needs to be told names of variables; no general change.
                continue
            found = sum(1 for node in nodes for _ in operator.mutation_positions(node))
            for occurrence in range(found):
                yield Mutant(file, place, name, occurrence)
