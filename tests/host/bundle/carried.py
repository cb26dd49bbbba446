"""Bundles and what is in them."""

from tests.host.replay.recorded import (
    NO_TRIPS,
    recorded,
    snapshot_after,
    store_records,
)
from tests.host.store.synthetic_run import drawn_record, store_run

OTHERS = 3
OWN = {"id", "linked_to", "bundled_run"}  # of a run, what another store gives it


def whole_run(store):
    """Store a run of the real firmware with all that a run can have."""
    before = store_run(store, [drawn_record(0)])
    records = recorded()
    run_id = store_records(store, records, counts=NO_TRIPS, linked_to=before)
    store.add_snapshot(run_id, store.run(run_id).first_tick + 99, snapshot_after(records, 99))
    store.add_event(run_id, 7, "stage", "Stage 1 of 3: ramp to 55 °C.")
    store.add_event(run_id, None, "note", "Before the first record.")
    store.end_run(run_id, "finished", 0, limits_exceeded=1)
    store.add_note(run_id, "The edge sensor was loose.")
    return run_id


def plain(run):
    return {name: value for name, value in vars(run).items() if name not in OWN}
