"""Give names that are only looked up numbers: a board keeps no text for them.

The firmware opens a plan into dictionaries whose keys are the names of its fields, and asks for
pins by their roles. Each such name that stands in a table takes 32 bytes of a board's heap or more,
and in code as well. Here every text that is one becomes its place in the tables, also where a
pattern makes it ("cap%d_q15" % zone), as the names of one pattern follow each other. What STATE
names are attributes, and stays. Takes folded sources; a test plays recorded runs through the result
and compares every byte.
"""

import ast
import re
from collections.abc import Mapping
from typing import Any

from emberbed.firmware_sources import Sources
from emberbed.install.edits import Edit, edited
from emberbed.install.folding import STANDS_ALONE
from emberbed.install.names_used import STATE
from emberbed.install.running import run_tops

# module, its table: rows are names, or begin with one
TABLES = (
    ("plan", "HEADER_FIELDS"), ("plan", "STAGE_FIELDS"), ("plan", "KNOT_FIELDS"),
    ("ports.wiring", "ROLES"),
)  # fmt: skip
INDEX = re.compile(r"\d+")


def number_names(texts: Mapping[str, bytes], sources: Sources) -> dict[str, bytes]:
    """Return `texts`, which were made of `sources`, with numbers in the place of names."""
    numbers = _numbers(run_tops(sources))
    firsts = _patterns(numbers)
    return {
        name: text if name == STANDS_ALONE else _numbered(text, numbers, firsts)
        for name, text in texts.items()
    }


def _numbers(tops: Mapping[str, Mapping[str, Any]]) -> dict[str, int]:
    """Return each name's number; the same name in two tables has one."""
    rows = [row for module, table in TABLES for row in tops.get(module, {}).get(table, ())]
    names = dict.fromkeys(row if isinstance(row, str) else row[0] for row in rows)
    return {name: number for number, name in enumerate(names)}


def _patterns(numbers: Mapping[str, int]) -> dict[str, int | None]:
    """Return the number of index 0 of each pattern; None where the names do not follow each other
    from there on."""
    found: dict[str, dict[int, int]] = {}
    for name, number in numbers.items():
        index = INDEX.search(name)
        if index:
            found.setdefault(_pattern(name), {})[int(index.group())] = number
    return {
        pattern: its[0] if its == {at: its[0] + at for at in range(len(its))} else None
        for pattern, its in found.items()
        if 0 in its
    }


def _pattern(name: str) -> str:
    return INDEX.sub("%d", name, count=1)


def _numbered(text: bytes, numbers: Mapping[Any, int], firsts: Mapping[Any, int | None]) -> bytes:
    nodes = list(ast.walk(ast.parse(text)))
    states = [node for node in nodes if isinstance(node, ast.Assign) and _names_state(node)]
    stays = {part for node in states for part in ast.walk(node)}
    edits: list[Edit] = []
    for node in nodes:
        if isinstance(node, ast.BinOp) and isinstance(node.left, ast.Constant):
            pattern = node.left.value
            if isinstance(node.op, ast.Mod) and pattern in firsts:
                assert firsts[pattern] is not None, f"{pattern}: its names stand apart"
                edits.append((node, f"({firsts[pattern]} + {ast.unparse(node.right)})".encode()))
        elif isinstance(node, ast.Constant) and node.value in numbers and node not in stays:
            edits.append((node, b"%d" % numbers[node.value]))
    return edited(text, edits)


def _names_state(node: ast.Assign) -> bool:
    return any(isinstance(target, ast.Name) and target.id == STATE for target in node.targets)
