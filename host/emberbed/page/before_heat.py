"""What a person confirms before heat, and where the sensors lay on the last board of this type.

The questions are those of the bench record that are asked before each run, the place of the sensors
is its newest placement: a note, a photograph, a date. What was confirmed becomes an event of the
run. Called in a helper process; takes and gives plain data. Raises NotReady, StoreError.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from emberbed.bench.prepare import NotReady
from emberbed.jobs.checklists import BEFORE, shipped
from emberbed.jobs.placements import add_placement, last_placement
from emberbed.report.display import local_minute
from emberbed.store.run_store import RunStore

ITEMS = {item.id: item.short for item in shipped(BEFORE).items if item.asked_at_run}
CALLED = Path("This photograph")  # in sentences about one that was sent


def said_before_heat(note: str) -> tuple[str, str]:
    """Return what was confirmed as an event of the run."""
    where = f" Sensors: {note}" if note else ""
    return ("before_heat", f"Confirmed before heat: {', '.join(ITEMS.values())}.{where}")


def last(store: Path | None, board: str) -> dict[str, Any] | None:
    """Return when the sensors of this type of board were told last, the note, and if a photograph
    is there; None for a new type."""
    with RunStore.open(store) as opened:
        placed = last_placement(opened, board)
    if placed is None:
        return None
    at = local_minute(placed.recorded_utc)
    return {"at": at, "note": placed.note, "photo": placed.photo is not None}


def keep(store: Path | None, board: str, note: str) -> None:
    """Keep where the sensors are; a photograph stays as long as the note does."""
    with RunStore.open(store) as opened:
        add_placement(opened, board, note)


def keep_photo(
    store: Path | None, board: str, note: str, octets: bytes, run_id: int | None
) -> None:
    """Keep a photograph of where the sensors are."""
    with drawn_anew(octets, "sensors") as fresh, RunStore.open(store) as opened:
        add_placement(opened, board, note, fresh, run_id)


@contextmanager
def drawn_anew(octets: bytes, name: str) -> Iterator[Path]:
    """Give a photograph that was sent as a file, drawn anew: nothing else of its bytes stays."""
    from emberbed.report.photos import PhotoError, photo_of  # pillow: only when it is needed

    try:
        drawn = photo_of(octets, CALLED).jpeg
    except PhotoError as error:
        raise NotReady([str(error)]) from None
    with TemporaryDirectory() as folder:
        fresh = Path(folder) / f"{name}.jpg"
        fresh.write_bytes(drawn)
        yield fresh


def photo(store: Path | None, board: str) -> bytes | None:
    """Return the newest photograph as a JPEG drawn anew, None where there is none."""
    from emberbed.report.photos import read_photo

    with RunStore.open(store) as opened:
        placed = last_placement(opened, board)
    return None if placed is None or placed.photo is None else read_photo(placed.photo).jpeg
