"""The recorded runs as the page shows them: a list, one run, its curve since the press.

Opens the store for each question and closes it again: the run that is on has its own connection.
Raises StoreError.
"""

from pathlib import Path
from typing import Any

from emberbed.jobs.book import JobBook
from emberbed.jobs.overview import overview_of
from emberbed.jobs.run_figures import job_of_run
from emberbed.profiles.compile import decode_plan
from emberbed.report.display import local_minute
from emberbed.report.ending import ending_of
from emberbed.store.left_open import resumable
from emberbed.store.meaning import channel_names_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunSummary
from emberbed.trip_titles import ended_as
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S

EVERY_TICKS = 10  # one point a second is enough under another curve
MOST_POINTS = 20_000


def listed(store: Path | None) -> list[dict[str, Any]]:
    """Return all runs, the newest first."""
    with RunStore.open(store) as opened:
        return [_row(run) for run in reversed(opened.runs())]


def left_open(store: Path | None, device: str) -> dict[str, Any] | None:
    """Return the newest run that a program which has ended left open, on this device if any is.

    None where there is none. It can be taken over only at the device that it is on.
    """
    with RunStore.open(store) as opened:
        for named in (device, None):
            found = resumable(opened.database, named)
            if found:
                run = opened.run(found[-1])
                return {**_row(run), "device": run.device, "here": run.device == device}
    return None


def one(store: Path | None, run_id: int) -> dict[str, Any]:
    """Return one run with how it ended and what happened."""
    with RunStore.open(store, create=False) as opened:
        run = opened.run(run_id)
        events = opened.events(run.id)
        ending = ending_of(opened, run, events)
        first = run.first_tick or 0
        return {
            **_row(run),
            "ending": ending.lines(),
            "fingerprint": run.head_sha256,
            "firmware": f"{run.firmware_version} ({run.firmware_digest[:16]})",
            "toml": run.profile_toml,
            "notes": [
                {"at": local_minute(note.noted_utc), "sentence": note.sentence}
                for note in opened.notes(run.id)
            ],
            "events": [
                {
                    "at_s": None if event.tick is None else (event.tick - first) / TICKS_PER_S,
                    "kind": event.kind,
                    "sentence": event.sentence,
                }
                for event in events
            ],
        }


def curve(store: Path | None, run_id: int) -> dict[str, Any]:
    """Return one point a second from the press on: seconds, asked for, each board sensor.

    `begins_s` tells the whole second in which each of its stages began.
    """
    with RunStore.open(store, create=False) as opened:
        run = opened.run(run_id)
        names = channel_names_of(run)
        plan = decode_plan(run.plan)
        channels = [c for c in plan.board_channels() if c in names]
        columns: list[list[float | None]] = [[] for _ in range(2 + len(channels))]
        pressed: int | None = None
        begins: dict[int, int] = {}
        for record in opened.records(run.id):
            if pressed is None and record.state in rs.HEATING_STATES:
                pressed = record.tick
            if pressed is not None and record.stage != NONE:
                begins.setdefault(record.stage, round((record.tick - pressed) / TICKS_PER_S))
            if pressed is None or (record.tick - pressed) % EVERY_TICKS:
                continue
            asked = record.asked_cdeg()
            readings = [asked, *(record.channel_cdeg(channel) for channel in channels)]
            columns[0].append((record.tick - pressed) / TICKS_PER_S)
            for column, cdeg in zip(columns[1:], readings, strict=True):
                column.append(None if cdeg is None else cdeg / 100)
            if len(columns[0]) >= MOST_POINTS:
                break
    control = plan.header["control0"]
    return {
        "run_id": run_id,
        "names": [names[channel] for channel in channels],
        "control": channels.index(control) if control in channels else 0,
        "columns": columns,
        "begins_s": begins,
    }


def job_of(store: Path | None, run_id: int) -> dict[str, Any] | None:
    """Return the job that a run belongs to and how far its checklists are, None for no job."""
    with RunStore.open(store, create=False) as opened:
        job = job_of_run(opened, JobBook(opened).jobs(), opened.run(run_id).id)
        if job is None:
            return None
        overview = overview_of(opened, job.id)
    lists = []
    for name, known in overview.lists.items():
        still_open = overview.open_items(name)
        lists.append(
            {
                "title": known.title,
                "answered": len(known.items) - len(still_open),
                "count": len(known.items),
                "open": [item.short for item in still_open],
            }
        )
    return {"job": job.id, "title": job.title(), "lists": lists}


def open_job(store: Path | None, run_id: int) -> None:
    """Open a job for a run that has none, of the type of board that its profile names."""
    with RunStore.open(store, create=False) as opened:
        run, book = opened.run(run_id), JobBook(opened)
        if job_of_run(opened, book.jobs(), run.id) is None:
            book.join_run(book.new(run.profile_name), run.id)


def add_note(store: Path | None, run_id: int, note: str) -> None:
    """Add a note to a run; it cannot be changed unseen."""
    with RunStore.open(store, create=False) as opened:
        opened.add_note(opened.run(run_id).id, note)


def report(store: Path | None, run_id: int) -> str:
    """Return the run's page, made anew."""
    from emberbed.report.run_page import run_page, view_of  # matplotlib: only when it is needed

    with RunStore.open(store, create=False) as opened:
        return run_page(view_of(opened, opened.run(run_id).id))


def _row(run: RunSummary) -> dict[str, Any]:
    return {
        "id": run.id,
        "started": local_minute(run.started_utc),
        "profile": run.profile_name,
        "state": run.state,
        "ended_as": ended_as(run.state, run.trip),
        "limits_exceeded": run.limits_exceeded,
        "simulated": run.simulated,
        "seconds": run.ticks / TICKS_PER_S,
        "linked_to": run.linked_to,
    }
