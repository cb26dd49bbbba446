"""Stored runs whose records the real firmware made, on the simulated bench or by hand."""

from functools import cache

from emberbed import firmware_sources
from emberbed.store.run_store import MOST_RECORDS, RunStore
from emberbed.store.snapshots import pack_numbers
from emberbed_fw.replay import Replay, arms
from emberbed_fw.snapshot import take_snapshot
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import Operator
from tests.host.store.synthetic_run import facts
from tests.support.played import went_on
from tests.support.profiles import hold_profile
from tests.support.record_tapes import run_of
from tests.support.tapes import loop_of, plan_of, small_bench

PROFILE = hold_profile(for_s=20, to_c=55)
SETTINGS = bench_settings(small_bench())
PLAN, _PROMPTS = plan_of(PROFILE)
NO_TRIPS = bytes(len(Replay(SETTINGS, PLAN).machine.life.trip_counts))  # of a device just on


@cache
def recorded(*faults, operator=None, seed=1):
    """Return the records of a short run on the simulated bench, from its arming on."""
    return tuple(loop_of(PROFILE, *faults, operator=operator, seed=seed).run())


@cache
def gone_on():
    """Return settings, plan, records and what ARM was answered of a run that goes on."""
    bench, counts = went_on()
    second = [n for n, packed in enumerate(bench.tape) if arms(packed, len(packed))][-1]
    return bench.settings, bench.plan, tuple(bench.tape[second:]), bytes(counts)


def store_records(store, records, settings=SETTINGS, plan=PLAN, counts=None, **changes):
    """Store these records as a run of the firmware installed here; return its number."""
    digest = firmware_sources.installed_digest()
    known = {"settings": settings, "plan": plan, "firmware_digest": digest, **changes}
    run_id = store.begin_run(facts(**known))
    for first in range(0, len(records), MOST_RECORDS):
        store.append(run_id, list(records[first : first + MOST_RECORDS]))
    if counts is not None:
        store.note_trip_counts(run_id, counts)
    return run_id


def snapshot_after(records, number):
    """Return the machine's snapshot after this record, as the device would send it."""
    replay = Replay(SETTINGS, PLAN)
    for packed in records[: number + 1]:
        assert replay.feed(packed, len(packed)) == -1
    return pack_numbers(take_snapshot(replay.machine))


def open_store(folder):
    return RunStore.open(folder / "runs.sqlite")


def operator_goes_on():
    return Operator(goes_on=True, answers_after_s=5.0)


def of_tape(name):
    """Return settings, plan, records and counts of one of the tapes of `record_tapes`."""
    settings, plan, records, *counts = run_of(name)
    return settings, plan, records, counts[0] if counts else None
