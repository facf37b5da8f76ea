"""The control core's own functions as text so short that the smallest target can compile it.

That target has 9.8 kB of heap for source, compiler, code and state, and no native code.
Docstrings, annotations and decorators go; a constant becomes its number, a name one letter, a
record a list and each of its fields an index into it. What is computed, and in which order,
stays as it is, and so does its place in a function.
"""

import ast
import importlib
from string import ascii_lowercase, ascii_uppercase

from legcore.model import RECORDS
from legcore.phases import NEXT_PHASE

# Records that others hold; their places are needed, even where no function goes through them.
HELD = {row[0] for rows in RECORDS.values() for row in rows if len(row) == 2}
RIG = "g"


def functions_of(modules):
    """Every function of some of the core's modules: (the module's names, its syntax tree)."""
    found = {}
    for name in modules:
        module = importlib.import_module(f"legcore.{name}")
        with open(module.__file__, encoding="utf-8") as file:
            tree = ast.parse(file.read())
        for node in tree.body:
            if isinstance(node, ast.FunctionDef):
                found[node.name] = (vars(module), node)
    return found


class Shortened:
    """Some of the core's modules, shortened, and the records that they touch, cut to what they do.

    `sources` are their texts, the longest first, which a small heap takes best.
    """

    def __init__(self, modules):
        chosen = functions_of(modules)
        self.fields = HELD | {
            part.attr
            for _, tree in chosen.values()
            for part in ast.walk(tree)
            if isinstance(part, ast.Attribute)
        }
        self.places = _places(self.fields)
        letters = iter(ascii_uppercase)
        self.names = {name: next(letters) for name in (*chosen, "NEXT_PHASE")}
        texts = [_text(tree, _Shorten(values, self)) for values, tree in chosen.values()]
        self.sources = sorted(texts, key=len, reverse=True)
        if "supervise" in modules:
            self.sources.insert(0, f"{self.names['NEXT_PHASE']}={bytes(NEXT_PHASE)!r}")

    def make(self):
        """Statements, each of which makes one record of the rig, or an array of one."""
        return [f"{path}=[0]*{size}" for path, size in self._records("Rig", RIG)]

    def _records(self, record, path):
        rows = [row for row in RECORDS[record] if row[0] in self.fields]
        yield path, 1 + max((self.places[row[0]] for row in rows), default=-1)
        for row in rows:
            inner = f"{path}[{self.places[row[0]]}]"
            if len(row) == 2:
                yield from self._records(row[1], inner)
            elif len(row) == 5:
                yield inner, row[4]

    def paths(self):
        """Where each integer is on the target, by its dotted name."""
        return dict(self._paths("Rig", RIG, ""))

    def _paths(self, record, path, prefix):
        for row in RECORDS[record]:
            if row[0] not in self.fields:
                continue
            inner = f"{path}[{self.places[row[0]]}]"
            if len(row) == 2:
                yield from self._paths(row[1], inner, f"{prefix}{row[0]}.")
            elif len(row) == 5:
                yield from ((f"{prefix}{row[0]}[{i}]", f"{inner}[{i}]") for i in range(row[4]))
            else:
                yield prefix + row[0], inner


def _places(fields):
    """An index for each field: a name that several records have is at the same in each."""
    holders = {field: [] for field in sorted(fields)}
    for record, rows in RECORDS.items():
        for row in rows:
            if row[0] in fields:
                holders[row[0]].append(record)
    taken = {record: set() for record in RECORDS}
    places = {}
    # The settings come last of a rig, so that it is easily shown without them.
    for field in sorted(holders, key=lambda field: (field == "settings", -len(holders[field]))):
        place = 0
        while any(place in taken[record] for record in holders[field]):
            place += 1
        if field == "settings":
            place = 1 + max(taken["Rig"])
        places[field] = place
        for record in holders[field]:
            taken[record].add(place)
    return places


class _Shorten(ast.NodeTransformer):
    def __init__(self, values, shortened):
        self.values = values
        self.shortened = shortened
        self.local = {}

    def visit_FunctionDef(self, node):
        own = [argument.arg for argument in node.args.args]
        own += [
            part.id
            for part in ast.walk(node)
            if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store)
        ]
        self.local = dict(zip(dict.fromkeys(own), ascii_lowercase, strict=False))
        node.name = self.shortened.names[node.name]
        node.decorator_list = []
        node.body = node.body[1:]
        return self.generic_visit(node)

    def visit_arg(self, node):
        node.arg = self.local[node.arg]
        return node

    def visit_Name(self, node):
        if node.id in self.local:
            node.id = self.local[node.id]
        elif isinstance(self.values.get(node.id), int):
            return ast.Constant(self.values[node.id])
        else:
            node.id = self.shortened.names.get(node.id, node.id)
        return node

    def visit_Attribute(self, node):
        self.generic_visit(node)
        place = ast.Constant(self.shortened.places[node.attr])
        return ast.Subscript(node.value, place, node.ctx)


def _text(tree, shorten):
    tree = ast.parse(ast.unparse(tree)).body[0]
    lines = ast.unparse(ast.fix_missing_locations(shorten.visit(tree))).split("\n")
    # One space for each level of four.
    return "\n".join(
        " " * ((len(line) - len(line.lstrip())) // 4) + line.lstrip() for line in lines
    )
