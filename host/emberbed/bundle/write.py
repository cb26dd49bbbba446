"""Write a run of a store as a bundle (layout.py)."""

import json
import zipfile
from pathlib import Path
from typing import Any

from emberbed.bundle import layout
from emberbed.bundle.layout import BundleError
from emberbed.bundle.write_job import job_entries
from emberbed.jobs.model import Job
from emberbed.store import statements as sql
from emberbed.store import writing
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun


def write_bundle(store: RunStore, run: StoredRun, path: Path, job: Job | None = None) -> None:
    """Write an ended run to a new file, with the job that goes along. Raises BundleError,
    StoreError, OSError."""
    if run.state == "open":
        raise BundleError(f"Run {run.id} is still being recorded: wait for its end, then bundle it")
    database = store.database
    with database.writing():  # what an older version left in rows travels packed
        writing.pack_blocks(database, run.id)
    with database.reading():
        (row,) = database.all(sql.RUN, run.id)
        stretches = database.all(sql.STRETCHES, run.id)
        blocks = database.all(sql.BLOCKS, run.id)
        snapshots = database.all(sql.SNAPSHOTS, run.id)
        events = [list(event) for event in database.all(sql.EVENTS, run.id)]
        notes = [list(note) for note in database.all(sql.NOTES, run.id)]
    if any(block["ticks"] for block in blocks):
        raise BundleError(
            f"Run {run.id} has damaged records and cannot be bundled; see them with: emberbed runs"
            f" audit {run.id}"
        )
    told: dict[str, Any] = {
        "bundle": layout.VERSION,
        "run": {"id": run.id, **_columns(dict(row))},
        "blocks": [[block["number"], block["sha256"].hex()] for block in blocks],
        "stretches": [
            [
                *(one[name] for name in layout.STRETCH_COLUMNS),
                one["sha256"].hex(), len(one["packed"]),
            ]
            for one in stretches
        ],
        "events": events,
        "notes": notes,
        "snapshots": [[one["tick"], len(one["numbers"])] for one in snapshots],
    }  # fmt: skip
    along = job_entries(store, job) if job else {}
    with zipfile.ZipFile(path, "x", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(layout.RUN, json.dumps(told, ensure_ascii=False, indent=1))
        for column, entry in layout.ENTRY_COLUMNS.items():
            archive.writestr(entry, row[column])
        packed = b"".join(one["packed"] for one in stretches)
        archive.writestr(layout.STRETCHES, packed, zipfile.ZIP_STORED)
        archive.writestr(layout.SNAPSHOTS, b"".join(one["numbers"] for one in snapshots))
        for name, octets in along.items():
            archive.writestr(name, octets)


def _columns(row: dict[str, Any]) -> dict[str, Any]:
    plain = {name: row[name] for name in (*layout.TEXT_COLUMNS, *layout.NUMBER_COLUMNS)}
    octets = {name: row[name] for name in layout.BYTES_COLUMNS}
    return plain | {name: None if one is None else one.hex() for name, one in octets.items()}
