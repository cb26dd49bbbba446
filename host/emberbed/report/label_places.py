"""Find places for labels beside a chart so that none covers another."""

from collections.abc import Sequence


def spread(wanted: Sequence[float], low: float, high: float, least: float) -> list[float]:
    """Return a place for each wanted one: in the same order, at least `least` apart, inside
    low..high as long as they fit there."""
    order = sorted(range(len(wanted)), key=lambda number: wanted[number])
    places = [wanted[number] for number in order]
    for at in range(1, len(places)):
        places[at] = max(places[at], places[at - 1] + least)
    if places:
        places[-1] = min(places[-1], high)
    for at in range(len(places) - 2, -1, -1):
        places[at] = min(places[at], places[at + 1] - least)
    shift = max(0.0, low - places[0]) if places else 0.0
    found = [0.0] * len(wanted)
    for number, place in zip(order, places, strict=True):
        found[number] = place + shift
    return found


def rows_for(starts: Sequence[float], widths: Sequence[float], most_rows: int) -> list[int | None]:
    """Return a row (0 the lowest) for each label that begins at its own line and goes to the right.

    A line goes up to its label's row, so a label stands above all lines that rise under it; none
    covers another. None: there is no room for it in `most_rows`.
    """
    order = sorted(range(len(starts)), key=lambda number: starts[number], reverse=True)
    rows: list[int | None] = [None] * len(starts)
    placed: list[tuple[float, int]] = []  # start and row of those to the right
    for number in order:
        end = starts[number] + widths[number]
        under = [row for start, row in placed if start < end]
        row = max(under, default=-1) + 1
        if row < most_rows:
            rows[number] = row
            placed.append((starts[number], row))
    return rows
