"""The list of runs as text: in full in a pipe, cut to fit a terminal; times are local ones."""

from collections.abc import Sequence

from emberbed.report.display import local_minute
from emberbed.store.runs import RunSummary
from emberbed.trip_titles import ended_as

HEADINGS = ("run", "started", "profile", "ended as", "limits passed", "device")
PROFILE = HEADINGS.index("profile")
LEAST_PROFILE = 12
BETWEEN = "  "
CUT = "\N{HORIZONTAL ELLIPSIS}"


def run_table(runs: Sequence[RunSummary], columns: int | None) -> list[str]:
    """Return the lines, made to fit `columns`; None cuts nothing.

    Profile names are cut first; where that is not enough the devices are left out.
    """
    rows = [HEADINGS, *(_cells(run) for run in runs)]
    widths = [max(len(row[n]) for row in rows) for n in range(len(HEADINGS))]
    if columns is not None:
        if columns - _others(widths) < LEAST_PROFILE:
            widths.pop()  # the device, which is nearly always the same
        widths[PROFILE] = min(widths[PROFILE], max(LEAST_PROFILE, columns - _others(widths)))
    return [_line(row[: len(widths)], widths) for row in rows]


def _others(widths: Sequence[int]) -> int:
    """Return the columns that everything but the profile's name takes."""
    return sum(widths) - widths[PROFILE] + len(BETWEEN) * (len(widths) - 1)


def _cells(run: RunSummary) -> tuple[str, ...]:
    limits = "" if run.limits_exceeded is None else str(run.limits_exceeded)
    started = local_minute(run.started_utc)
    device = f"{run.device} ({run.engine})" if run.simulated else run.device
    return (str(run.id), started, run.profile_name, ended_as(run.state, run.trip), limits, device)


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    cells = [
        cell if len(cell) <= width else cell[: width - 1] + CUT
        for cell, width in zip(row, widths, strict=True)
    ]
    padded = (cell.ljust(width) for cell, width in zip(cells, widths, strict=True))
    return BETWEEN.join(padded).rstrip()
