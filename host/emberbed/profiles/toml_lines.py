"""Find the line of every key of a TOML text, inline tables and arrays of tables too.

A location is the path of keys and list indexes, as `("stages", 1, "to_c")`. Built on the syntax
tree, because the TOML reader of the standard library forgets where it read a value. Never raises:
a location it cannot place gets the line of the table around it, or None.
"""

import tomllib
from collections.abc import Iterator

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

from emberbed.profiles.whole_rules import Location

_LANGUAGE = Language(tree_sitter_toml.language())
_DEEPEST = 4  # a profile nests no deeper; a hostile file may


class TomlLines:
    """Lines (from 1) of the keys of one text."""

    def __init__(self, text: str) -> None:
        self._lines: dict[Location, int] = {}
        self._lengths: dict[Location, int] = {}  # of arrays of tables
        tree = Parser(_LANGUAGE).parse(text.encode("utf-8", "replace"))
        for node in tree.root_node.children:
            if node.type == "pair":
                self._add_pair((), node)
            elif node.type in ("table", "table_array_element"):
                self._add_table(node)

    def line_of(self, location: Location) -> int | None:
        """Return the line of `location`, or of the nearest table around it, or None."""
        for length in range(len(location), 0, -1):
            if location[:length] in self._lines:
                return self._lines[location[:length]]
        return None

    def _add_table(self, node: Node) -> None:
        location = self._absolute(_key_of(node), node.type == "table_array_element")
        self._lines.setdefault(location, _line(node))
        for child in node.children:
            if child.type == "pair":
                self._add_pair(location, child)

    def _absolute(self, keys: tuple[str, ...], appends: bool) -> Location:
        """Return the location of a table header; a name of an array means its last element."""
        location: Location = ()
        for depth, key in enumerate(keys):
            location += (key,)
            if appends and depth == len(keys) - 1:
                self._lengths[location] = self._lengths.get(location, 0) + 1
            if location in self._lengths:
                location += (self._lengths[location] - 1,)
        return location

    def _add_pair(self, table: Location, pair: Node) -> None:
        location = table
        for key in _key_of(pair):
            location += (key,)
            self._lines.setdefault(location, _line(pair))
        if pair.named_children:
            self._add_value(location, pair.named_children[-1])

    def _add_value(self, location: Location, value: Node) -> None:
        if len(location) > _DEEPEST:
            return
        if value.type == "inline_table":
            for child in value.named_children:
                if child.type == "pair":
                    self._add_pair(location, child)
        elif value.type == "array":
            elements = [child for child in value.named_children if child.type != "comment"]
            for index, element in enumerate(elements):
                self._lines.setdefault((*location, index), _line(element))
                self._add_value((*location, index), element)


def _line(node: Node) -> int:
    return node.start_point[0] + 1


def _key_of(node: Node) -> tuple[str, ...]:
    """Return the key of a pair or a table header, split at its dots."""
    for child in node.named_children:
        if child.type in ("bare_key", "quoted_key", "dotted_key"):
            return tuple(_parts(child))
    return ()


def _parts(key: Node) -> Iterator[str]:
    stack = [key]  # a hostile key may have thousands of dots: no recursion
    while stack:
        node = stack.pop()
        if node.type == "dotted_key":
            stack.extend(reversed(node.named_children))
        elif node.type == "quoted_key":
            yield _unquoted(node)
        elif node.text is not None:
            yield node.text.decode("utf-8", "replace")


def _unquoted(node: Node) -> str:
    written = (node.text or b"").decode("utf-8", "replace")
    try:
        return next(iter(tomllib.loads(f"{written} = 0")))
    except (tomllib.TOMLDecodeError, StopIteration):
        return written.strip("\"'")
