"""The SQLite file under the run store: where it lies, how it is opened, how it is written.

WAL with synchronous FULL, foreign keys, a busy timeout; nothing in the file is trusted as schema.
Every SQLite error comes out as a StoreError. SQL never holds anything but constants; what comes
from outside goes in as parameters.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import platformdirs

from emberbed.settings_file import read_settings
from emberbed.store import schema
from emberbed.store.chain import Stored
from emberbed.store.faults import StoreError, told
from emberbed.store.transaction import transaction

BUSY_S = 5.0


def default_path() -> Path:
    """Return the place of the store: as the settings say, else in the user's data folder."""
    named = read_settings().store
    return Path(named) if named else platformdirs.user_data_path("emberbed") / "runs.sqlite"


def check_exists(path: Path) -> None:
    """Raise StoreError when there is no file at `path`, or nobody may look for it."""
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise StoreError(
            f"{path} does not exist; `emberbed run` makes a run store, --store names another"
        ) from None
    except OSError as error:
        raise StoreError(
            f"{path} cannot be opened ({error.strerror}); name another file with --store"
        ) from error


class Database:
    """An open store file with our tables in it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        _make_folder_of(path)
        with told(path):
            self.connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
            try:
                _prepare(self.connection, path)
            except BaseException:
                self.connection.close()
                raise

    def close(self) -> None:
        with told(self.path):
            self.connection.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Run the block as one transaction: all of it is committed, or nothing."""
        with self._transaction("BEGIN IMMEDIATE"):
            yield

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Let the block see one state of the file, whatever others write meanwhile."""
        if self.connection.in_transaction:  # inside one that does the same
            yield
            return
        with self._transaction("BEGIN"):
            yield

    def all(self, statement: str, *parameters: Stored) -> list[sqlite3.Row]:
        with told(self.path):
            return self.connection.execute(statement, parameters).fetchall()

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[None]:
        with told(self.path), transaction(self.connection, begin):
            yield


def _make_folder_of(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f"{path} cannot be made, as its folder cannot ({error.strerror}); name another file"
            " with --store"
        ) from error


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    connection.row_factory = sqlite3.Row
    connection.text_factory = lambda octets: octets.decode("utf-8", "replace")  # it may be damaged
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    connection.execute("PRAGMA foreign_keys = ON")
    schema.migrate(connection, path)  # before anything is changed in a file that may not be ours
    if connection.execute("PRAGMA journal_mode = WAL").fetchone()[0] != "wal":
        raise StoreError(
            f"{path} lies where SQLite cannot keep a write-ahead log; name a file on a local disk"
            " with --store"
        )
    connection.execute("PRAGMA synchronous = FULL")
