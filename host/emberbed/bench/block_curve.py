"""A curve in a terminal: eighth blocks, a few rows high, the whole run squeezed into its width."""

from collections.abc import Sequence

BLOCKS = " ▁▂▃▄▅▆▇█"
LEAST_SPAN_CDEG = 4000  # an almost flat run is not blown up to a mountain


def block_curve(
    samples: Sequence[tuple[int | None, int | None]], columns: int, rows: int
) -> str:
    """Return lines of text for (measured, asked) pairs in cdeg; '' while there is nothing.

    Measured is drawn as a filled curve; the axis on the left is in degrees C.
    """
    measured = [pair[0] for pair in samples]
    known = [reading for reading in measured if reading is not None]
    if len(known) < 2:
        return ""
    low = min(known)
    high = max(max(known), low + LEAST_SPAN_CDEG)
    heights = [_height(_column(measured, at, columns), low, high, rows) for at in range(columns)]
    lines = []
    for row in range(rows - 1, -1, -1):
        label = {rows - 1: high, 0: low}.get(row)
        axis = f"{label / 100:5.0f} °C " if label is not None else " " * 9
        lines.append(axis + "".join(BLOCKS[min(max(tall - 8 * row, 0), 8)] for tall in heights))
    return "\n".join(lines)


def _column(measured: Sequence[int | None], at: int, columns: int) -> int | None:
    """Return the newest reading that falls into column `at`."""
    if len(measured) <= columns:
        return measured[at] if at < len(measured) else None
    return measured[(at + 1) * len(measured) // columns - 1]


def _height(cdeg: int | None, low: int, high: int, rows: int) -> int:
    if cdeg is None:
        return 0
    return 1 + round((cdeg - low) * (rows * 8 - 1) / (high - low))
