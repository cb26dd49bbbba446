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
