"""The rules that let one source run on a board, in the simulator and in the proofs.

Each was found by breaking it; what they forbid takes memory on the board, or is
computed differently by one of the forms. Here the sources themselves are read.
"""

import ast
from pathlib import Path

import legcore
import pytest
from legcore.wing_model import RECORDS
from rewrites import SMALL_MAX

FOLDER = Path(legcore.__file__).parent
TREES = {path.stem: ast.parse(path.read_text(encoding="utf-8")) for path in FOLDER.glob("*.py")}
FIELDS = {row[0] for record in RECORDS.values() for row in record}
# A tick writes the integers of the state, and never a setting.
WRITABLE = {
    row[0]
    for name in ("Rig", "Leg", "Joint", "Wings", "Wing")
    for row in RECORDS[name]
    if len(row) == 4
}
BUILTINS = {"min", "max", "abs", "range", "len"}

# Nodes that have no place in a native function, and why.
FORBIDDEN = {
    ast.Is: "asks whether two numbers are one object, which each form decides for itself",
    ast.IsNot: "asks whether two numbers are one object, which each form decides for itself",
    ast.Div: "gives a float, which lives on the heap",
    ast.Pow: "gives a float for a negative exponent, and large numbers fast",
    ast.JoinedStr: "makes a string, on the heap",
    ast.Dict: "lives on the heap",
    ast.Set: "lives on the heap",
    ast.List: "lives on the heap",
    ast.ListComp: "lives on the heap",
    ast.DictComp: "lives on the heap",
    ast.SetComp: "lives on the heap",
    ast.GeneratorExp: "lives on the heap",
    ast.Yield: "makes a generator, on the heap",
    ast.Lambda: "makes a closure, on the heap",
    ast.FunctionDef: "makes a closure, on the heap",
    ast.ClassDef: "lives on the heap",
    ast.Starred: "packs a tuple, on the heap",
    ast.Slice: "copies, on the heap",
    ast.Try: "a tick raises nothing",
    ast.Raise: "a tick raises nothing",
    ast.Assert: "a tick raises nothing",
    ast.With: "calls what may raise",
    ast.Global: "what changes is a field, and compiled code freezes globals",
    ast.Delete: "a field stays",
    ast.Import: "loads a module, on the heap",
    ast.ImportFrom: "loads a module, on the heap",
}


def is_native(function):
    return [ast.unparse(decorator) for decorator in function.decorator_list] == [
        "micropython.native"
    ]


def functions(tree):
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]


NATIVE = [
    pytest.param(module, function, id=f"{module}.{function.name}")
    for module, tree in TREES.items()
    for function in functions(tree)
    if is_native(function)
]
each_native_function = pytest.mark.parametrize(("module", "function"), NATIVE)


def inside(function):
    """All nodes below a function's own statements, its docstring left out."""
    return [node for statement in function.body[1:] for node in ast.walk(statement)]


def at(function, node):
    return f"{function.name}, line {getattr(node, 'lineno', function.lineno)}"


@each_native_function
def test_a_native_function_says_what_it_does(module, function):
    assert ast.get_docstring(function)


@each_native_function
def test_a_native_function_takes_plain_positional_arguments(module, function):
    arguments = function.args
    plain = ast.arguments(
        posonlyargs=[], args=arguments.args, kwonlyargs=[], kw_defaults=[], defaults=[]
    )
    assert ast.dump(arguments) == ast.dump(plain)


@each_native_function
def test_a_native_function_holds_nothing_that_takes_memory_or_raises(module, function):
    found = [
        f"{at(function, node)}: {type(node).__name__} {FORBIDDEN[type(node)]}"
        for node in inside(function)
        if type(node) in FORBIDDEN
    ]
    assert found == []


@each_native_function
def test_a_native_function_knows_no_numbers_but_small_integers(module, function):
    constants = [node for node in inside(function) if isinstance(node, ast.Constant)]
    wrong = [
        f"{at(function, node)}: {node.value!r}"
        for node in constants
        if type(node.value) is not int or abs(node.value) > SMALL_MAX
    ]
    assert wrong == []


@each_native_function
def test_a_native_function_makes_no_tuples(module, function):
    """Swapping two or three names is the exception: it stays on the stack."""
    swapped = {
        id(side)
        for node in inside(function)
        if isinstance(node, ast.Assign)
        for side in (*node.targets, node.value)
        if isinstance(node.value, ast.Tuple) and len(node.value.elts) <= 3
    }
    made = [
        at(function, node)
        for node in inside(function)
        if isinstance(node, ast.Tuple) and id(node) not in swapped
    ]
    assert made == []


@each_native_function
def test_a_native_function_returns_an_integer_on_every_path_or_nothing_at_all(module, function):
    returns = [node for node in inside(function) if isinstance(node, ast.Return)]
    giving = [node for node in returns if node.value is not None]
    if giving:
        assert giving == returns
        # The last path is one of them; compiled code knows one type of result.
        assert isinstance(function.body[-1], ast.Return), at(function, function.body[-1])


@each_native_function
def test_a_native_function_keeps_and_returns_no_truth_values(module, function):
    """A flag is 0 or 1; a stored True would stay one in some forms and become 1 in others."""
    kept = [node.value for node in inside(function) if isinstance(node, ast.Assign | ast.Return)]
    truths = [
        at(function, value)
        for value in kept
        if isinstance(value, ast.Compare | ast.BoolOp)
        or (isinstance(value, ast.UnaryOp) and isinstance(value.op, ast.Not))
    ]
    assert truths == []


@each_native_function
def test_a_native_function_stores_only_into_declared_integers(module, function):
    """Compiled code copies a sub-object or an array that is assigned; the board shares it."""
    stored = [
        node
        for node in inside(function)
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store)
    ]
    wrong = [f"{at(function, node)}: {node.attr}" for node in stored if node.attr not in WRITABLE]
    assert wrong == []


@each_native_function
def test_a_native_function_reads_only_declared_fields(module, function):
    read = [node for node in inside(function) if isinstance(node, ast.Attribute)]
    assert [at(function, node) for node in read if node.attr not in FIELDS] == []


@each_native_function
def test_a_native_function_calls_only_native_functions_and_a_few_builtins(module, function):
    """By name: a stored method or a function in a field would be another thing on the board."""
    native = {f"{of.values[0]}.{of.values[1].name}" for of in NATIVE}
    wrong = []
    for node in inside(function):
        if not isinstance(node, ast.Call):
            continue
        name = ast.unparse(node.func)
        if node.keywords or (name not in BUILTINS and defined_in(module, name) not in native):
            wrong.append(f"{at(function, node)}: {name}")
    assert wrong == []


def defined_in(module, name):
    """Where a global name of a module was defined: "law.control"."""
    for node in TREES[module].body:
        if isinstance(node, ast.ImportFrom) and name in [alias.name for alias in node.names]:
            return f"{node.module.split('.')[-1]}.{name}"
    return f"{module}.{name}"


def test_the_tick_is_native():
    """With the test above this holds for every function that a tick reaches."""
    assert ("step", "step") in [(of.values[0], of.values[1].name) for of in NATIVE]


def test_a_decorator_is_the_literal_text_that_copies_for_other_builds_replace():
    for module, tree in TREES.items():
        for function in functions(tree):
            assert not function.decorator_list or is_native(function), f"{module}.{function.name}"


def test_the_core_imports_nothing_but_micropython_array_and_itself():
    """So that it runs on a board and on a PC alike, and knows no port and no clock."""
    imported = set()
    for tree in TREES.values():
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                imported |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0
                imported.add(node.module.split(".")[0])
    assert imported <= {"micropython", "array", "legcore"}


def test_a_constant_of_the_board_is_made_of_what_its_own_module_knows():
    """MicroPython's compiler folds `const`, and knows no name that another module defines."""
    for module, tree in TREES.items():
        known = set()
        for node in tree.body:
            if isinstance(node, ast.Assign) and ast.unparse(node.value).startswith("const("):
                used = {part.id for part in ast.walk(node.value) if isinstance(part, ast.Name)}
                assert used <= known | {"const"}, f"{module}, line {node.lineno}"
                known.add(node.targets[0].id)
