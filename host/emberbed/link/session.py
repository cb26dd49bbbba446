"""The host's half of the protocol, without a port or a clock: bytes and time in, events out.

Builders return the bytes to send; `receive` takes what came and the time in seconds of any steady
clock, and is called with b"" as well so that time-outs run; `take_outgoing` then gives what has to
be sent besides (repeats, asks for missing records). One request at a time: it is sent again under
its sequence number until the device answers, or repeats an answer that was lost. STOP and RENEW
need not wait for it and are numbered apart, so that they use up nothing of the window in which the
device takes requests. BACKFILL waits for it, and gets a new number when a request overtook it.
"""

import struct

from emberbed.link.blocks import crc_halves
from emberbed.link.events import (
    Damaged,
    Event,
    Greeting,
    Reply,
    SessionLost,
    Silent,
    WrongVersion,
    contradicts,
    read_greeting,
)
from emberbed.link.frames import Frame, FrameSplitter, encode
from emberbed.link.lanes import COMMON_LANE, Waiting, lane_of
from emberbed.link.rebuild import Rebuilder
from emberbed.link.record_stream import RecordStream
from emberbed.link.refill import Refill
from emberbed_fw import messages
from emberbed_fw.frames import PROTOCOL_VERSION
from emberbed_fw.units import NONE

ANSWER_S = 0.4  # a tick is 0.1 s; commands are answered within two
ATTEMPTS = 5  # the first sending and four repeats: silent after 2 s
MAX_NONCE = (1 << 30) - 1
NO_SESSION = 0

# A newer number would make the device forget the answer that it may have to repeat.
_BEFORE_BACKFILL = (COMMON_LANE, lane_of(messages.BACKFILL))
_OF_TICKS = (messages.RECORD, messages.BACKFILL_BLOCK, messages.SNAPSHOT)
_TICK = struct.Struct("<I")
_REPLY = struct.Struct("<BHB")
_ARM = struct.Struct(messages.ARM_PAYLOAD)
_TOUCH = struct.Struct(messages.TOUCH_PAYLOAD)


class Session:
    """One session with one device, from HELLO on.

    A broken-off session goes on with its `nonce` (the device keeps session and records for the host
    that has it) and `first_tick`: records from there are asked for before any newer one is given.
    Without `first_tick` the records begin after the device's tick at HELLO.
    """

    def __init__(
        self,
        nonce: int,
        *,
        first_sequence: int = 0,
        first_tick: int | None = None,
        rebuilder: Rebuilder | None = None,
        answer_s: float = ANSWER_S,
        attempts: int = ATTEMPTS,
    ) -> None:
        if not 0 <= nonce <= MAX_NONCE:
            raise ValueError(f"a nonce has 30 bits, 0..{MAX_NONCE}, not {nonce}")
        self.nonce = nonce
        self.answer_s = answer_s
        self.number = NO_SESSION  # issued by the device
        self.greeting: Greeting | None = None
        self.newest_tick = 0
        self.bytes_received = 0
        self.frames_received = 0
        self._first_tick = first_tick
        self._attempts = attempts
        # Begin anywhere, so that an old answer still in a buffer fits no question of ours.
        self._sequence = self._aside_sequence = first_sequence & 0xFFFF
        self._splitter = FrameSplitter()
        self._damaged_told = 0
        self._waiting: dict[int, Waiting] = {}
        self._outgoing = bytearray()
        self._stream = RecordStream(answer_s, rebuilder)
        self._greeted_as = -1  # sequence of the HELLO that opened the session
        self._foreign = (PROTOCOL_VERSION, NO_SESSION)  # last wrong version or session told
        self._odd_version = PROTOCOL_VERSION  # of the frame before; one odd frame proves nothing

    # what the host asks for

    def follow_with(self, rebuilder: Rebuilder) -> None:
        """From now on let packed ticks become records by this one."""
        self._stream.rebuilder = rebuilder

    def note_trip_counts(self, counts: bytes) -> None:
        """Take what ARM answered: a replay needs it."""
        if self._stream.rebuilder is not None:
            self._stream.rebuilder.trip_counts = counts

    def come_back(self, first_tick: int) -> None:
        """The next HELLO is to go on with this session, on a port of its own, at `first_tick`."""
        self._first_tick = first_tick
        self._splitter = FrameSplitter()
        self._damaged_told = 0

    def hello(self) -> bytes:
        """Ask for a session; forgets everything of the one before, records on their way too."""
        self.number = NO_SESSION
        self.greeting = None
        self._waiting.clear()
        self._outgoing.clear()
        self._stream.start(0, -1)  # nothing is missing of a session that is not open
        return self.request(messages.HELLO, struct.pack("<BI", PROTOCOL_VERSION, self.nonce))

    def renew(self, tick: int) -> bytes:
        """Answer for the heat: every record up to `tick` is committed. No reply is awaited."""
        sequence = self._next_sequence(messages.RENEW)
        return self._frame(messages.RENEW, sequence, _TICK.pack(tick))

    def arm(
        self,
        plan_crc: int,
        attendance: int = messages.ATTEND_HOST,
        stage: int = NONE,
        done_ticks: int = 0,
    ) -> bytes:
        """Arm for a plan; with a `stage`, go on there after a trip that a person has mended."""
        crc = crc_halves(plan_crc)
        return self.request(messages.ARM, _ARM.pack(*crc, attendance, stage, done_ticks))

    def stop(self, reason: int = messages.STOP_BY_PERSON) -> bytes:
        return self.request(messages.STOP, bytes([reason]))

    def acknowledge(self, prompt: int, source: int = messages.BY_TERMINAL) -> bytes:
        return self.request(messages.ACK_PROMPT, bytes([prompt, source]))

    def touch(self, kind: int, amount: int, source: int) -> bytes:
        """Change the running plan, as messages.HOLD_HERE .. say."""
        return self.request(messages.STAGE_REQUEST, _TOUCH.pack(kind, amount, source))

    def backfill(self, first_tick: int) -> bytes:
        """Ask for the records from `first_tick` on (missing ones are asked for without this)."""
        return self.request(messages.BACKFILL, _TICK.pack(first_tick))

    def request(self, message_type: int, payload: bytes = b"") -> bytes:
        """Build any request; a reply (or `Silent`) must end the one before in its lane."""
        lane = lane_of(message_type)
        assert lane not in self._waiting, "one request at a time"
        sequence = self._next_sequence(message_type)
        self._waiting[lane] = Waiting(message_type, payload, [sequence], self._attempts - 1)
        return self._frame(message_type, sequence, payload)

    def abandon(self, message_type: int) -> None:
        """Wait no longer for the reply to a request of this type."""
        self._waiting.pop(lane_of(message_type), None)

    # what the device says

    def receive(self, received: bytes, now_s: float) -> list[Event]:
        """Take bytes off the wire (or none) at `now_s`; return what they mean, in order."""
        events: list[Event] = []
        self.bytes_received += len(received)
        for frame in self._splitter.feed(received):
            self.frames_received += 1
            self._take_frame(frame, events)
        damaged = self._splitter.damaged + self._stream.malformed
        if damaged > self._damaged_told:
            events.append(Damaged(damaged - self._damaged_told))
            self._damaged_told = damaged
        self._mend_gap(now_s, events)
        for lane in list(self._waiting):
            self._watch(lane, now_s, events)
        return events

    def take_outgoing(self) -> bytes:
        """Return what is to be sent now, once."""
        outgoing = bytes(self._outgoing)
        self._outgoing.clear()
        return outgoing

    def _take_frame(self, frame: Frame, events: list[Event]) -> None:
        before, self._odd_version = self._odd_version, frame.version
        if frame.version != PROTOCOL_VERSION:
            if frame.version == before:
                self._tell_foreign((frame.version, NO_SESSION), WrongVersion(frame.version), events)
        elif frame.message_type == messages.REPLY:
            self._take_reply(frame, events)
        elif self.number == NO_SESSION:
            return  # stays in the device's ring, `first_tick` brings it
        elif frame.session != self.number:
            foreign = (frame.version, frame.session)
            self._tell_foreign(foreign, SessionLost(frame.session), events)
        elif frame.message_type in _OF_TICKS:
            tick = self._stream.take(frame.message_type, frame.payload, events)
            self.newest_tick = max(self.newest_tick, frame.tick, tick or 0)

    def _tell_foreign(self, foreign: tuple[int, int], event: Event, events: list[Event]) -> None:
        if foreign != self._foreign:
            self._foreign = foreign
            events.append(event)

    def _take_reply(self, frame: Frame, events: list[Event]) -> None:
        if len(frame.payload) < _REPLY.size:
            self._stream.malformed += 1
            return
        request_type, sequence, refusal = _REPLY.unpack_from(frame.payload)
        reply = Reply(request_type, sequence, refusal, frame.payload[_REPLY.size :])
        if request_type == messages.HELLO and contradicts(reply.data, frame.version):
            self._stream.malformed += 1  # as if it had been lost: HELLO is said again
            return
        if self.number != NO_SESSION and frame.session == self.number:
            self.newest_tick = max(self.newest_tick, frame.tick)
        waiting = self._waiting.get(lane_of(request_type))
        if waiting is not None and waiting.answered_by(request_type, sequence):
            self._take_answer(waiting, reply, events)
        elif request_type == messages.HELLO and sequence == self._greeted_as:
            self._open(reply)  # a repeated HELLO may have been given a session of its own
        elif request_type == messages.RENEW:
            events.append(reply)

    def _take_answer(self, waiting: Waiting, reply: Reply, events: list[Event]) -> None:
        if reply.refusal == messages.TOO_OLD and waiting.sends_left:
            self._send_again(waiting, renumber=True)
            return
        self.abandon(waiting.message_type)
        if reply.request_type == messages.BACKFILL:
            self._take_backfill_answer(reply, events)
            return
        if reply.request_type == messages.HELLO:
            self._open(reply)
        events.append(reply)

    def _open(self, reply: Reply) -> None:
        greeting = read_greeting(reply.data)
        if greeting is None or reply.refusal != messages.DONE:
            return
        opened_before = self._greeted_as == reply.request_sequence
        self.greeting = greeting
        self.number = greeting.session
        self._foreign = (PROTOCOL_VERSION, greeting.session)
        self._greeted_as = reply.request_sequence
        if opened_before:
            return
        self.newest_tick = greeting.newest_tick
        first_tick = self._first_tick
        if first_tick is None or first_tick > greeting.newest_tick:
            first_tick = greeting.newest_tick + 1
        self._stream.start(first_tick, greeting.newest_tick)

    # repeats and missing records

    def _watch(self, lane: int, now_s: float, events: list[Event]) -> None:
        waiting = self._waiting[lane]
        is_backfill = waiting.message_type == messages.BACKFILL
        if is_backfill and COMMON_LANE in self._waiting:
            return
        if not waiting.is_due(now_s, self.answer_s):
            return
        if waiting.sends_left:
            self._send_again(waiting, renumber=is_backfill)
            waiting.is_due(now_s, self.answer_s)
            return
        del self._waiting[lane]
        if is_backfill:
            self._stream.put_off()
        events.append(Silent(waiting.message_type, waiting.sequences[-1]))

    def _send_again(self, waiting: Waiting, renumber: bool) -> None:
        if renumber:
            waiting.sequences.append(self._next_sequence(waiting.message_type))
        waiting.sends_left -= 1
        waiting.due_s = None
        self._outgoing += self._frame(waiting.message_type, waiting.sequences[-1], waiting.payload)

    def _mend_gap(self, now_s: float, events: list[Event]) -> None:
        if not self._waiting.keys().isdisjoint(_BEFORE_BACKFILL):
            return
        if self._stream.decide(now_s, events) is Refill.ASK:
            self._outgoing += self.backfill(self._stream.next_tick)

    def _take_backfill_answer(self, reply: Reply, events: list[Event]) -> None:
        if reply.refusal in (messages.BUSY, messages.WRONG_SESSION):
            self._stream.put_off()
        else:
            self._stream.answered(reply, events)

    # bytes

    def _next_sequence(self, message_type: int) -> int:
        if message_type in (messages.RENEW, messages.STOP):
            self._aside_sequence = (self._aside_sequence + 1) & 0xFFFF
            return self._aside_sequence
        self._sequence = (self._sequence + 1) & 0xFFFF
        return self._sequence

    def _frame(self, message_type: int, sequence: int, payload: bytes) -> bytes:
        return encode(Frame(message_type, self.number, sequence, self.newest_tick, payload))
