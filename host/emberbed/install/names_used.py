"""Which names a module of the firmware uses, where they stand in its text, and what each means.

A name is one of three kinds: behind a dot (an attribute or method, `dotted`), at the top of some
module (a `Place`), or of this module alone (parameters, local variables). Only what MicroPython's
and our own house rules allow is understood: no star imports, no names in f-strings to be changed.
"""

import ast
from dataclasses import dataclass, field

from emberbed.firmware_sources import PACKAGE

STATE = "STATE"  # a class's tuple of its attributes' names, which the firmware reads by name

Place = tuple[str, str]  # file of a module, name at its top
Span = tuple[int, int]  # first byte in the text, bytes


@dataclass(frozen=True)
class Import:
    """`from MODULE import WORDS`, with the file that each of the words comes from."""

    span: Span
    module: str
    words: tuple[tuple[str, str], ...]  # file, "name" or "name as other"


@dataclass
class Names:
    """Everything said above of one module; the spans are those of the names alone."""

    file: str
    dotted: list[tuple[Span, str]] = field(default_factory=list)
    places: list[tuple[Span, Place]] = field(default_factory=list)
    local: list[tuple[Span, str]] = field(default_factory=list)
    # at the module's top; one inside a function is for a file that comes later
    imports: list["Import"] = field(default_factory=list)
    parameters: list[str] = field(default_factory=list)
    top: set[str] = field(default_factory=set)
    defined: set[str] = field(default_factory=set)  # of any kind, by this module
    fixed: set[str] = field(default_factory=set)  # cannot be another name
    bases: set[str] = field(default_factory=set)  # files whose classes its own classes extend


def read_names(file: str, text: bytes, files: frozenset[str]) -> Names:
    """Return the names of one module; `files` are those of all modules."""
    tree = ast.parse(text)
    reader = _Reader(file, text, files)
    reader.bind(tree)
    reader.visit(tree)
    return reader.names


class _Reader(ast.NodeVisitor):
    def __init__(self, file: str, text: bytes, files: frozenset[str]) -> None:
        self.names = Names(file)
        self._files = files
        self._starts = [0]
        for line in text.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))
        self._bound: dict[str, Place] = {}  # by an import from our own modules; "" = all of it
        self._foreign: set[str] = set()  # modules that are MicroPython's
        self._scopes: list[set[str]] = []  # what each function around binds itself
        self._in_class = False

    def bind(self, tree: ast.Module) -> None:
        """Note what stands at the module's top before anything is read."""
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                self.names.top.add(node.name)
            elif not isinstance(node, ast.ImportFrom | ast.Import):
                self.names.top |= _names_in(node, ast.Store)

    def visit_Import(self, node: ast.Import) -> None:
        for alias in node.names:
            self._foreign.add(alias.asname or alias.name)
            self.names.fixed.add(alias.asname or alias.name)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        path = (node.module or "").replace(".", "/")
        if path.split("/")[0] != PACKAGE:
            self.names.fixed |= {alias.asname or alias.name for alias in node.names}
            self._foreign |= {alias.asname or alias.name for alias in node.names}
            return
        below = path.removeprefix(PACKAGE).lstrip("/")
        words = []
        for alias in node.names:
            whole = f"{below}/{alias.name}.py".lstrip("/")
            place = (whole, "") if whole in self._files else (f"{below}.py", alias.name)
            self._bound[alias.asname or alias.name] = place
            self.names.fixed.add(alias.asname or "")
            words.append((place[0], ast.unparse(alias)))
        if not self._scopes:
            self.names.imports.append(Import(self._span(node), node.module or "", tuple(words)))

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._define(node, len("class "))
        for base in node.bases:
            if isinstance(base, ast.Name) and base.id in self._bound:
                self.names.bases.add(self._bound[base.id][0])
            elif isinstance(base, ast.Attribute) and self._module_before_dot(base):
                self.names.bases.add(self._module_before_dot(base))
        # what a class reads of its own without a dot stands behind dots as well, and stays
        assigned = [line for line in node.body if isinstance(line, ast.Assign)]
        given = {name for line in assigned for name in _names_in(line, ast.Store)}
        self.names.fixed |= given & _names_in(node, ast.Load)
        outer, self._in_class = self._in_class, True
        self.generic_visit(node)
        self._in_class = outer

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self._define(node, len("def "))
        outer, self._in_class = self._in_class, False
        self._scopes.append(_bound_in(node))
        self.generic_visit(node)
        self._scopes.pop()
        self._in_class = outer

    def _define(self, node: ast.ClassDef | ast.FunctionDef, word: int) -> None:
        self.names.defined.add(node.name)
        span = self._at(node.lineno, node.col_offset + word), len(node.name)
        if self._in_class:
            self.names.dotted.append((span, node.name))
        else:
            self._stand_alone(node.name, span)

    def visit_arg(self, node: ast.arg) -> None:
        self.names.defined.add(node.arg)
        self.names.parameters.append(node.arg)
        self._stand_alone(node.arg, (self._at(node.lineno, node.col_offset), len(node.arg)))

    def visit_keyword(self, node: ast.keyword) -> None:
        self.names.fixed.add(node.arg or "")
        self.generic_visit(node)

    def visit_Global(self, node: ast.Global) -> None:
        self.names.fixed.update(node.names)

    def visit_ExceptHandler(self, node: ast.ExceptHandler) -> None:
        self.names.fixed.add(node.name or "")
        self.generic_visit(node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        for part in ast.walk(node):  # where they stand is not told
            if isinstance(part, ast.Name):
                self.names.fixed.add(part.id)
            elif isinstance(part, ast.Attribute):
                self.names.fixed.add(part.attr)

    def visit_Name(self, node: ast.Name) -> None:
        if not isinstance(node.ctx, ast.Load):
            self.names.defined.add(node.id)
        if self._in_class and not isinstance(node.ctx, ast.Load):
            self.names.dotted.append((self._span(node), node.id))
        else:
            self._stand_alone(node.id, self._span(node))

    def visit_Attribute(self, node: ast.Attribute) -> None:
        whole = self._module_before_dot(node)
        if whole:
            self.names.places.append((self._span(node), (whole, node.attr)))
            return
        if _root(node) in self._foreign:
            self.names.fixed.add(node.attr)
        if not isinstance(node.ctx, ast.Load):
            self.names.defined.add(node.attr)
        first, count = self._span(node)
        self.names.dotted.append(((first + count - len(node.attr), len(node.attr)), node.attr))
        self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> None:
        self.generic_visit(node)
        if self._in_class and any(isinstance(t, ast.Name) and t.id == STATE for t in node.targets):
            for part in ast.walk(node.value):
                if isinstance(part, ast.Constant) and isinstance(part.value, str):
                    first, count = self._span(part)
                    self.names.dotted.append(((first + 1, count - 2), part.value))

    def _module_before_dot(self, node: ast.Attribute) -> str:
        """Return the file of our module whose top name this is, '' for none."""
        if not isinstance(node.value, ast.Name) or self._is_shadowed(node.value.id):
            return ""
        file, name = self._bound.get(node.value.id, ("", "no module"))
        return file if name == "" else ""

    def _is_shadowed(self, name: str) -> bool:
        return any(name in scope for scope in self._scopes)

    def _stand_alone(self, name: str, span: Span) -> None:
        place = self._bound.get(name)
        if place is not None and place[1]:
            self.names.places.append((span, place))
        elif name in self.names.top:
            self.names.places.append((span, (self.names.file, name)))
        else:
            assert place is None or self._is_shadowed(name), f"{name}: a module is no value"
            self.names.local.append((span, name))

    def _at(self, line: int, column: int) -> int:
        return self._starts[line - 1] + column

    def _span(self, node: ast.expr | ast.stmt) -> Span:
        assert node.end_lineno is not None and node.end_col_offset is not None
        first = self._at(node.lineno, node.col_offset)
        return first, self._at(node.end_lineno, node.end_col_offset) - first


def _bound_in(function: ast.FunctionDef) -> set[str]:
    """Return what a function binds: parameters and everything it assigns."""
    names = {part.arg for part in ast.walk(function) if isinstance(part, ast.arg)}
    return names | _names_in(function, ast.Store)


def _names_in(node: ast.AST, context: type[ast.expr_context]) -> set[str]:
    """Return the names that stand by themselves, read or given."""
    parts = [part for part in ast.walk(node) if isinstance(part, ast.Name)]
    return {part.id for part in parts if isinstance(part.ctx, context)}


def _root(node: ast.expr) -> str:
    """Return the name that a chain of attributes and calls begins with, '' for none."""
    while isinstance(node, ast.Attribute | ast.Call):
        node = node.value if isinstance(node, ast.Attribute) else node.func
    return node.id if isinstance(node, ast.Name) else ""
