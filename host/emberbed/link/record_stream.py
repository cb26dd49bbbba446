"""From what the device sends of its ticks to one stream of records in order, gaps filled or named.

Live records, records sent again, blocks of packed ticks and snapshots come in as payloads; out come
`Record`, `Thinned`, `Gap` and `Snapshot`, each tick at most once. Packed ticks become records by
the `Rebuilder`; without one they are a gap. Pure: no bytes on the wire, the time is an argument.
"""

import struct

from emberbed.link.events import Event, Record, Reply, Snapshot, Thinned
from emberbed.link.packed import PackedBlock, read_numbers, unpack
from emberbed.link.rebuild import Rebuilder
from emberbed.link.record_order import RecordOrder
from emberbed.link.refill import GapKeeper, Refill
from emberbed.records import decode_record
from emberbed_fw import messages
from emberbed_fw.block_ring import FORM_WHOLE
from emberbed_fw.recorder import RUN_TICKS, SECOND_TICKS
from emberbed_fw.snapshot_parts import PART

_TICK = struct.Struct("<I")
_PART = struct.Struct(PART)
_BACKFILL = struct.Struct(messages.BACKFILL_REPLY)


class RecordStream:
    """`malformed` counts payloads that are nothing of what they should be."""

    def __init__(self, answer_s: float, rebuilder: Rebuilder | None) -> None:
        self.malformed = 0
        self.rebuilder = rebuilder
        self._order = RecordOrder()
        self._gap = GapKeeper(answer_s)
        self._thinned_by = 1  # the step of the newest record
        self._finer_from = {SECOND_TICKS: 0, RUN_TICKS: 0}  # where each thinned memory gives way
        self._parts: dict[int, dict[int, bytes]] = {}  # of snapshots, by tick and number
        self._snapshots: dict[int, tuple[int, ...]] = {}  # whole, of ticks that have not come yet

    def start(self, first_tick: int, newest_tick: int) -> None:
        """Begin at `first_tick`; ticks up to `newest_tick` exist on the device already."""
        self._order.start(first_tick, newest_tick)
        self._gap.forget()
        self._parts.clear()
        self._snapshots.clear()

    @property
    def next_tick(self) -> int:
        return self._order.next_tick

    @property
    def missing(self) -> bool:
        """Tell whether a tick that exists has not come yet."""
        return self._order.missing

    def take(self, message_type: int, payload: bytes, events: list[Event]) -> int | None:
        """Take a payload; return the tick of the record in it, None for another thing."""
        found: list[Event] = []
        try:
            tick = self._take(message_type, payload, found)
        except ValueError:
            self.malformed += 1
            return None
        self._hand_on(found, events)
        return tick

    def decide(self, now_s: float, events: list[Event]) -> Refill:
        """Say what to do about missing ticks; what is given up becomes a gap here."""
        while self.missing:
            decision = self._gap.decide(self.next_tick, now_s)
            if decision is not Refill.GIVE_UP:
                return decision
            found: list[Event] = []
            self._order.give_up(found)
            self._hand_on(found, events)
            self._gap.forget()
        self._gap.forget()
        return Refill.WAIT

    def put_off(self) -> None:
        """Note that the device cannot be asked now."""
        self._gap.put_off()

    def answered(self, reply: Reply, events: list[Event]) -> None:
        """Take the answer to BACKFILL: from where on the device has what, or a no."""
        self._gap.answered(refused=reply.refusal != messages.DONE)
        if reply.refusal != messages.DONE or len(reply.data) < _BACKFILL.size:
            return
        first, seconds_from, fine_from = _BACKFILL.unpack_from(reply.data)
        self._finer_from = {SECOND_TICKS: fine_from, RUN_TICKS: seconds_from}
        step = 1 if first >= fine_from else SECOND_TICKS if first >= seconds_from else RUN_TICKS
        if self.missing and first >= self.next_tick + step:
            found: list[Event] = []
            self._order.give_up(found, first)
            self._hand_on(found, events)

    def _take(self, message_type: int, payload: bytes, found: list[Event]) -> int | None:
        if message_type == messages.SNAPSHOT:
            self._take_snapshot(payload)
            return None
        again = message_type == messages.BACKFILL_BLOCK
        if again:
            if not payload:
                raise ValueError("a block of nothing")
            if payload[0] != FORM_WHOLE:
                self._take_block(unpack(payload), found)
                return None
            payload = payload[1:]
        decode_record(payload)  # what goes on from here is a record, whoever sent it
        tick = _TICK.unpack_from(payload)[0]
        if again:
            self._gap.saw_resent(tick, self.next_tick)
        self._order.take(Record(payload, tick, again), found)
        return tick

    def _take_block(self, block: PackedBlock, found: list[Event]) -> None:
        self._gap.saw_resent(block.first_tick, self.next_tick)
        end = self._finer_from.get(block.step, 0) or block.last_tick + 1
        ticks = [one.tick for one in block.ticks if self.next_tick <= one.tick < end]
        if not ticks or ticks[0] >= self.next_tick + max(block.step, self._thinned_by):
            return  # known already, or one in between was lost: asked for again
        if self.rebuilder is None:
            self._order.give_up(found, ticks[-1] + 1)
            return
        if block.step > 1 and block.step != self._thinned_by:
            found.append(Thinned(self.next_tick, end - 1, block.step))
        for record in self.rebuilder.records_of(block, ticks[0], ticks[-1]):
            self._order.skip_to(record.tick)
            self._order.take(record, found)
        self._thinned_by = block.step

    def _take_snapshot(self, payload: bytes) -> None:
        if len(payload) < _PART.size:
            raise ValueError("a part of a snapshot is cut short")
        tick, number, parts = _PART.unpack_from(payload)
        if number >= parts:
            raise ValueError("a part beyond the last")
        if tick not in self._parts:
            self._parts = {tick: {}}  # one at a time: of an older one parts were lost
        self._parts[tick][number] = payload[_PART.size :]
        if len(self._parts[tick]) == parts:
            whole = self._parts.pop(tick)
            self._snapshots[tick] = tuple(read_numbers(b"".join(whole[n] for n in range(parts))))

    def _hand_on(self, found: list[Event], events: list[Event]) -> None:
        """Append what was found; the rebuilder follows, and each snapshot comes after its tick."""
        for event in found:
            events.append(event)
            if isinstance(event, Record):
                if self.rebuilder is not None:
                    self.rebuilder.note(event.raw, event.tick, event.origin)
                self._thinned_by = self._thinned_by if event.again else 1
        for tick in [tick for tick in self._snapshots if tick < self.next_tick]:
            numbers = self._snapshots.pop(tick)
            if self.rebuilder is not None:
                self.rebuilder.note_snapshot(tick, list(numbers))
            events.append(Snapshot(tick, numbers))
