"""The materials book as lines for a person and as plain data for scripts.

Every figure stands with its source and its status.
"""

from collections.abc import Iterator
from typing import Any

from emberbed.materials.book import shelves
from emberbed.materials.rows import SHELVES, Alloy, Flux, Laminate, Neighbour
from emberbed.materials.standards import REVISIONS, classification
from emberbed.plain_text import did_you_mean, printable

Row = Alloy | Laminate | Flux | Neighbour


class NotInBook(LookupError):
    """No shelf and no row is called that; the text is one sentence."""


def rows_called(wanted: str) -> list[tuple[str, Row]]:
    """Return (shelf, row) of a shelf's name, or of the name of a row. Raises NotInBook."""
    book = shelves()
    if wanted in book:
        return [(wanted, row) for row in book[wanted].values()]
    found = [(shelf, rows[wanted]) for shelf, rows in book.items() if wanted in rows]
    if found:
        return found
    names = [*book, *{name for rows in book.values() for name in rows}]
    mend = did_you_mean(wanted, sorted(names), "it holds")
    raise NotInBook(f'"{printable(wanted)}" is not in the materials book; {mend}')


def figures(row: Row) -> Iterator[tuple[str, float | bool, str, str]]:
    """Yield (key, value, source, status) of a row."""
    if isinstance(row, Laminate):
        keys = {"tg_c": row.tg, "td_c": row.td, "t260_min": row.t260, "t288_min": row.t288}
        for key, sourced in keys.items():
            if sourced is not None:
                yield key, sourced.value, sourced.source, sourced.status
        return
    shelf = next(s for s in SHELVES.values() if s.make is type(row))
    for key in (*shelf.keys, *shelf.flags):
        yield key, getattr(row, key), row.source, row.status


def as_json(found: list[tuple[str, Row]]) -> list[dict[str, Any]]:
    """Return rows for scripts."""
    return [
        {
            "shelf": shelf,
            "name": row.name,
            "figures": {
                key: {"value": value, "source": source, "status": status}
                for key, value, source, status in figures(row)
            },
        }
        for shelf, row in found
    ]


def brief(row: Row) -> str:
    """Return a row in one line."""
    if isinstance(row, Alloy):
        return f"{row.name}: solid up to {row.solidus_c:g} °C, liquid from {row.liquidus_c:g} °C"
    if isinstance(row, Laminate):
        td = f", comes apart from {row.td.value:g} °C" if row.td else ""
        return f"{row.name}: glass transition {row.tg_c:g} °C{td}"
    if isinstance(row, Flux):
        return (
            f"{row.name}: active from {row.active_from_c:g} °C, used up by more than"
            f" {row.soak_longest_s:g} s above {row.soak_from_c:g} °C"
        )
    return f"{row.name}: body at most {row.limit_c:g} °C"


def in_full(row: Row) -> list[str]:
    """Return a row with the source and the status of every figure."""
    by_source: dict[tuple[str, str], list[str]] = {}
    for key, value, source, status in figures(row):
        shown = str(value).lower() if isinstance(value, bool) else f"{value:g}"
        by_source.setdefault((source, status), []).append(f"{key} {shown}")
    said = [
        f"    {', '.join(one)}: {source} ({status})" for (source, status), one in by_source.items()
    ]
    return [brief(row), *said]


def standard_lines() -> list[str]:
    """Return what the revisions of the classification standard differ in."""
    lines = []
    for revision in REVISIONS:
        free, leaded = (classification(revision, one) for one in (False, True))
        lines += [
            f"{revision}: {free.soak_least_s:g} to {free.soak_most_s:g} s from {free.soak_low_c:g}"
            f" to {free.soak_high_c:g} °C (tin-lead {leaded.soak_least_s:g} to"
            f" {leaded.soak_most_s:g} s from {leaded.soak_low_c:g} to {leaded.soak_high_c:g} °C),"
            f" {free.to_peak_s / 60:g} min from 25 °C to the peak (tin-lead"
            f" {leaded.to_peak_s / 60:g}), {free.passes} passes",
            f"    {free.source} ({free.status})",
        ]
    return lines
