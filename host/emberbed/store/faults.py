"""What can be wrong with a run store: one sentence each, naming the file and the mend."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class StoreError(Exception):
    """A store, run or report that cannot be used; its text is one sentence for a person."""


# Primary result codes of SQLite (https://sqlite.org/rescode.html) -> what is wrong, how to mend it.
_SENTENCES = {
    sqlite3.SQLITE_NOTADB: "is not a run store; name another file with --store",
    sqlite3.SQLITE_CORRUPT: "is damaged; keep a copy of it and name another file with --store",
    sqlite3.SQLITE_BUSY: "is held by another program; end the other program, then try again",
    sqlite3.SQLITE_LOCKED: "is held by another program; end the other program, then try again",
    sqlite3.SQLITE_FULL: "cannot grow, the disk is full; free some space, then try again",
    sqlite3.SQLITE_READONLY: "cannot be written; give yourself the right to write to it and its"
    " folder, or name another file with --store",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened; check that it is a file in a folder that you may"
    " write to, or name another file with --store",
    sqlite3.SQLITE_IOERR: "cannot be read or written; check the disk, or name a file on another"
    " disk with --store",
}
_OTHER = "could not be used ({error}); keep a copy of it and name another file with --store"


def sentence_of(path: Path, error: sqlite3.Error) -> str:
    """Return the sentence that tells a person what SQLite's `error` on `path` means."""
    primary = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return f"{path} {_SENTENCES.get(primary, _OTHER).format(error=error)}"


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn any SQLite error inside the block into a StoreError that names `path`."""
    try:
        yield
    except sqlite3.Error as error:
        raise StoreError(sentence_of(path, error)) from error
    except UnicodeDecodeError as error:  # of SQLite's own message, which cites the damaged text
        raise StoreError(f"{path} {_SENTENCES[sqlite3.SQLITE_CORRUPT]}") from error
