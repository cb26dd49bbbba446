"""Take a bundle into a store as a run of its own: whole and as it was recorded, or not at all."""

from pathlib import Path
from typing import Any

from emberbed.bundle.layout import BundleError
from emberbed.bundle.read import Bundle
from emberbed.device_description import decode_settings
from emberbed.plain_text import hidden_characters
from emberbed.records import decode_record, form_of
from emberbed.store import chain, writing
from emberbed.store import statements as sql
from emberbed.store.audit import audit_run
from emberbed.store.run_store import RunStore
from emberbed.store.stretches import unpack

INSERT_RUN = """INSERT INTO run (started_utc, last_stored_utc, ended_utc, state, profile_name,
    profile_toml, plan, settings, session, device, engine, firmware_version, firmware_digest,
    host_version, seed, speed, simulated, exit_code, trip, limits_exceeded, head_sha256,
    process_node, process_id, process_started, trip_counts, closing_form, bundled_run,
    bundled_linked_to)
    VALUES (:started_utc, :last_stored_utc, :ended_utc, :state, :profile_name,
    :profile_toml, :plan, :settings, :session, :device, :engine, :firmware_version,
    :firmware_digest, :host_version, :seed, :speed, :simulated, :exit_code, :trip,
    :limits_exceeded, :head_sha256, :process_node, :process_id, :process_started, :trip_counts,
    :closing_form, :bundled_run, :bundled_linked_to)"""
INSERT_EVENT = "INSERT INTO event VALUES (?, ?, ?, ?, ?)"
SAME_HEAD = "SELECT id FROM run WHERE head_sha256 = ?"


def take_in(store: RunStore, bundle: Bundle, path: Path) -> tuple[int, bool]:
    """Store a bundle's run; return its number here, and whether it had been there already.

    Raises BundleError when it was changed since it was recorded, or cannot be read.
    """
    database = store.database
    _check_records(bundle, path)
    with database.writing():
        there = database.all(SAME_HEAD, bundle.run["head_sha256"])
        if there:
            return there[0]["id"], True
        run_id = database.connection.execute(INSERT_RUN, _run_row(bundle, path)).lastrowid
        assert run_id is not None
        for number, digest in bundle.blocks:
            database.all(sql.INSERT_BLOCK, run_id, number, None, None, 0, digest, 0)
        for one in bundle.stretches:
            _insert_stretch(store, run_id, one)
        for event in bundle.events:
            database.all(INSERT_EVENT, run_id, *event)
        for snapshot in bundle.snapshots:
            database.all(sql.INSERT_SNAPSHOT, run_id, *snapshot)
        for note in bundle.notes:
            database.all(sql.INSERT_NOTE, run_id, *note)
        writing.seal_later(database, run_id)
        signs = audit_run(database.connection, run_id)
        if signs:
            raise BundleError(f"{path} was changed after the run was recorded: {signs[0]}")
    return run_id, False


def _run_row(bundle: Bundle, path: Path) -> dict[str, Any]:
    """Return the run's row for this store; its notes must fit the hash that it had in its own."""
    run = bundle.run
    if chain.later_hash(run, bundle.notes) != run["later_sha256"]:
        raise BundleError(f"{path} was changed after the run was recorded: a note does not fit")
    number = bundle.number if run["bundled_run"] is None else run["bundled_run"]
    before = run["linked_to"] if run["bundled_linked_to"] is None else run["bundled_linked_to"]
    return {**run, "bundled_run": number, "bundled_linked_to": before}


def _insert_stretch(store: RunStore, run_id: int, one: dict[str, Any]) -> None:
    names = ("first_block", "last_block", "first_tick", "last_tick", "ticks", "sha256", "packed",
             "packed_crc32")  # fmt: skip
    store.database.all(sql.INSERT_STRETCH, run_id, *(one[name] for name in names))


def _check_records(bundle: Bundle, path: Path) -> None:
    """Refuse records and channel names that this version could not show."""
    form = form_of(bundle.run["plan"])
    try:
        for one in bundle.stretches:
            for block in unpack(one["packed"]):
                for octets in block.records:
                    decode_record(octets, form)
        names = decode_settings(bundle.run["settings"]).fitted_names().values()
    except ValueError as error:
        raise BundleError(f"{path} holds what this version cannot read: {error}") from None
    if any(hidden_characters(name) for name in names):
        raise BundleError(f"{path} holds a sensor's name with hidden characters; it is refused")
