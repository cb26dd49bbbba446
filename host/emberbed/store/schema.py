"""The tables of the run store and the numbered steps that make them.

`PRAGMA user_version` is the number of the last step taken, `application_id` marks the file as ours.
Steps are only ever added at the end. Times are UTC in ISO 8601 with milliseconds, `_cdeg` is
hundredths of a degree C. `record` holds the firmware's own bytes; the columns after it are
decoded from them (NULL = no reading) so that any SQLite tool can plot a run.
"""

import sqlite3
from pathlib import Path

from emberbed.store.faults import StoreError
from emberbed.store.kept_copy import keep_copy
from emberbed.store.transaction import transaction

APPLICATION_ID = 0x45426564  # "EBed"

RUN_STATES = ("open", "finished", "stopped", "tripped", "link_lost", "refused", "interrupted")

_FIRST_TABLES = (
    """CREATE TABLE run (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        started_utc TEXT NOT NULL,
        last_stored_utc TEXT NOT NULL,
        ended_utc TEXT,
        state TEXT NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'finished', 'stopped',
            'tripped', 'link_lost', 'refused', 'interrupted')),
        profile_name TEXT NOT NULL,
        profile_toml TEXT NOT NULL,
        plan BLOB NOT NULL,
        settings BLOB NOT NULL,
        session INTEGER NOT NULL,
        device TEXT NOT NULL,
        engine TEXT NOT NULL,
        firmware_version TEXT NOT NULL,
        firmware_digest TEXT NOT NULL,
        host_version TEXT NOT NULL,
        seed INTEGER,
        speed TEXT NOT NULL,
        simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
        exit_code INTEGER,
        trip INTEGER NOT NULL DEFAULT 0,
        limits_exceeded INTEGER,
        head_sha256 BLOB NOT NULL,
        process_node TEXT NOT NULL,
        process_id INTEGER NOT NULL,
        process_started TEXT NOT NULL
    )""",
    """CREATE TABLE block (
        run_id INTEGER NOT NULL REFERENCES run (id),
        number INTEGER NOT NULL,
        first_tick INTEGER,
        last_tick INTEGER,
        ticks INTEGER NOT NULL CHECK (ticks BETWEEN 0 AND 10),
        sha256 BLOB NOT NULL,
        PRIMARY KEY (run_id, number)
    ) WITHOUT ROWID""",
    """CREATE TABLE tick (
        run_id INTEGER NOT NULL,
        tick INTEGER NOT NULL,
        block INTEGER NOT NULL,
        record BLOB NOT NULL,
        state INTEGER NOT NULL,
        stage INTEGER NOT NULL,
        setpoint_cdeg INTEGER,
        demand0_q15 INTEGER NOT NULL,
        energy_j INTEGER NOT NULL,
        trip INTEGER NOT NULL,
        channel0_cdeg INTEGER,
        channel1_cdeg INTEGER,
        channel2_cdeg INTEGER,
        channel3_cdeg INTEGER,
        channel4_cdeg INTEGER,
        channel5_cdeg INTEGER,
        channel6_cdeg INTEGER,
        channel7_cdeg INTEGER,
        PRIMARY KEY (run_id, tick),
        FOREIGN KEY (run_id, block) REFERENCES block (run_id, number)
    ) WITHOUT ROWID""",
    """CREATE TABLE event (
        run_id INTEGER NOT NULL REFERENCES run (id),
        number INTEGER NOT NULL,
        tick INTEGER,
        kind TEXT NOT NULL,
        sentence TEXT NOT NULL,
        PRIMARY KEY (run_id, number)
    ) WITHOUT ROWID""",
    f"PRAGMA application_id = {APPLICATION_ID}",
)

# A run that goes on after a mended trip names the one before; what ARM answered (a byte for each
# trip code) is needed to replay a run. NULL in runs that were recorded before.
_LINKED_RUNS = (
    "ALTER TABLE run ADD COLUMN linked_to INTEGER REFERENCES run (id)",
    "ALTER TABLE run ADD COLUMN trip_counts BLOB",
)

# Whole minutes of a run are packed into one row (stretches.py); blocks may hold rebuilt records; a
# run keeps the device's snapshots, what people noted later, and who it was before it came in a
# bundle; the store keeps each firmware that it has met here.
_PACKED_RUNS = (
    """CREATE TABLE stretch (
        run_id INTEGER NOT NULL REFERENCES run (id),
        first_block INTEGER NOT NULL,
        last_block INTEGER NOT NULL,
        first_tick INTEGER NOT NULL,
        last_tick INTEGER NOT NULL,
        ticks INTEGER NOT NULL,
        sha256 BLOB NOT NULL,
        packed BLOB NOT NULL,
        packed_crc32 INTEGER NOT NULL,
        PRIMARY KEY (run_id, last_block)
    )""",
    "CREATE INDEX stretch_ticks ON stretch (run_id, last_tick)",
    """CREATE TABLE snapshot (
        run_id INTEGER NOT NULL REFERENCES run (id),
        tick INTEGER NOT NULL,
        numbers BLOB NOT NULL,
        PRIMARY KEY (run_id, tick)
    )""",
    """CREATE TABLE note (
        run_id INTEGER NOT NULL REFERENCES run (id),
        number INTEGER NOT NULL,
        noted_utc TEXT NOT NULL,
        sentence TEXT NOT NULL,
        PRIMARY KEY (run_id, number)
    ) WITHOUT ROWID""",
    """CREATE TABLE firmware (
        digest TEXT PRIMARY KEY,
        version TEXT NOT NULL,
        sources BLOB NOT NULL
    )""",
    "ALTER TABLE block ADD COLUMN rebuilt INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE run ADD COLUMN later_sha256 BLOB",
    "ALTER TABLE run ADD COLUMN closing_form INTEGER",
    "ALTER TABLE run ADD COLUMN bundled_run INTEGER",
    "ALTER TABLE run ADD COLUMN bundled_linked_to INTEGER",
)

# The bench record. A job is what its entries say: the newest one of a subject counts, the older
# ones are its history, NULL takes it back; `value` is JSON (jobs/journal.py). A placement is where
# the sensors lay on a type of board, a price what the bench pays from then on.
_JOBS = (
    """CREATE TABLE job (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        opened_utc TEXT NOT NULL
    )""",
    """CREATE TABLE job_entry (
        job_id INTEGER NOT NULL REFERENCES job (id),
        number INTEGER NOT NULL,
        entered_utc TEXT NOT NULL,
        subject TEXT NOT NULL,
        value TEXT,
        PRIMARY KEY (job_id, number)
    ) WITHOUT ROWID""",
    "CREATE INDEX job_entry_subject ON job_entry (subject, job_id, number)",
    """CREATE TABLE placement (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        board TEXT NOT NULL,
        board_key TEXT NOT NULL,
        recorded_utc TEXT NOT NULL,
        note TEXT NOT NULL,
        photo TEXT,
        run_id INTEGER REFERENCES run (id)
    )""",
    "CREATE INDEX placement_board ON placement (board_key, id)",
    """CREATE TABLE bench_price (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        set_utc TEXT NOT NULL,
        name TEXT NOT NULL,
        value TEXT NOT NULL
    )""",
)

MIGRATIONS: tuple[tuple[int, tuple[str, ...]], ...] = (
    (1, _FIRST_TABLES),
    (2, _LINKED_RUNS),
    (3, _PACKED_RUNS),
    (4, _JOBS),
)
VERSION = MIGRATIONS[-1][0]


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Bring the store up to VERSION, a copy of an older one kept beside it; refuse a newer one and
    files of other programs."""
    version = _version_of(connection, path)
    if version == VERSION:
        return
    if version:
        keep_copy(connection, path, version)
    with transaction(connection, "BEGIN IMMEDIATE"):
        version = _version_of(connection, path)  # another process may have been quicker
        for number, statements in MIGRATIONS:
            if number > version:
                for statement in statements:
                    connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {number:d}")


def _version_of(connection: sqlite3.Connection, path: Path) -> int:
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    ours = connection.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if not ours and (tables or version):
        raise StoreError(f"{path} is a database of another program; name another file with --store")
    if version > VERSION:
        raise StoreError(
            f"{path} was written by a newer emberbed (store version {version}, this one knows"
            f" {VERSION}); update with: pip install --upgrade emberbed"
        )
    return version
