"""Trips, changes and marks of a job in sentences for its owner, each with its time."""

from collections.abc import Iterator, Sequence

import numpy as np

from emberbed.report import display
from emberbed.report.deed_kinds import CHANGES
from emberbed.report.deeds import deed_sentence
from emberbed.report.run_view import RunView
from emberbed.touch_words import mark_words, source_words

NO_TRIP_TOLD = "No trip: the device never had to take the heat away by itself."
NO_CHANGE_TOLD = "No change by hand: everything went as the profile says."


def deeds_and_trips(views: Sequence[RunView]) -> Iterator[str]:
    """Yield the trips of all runs, then what people changed or marked."""
    trips = [told for view in views for told in _trips(view, len(views) > 1)]
    yield from trips or [NO_TRIP_TOLD]
    changes = [told for view in views for told in _changes(view, len(views) > 1)]
    yield from changes or [NO_CHANGE_TOLD]
    yield from (told for view in views for told in _marks(view, len(views) > 1))


def _trips(view: RunView, named: bool) -> Iterator[str]:
    tripped = np.flatnonzero(view.series.trip)
    at_s = float(view.series.seconds[tripped[0]]) if len(tripped) else None
    for number, trip in enumerate(view.ending.trips):
        when = _when(view, None if number else at_s, named)
        yield f"{when}trip, the device took the heat away: {trip.happened}"


def _changes(view: RunView, named: bool) -> Iterator[str]:
    for deed in view.series.deeds:
        if deed.touch in CHANGES:
            told = deed._replace(mark=0)  # marks have a sentence of their own
            sentence = deed_sentence(told, float(view.series.offset_c[deed.at]))
            yield f"{_when(view, float(view.series.seconds[deed.at]), named)}{sentence}"


def _marks(view: RunView, named: bool) -> Iterator[str]:
    """Yield the marks in one sentence for each source."""
    by_source: dict[int, list[str]] = {}
    for deed in view.series.deeds:
        if deed.mark:
            at = display.clock(float(view.series.seconds[deed.at]))
            by_source.setdefault(deed.source, []).append(f"{mark_words(deed.mark)} {at}")
    for source, marks in by_source.items():
        yield f"{_when(view, None, named)}Marked, {source_words(source)}: {', '.join(marks)}."


def _when(view: RunView, at_s: float | None, named: bool) -> str:
    parts = [f"run {view.run.id}"] * named
    parts += [] if at_s is None else [display.clock(at_s)]
    return f"{', '.join(parts)}: " if parts else ""
