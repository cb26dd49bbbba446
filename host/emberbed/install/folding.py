"""Make the firmware smaller for a board without changing what it does: fold integer constants.

A name in capitals that is given one integer, once, at the top of a module, is put in as a number
wherever it is read, in its own module and in others; then imports, constants and tables that
nobody reads any more are left out. On a small board this saves a good part of the memory that code
takes, and each saved look-up is time in a tick. Sources stay as they are, and so does their
fingerprint; a test plays recorded runs through the folded firmware and compares every byte.
"""

import ast
import operator
import re
from collections.abc import Callable, Iterable, Mapping

from emberbed.firmware_sources import PACKAGE, Sources

CONSTANT = re.compile(r"_?[A-Z][A-Z0-9_]*")
OPERATIONS: Mapping[type[ast.operator], Callable[[int, int], int]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod,
    ast.LShift: operator.lshift,
    ast.RShift: operator.rshift,
    ast.BitOr: operator.or_,
    ast.BitAnd: operator.and_,
    ast.BitXor: operator.xor,
}
SMALL_INT = 1 << 30  # a constant beyond it would become an object each time it is read

Place = tuple[str, str]  # module, name in it
Edit = tuple[ast.expr | ast.stmt, bytes]  # what is written in the place of a node


def fold(sources: Sources) -> dict[str, bytes]:
    """Return the sources, folded, under the same names and with the same line numbers."""
    trees = {_module(name): ast.parse(source) for name, source in sources.items()}
    bound = {module: _bindings(tree) for module, tree in trees.items()}
    values = _values(trees, bound)
    texts = {}
    for name, source in sources.items():
        folder = _Folder(_module(name), bound[_module(name)], values)
        folder.visit(trees[_module(name)])
        texts[name] = _edited(source, folder.edits)
    while True:
        shorter = _without_unread(texts)
        if shorter == texts:
            return texts
        texts = shorter


def _edited(source: bytes, edits: Iterable[Edit]) -> bytes:
    """Put each edit's bytes in the place of its node, and keep the lines where they are.

    Only what changes is written anew: MicroPython makes a tuple of `a, b = (c, d)` and none of
    `a, b = c, d`, and in a tick there is no room for one.
    """
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    text = source
    for node, octets in sorted(edits, key=lambda edit: _position(edit[0]), reverse=True):
        assert node.end_lineno is not None and node.end_col_offset is not None
        first = starts[node.lineno - 1] + node.col_offset
        last = starts[node.end_lineno - 1] + node.end_col_offset
        lost_lines = text[first:last].count(b"\n") - octets.count(b"\n")
        text = text[:first] + octets + b"\n" * lost_lines + text[last:]
    return text


def _position(node: ast.expr | ast.stmt) -> tuple[int, int]:
    return node.lineno, node.col_offset


def _module(name: str) -> str:
    return name.removesuffix(".py").replace("/", ".")


def _bindings(tree: ast.Module) -> dict[str, Place]:
    """Return what a module's imports bind: name here -> (module, name there, "" for all of it)."""
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == PACKAGE:
            below = (node.module or "").removeprefix(PACKAGE).lstrip(".")
            for alias in node.names:
                place = (below, alias.name) if below else (alias.name, "")
                found[alias.asname or alias.name] = place
    return found


def _values(
    trees: Mapping[str, ast.Module], bound: Mapping[str, dict[str, Place]]
) -> dict[Place, int]:
    """Return every constant that is a small integer, wherever it comes from."""
    open_places: dict[Place, ast.expr] = {}
    for module, tree in trees.items():
        stored = [n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and _is_stored(n)]
        stored += [n.arg for n in ast.walk(tree) if isinstance(n, ast.arg)]
        for node in tree.body:
            name = _assigned(node)
            if name and CONSTANT.fullmatch(name) and stored.count(name) == 1:
                assert isinstance(node, ast.Assign)
                open_places[(module, name)] = node.value
    values: dict[Place, int] = {}
    while True:
        found = {
            place: value
            for place, expression in open_places.items()
            if (value := _evaluate(expression, place[0], bound[place[0]], values)) is not None
            and abs(value) < SMALL_INT
        }
        if not found:
            return values
        values |= found
        for place in found:
            del open_places[place]


def _is_stored(node: ast.Name) -> bool:
    return isinstance(node.ctx, (ast.Store, ast.Del))


def _assigned(node: ast.stmt) -> str:
    """Return the one name that a statement assigns, "" for anything else."""
    if isinstance(node, ast.Assign) and len(node.targets) == 1:
        target = node.targets[0]
        return target.id if isinstance(target, ast.Name) else ""
    return ""


def _evaluate(
    node: ast.expr, module: str, bound: dict[str, Place], values: Mapping[Place, int]
) -> int | None:
    """Return the integer that an expression is, None where it is none or not known yet."""
    if isinstance(node, ast.Constant):
        return node.value if type(node.value) is int else None
    if isinstance(node, (ast.Name, ast.Attribute)):
        return values.get(_place_of(node, module, bound) or ("", ""))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        inner = _evaluate(node.operand, module, bound, values)
        return None if inner is None else -inner
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATIONS:
        left = _evaluate(node.left, module, bound, values)
        right = _evaluate(node.right, module, bound, values)
        if left is not None and right is not None:
            return OPERATIONS[type(node.op)](left, right)
    return None


def _place_of(node: ast.expr, module: str, bound: dict[str, Place]) -> Place | None:
    """Return the constant that a name, or an attribute of a module, means."""
    if isinstance(node, ast.Name):
        there = bound.get(node.id)
        return (module, node.id) if there is None else there
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        whole, name = bound.get(node.value.id, ("", "no module"))
        return (whole, node.attr) if name == "" else None
    return None


class _Folder(ast.NodeVisitor):
    """Finds the names that are read and are numbers."""

    def __init__(self, module: str, bound: dict[str, Place], values: Mapping[Place, int]) -> None:
        self._module = module
        self._bound = bound
        self._values = values
        self.edits: list[Edit] = []

    def visit_Name(self, node: ast.Name) -> None:
        if not _is_stored(node):
            self._fold(node)

    def visit_Attribute(self, node: ast.Attribute) -> None:
        if not (isinstance(node.ctx, ast.Load) and self._fold(node)):
            self.generic_visit(node)

    def _fold(self, node: ast.Name | ast.Attribute) -> bool:
        place = _place_of(node, self._module, self._bound)
        value = None if place is None else self._values.get(place)
        if value is None:
            return False
        self.edits.append((node, b"%d" % value if value >= 0 else b"(%d)" % value))
        return True


def _without_unread(texts: Mapping[str, bytes]) -> dict[str, bytes]:
    """Take out constants, tables and imports that no module reads."""
    trees = {name: ast.parse(text) for name, text in texts.items()}
    read = {name for tree in trees.values() for name in _names_read(tree)}
    return {name: _edited(text, _unread(trees[name], read)) for name, text in texts.items()}


def _names_read(tree: ast.Module) -> set[str]:
    """Return every identifier that a module reads, its imports' names among them."""
    read: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and not _is_stored(node):
            read.add(node.id)
        elif isinstance(node, ast.Attribute):
            read.add(node.attr)
        elif isinstance(node, ast.ImportFrom):
            read.update(alias.name for alias in node.names)
    return read


def _unread(tree: ast.Module, read: set[str]) -> list[Edit]:
    """Return the edits that leave out of a module what is not in `read`."""
    here = {
        node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and not _is_stored(node)
    }
    edits: list[Edit] = []
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == PACKAGE:
            names = [alias for alias in node.names if (alias.asname or alias.name) in here]
            if len(names) != len(node.names):
                shorter = ast.ImportFrom(node.module, names, node.level)
                edits.append((node, ast.unparse(shorter).encode() if names else b""))
        name = _assigned(node)
        if name and CONSTANT.fullmatch(name) and name not in read and _is_plain(node):
            edits.append((node, b""))
    return edits


def _is_plain(node: ast.stmt) -> bool:
    """Tell whether a statement only makes a value: nothing is missing without it."""
    return not any(isinstance(part, (ast.Call, ast.Await)) for part in ast.walk(node))
