"""A curve in a terminal: eighth blocks, a few rows high, the whole run squeezed into its width.

Takes (measured, asked) pairs in cdeg, one per second; gives always `rows` lines and one for the
time, so that what stands below does not move. Measured is a filled curve, asked a dotted line.
"""

from collections.abc import Sequence

BLOCKS = " ▁▂▃▄▅▆▇█"
DOT = "·"
IN_ASCII = str.maketrans("▁▂▃▄▅▆▇█■·", "__..--###.")  # for terminals without UTF-8
LEAST_SPAN_CDEG = 4000  # an almost flat run is not blown up to a mountain
AXIS = 9  # columns left of the curve
LEAST_LABEL_COLUMNS = 14  # a shorter curve has no room for two times
LEGEND = f"{BLOCKS[-1]} board  {DOT} asked for"

Pair = tuple[int | None, int | None]


def block_curve(samples: Sequence[Pair], columns: int, rows: int, began_s: int = 0) -> str:
    """Return the curve, with an axis in degrees C and one in minutes; `began_s` is its first time.

    `columns` are those of the curve alone; AXIS more are used.
    """
    known = [cdeg for pair in samples for cdeg in pair if cdeg is not None]
    if len(samples) < 2 or not known:
        return "\n" * rows
    low = min(known)
    high = max(max(known), low + LEAST_SPAN_CDEG)
    pairs = [_column(samples, at, columns) for at in range(min(columns, len(samples)))]
    eighths = [[_eighths(cdeg, low, high, rows) for cdeg in pair] for pair in pairs]
    lines = []
    for row in range(rows - 1, -1, -1):
        label = {rows - 1: high, 0: low}.get(row)
        axis = f"{label / 100:5.0f} °C " if label is not None else " " * AXIS
        lines.append(axis + "".join(_cell(tall, asked, row) for tall, asked in eighths).rstrip())
    return "\n".join([*lines, _times(began_s, len(samples), len(pairs), columns)])


def _column(samples: Sequence[Pair], at: int, columns: int) -> Pair:
    """Return the newest pair that falls into column `at`."""
    if len(samples) <= columns:
        return samples[at]
    return samples[(at + 1) * len(samples) // columns - 1]


def _eighths(cdeg: int | None, low: int, high: int, rows: int) -> int:
    """Return the height of a temperature in eighths of a row, 0 for none."""
    if cdeg is None:
        return 0
    return 1 + round((cdeg - low) * (rows * 8 - 1) / (high - low))


def _cell(tall: int, asked: int, row: int) -> str:
    filled = min(max(tall - 8 * row, 0), 8)
    if not filled and asked and (asked - 1) // 8 == row:
        return DOT
    return BLOCKS[filled]


def _times(began_s: int, seconds: int, drawn: int, columns: int) -> str:
    """Return the axis of time below `drawn` columns, and what the signs mean where there is room:
    between the times, or behind them within `columns`."""
    first, last = minutes_text(began_s), minutes_text(began_s + seconds)
    if drawn < LEAST_LABEL_COLUMNS:
        first, last = f"{first:{drawn}}", ""
    between = drawn - len(first) - len(last)
    if last and between > len(LEGEND) + 3:
        return " " * AXIS + first + LEGEND.center(between) + last
    behind = f"    {LEGEND}" if drawn + 4 + len(LEGEND) <= columns else ""
    return " " * AXIS + (first + " " * between + last + behind).rstrip()


def minutes_text(seconds: int) -> str:
    """Return 4:05 for 245 s."""
    minutes, rest = divmod(seconds, 60)
    return f"{minutes}:{rest:02d}"
