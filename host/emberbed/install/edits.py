"""Write other bytes in the place of some nodes of a source text, and leave the rest as it is."""

import ast
from collections.abc import Iterable

Edit = tuple[ast.expr | ast.stmt, bytes]  # what is written in the place of a node


def edited(source: bytes, edits: Iterable[Edit]) -> bytes:
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
