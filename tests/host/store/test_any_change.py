"""Whatever is changed, dropped, swapped or cut in a store's file, the audit finds it.

Two levels. Cells and rows, changed through SQLite by somebody who knows the tables: every one is
found. Bytes of the file, flipped by a bad disk: each is found, or the file is refused, or no run
tells anything else than before.
"""

import random
import shutil
import sqlite3

import pytest

from emberbed import firmware_sources
from emberbed.store import stretches
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import drawn_record, facts

ENDED, OPEN = 1, 2
CHANGES, DROPS, SWAPS, CUTS, FLIPS = 500, 100, 100, 30, 300
TABLES = {
    ENDED: ("run", "block", "stretch", "event", "snapshot", "note"),
    OPEN: ("run", "block", "tick"),
}
# of a run that is still written: nothing hashes these before it ends
UNSEALED = {"last_stored_utc", "process_node", "process_id", "process_started", "trip_counts",
            "exit_code", "ended_utc", "trip", "limits_exceeded", "closing_form"}  # fmt: skip


@pytest.fixture(scope="module")
def original(tmp_path_factory):
    path = tmp_path_factory.mktemp("store") / "runs.sqlite"
    with RunStore.open(path) as store:
        known = facts(firmware_digest=firmware_sources.installed_digest())
        ended = store.begin_run(known)
        store.note_trip_counts(ended, bytes([0, 1, 2]))
        records = [drawn_record(tick) for tick in range(1500)]
        for first in range(0, 1500, 10):
            store.append(ended, records[first : first + 10], rebuilt=first == 700)
        for tick in (299, 599, 899):
            store.add_snapshot(ended, tick, bytes(range(tick % 97, tick % 97 + 80)))
        for number in range(6):
            store.add_event(ended, 100 * number, "stage", f"Stage {number + 1} of 6.")
        store.end_run(ended, "tripped", 3, trip=4, limits_exceeded=2)
        for text in ("Edge sensor loose.", "Mended.", "Looked at again."):
            store.add_note(ended, text)
        still = store.begin_run(known)
        for first in range(0, 90, 10):
            store.append(still, records[first : first + 10])
        assert (ended, still) == (ENDED, OPEN)
        assert store.audit(ENDED) == store.audit(OPEN) == []
        stretches_of = store.database.all("SELECT count(*) FROM stretch")[0][0]
        assert stretches_of == -(-1500 // stretches.STRETCH_TICKS)
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
    connection.close()
    return path


@pytest.fixture
def copy(original, tmp_path):
    return shutil.copy(original, tmp_path / "runs.sqlite")


def found(path, run_id):
    """Tell whether the audit of a run finds something, or the run cannot be read at all."""
    try:
        with RunStore.open(path) as store:
            return bool(store.audit(run_id))
    except StoreError:
        return True


def rows_of(connection, table, run_id):
    key = "id" if table == "run" else "run_id"
    columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    rowids = "rowid" if table in ("run", "stretch", "snapshot") else None
    keys = {"block": "number", "tick": "tick", "event": "number", "note": "number"}
    where = rowids or keys[table]
    rows = connection.execute(
        f"SELECT {where}, {', '.join(columns)} FROM {table} WHERE {key} = ? ORDER BY {where}",
        (run_id,),
    ).fetchall()
    return columns, where, key, rows


def spoilt(value, chance):
    """Return a cell with one thing in it changed."""
    if value is None:
        return chance.choice([0, "x", b"\0"])
    if isinstance(value, int):
        return chance.choice([value ^ (1 << chance.randrange(20)), None, str(value) + "x"])
    if not value:
        return value + (b"\0" if isinstance(value, bytes) else "x")
    at = chance.randrange(len(value))
    if isinstance(value, bytes):
        return value[:at] + bytes([value[at] ^ (1 << chance.randrange(8))]) + value[at + 1 :]
    return value[:at] + chr((ord(value[at]) ^ (1 << chance.randrange(6))) or 65) + value[at + 1 :]


class Tamperer:
    """One act on a copy of the file, chosen by chance; `act` returns what it did, None for none."""

    def __init__(self, path, seed):
        self.chance = random.Random(seed)
        self.run_id = self.chance.choice([ENDED, OPEN])
        self.connection = sqlite3.connect(path, isolation_level=None)
        self.connection.execute("PRAGMA foreign_keys = OFF")
        self.connection.execute("PRAGMA ignore_check_constraints = ON")

    def table(self, *without):
        tables = [name for name in TABLES[self.run_id] if name not in without]
        name = self.chance.choice(tables)
        return (name, *rows_of(self.connection, name, self.run_id))

    def change(self):
        name, columns, where, key, rows = self.table()
        free = UNSEALED if self.run_id == OPEN and name == "run" else set()
        column = self.chance.choice([one for one in columns if one not in free])
        row = self.chance.choice(rows)
        value = spoilt(row[1 + columns.index(column)], self.chance)
        try:
            self.connection.execute(
                f"UPDATE {name} SET {column} = ? WHERE {key} = ? AND {where} = ?",
                (value, self.run_id, row[0]),
            )
        except sqlite3.Error:
            return None  # SQLite itself forbids it
        after = rows_of(self.connection, name, self.run_id)[3]
        return f"{name}.{column}" if after != rows else None

    def drop(self):
        name, _columns, where, key, rows = self.table()
        row = self.chance.choice(rows)
        self.connection.execute(
            f"DELETE FROM {name} WHERE {key} = ? AND {where} = ?", (self.run_id, row[0])
        )
        return f"{name} {row[0]}"

    def swap(self):
        name, columns, where, key, rows = self.table("run")
        if len(rows) < 2:
            return None
        one, other = self.chance.sample(rows, 2)
        fixed = {"run_id", where, "number", "tick", "last_block"}
        moved = [column for column in columns if column not in fixed]
        at = [1 + columns.index(column) for column in moved]
        if [one[n] for n in at] == [other[n] for n in at]:
            return None
        sets = ", ".join(f"{column} = ?" for column in moved)
        for target, source in ((one, other), (other, one)):
            self.connection.execute(
                f"UPDATE {name} SET {sets} WHERE {key} = ? AND {where} = ?",
                (*(source[n] for n in at), self.run_id, target[0]),
            )
        return f"{name} {one[0]} {other[0]}"

    def cut(self):
        """Cut the tail, and put the head back to what is left, as far as that can be known."""
        connection, run_id = self.connection, self.run_id
        if run_id == ENDED:
            connection.execute("DELETE FROM block WHERE run_id = ? AND number > 0", (run_id,))
            keep = self.chance.randrange(1, 3)
            ends = "SELECT last_block FROM stretch WHERE run_id = ? ORDER BY 1"
            last = [row[0] for row in connection.execute(ends, (run_id,))]
            connection.execute(
                "DELETE FROM stretch WHERE run_id = ? AND last_block > ?", (run_id, last[keep - 1])
            )
        else:
            number = self.chance.randrange(1, 9)
            for table, column in (("tick", "block"), ("block", "number")):
                connection.execute(
                    f"DELETE FROM {table} WHERE run_id = ? AND {column} > ?", (run_id, number)
                )
        return f"tail of {run_id}"


@pytest.mark.parametrize(
    ("act", "times"),
    [("change", CHANGES), ("drop", DROPS), ("swap", SWAPS), ("cut", CUTS)],
)
def test_every_act_of_a_tamperer_is_found(original, copy, act, times):
    done = missed = 0
    what = []
    for seed in range(times):
        shutil.copy(original, copy)
        tamperer = Tamperer(copy, f"{act} {seed}")
        did = getattr(tamperer, act)()
        tamperer.connection.close()
        if did is None:
            continue
        done += 1
        if not found(copy, tamperer.run_id):
            missed += 1
            what.append((seed, did))
    assert done > 0.7 * times
    assert missed == 0, what


def told(path):
    """Return all that the runs of a store tell."""
    with RunStore.open(path) as store:
        return [
            (store.run(run.id), list(store.raw_records(run.id)), store.events(run.id),
             store.notes(run.id), store.snapshots(run.id))
            for run in store.runs()
        ]  # fmt: skip


def test_no_flipped_byte_of_the_file_goes_unnoticed(original, copy):
    content = original.read_bytes()
    before = told(shutil.copy(original, copy))
    chance = random.Random(1)
    noticed = unchanged = 0
    for _flip in range(FLIPS):
        at = chance.randrange(len(content))
        flipped = bytes([content[at] ^ (1 << chance.randrange(8))])
        copy.write_bytes(content[:at] + flipped + content[at + 1 :])
        if found(copy, ENDED) or found(copy, OPEN):
            noticed += 1
        elif unsealed_apart(told(copy)) == unsealed_apart(before):
            unchanged += 1
        else:
            raise AssertionError(f"byte {at} was changed and nobody noticed")
        for more in ("-wal", "-shm"):
            copy.with_name(copy.name + more).unlink(missing_ok=True)
    assert noticed > FLIPS / 4, (noticed, unchanged)  # much of a file is free room


def unsealed_apart(runs):
    """Leave out what nothing covers yet in the run that is still written."""
    return [
        (run if run.state != "open" else [getattr(run, name) for name in vars(run)
         if name not in UNSEALED], *rest)
        for run, *rest in runs
    ]  # fmt: skip


def test_the_acts_reach_every_table(original, copy):
    """Over all seeds the changes reach each table."""
    touched = set()
    for seed in range(CHANGES):
        shutil.copy(original, copy)
        tamperer = Tamperer(copy, f"change {seed}")
        did = tamperer.change()
        tamperer.connection.close()
        touched.add(did)
    tables = {did.partition(".")[0] for did in touched if did}
    assert tables == {name for names in TABLES.values() for name in names}
