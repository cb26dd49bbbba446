"""Rows to a Markdown table."""

from collections.abc import Iterator, Sequence


def table(heads: Sequence[str], rows: Iterator[Sequence[object]]) -> str:
    """Return a Markdown table; a bar inside a cell is escaped."""
    lines = [heads, ["---"] * len(heads), *rows]
    cells = [[str(cell).replace("|", "\\|") for cell in line] for line in lines]
    return "".join(f"| {' | '.join(line)} |\n" for line in cells)
