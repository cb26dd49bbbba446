"""Write jobs for other programs: CSV (RFC 4180), one row a job, or JSON with all of each.

Text that a spreadsheet could take for a formula gets an apostrophe in front in CSV; an empty field
is something that nobody told.
"""

import csv
from collections.abc import Sequence
from io import StringIO
from pathlib import Path
from typing import Any

from emberbed.jobs.checklists import NAMES
from emberbed.jobs.job_json import job_json
from emberbed.jobs.overview import YES, JobOverview
from emberbed.store.export import formula_safe

_TOLD = ("job", "opened_utc", "closed_utc", "board", "serial", "fault", "found", "outcome",
         "outcome_note")  # fmt: skip
_COSTS = ("currency", "energy_kwh", "heating_s", "minutes", "energy", "hands", "parts", "total",
          "worth")  # fmt: skip


def jobs_csv(overviews: Sequence[JobOverview], folder: Path) -> str:
    """Return jobs as CSV; amounts of costs end in _cost, in the currency beside them."""
    stream = StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    for number, overview in enumerate(overviews):
        row = _flat(overview, folder)
        if number == 0:
            writer.writerow(row)
        writer.writerow([_cell(value) for value in row.values()])
    return stream.getvalue()


def jobs_json(overviews: Sequence[JobOverview], folder: Path) -> list[dict[str, Any]]:
    """Return jobs as plain data."""
    return [job_json(overview, folder) for overview in overviews]


def _flat(overview: JobOverview, folder: Path) -> dict[str, Any]:
    whole = job_json(overview, folder)
    costs, runs, tests = whole["costs"], whole["runs"], whole["tests"]
    money = ("energy", "hands", "parts", "total")
    return {
        **{name: whole[name] for name in _TOLD},
        "runs": " ".join(str(run["run"]) for run in runs),
        "profiles": "; ".join(dict.fromkeys(run["profile"] for run in runs)),
        "limits_exceeded": sum(run["limits_exceeded"] or 0 for run in runs),
        **{f"{name}_yes": _yes(overview, name) for name in NAMES},
        "tests": len(tests),
        "tests_passed": sum(test["passed"] for test in tests),
        "photos": len(whole["photos"]),
        **{f"{name}_cost" if name in money else name: costs[name] for name in _COSTS},
        "costs_lack": " ".join(costs["missing"]),
    }


def _yes(overview: JobOverview, list_name: str) -> str:
    checked = overview.checked[list_name]
    return f"{sum(one.said(YES) for one in checked)} of {len(checked)}"


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return formula_safe(value) if isinstance(value, str) else str(value)
