"""One plain sheet for the person whose board it is: what was measured, how well, what was done.

Honest and without what is only the shop's: no costs, no notes, no port, no prompts. The record it
tells of can be handed over as a bundle; the short code says that it is the same.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from emberbed import words
from emberbed.calibration.budget import budget_of, made_of_words
from emberbed.calibration.on_device import is_calibrated
from emberbed.plain_text import printable
from emberbed.report import display
from emberbed.report.blocks import (
    Block,
    Facts,
    Heading,
    Photos,
    Points,
    Rows,
    Said,
    Sheet,
    Verdict,
)
from emberbed.report.html_blocks import write_html
from emberbed.report.paper_blocks import write_paper
from emberbed.report.passes import linked_runs, passes_of, passes_words
from emberbed.report.photos import Photo
from emberbed.report.record_code import short_code
from emberbed.report.run_facts import board_words
from emberbed.report.run_view import RunView, view_of
from emberbed.report.sheet_deeds import deeds_and_trips
from emberbed.report.wanted import EXCEEDED, KEPT, limit_words, limits_c
from emberbed.store.run_store import RunStore
from emberbed_fw.plan import ROLE_ABSENT

HTML, PDF = ".html", ".pdf"
WRITERS = {HTML: write_html, PDF: write_paper}
CLOSE = "close"
NOT_TOLD = (
    "A sensor is not the joint: a joint under a chip can be hotter or cooler than the bead beside"
    " it.",
    "Whether the repair is good and how long it lasts is not told by temperatures.",
    "What other work was done on this board, before or after, is not in this record.",
)


class NotEnded(Exception):
    """A run that is still being recorded; one sentence."""


@dataclass(frozen=True)
class Job:
    """What the shop says about the job; '' or None where it says nothing."""

    shop: str
    board: str = ""
    before: Photo | None = None
    after: Photo | None = None
    others: tuple[int, ...] = ()  # runs of the same board, as the shop knows


def write_sheet(store: RunStore, run_id: int, job: Job, path: Path) -> Sheet:
    """Write the sheet of a run, in the form of the file's name (one of WRITERS), and return it.

    Raises NotEnded, StoreError.
    """
    sheet = sheet_of(store, run_id, job)
    WRITERS[path.suffix.lower()](sheet, path)
    return sheet


def sheet_of(store: RunStore, run_id: int, job: Job) -> Sheet:
    """Return the sheet of a run and of those that it is linked with."""
    linked = linked_runs(store, run_id)
    views = [view_of(store, number) for number in linked]
    for view in views:
        if view.run.state == "open":
            raise NotEnded(
                f"Run {view.run.id} is still being recorded: wait for its end, then write the sheet"
            )
    others = [view_of(store, number) for number in job.others if number not in linked]
    main = next(view for view in views if view.run.id == run_id)
    code = short_code(main.run.head_sha256)
    return Sheet(
        title=job.shop,
        lead=f"Sheet of {display.local_time(main.run.started_utc)[:10]}, code {code}",
        blocks=tuple(_blocks(main, views, others, job)),
        foot=f"{printable(job.shop, 50)}, code {code}",
        roomy=True,
    )


def _blocks(
    main: RunView, views: list[RunView], others: list[RunView], job: Job
) -> Iterator[Block]:
    yield Facts(tuple(_facts(main, job)))
    yield _verdict(main, views)
    named = [("before", job.before), ("after", job.after)]
    shown = tuple((f"Photograph {when}", photo) for when, photo in named if photo)
    if shown:
        yield Photos(shown)
    yield Heading("What the board saw")
    yield from _sensors(views)
    yield Points(tuple(_passes(views, others)))
    yield Heading("Limits, trips, changes by hand")
    yield Points(tuple(_limits(views)) + tuple(deeds_and_trips(views)))
    yield Heading("What this sheet does not tell")
    yield Points(NOT_TOLD)
    yield Heading("To check this sheet")
    yield from _code(main, views)


def _facts(view: RunView, job: Job) -> Iterator[tuple[str, str]]:
    if job.board:
        yield "board", job.board
    yield "work", view.run.profile_name
    yield "kind of board", board_words(view)
    yield "began", display.local_minute(view.run.started_utc)
    yield "measured for", display.clock(view.figures.duration_s)


def _verdict(main: RunView, views: Sequence[RunView]) -> Verdict:
    exceeded = len(main.figures.limits_exceeded)
    lines = []
    if main.run.simulated:
        lines.append("Simulated heater: no board was heated. This sheet is an example.")
    if main.ending.unproven:
        lines.append(main.ending.unproven)
    if len(views) > 1:
        numbers = ", ".join(str(view.run.id) for view in views)
        lines.append(f"The work went on after an interruption; it is told whole: runs {numbers}.")
        lines += [f"Run {v.run.id}: {v.ending.verdict()}" for v in views if v is not main]
    if any(view.audit for view in views):
        lines.append("The record was changed or damaged after it was stored.")
    told = words.verdict_words(main.run.state, exceeded, main.ending.energy_j)
    bad = main.run.state != "finished" or exceeded or any(view.audit for view in views)
    return Verdict(told, tuple(lines), bool(bad))


def _sensors(views: Sequence[RunView]) -> Iterator[Block]:
    """Yield the table of sensor points, each with its hottest reading in all runs."""
    rows, converters, set_by = [], set(), []
    for name in dict.fromkeys(name for view in views for name in _used(view)):
        found = [(view, channel) for view in views for channel in _read(view, name)]
        if not found:
            rows.append((name, display.NOTHING, "no reading", "", ""))
            continue
        view, channel = max(found, key=lambda one: one[0].figures.peaks_c[one[1]])
        of = view.device.channels[channel] if view.device else None
        converters |= {of.converter} if of else set()
        set_by += _calibration(view, name, of is not None and is_calibrated(of))
        rows.append(_sensor_row(view, channel, name, of.converter if of else ""))
    heads = ("sensor point", "what for", "highest reading", "limit", "")
    yield Rows(heads, tuple(rows), (0.17, 0.18, 0.2, 0.33, 0.12))
    yield Said(made_of_words(converters))
    if any(row[-1] == CLOSE for row in rows):
        yield Said("Close: kept as it was read, by less than the reading may be off.")
    for sentence in set_by:
        yield Said(sentence)


def _calibration(view: RunView, name: str, is_set: bool) -> list[str]:
    """Say what the record tells of a sensor's calibration."""
    known = view.calibrated.get(name)
    if known is not None:
        old = [f"{known.old_words()}."] if known.is_old(view.run.started_utc) else []
        return [f"{known.sentence()} What it took away is not in the ±.", *old]
    if is_set:
        return [
            f"{name} was set to known temperatures that are not in this record; its ± is that of a"
            " couple that was not set."
        ]
    return []


def _used(view: RunView) -> list[str]:
    """Return the sensors that the profile used; others may lie anywhere."""
    plan = view.plan
    return [
        name for c, name in view.names.items() if not plan or plan.header[f"role{c}"] != ROLE_ABSENT
    ]


def _read(view: RunView, name: str) -> list[int]:
    return [c for c, known in view.names.items() if known == name and c in view.figures.peaks_c]


def _sensor_row(view: RunView, channel: int, name: str, converter: str) -> tuple[str, ...]:
    peak_c = view.figures.peaks_c[channel]
    made = budget_of(peak_c, converter, view.calibrated.get(name))
    error_c = None if made is None else made.expanded_k
    spread = "± not known" if error_c is None else f"± {error_c:.1f} °C"
    role = words.role_words(view.plan.header[f"role{channel}"]) if view.plan else display.NOTHING
    limit = limit_words(view, channel)
    judged = _judged(peak_c, max(limits_c(view, channel)), error_c or 0.0) if limit else ""
    return name, role, f"{display.celsius(peak_c)} {spread}", limit, judged


def _judged(peak_c: float, most_c: float, error_c: float) -> str:
    if peak_c > most_c:
        return EXCEEDED
    return KEPT if peak_c + error_c <= most_c else CLOSE


def _passes(views: list[RunView], others: list[RunView]) -> list[str]:
    numbers = [view.run.id for view in (*others, *views)]
    where = "in this record"
    if len(numbers) > 1:
        where = f"in its records {', '.join(map(str, sorted(numbers)))}"
    return passes_words([passes_of(view) for view in (*others, *views)], where)


def _limits(views: Sequence[RunView]) -> list[str]:
    exceeded = [told for view in views for told in view.figures.limits_exceeded]
    if exceeded:
        return [f"Limit exceeded: {told}" for told in exceeded]
    if any(view.ending.trips for view in views):
        return ["No limit of temperature or rate was exceeded; see the trip below."]
    return ["All limits of temperature and rate were kept."]


def _code(main: RunView, views: Sequence[RunView]) -> Iterator[Block]:
    yield Facts(
        tuple((f"code, run {view.run.id}", short_code(view.run.head_sha256)) for view in views)
        if len(views) > 1
        else (("code", short_code(main.run.head_sha256)),)
    )
    yield Said(
        "The code is the beginning of the record's fingerprint. The shop can hand the record over"
        " as one file, a bundle; who opens it sees the same code, and whether anything was changed."
    )
