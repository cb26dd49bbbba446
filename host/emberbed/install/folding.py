"""Make the firmware smaller for a board without changing what it does.

Names in capitals that are given a value once, at the top of a module, are worked out here, by
running those modules: integers are put in as numbers wherever they are read, other plain values
(texts, bytes, tuples of them) as what they are. Then imports, constants, tables and functions that
nobody reads any more are left out. On a small board this saves a good part of the memory that code
takes, and each saved look-up is time in a tick. Sources stay as they are, and so does their
fingerprint; a test plays recorded runs through the folded firmware and compares every byte.
"""

import ast
import re
from collections.abc import Iterable, Mapping

from emberbed.firmware_sources import PACKAGE, Sources
from emberbed.install.edits import Edit, edited
from emberbed.install.running import Plain, is_plain, run_tops

CONSTANT = re.compile(r"_?[A-Z][A-Z0-9_]*")
STANDS_ALONE = "start_up.py"  # is called from the prompt, by names that are read nowhere here
WRITTEN = (ast.Constant, ast.Tuple, ast.Load)  # of a value that stands there already
NOWHERE = "", ""
SMALL_INT = 1 << 30  # a constant beyond it would become an object each time it is read

Place = tuple[str, str]  # module, name in it


def fold(sources: Sources, kept: Iterable[str] = ()) -> dict[str, bytes]:
    """Return the sources, folded, under the same names and with the same line numbers.

    kept: names that something outside the sources reads.
    """
    trees = {_module(name): ast.parse(source) for name, source in sources.items()}
    bound = {module: _bindings(tree) for module, tree in trees.items()}
    once = {module: _assigned_once(tree) for module, tree in trees.items()}
    ran = run_tops(sources)
    values = {
        (module, name): ran[module][name]
        for module, names in once.items()
        for name in names
        if is_plain(ran[module].get(name))
    }
    values_only = {
        (module, name)
        for module, names in once.items()
        for name, node in names.items()
        if (module, name) in values or not any(isinstance(n, ast.Call) for n in ast.walk(node))
    }
    texts = {}
    for name, source in sources.items():
        module = _module(name)
        folder = _Folder(module, bound[module], values, once[module].values())
        folder.visit(trees[module])
        texts[name] = edited(source, folder.edits)
    while True:
        shorter = _without_unread(texts, values_only, frozenset(kept))
        if shorter == texts:
            return texts
        texts = shorter


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


def _assigned_once(tree: ast.Module) -> dict[str, ast.Assign]:
    """Return the constants that a module's top gives a value, each with its statement."""
    stored = [n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and _is_stored(n)]
    stored += [n.arg for n in ast.walk(tree) if isinstance(n, ast.arg)]
    return {
        name: node
        for node in tree.body
        if isinstance(node, ast.Assign)
        for name in _assigned(node)
        if CONSTANT.fullmatch(name) and stored.count(name) == 1
    }


def _is_stored(node: ast.Name) -> bool:
    return isinstance(node.ctx, (ast.Store, ast.Del))


def _assigned(node: ast.stmt) -> list[str]:
    """Return the names that a statement assigns, [] for anything but plain names."""
    if not isinstance(node, ast.Assign) or len(node.targets) != 1:
        return []
    target = node.targets[0]
    parts = target.elts if isinstance(target, ast.Tuple) else [target]
    names = [part.id for part in parts if isinstance(part, ast.Name)]
    return names if len(names) == len(parts) else []


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
    """Finds the names that are read and are numbers, and the values that are not written down."""

    def __init__(
        self,
        module: str,
        bound: dict[str, Place],
        values: Mapping[Place, Plain],
        once: Iterable[ast.Assign],
    ) -> None:
        self._module = module
        self._bound = bound
        self._values = values
        self._once = list(once)
        self.edits: list[Edit] = []

    def visit_Assign(self, node: ast.Assign) -> None:
        names = _assigned(node)
        value = self._values.get((self._module, names[0])) if len(names) == 1 else None
        written = all(isinstance(part, WRITTEN) for part in ast.walk(node.value))
        if node not in self._once or value is None or isinstance(value, int) or written:
            self.generic_visit(node)
        else:
            self.edits.append((node.value, repr(value).encode()))

    def visit_Name(self, node: ast.Name) -> None:
        if not _is_stored(node):
            self._fold(node)

    def visit_Call(self, node: ast.Call) -> None:
        """The length of a table that stands written down is a number too."""
        if isinstance(node.func, ast.Name) and node.func.id == "len" and len(node.args) == 1:
            value = self._values.get(_place_of(node.args[0], self._module, self._bound) or NOWHERE)
            if isinstance(value, (str, bytes, tuple)):
                self.edits.append((node, b"%d" % len(value)))
                return
        self.generic_visit(node)

    def visit_Attribute(self, node: ast.Attribute) -> None:
        if not (isinstance(node.ctx, ast.Load) and self._fold(node)):
            self.generic_visit(node)

    def _fold(self, node: ast.Name | ast.Attribute) -> bool:
        place = _place_of(node, self._module, self._bound)
        value = None if place is None else self._values.get(place)
        if not isinstance(value, int) or abs(value) >= SMALL_INT:
            return False
        self.edits.append((node, b"%d" % value if value >= 0 else b"(%d)" % value))
        return True


def _without_unread(
    texts: Mapping[str, bytes], known: set[Place], kept: frozenset[str]
) -> dict[str, bytes]:
    """Take out constants, tables, functions and imports that no module reads."""
    trees = {name: ast.parse(text) for name, text in texts.items()}
    read = kept.union(*(_names_read(tree) for tree in trees.values()))
    return {
        name: edited(text, _unread(trees[name], {n for m, n in known if m == _module(name)}, read))
        for name, text in texts.items()
        if name != STANDS_ALONE
    } | {name: text for name, text in texts.items() if name == STANDS_ALONE}


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


def _unread(tree: ast.Module, known: set[str], read: frozenset[str]) -> list[Edit]:
    """Return the edits that leave out of a module what is not in `read`.

    known: this module's constants, which are nothing but values.
    """
    here = {
        node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and not _is_stored(node)
    }
    edits: list[Edit] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == PACKAGE:
            names = [alias for alias in node.names if (alias.asname or alias.name) in here]
            if len(names) != len(node.names):
                shorter = ast.ImportFrom(node.module, names, node.level)
                edits.append((node, ast.unparse(shorter).encode() if names else b""))
        elif isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            if node.name not in read and not node.name.startswith("__"):
                edits.append((node, b""))
        elif isinstance(node, ast.Assign) and node in tree.body:
            names_here = _assigned(node)
            if names_here and not read.intersection(names_here) and known.issuperset(names_here):
                edits.append((node, b""))
    return _outermost(edits)


def _outermost(edits: list[Edit]) -> list[Edit]:
    """Leave out what lies in a node that goes itself."""
    inner = {part for node, _o in edits for part in ast.walk(node) if part is not node}
    return [edit for edit in edits if edit[0] not in inner]
