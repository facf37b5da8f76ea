"""Copies of the core that watch themselves, made by rewriting its syntax trees."""

import ast

from legsim import core

# A small integer of a 32-bit board has 31 bits with its sign; past them it is a heap object.
SMALL_MAX = 2**30 - 1


class NotSmallError(ArithmeticError):
    """An intermediate result that a 32-bit board would have put on the heap."""


def watched():
    """The core, with every result of its arithmetic checked."""
    return core.load(lambda function: function, watch_arithmetic, {"_small": small})


def watch_arithmetic(tree):
    """Put `_small(...)` around every arithmetic node."""
    return ast.fix_missing_locations(_WatchArithmetic().visit(tree))


def small(value):
    """Return `value` if it is a small integer, and raise if a larger one."""
    if type(value) is int and not -SMALL_MAX <= value <= SMALL_MAX:
        raise NotSmallError(value)
    return value


class _WatchArithmetic(ast.NodeTransformer):
    def visit_BinOp(self, node):
        self.generic_visit(node)
        return _call("_small", node)

    def visit_UnaryOp(self, node):
        self.generic_visit(node)
        return node if isinstance(node.op, ast.Not) else _call("_small", node)

    def visit_AugAssign(self, node):
        """Write `a += b` as `a = _small(a + b)`: harmless where finding `a` computes nothing."""
        self.generic_visit(node)
        target = ast.parse(ast.unparse(node.target), mode="eval").body
        finding = [type(part) for part in ast.walk(target) if isinstance(part, ast.expr)]
        assert set(finding) <= {ast.Name, ast.Attribute}, ast.unparse(node)
        return ast.copy_location(
            ast.Assign([node.target], _call("_small", ast.BinOp(target, node.op, node.value))),
            node,
        )


def noting(reached):
    """The core, adding to the set `reached` each statement that it runs; and all there are."""
    rewrite = _NoteStatements()
    modules = core.load(
        lambda function: function,
        lambda tree: ast.fix_missing_locations(rewrite.visit(tree)),
        {"_reached": reached.add},
    )
    return modules, rewrite.statements


class _NoteStatements(ast.NodeTransformer):
    # Puts `_reached("function:line")` before every statement of a native function.
    def __init__(self):
        self.statements = set()

    def visit_FunctionDef(self, node):
        if node.decorator_list:
            for part in ast.walk(node):
                for name in ("body", "orelse"):
                    if isinstance(getattr(part, name, None), list):
                        setattr(part, name, self.noted(getattr(part, name), node.name))
        return node

    def noted(self, body, function):
        marked = []
        for statement in body:
            place = f"{function}:{statement.lineno}"
            self.statements.add(place)
            marked += [ast.Expr(_call("_reached", ast.Constant(place))), statement]
        return marked


def _call(name, argument):
    return ast.Call(ast.Name(name, ast.Load()), [argument], [])
