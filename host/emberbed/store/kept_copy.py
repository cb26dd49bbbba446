"""A copy of a store as an older version wrote it, kept beside it before it is brought up to date.

The older program can read the copy, and not the store any more. It is yours to delete. Raises
StoreError, with nothing changed, where no copy can be made.
"""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from emberbed.store.faults import StoreError


def copy_path(path: Path, version: int) -> Path:
    """Return where the copy of a store's older version lies."""
    return path.with_name(f"{path.stem}-version-{version}{path.suffix}")


def keep_copy(connection: sqlite3.Connection, path: Path, version: int) -> None:
    """Copy the store, unless that was done before; whole, or not at all."""
    to = copy_path(path, version)
    if to.exists():
        return
    fresh = to.with_name(f"{to.name}.{os.getpid()}.new")
    try:
        with closing(sqlite3.connect(fresh)) as copy:
            connection.backup(copy)
        os.replace(fresh, to)
    except (OSError, sqlite3.Error) as error:
        fresh.unlink(missing_ok=True)
        raise StoreError(
            f"{path} is of an older version, and no copy of it can be kept as {to} ({error}): make"
            " room there, or give yourself the right to write there"
        ) from None
