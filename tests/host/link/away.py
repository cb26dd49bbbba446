"""A host that was away, and what the device's own memory has of it."""

import struct

from emberbed.link.events import Record, Reply
from emberbed.link.rebuild import Rebuilder
from emberbed.link.record_stream import RecordStream
from emberbed.link.refill import Refill
from emberbed_fw import messages, recorder
from emberbed_fw.backfill import Backfill
from emberbed_fw.recorder import Recorder


def tick_of(raw):
    return struct.unpack_from("<I", raw)[0]


def up_to_a_long_block(records):
    """Return records whose newest block holds more than what comes whole: the newest record of all
    comes by itself, which is not what is looked at here."""
    ring, end = Recorder().fine, 0
    for number, raw in enumerate(records, 1):
        ring.take(tick_of(raw), raw, len(raw))
        if tick_of(raw) - ring._first[ring._newest] > recorder.RING_SLOTS:
            end = number
    return records[:end]


class Away:
    """A host that has the records before `gone`, and the device's memory of all of them."""

    def __init__(self, run, gone, until=None, knows=True):
        settings, plan, self.records = run
        self.by_tick = {tick_of(raw): raw for raw in self.records}
        self.until = until or tick_of(self.records[-1])
        memory = Recorder()
        for raw in self.records:
            if tick_of(raw) <= self.until:
                self._keep(memory, raw)
        self.backfill = Backfill(memory)
        self.rebuilder = Rebuilder(settings, plan)
        self.stream = RecordStream(0.4, self.rebuilder)
        self.stream.start(tick_of(self.records[0]) if knows else gone, self.until)
        self.events = []
        for raw in self.records if knows else ():
            if tick_of(raw) < gone:
                self.stream.take(messages.RECORD, raw, self.events)
        self.events.clear()
        assert self.stream.next_tick == gone

    @staticmethod
    def _keep(memory, raw):
        tick = memory.newest_tick = tick_of(raw)
        memory.slot(tick)[: len(raw)] = raw
        memory._lengths[tick % recorder.RING_SLOTS] = len(raw)
        for ring in (memory.fine, memory.second, memory.run):
            ring.take(tick, raw, len(raw))

    def ask(self):
        """Ask as a session does, once; return the payloads that come."""
        assert self.stream.decide(0.0, self.events) is Refill.ASK
        first = self.backfill.ask(self.stream.next_tick)
        told = struct.pack(
            messages.BACKFILL_REPLY, first, self.backfill.seconds_from(), self.backfill.fine_from()
        )
        self.stream.answered(Reply(messages.BACKFILL, 1, messages.DONE, told), self.events)
        out, payloads = bytearray(400), []
        while length := self.backfill.next_into(out, 0):
            payloads.append(bytes(out[:length]))
        return payloads

    def hear(self, payloads):
        for payload in payloads:
            self.stream.take(messages.BACKFILL_BLOCK, payload, self.events)
        return self.got

    @property
    def got(self):
        return [event for event in self.events if isinstance(event, Record)]

    def origins(self):
        return [one.origin for one in self.got]

    def is_true(self, record):
        return record.raw == self.by_tick[record.tick]
