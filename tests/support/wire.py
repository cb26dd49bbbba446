"""The firmware's link on a table: a bench that is spoken to in frames, by the host's own codec."""

import struct

from emberbed.link.frames import Frame, FrameSplitter, encode
from emberbed_fw import messages
from emberbed_fw.link import Link
from emberbed_fw.recorder import Recorder
from emberbed_fw.run_states import HEATING_STATES
from emberbed_fw.trip_codes import TRIP_CODES
from tests.support.bench import Bench, arm_payload

BUILD_ID = b"0123abcd"
HOST_NONCE = 4711
NEVER_TRIPPED = bytes(TRIP_CODES)  # what an arming is answered with
DAMAGED = b"\0\x05\x01\x02\x03\x04\0"  # whole COBS, wrong CRC


class Wire:
    """`ask` sends one request and gives its answer (refusal, data), ticking if it must."""

    def __init__(self, bench=None, nonce=1):
        self.bench = bench or Bench()
        self.machine = self.bench.machine
        self.recorder = Recorder()
        self.link = Link(self.machine, self.recorder, nonce, BUILD_ID)
        self.session = 0
        self.sequence = 0
        self.heard = []  # every frame that came from the device
        self.renews = False
        self._splitter = FrameSplitter()

    def feed(self, octets):
        """Put bytes on the wire to the device."""
        self.link.receive(octets, len(octets))
        self._listen()

    def frame(self, kind, payload=b"", sequence=None, session=None, tick=None, version=1):
        """Return the bytes of a request; the next sequence number unless told otherwise."""
        if sequence is None:
            self.sequence = sequence = (self.sequence + 1) & 0xFFFF
        session = self.session if session is None else session
        tick = self.machine.tick if tick is None else tick
        return encode(Frame(kind, session, sequence, tick, payload, version))

    def ask(self, kind, payload=b"", **header):
        """Send a request; return (refusal's name, data) or None when nothing is answered."""
        before = len(self.heard)
        self.feed(self.frame(kind, payload, **header))
        sequence = header.get("sequence", self.sequence)
        for _ in range(2):
            for frame in self.heard[before:]:
                if frame.message_type == messages.REPLY:
                    asked, number, refusal = struct.unpack_from("<BHB", frame.payload)
                    if (asked, number) == (kind, sequence):
                        return messages.REFUSAL_NAMES[refusal], frame.payload[4:]
            self.tick()
        return None

    def hello(self, nonce=HOST_NONCE, **header):
        """Say HELLO; take the session if it is given."""
        answer = self.ask(messages.HELLO, struct.pack("<BI", 1, nonce), **header)
        if answer and answer[0] == "DONE":
            self.session = struct.unpack_from("<BI", answer[1])[1]
        return answer

    def tick(self, count=1):
        for _ in range(count):
            if self.renews:
                self.renew()
            self.bench.sample(self.machine.inputs)
            self.machine.sample_to_drive()
            self.recorder.pack(self.machine)
            self.link.after_tick()
            self.link.send_wanted_again()
            self._listen()

    def link_is_bad(self):
        """Tell whether so many frames came damaged that renewals do not count."""
        return self.link._damage.is_bad()

    def turn_without_tick(self):
        """Let the device take a turn in which only the wire moved."""
        self.link.send_wanted_again()
        self._listen()

    def renew(self, tick=None, **header):
        """Acknowledge the newest record, outside the order of sequence numbers."""
        tick = self.machine.tick if tick is None else tick
        self.feed(self.frame(messages.RENEW, struct.pack("<I", tick), sequence=0, **header))

    def write_plan(self, plan, chunk=messages.BLOCK_CHUNK):
        """Send a plan in parts; return the answer to its end."""
        for at in range(0, len(plan), chunk):
            part = struct.pack("<H", at) + plan[at : at + chunk]
            answer = self.ask(messages.PLAN_WRITE, part)
            assert answer and answer[0] == "DONE", answer
        return self.ask(messages.PLAN_WRITE, end_of_plan(plan))

    def read_plan(self, length, chunk=messages.BLOCK_CHUNK):
        """Return the stored plan's bytes."""
        octets = b""
        while len(octets) < length:
            answer = self.ask(messages.PLAN_READ, struct.pack("<HB", len(octets), chunk))
            assert answer and answer[0] == "DONE" and answer[1]
            octets += answer[1]
        return octets

    def to_run(self):
        """Connect, send the bench's plan, arm, press: ends in a state that heats."""
        self.hello()
        self.renews = True
        assert self.write_plan(self.bench.plan) == ("DONE", b"")
        assert self.ask(messages.ARM, arm_payload(self.bench.plan)) == ("DONE", NEVER_TRIPPED)
        self.tick(15)
        self.bench.button = True
        self.tick(10)
        self.bench.button = False
        self.tick(40)
        assert self.machine.life.state in HEATING_STATES
        return self

    def records(self, kind=messages.RECORD):
        """Return the ticks of the records heard so far."""
        return [
            struct.unpack_from("<I", frame.payload)[0]
            for frame in self.heard
            if frame.message_type == kind
        ]

    def _listen(self):
        self.heard += self._splitter.feed(bytes(self.link.out[: self.link.out_filled]))
        self.link.out_filled = 0
        assert self._splitter.damaged == 0


def end_of_plan(plan):
    """Return the payload that closes a plan's transfer."""
    return struct.pack("<HH", messages.END_OF_BLOCK, len(plan)) + plan[-4:]


def connected(bench=None):
    """Return a wire whose host has said HELLO."""
    wire = Wire(bench)
    wire.tick(3)
    answer = wire.hello()
    assert answer and answer[0] == "DONE"
    return wire


def replies(wire):
    """Return (request type, sequence, refusal, data) of every answer heard so far."""
    return [
        (*struct.unpack_from("<BHB", frame.payload), frame.payload[4:])
        for frame in wire.heard if frame.message_type == messages.REPLY
    ]  # fmt: skip


def tell(wire, kind, payload=b"", **header):
    """Send a request without a tick; return the answers to it."""
    before = len(replies(wire))
    wire.feed(wire.frame(kind, payload, **header))
    return replies(wire)[before:]
