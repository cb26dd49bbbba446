"""One transaction on a SQLite connection: all of a block, or nothing of it."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def transaction(connection: sqlite3.Connection, begin: str) -> Iterator[None]:
    """Run the block between `begin` and COMMIT; whatever is raised inside takes all of it back."""
    connection.execute(begin)
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # SQLite has taken it back itself after some errors
            connection.execute("ROLLBACK")
        raise
