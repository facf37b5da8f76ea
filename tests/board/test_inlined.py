"""What a board takes is the source with numbers for words: nothing else changes on the way.

That it then computes the same, to the bit, is shown by the proofs of the core, which run it.
"""

import ast
import importlib

import legcore.faults
import legcore.phases
import pytest
from legsim.simboard.files import firmware_files
from legsim.simboard.inlined import inlined

FILES = firmware_files()
CORE = [name for name in FILES if name.startswith("legcore/")]


def names_read(tree):
    return {
        part.id
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef)
        for part in ast.walk(function)
        if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Load)
    }


@pytest.mark.parametrize("name", FILES)
def test_every_line_stays_where_it_is_so_that_a_traceback_names_the_right_one(name):
    source = FILES[name].read_text(encoding="utf-8")
    lines, taken = ast.parse(source), ast.parse(inlined(FILES[name]))
    assert [node.lineno for node in lines.body] == [node.lineno for node in taken.body]
    assert inlined(FILES[name]).count("\n") == source.count("\n")


@pytest.mark.parametrize("name", CORE)
def test_no_function_of_the_core_looks_for_a_number_by_its_name(name):
    left = {one for one in names_read(ast.parse(inlined(FILES[name]))) if one.isupper()}
    module = vars(importlib.import_module(name.removesuffix(".py").replace("/", ".")))
    # Tables stay: they are no numbers.
    assert {one for one in left if isinstance(module[one], int)} == set()


class Worded(ast.NodeTransformer):
    """Put the words' values into a syntax tree, by the names that its module knows."""

    def __init__(self, known):
        self.known = known

    def visit_Name(self, node):
        value = self.known.get(node.id)
        inlines = isinstance(node.ctx, ast.Load) and type(value) is int
        return ast.Constant(value) if inlines else node


def test_a_word_becomes_the_value_that_the_core_gives_it_and_all_else_stays():
    path = FILES["legcore/supervise.py"]
    known = {name: value for name, value in vars(legcore.phases).items() if name.isupper()}
    expected = ast.parse(path.read_text(encoding="utf-8"))
    for function in expected.body:
        if isinstance(function, ast.FunctionDef):
            Worded(known).visit(function)
    taken = ast.parse(inlined(path))
    for function, other in zip(expected.body, taken.body, strict=True):
        if isinstance(function, ast.FunctionDef) and function.name in ("together", "distrust"):
            # These know no numbers but those of phases and of one fault.
            worded = Worded({"MEMORY": legcore.faults.MEMORY}).visit(function)
            assert ast.dump(worded) == ast.dump(other)
