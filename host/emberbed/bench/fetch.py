"""`emberbed runs fetch`: the run that a device made by itself comes out of its memory.

A device keeps every tick of the last minutes, one a second for a quarter of an hour, and one in
30 s for a day. What it has is stored as a run of its own, thinner where it is; a run that is still
on is followed to its end. Nothing is armed or stopped here.
"""

import time
from collections.abc import Callable

from emberbed.bench.arrivals import batches, trouble_of
from emberbed.bench.ledger import Ledger
from emberbed.bench.outcome import OUTCOMES, Outcome
from emberbed.bench.prepare import NotReady, read_description
from emberbed.bench.run_facts import Intended, facts_of
from emberbed.device_description import DeviceDescription
from emberbed.link.blocks import block_crc
from emberbed.link.device import Device
from emberbed.link.events import DEVICE, Event, Greeting, Snapshot
from emberbed.link.rebuild import Rebuilder
from emberbed.link.transport import LinkError
from emberbed.profiles.from_plan import profile_text
from emberbed.profiles.plan_bytes import decode_plan, plan_length
from emberbed.records import TickRecord, decode_record
from emberbed.store.run_store import RunStore
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw.units import TICKS_PER_S

POLL_S = 0.2
SILENT_S = 10.0
ALONE = "Run that the device made by itself"
LEFT_BEHIND = (
    "Not all of the run was fetched: what the device still has can be fetched again, with --again."
)

Told = Callable[[int, int], None]  # seconds of the run that have come, seconds that there are


def fetch_run(
    url: str,
    store: RunStore,
    *,
    again: bool = False,
    progress: Told = lambda _came, _all: None,
    stopped: Callable[[], bool] = lambda: False,
) -> int:
    """Store the device's newest run; return its number. `again`: even if it seems to be there.

    Raises NotReady, LinkError or Refused with nothing stored, StoreError.
    """
    with Device.connect(url) as device:
        settings, description = read_description(device)
        greeting = device.greeting
        if greeting.run_tick == 0:
            raise NotReady([f"The device at {url} has made no run since it was switched on"])
        plan = _read_plan(device)
        if not again:
            _refuse_known(store, greeting, plan)
    name, text = _profile_of(store, plan, description)
    rebuilder = Rebuilder(settings, plan)
    with Device.connect(url, first_tick=greeting.run_tick, rebuilder=rebuilder) as device:
        now = device.greeting
        if (now.run_tick, now.plan_crc) != (greeting.run_tick, greeting.plan_crc):
            raise NotReady([f"The device at {url} has just begun another run: fetch again"])
        what = Intended(name, text, plan, settings)
        facts = facts_of(device, what, url, session=now.run_session)
        fetch = _Fetch(Ledger(store, facts), device, progress)
        outcome = fetch.to_its_end(stopped)
    fetch.close(outcome, plan, description)
    return fetch.ledger.run_id


def _read_plan(device: Device) -> bytes:
    head = device.read_block(messages.PLAN_READ, layout.HEADER_BYTES)
    length = min(plan_length(head), layout.MAX_PLAN_BYTES)
    plan = device.read_block(messages.PLAN_READ, length)
    if block_crc(plan) != device.greeting.plan_crc:
        raise LinkError(
            f"What the device at {device.url} says it will do is damaged: try again, and if that"
            " repeats itself, replace the device"
        )
    return plan


def _refuse_known(store: RunStore, greeting: Greeting, plan: bytes) -> None:
    """Refuse a run that the store seems to have: of the same session and plan, not older."""
    for run in store.runs():
        if run.first_tick is None or run.first_tick < greeting.run_tick:
            continue
        stored = store.run(run.id)
        if stored.session == greeting.run_session and stored.plan == plan:
            raise NotReady(
                [f"The device's newest run seems to be run {run.id} here: add --again if it is not"]
            )


def _profile_of(store: RunStore, plan: bytes, description: DeviceDescription) -> tuple[str, str]:
    """Return name and text of the profile: of a run with the same plan, or made from the plan."""
    for run in reversed(store.runs()):
        stored = store.run(run.id)
        if stored.plan == plan:
            return stored.profile_name, stored.profile_toml
    return ALONE, profile_text(decode_plan(plan), description.fitted_names(), ALONE)


class _Fetch:
    """Takes a run's records into the store as they come."""

    def __init__(self, ledger: Ledger, device: Device, progress: Told) -> None:
        self.ledger = ledger
        self._device = device
        self._progress = progress
        self._newest: TickRecord | None = None
        self._outcome: Outcome | None = None

    def to_its_end(self, stopped: Callable[[], bool]) -> Outcome | None:
        """Take all that there is, and what still comes; None when it was left before its end."""
        heard_s = time.monotonic()
        while self._outcome is None and not stopped():
            try:
                events = self._device.poll(POLL_S)
                if events:
                    heard_s = time.monotonic()
                    self._take(events)
            except LinkError as error:
                self.ledger.add_event(None, "link", str(error))
                return None
            if time.monotonic() - heard_s > SILENT_S:
                told = f"The device at {self._device.url} has sent nothing for {SILENT_S:g} s."
                self.ledger.add_event(None, "link", told)
                return None
        return self._outcome

    def close(self, outcome: Outcome | None, plan: bytes, description: DeviceDescription) -> None:
        """End the run in the store as it ended on the device, or as interrupted."""
        if outcome is None or self._newest is None:
            self.ledger.add_event(None, "left", LEFT_BEHIND)
            self.ledger.give_up()
            return
        names = description.fitted_names()
        self.ledger.end(outcome, self._newest.trip, decode_plan(plan), names)

    def _take(self, events: list[Event]) -> None:
        for batch in batches(events):
            raws = self._of_this_run([record.raw for record in batch])
            if raws and self._newest is not None:
                self.ledger.append(raws, rebuilt=batch[0].origin != DEVICE)
                self._device.renew(self._newest.tick)
        for event in events:
            self._take_other(event)
        if self._newest is not None:
            first = self._device.greeting.run_tick
            there = max(self._device.greeting.newest_tick, self._newest.tick) - first
            self._progress((self._newest.tick - first) // TICKS_PER_S, there // TICKS_PER_S)

    def _of_this_run(self, raws: list[bytes]) -> list[bytes]:
        """Return the records up to the one that ends the run."""
        kept = []
        for raw in raws:
            if self._outcome is not None:
                break
            self._newest = decode_record(raw)
            self._outcome = OUTCOMES.get(self._newest.state)
            kept.append(raw)
        return kept

    def _take_other(self, event: Event) -> None:
        if isinstance(event, Snapshot) and self._newest and event.tick <= self._newest.tick:
            self.ledger.add_snapshot(event)
            return
        trouble = trouble_of(event)
        if trouble is not None and self._outcome is None:
            self.ledger.add_event(None, trouble.kind, trouble.sentence)
