"""`emberbed run --resume`: a program started again finds the device's run and takes it over.

The stored run is the one that goes on, so it must be the one that the device has: armed in the same
session, at the same tick, with the same plan. What the device kept meanwhile comes into the same
record. Nothing is armed here, and nothing heats that did not heat already.
"""

import time
from contextlib import ExitStack

from rich.console import Console

from emberbed.bench.begin import Begin
from emberbed.bench.hands import StopSignal
from emberbed.bench.ledger import Ledger
from emberbed.bench.prepare import NotReady, Prepared
from emberbed.bench.run_facts import facts_of, intended
from emberbed.bench.run_files import check_page
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.session import Bench, RunRequest, RunResult, result_of, watch_run
from emberbed.device_description import decode_settings
from emberbed.link.blocks import block_crc
from emberbed.link.device import Device, Refused
from emberbed.link.events import DEVICE
from emberbed.link.rebuild import Rebuilder
from emberbed.profiles.compile import prompts
from emberbed.profiles.reader import parse_profile
from emberbed.records import TickRecord, decode_record
from emberbed.store.left_open import resumable
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun
from emberbed.store.snapshots import unpack_numbers
from emberbed_fw import messages
from emberbed_fw.replay import arms

LEASE_S = 3.0  # a device believes in a host for 2 s after its last word
PAUSE_S = 0.3
NOTHING = (
    "There is no run to take over{on}: only a run on a real device, left by a program that ended"
    " before it, goes on; begin one with: emberbed run PROFILE"
)


def resume_run(request: RunRequest, store: RunStore, console: Console) -> RunResult:
    """Find the run, connect, take it over, follow it to its end. `request.asked` is not used.

    Raises NotReady, LinkError or Refused with nothing changed, RecordFailed after that.
    """
    check_page(request.page, store)
    named = None if request.virtual is not None else request.device
    found = resumable(store.database, named)
    if not found:
        raise NotReady([NOTHING.format(on=f" on {named}" if named else "")])
    run = store.run(found[-1])
    earlier = _Earlier(store, run)
    with ExitStack() as until_told:
        device = until_told.enter_context(_connected(run, earlier))
        _check_same(run, earlier, device)
        stop = until_told.enter_context(StopSignal())
        bench = _bench_of(run, device)
        facts = facts_of(device, intended(bench.prepared, run.settings), run.device)
        ledger = Ledger.taking_over(store, facts, run.id)
        begin = earlier.beginning(request, ledger)
        outcome = watch_run(request, bench, ledger, console, stop, begin)
    return result_of(request, ledger, outcome)


class _Earlier:
    """The part of a run that is stored already."""

    def __init__(self, store: RunStore, run: StoredRun) -> None:
        self._raw = list(store.raw_records(run.id))
        if not self._raw:
            raise NotReady([f"Run {run.id} has no reading yet to go on from: begin a new one"])
        self.armed_tick = 0
        self.rebuilder = Rebuilder(run.settings, run.plan)
        self.rebuilder.trip_counts = run.trip_counts
        snapshots = {one.tick: unpack_numbers(one.numbers) for one in store.snapshots(run.id)}
        for raw in self._raw:
            tick = decode_record(raw).tick
            if arms(raw, len(raw)):
                self.armed_tick = tick
            self.rebuilder.note(raw, tick, DEVICE)
            if tick in snapshots:
                self.rebuilder.note_snapshot(tick, snapshots[tick])

    @property
    def newest(self) -> TickRecord:
        return decode_record(self._raw[-1])

    def beginning(self, request: RunRequest, ledger: Ledger) -> Begin:
        """Return how the loop is brought to where the record ends, and a watcher with it.

        The terminal is not told again what was told then.
        """
        events = ledger.store.events(ledger.run_id)

        def followed() -> None:
            if request.watcher is not None:
                request.watcher.catch_up(map(decode_record, self._raw), events)

        def begin(_at: Device, _settings: bytes, _plan: bytes, _of: Ledger, run: BenchRun) -> None:
            import emberbed.report.summary  # noqa: F401  (now, not while a run is on)

            run.take_over(self._raw, followed)

        return begin


def _connected(run: StoredRun, earlier: _Earlier) -> Device:
    """Connect; a device that still believes in the host before is asked again for a moment."""
    end_s = time.monotonic() + LEASE_S
    while True:
        try:
            return Device.connect(
                run.device, first_tick=earlier.newest.tick + 1, rebuilder=earlier.rebuilder
            )
        except Refused as refused:
            if refused.code != messages.BUSY or time.monotonic() > end_s:
                raise
            time.sleep(PAUSE_S)


def _check_same(run: StoredRun, earlier: _Earlier, device: Device) -> None:
    greeting = device.greeting
    begun = (greeting.run_session, greeting.run_tick, greeting.plan_crc)
    if begun == (run.session, earlier.armed_tick, block_crc(run.plan)):
        return
    why = "it was switched off, or has begun another run since"
    raise NotReady(
        [
            f"The device at {run.device} is not in run {run.id} any more ({why}): that run ends"
            " where its record ends, begin a new one with: emberbed run PROFILE"
        ]
    )


def _bench_of(run: StoredRun, device: Device) -> Bench:
    """Return the bench as it was when the run began."""
    profile = parse_profile(run.profile_toml.encode(), f"the profile of run {run.id}")
    prepared = Prepared(profile, run.plan, prompts(profile.model), [])
    return Bench(device, None, run.settings, decode_settings(run.settings), prepared)
