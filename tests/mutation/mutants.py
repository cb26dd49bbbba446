"""Every small mistake that could be made in a module: one mutant each, as an AST.

A mutant's name is where it is and what was written there before and after, so that a list of
equivalent ones outlives lines that move: "Guard.judge: a < b -> a <= b #1" is the first such one.
"""

import ast
import pickle
from collections import Counter
from collections.abc import Iterator

COMPARISONS = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
OPERATORS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.FloorDiv, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv, ast.LShift: ast.RShift, ast.RShift: ast.LShift, ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd, ast.BitXor: ast.BitOr,
}  # fmt: skip
CALLS = {"min": "max", "max": "min"}


class Mutant:
    """One mistake; its tree is packed, as most are only asked for their names."""

    def __init__(self, name: str, line: int, tree: ast.Module):
        self.name = name
        self.line = line
        self._packed = pickle.dumps(tree)

    @property
    def tree(self) -> ast.Module:
        return ast.fix_missing_locations(pickle.loads(self._packed))


def mutants(source: str) -> Iterator[Mutant]:
    """Yield every mutant of a module's source, in the order of its lines."""
    tree = ast.parse(source)
    seen = Counter()
    for place, node in _places(tree):
        for before, after, change in _changes(node):
            kind = f"{place}: {before} -> {after}"
            seen[kind] += 1
            changed, undo = change
            changed()
            mutant = Mutant(f"{kind} #{seen[kind]}", getattr(node, "lineno", 0), tree)
            undo()
            yield mutant


def _places(tree: ast.Module) -> list[tuple[str, ast.AST]]:
    """Return (function or class around it, node) of all that can be mistaken. Tables of names
    (STATE) and imports are held by other tests."""
    found = []

    def walk(node, place):
        for child in ast.iter_child_nodes(node):
            inner = place
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                inner = f"{place}.{child.name}" if place else child.name
            if isinstance(child, ast.Import | ast.ImportFrom) or _is_text(child):
                continue
            found.append((inner or "module", child))
            walk(child, inner)

    walk(tree, "")
    return found


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _changes(node: ast.AST):
    """Yield (before, after, (do, undo)) of every mistake at this node."""
    if isinstance(node, ast.Compare):
        for at, operator in enumerate(node.ops):
            other = COMPARISONS.get(type(operator))
            if other:
                yield _told(node, lambda at=at, other=other: _put(node.ops, at, other()))
    elif isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in OPERATORS:
        yield _told(node, lambda: _set(node, "op", OPERATORS[type(node.op)]()))
    elif isinstance(node, ast.BoolOp):
        other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield _told(node, lambda: _set(node, "op", other))
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub | ast.Invert):
        yield _told(node, lambda: _set(node, "op", ast.UAdd()), ast.unparse(node.operand))
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        value = not node.value if isinstance(node.value, bool) else node.value + 1
        yield _told(node, lambda: _set(node, "value", value))
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in CALLS:
        name = node.func
        yield _told(node, lambda: _set(name, "id", CALLS[name.id]))
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        yield from _conditions(node)
    if isinstance(node, ast.FunctionDef | ast.If | ast.For | ast.While | ast.With | ast.Try):
        yield from _left_out(node)


def _conditions(node):
    before = ast.unparse(node.test)
    for value in (True, False):
        if not (isinstance(node, ast.While) and value):
            change = _set(node, "test", ast.Constant(value=value))
            yield f"if {before}", f"if {value}", change


def _left_out(node):
    """Yield the block without one of its statements, where that says anything."""
    for field in ("body", "orelse", "finalbody"):
        block = getattr(node, field, [])
        for at, statement in enumerate(block):
            if isinstance(statement, ast.AugAssign | ast.Assign) or (
                isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call)
            ):
                yield ast.unparse(statement), "pass", _put(block, at, ast.Pass())


def _told(node, change, after=None):
    """Make a change once to tell what it looks like; return (before, after, (do, undo))."""
    before = ast.unparse(node)
    do, undo = change()
    do()
    after = after or ast.unparse(node)
    undo()
    return before, after, (do, undo)


def _set(node, field, value):
    old = getattr(node, field)
    return (lambda: setattr(node, field, value)), (lambda: setattr(node, field, old))


def _put(block, at, value):
    old = block[at]
    return (lambda: block.__setitem__(at, value)), (lambda: block.__setitem__(at, old))
