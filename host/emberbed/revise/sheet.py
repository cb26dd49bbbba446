"""Write another set of stages into the text of a profile, and leave all else as a person wrote it.

The text is cut at its table headers; what stands right above a header, comments and empty lines,
goes with it. So a stage that is left out takes its comment along, and a changed one keeps it.
Stages in one list of inline tables are changed there. Values of kept stages stay as written.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import tomlkit
import tree_sitter_toml
from tomlkit.items import Array
from tree_sitter import Language, Node, Parser

from emberbed.revise.draft import Part

_LANGUAGE = Language(tree_sitter_toml.language())
_STAGES = "stages"


class _Piece(NamedTuple):
    """Lines of the text from one header on; the first has none."""

    text: str
    is_stage: bool


def revised_text(text: str, name: str, parts: Sequence[Part], note: str) -> str:
    """Return `text` with another name and the stages of `parts`; `note` is put above new ones.

    ValueError for a text that can be read and not be changed here.
    """
    ends = "\r\n" if "\r\n" in text else "\n"
    plain = text.replace("\r\n", "\n")
    pieces = _cut(plain)
    if any(piece.is_stage for piece in pieces):
        written = _with_tables(pieces, name, parts, note)
    else:
        written = _with_list(plain, name, parts)
    return written.replace("\n", ends)


def _with_tables(pieces: list[_Piece], name: str, parts: Sequence[Part], note: str) -> str:
    own = [piece.text for piece in pieces if piece.is_stage]
    at = next(number for number, piece in enumerate(pieces) if piece.is_stage)
    before = [piece.text for piece in pieces[:at]]
    after = [piece.text for piece in pieces[at:] if not piece.is_stage]
    before[0] = _renamed(before[0], name)
    stages = [
        _new_stage(part.values, note)
        if part.original is None
        else _changed(own[part.original], part.values)
        for part in parts
    ]
    return "".join(_closed(block) for block in [*before, *stages, *after])


def _closed(block: str) -> str:
    return block if not block or block.endswith("\n") else f"{block}\n"


def _cut(text: str) -> list[_Piece]:
    """Cut a text at its headers, with the lines right above them."""
    lines = text.splitlines(keepends=True)
    root = Parser(_LANGUAGE).parse(text.encode("utf-8", "replace")).root_node
    cuts = [(0, False)]
    for node in root.children:
        if node.type in ("table", "table_array_element"):
            cuts.append((_begin(lines, node.start_point[0], cuts[-1][0]), _is_stage(node)))
    ends = [line for line, _is_one in cuts[1:]] + [len(lines)]
    return [
        _Piece("".join(lines[line:end]), is_one)
        for (line, is_one), end in zip(cuts, ends, strict=True)
    ]


def _begin(lines: list[str], header: int, least: int) -> int:
    """Return the first line of what belongs to a header: comments, then empty lines above them."""
    at = header
    while at > least and lines[at - 1].lstrip().startswith("#"):
        at -= 1
    while at > least and not lines[at - 1].strip():
        at -= 1
    return at


def _is_stage(node: Node) -> bool:
    keys = [child.text or b"" for child in node.named_children if child.type.endswith("_key")]
    named = [key.decode().strip("\"'") for key in keys]
    return node.type == "table_array_element" and named == [_STAGES]


def _renamed(text: str, name: str) -> str:
    document = tomlkit.parse(text)
    document["name"] = name
    return tomlkit.dumps(document)


def _changed(block: str, values: Mapping[str, Any]) -> str:
    if not values:
        return block
    body = block.rstrip("\n")
    document = tomlkit.parse(body + "\n")
    stage = document[_STAGES][0]  # type: ignore[index]
    for key, value in values.items():
        stage[key] = value  # type: ignore[index]
    return tomlkit.dumps(document).rstrip("\n") + block[len(body) :]


def _new_stage(values: Mapping[str, Any], note: str) -> str:
    rows = [f"{key} = {tomlkit.item(value).as_string()}\n" for key, value in values.items()]
    return f"\n# {note}\n[[{_STAGES}]]\n{''.join(rows)}"


def _with_list(text: str, name: str, parts: Sequence[Part]) -> str:
    """Change stages that are written as one list of inline tables."""
    document = tomlkit.parse(text)
    document["name"] = name
    stages = document[_STAGES]
    if not isinstance(stages, Array):
        raise ValueError("the stages are neither tables of their own nor a list")
    used = {part.original for part in parts}
    for part in parts:
        for key, value in part.values.items() if part.original is not None else ():
            stages[part.original][key] = value  # type: ignore[index]
    for number in reversed(range(len(stages))):
        if number not in used:
            del stages[number]
    for at, part in enumerate(parts):
        if part.original is None:
            table = tomlkit.inline_table()
            table.update(part.values)
            stages.insert(at, table)
    return tomlkit.dumps(document)
