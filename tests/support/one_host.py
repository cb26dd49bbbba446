"""One host at the end of a wire of bytes: HELLO, plan, arming, renewals, and the records it hears.

Takes a function that lets one tick pass with bytes from the host and gives the device's answer.
"""

import struct

from emberbed.link.frames import Frame, FrameSplitter, encode
from emberbed.records import decode_record
from emberbed_fw import messages
from tests.support.bench import arm_payload
from tests.support.wire import HOST_NONCE, end_of_plan


class OneHost:
    def __init__(self, pass_tick):
        self._pass_tick = pass_tick
        self._splitter = FrameSplitter()
        self._session = 0
        self._sequence = 0
        self._tick = 0
        self.newest = None  # record
        self.records = []
        self.replies = []
        self.renews = True

    def tick(self, count=1):
        """Let ticks pass; return the newest record."""
        for _ in range(count):
            wire = b""
            if self._session and self.renews and self.newest is not None:
                wire = self._frame(messages.RENEW, struct.pack("<I", self._tick), sequence=0)
            self._hear(self._pass_tick(1, wire).wire)
        return self.newest

    def ask(self, kind, payload=b""):
        """Send a request and return (refusal's name, data) of its answer."""
        self._sequence += 1
        frame = self._frame(kind, payload, self._sequence)
        before = len(self.replies)
        self._hear(self._pass_tick(1, frame).wire)
        for _ in range(5):
            for asked, number, refusal, data in self.replies[before:]:
                if (asked, number) == (kind, self._sequence):
                    return messages.REFUSAL_NAMES[refusal], data
            self.tick()
        raise AssertionError(f"no answer to {messages.MESSAGE_NAMES[kind]}")

    def hello(self):
        name, data = self.ask(messages.HELLO, struct.pack("<BI", 1, HOST_NONCE))
        assert name == "DONE", name
        self._session = struct.unpack_from("<BI", data)[1]
        return data

    def write_plan(self, plan):
        for at in range(0, len(plan), messages.BLOCK_CHUNK):
            part = struct.pack("<H", at) + plan[at : at + messages.BLOCK_CHUNK]
            assert self.ask(messages.PLAN_WRITE, part)[0] == "DONE"
        assert self.ask(messages.PLAN_WRITE, end_of_plan(plan))[0] == "DONE"

    def arm(self, plan):
        assert self.ask(messages.ARM, arm_payload(plan))[0] == "DONE"

    def _frame(self, kind, payload, sequence):
        return encode(Frame(kind, self._session, sequence, self._tick, payload, 1))

    def _hear(self, octets):
        for frame in self._splitter.feed(octets):
            if frame.message_type == messages.RECORD:
                self.newest = decode_record(frame.payload)
                self.records.append(self.newest)
                self._tick = self.newest.tick
            elif frame.message_type == messages.REPLY:
                asked, number, refusal = struct.unpack_from("<BHB", frame.payload)
                self.replies.append((asked, number, refusal, frame.payload[4:]))
        assert self._splitter.damaged == 0
