"""Where the sensors lay on each type of board, so that the next one can be wired the same way.

A type of board is called what the person calls it, or as its profile is. The newest placement is
shown; the older ones stay in the store.
"""

from dataclasses import dataclass
from pathlib import Path

from emberbed.jobs.kept_files import keep_photo, whole_path_of
from emberbed.jobs.plain_entries import folded, name_of, sentence_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import storable, utc_now

_INSERT = """INSERT INTO placement (board, board_key, recorded_utc, note, photo, run_id)
    VALUES (?, ?, ?, ?, ?, ?)"""
_LAST = "SELECT * FROM placement WHERE board_key = ? ORDER BY id DESC LIMIT 1"


@dataclass(frozen=True)
class Placement:
    """`photo` is the kept copy, None for none or one that is missing; `note` may be ''."""

    board: str
    recorded_utc: str
    note: str
    photo: Path | None
    run_id: int | None


def last_placement(store: RunStore, board: str) -> Placement | None:
    """Return the newest placement on this type of board, None if there is none."""
    rows = store.database.all(_LAST, folded(board))
    if not rows:
        return None
    row = rows[0]
    photo = whole_path_of(store.database, row["photo"]) if row["photo"] else None
    return Placement(row["board"], row["recorded_utc"], row["note"], photo, row["run_id"])


def add_placement(
    store: RunStore,
    board: str,
    note: str = "",
    photo: Path | None = None,
    run_id: int | None = None,
) -> Placement:
    """Keep where the sensors lie: in words, as a photograph, or both.

    A photograph that is not given stays the one of before if the words are the same. Raises
    NotReady (a text that cannot be kept), PhotoError, StoreError.
    """
    database = store.database
    name = name_of("The type of board", board)
    words = sentence_of("The note on the sensors", note) if note.strip() else ""
    before = last_placement(store, board)
    kept = keep_photo(database, photo).file if photo else None
    if kept is None and before and before.photo and before.note == words:
        kept = before.photo.name
    values = (name, folded(name), utc_now(), words, kept, run_id)
    with database.writing():
        database.all(_INSERT, *(storable(value) for value in values))
    placement = last_placement(store, board)
    assert placement is not None
    return placement
