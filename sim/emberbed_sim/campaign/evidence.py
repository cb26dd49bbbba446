"""What a campaign comes to: counts, rates with their bounds, times, peaks, versions and seeds.

Takes the results and what the seeded bugs were found by; gives one dictionary of plain numbers and
words, the same for the same results. Bounds are exact binomial ones at 95 % (Clopper and Pearson,
1934; scipy's beta distribution); for 0 of n the upper one is 1 - 0.05^(1/n), about 3/n.
"""

import platform
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from importlib.metadata import version
from statistics import median
from typing import Any

from scipy.stats import beta

from emberbed.firmware_sources import installed_digest
from emberbed_sim.campaign.pairs import left_to_hardware
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.seeded_bugs import Found
from emberbed_sim.campaign.table import HARMLESS, NOT_DETECTABLE, REFUSED, Cell

CONFIDENCE = 0.95
SHOWN_DIGITS = 3


def upper_share(count: int, of: int) -> float:
    """Return the largest share that still gives so few, at 95 %."""
    return 1.0 if count >= of else float(beta.ppf(CONFIDENCE, count + 1, of - count))


def lower_share(count: int, of: int) -> float:
    """Return the smallest share that still gives so many, at 95 %."""
    return 0.0 if count == 0 else float(beta.ppf(1 - CONFIDENCE, count, of - count + 1))


def summarise(
    results: Sequence[Result],
    cells: Iterable[Cell],
    found_bugs: Sequence[Found],
    about: dict[str, Any],
) -> dict[str, Any]:
    """Return the evidence; `about` is put in as it is (seeds, seconds, what was asked)."""
    by_part = defaultdict(list)
    for result in results:
        by_part[result.part].append(result)
    ran = {(one.row, one.phase, one.setup) for one in by_part["cell"]}
    cells = [cell for cell in cells if (cell.row, cell.phase, str(cell.setup)) in ran]
    healthy, pairs = by_part["healthy"], by_part["pair"]
    false_trips = sum(bool(one.miss) for one in healthy)
    rows = _rows(cells, by_part["cell"])
    return {
        "missed": sum(row["missed"] for row in rows) + sum(bool(one.miss) for one in pairs),
        "false_trips": false_trips,
        "seeded_bugs": {
            "caught": sum(one.found for one in found_bugs),
            "of": len(found_bugs),
            "by": {one.name: one.by if one.found else "NOT FOUND" for one in found_bugs},
        },
        "rows": rows,
        "cells": dict(Counter(cell.expect for cell in cells)),
        "not_detectable": sum(cell.expect == NOT_DETECTABLE for cell in cells),
        "healthy": {
            "runs": len(healthy),
            "false_trips": false_trips,
            "false_trips_upper_95": _rounded(upper_share(false_trips, len(healthy)))
            if healthy
            else None,
            "false_questions": sum(one.asks for one in healthy),
            "hours": _rounded(sum(one.simulated_s for one in healthy) / 3600),
            "by": dict(Counter(word for one in healthy for word in one.row.split())),
        },
        "pairs": {
            "runs": len(pairs),
            "missed": sum(bool(one.miss) for one in pairs),
            "left_to_hardware": left_to_hardware(),
        },
        "misses": [_told(one) for one in results if one.miss],
        "simulated_hours": _rounded(sum(one.simulated_s for one in results) / 3600),
        "versions": {
            "emberbed": version("emberbed"),
            "firmware": installed_digest(),
            "python": platform.python_version(),
        },
        **about,
    }


def replay_command(result: Result) -> str:
    """Return the one command that runs this again."""
    if result.part == "healthy":
        return f"emberbed verify --only healthy --replay {result.seed}"
    return (
        f"emberbed verify --only '{result.row}' --phase {result.phase} --setup {result.setup}"
        f" --replay {result.seed}"
    )


def _told(result: Result) -> dict[str, Any]:
    return {
        "part": result.part,
        "row": result.row,
        "phase": result.phase,
        "setup": result.setup,
        "seed": result.seed,
        "why": result.miss,
        "replay": replay_command(result),
    }


def _rows(cells: Iterable[Cell], results: Iterable[Result]) -> list[dict[str, Any]]:
    """Return one row for each cell that ran."""
    by_cell = defaultdict(list)
    for result in results:
        by_cell[(result.row, result.phase, result.setup)].append(result)
    return [_row(cell, by_cell[(cell.row, cell.phase, str(cell.setup))]) for cell in cells]


def _row(cell: Cell, runs: Sequence[Result]) -> dict[str, Any]:
    found = [one for one in runs if one.found or (cell.expect == REFUSED and not one.heated)]
    missed = sum(bool(one.miss) for one in runs)
    if upper_share(len(found), len(runs)) < cell.share < 1:
        missed += len(runs) - len(found)
    row: dict[str, Any] = {
        "row": cell.row,
        "phase": cell.phase,
        "setup": str(cell.setup),
        "expect": cell.expect,
        "expected": cell.expected_words,
        "runs": len(runs),
        "missed": missed,
        "missed_upper_95": _rounded(upper_share(missed, len(runs))),
        "found_s": _spread([one.found_s for one in found]),
        "heat_off_s": _spread([one.heat_off_s for one in runs if one.found]),
        "peak_over_target_k": _most(
            one.peak_c - one.target_c for one in runs if one.peak_c is not None
        ),
        "peak_over_limit_k": _most(one.over_limit_k for one in runs),
    }
    if cell.expect != HARMLESS:
        row["found"] = len(found)
        row["found_lower_95"] = _rounded(lower_share(len(found), len(runs)))
    if cell.expect == NOT_DETECTABLE:
        row["reason"], row["hardware"] = cell.reason, cell.hardware
    if cell.why:
        row["why"] = cell.why
    return row


def _spread(values: Iterable[float | None]) -> dict[str, float] | None:
    """Return the median, the largest of 19 in 20, and the largest."""
    known = sorted(value for value in values if value is not None)
    if not known:
        return None
    p95 = known[min(len(known) - 1, int(CONFIDENCE * len(known)))]
    return {"median": _rounded(median(known)), "p95": _rounded(p95), "most": _rounded(known[-1])}


def _most(values: Iterable[float]) -> float | None:
    largest = max(values, default=None)
    return None if largest is None else _rounded(largest)


def _rounded(value: float) -> float:
    return round(value, SHOWN_DIGITS)
