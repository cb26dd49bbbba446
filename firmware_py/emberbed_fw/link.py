"""The device's end of the wire: frames in to requests, records and replies out as frames.

Session, sequence and age are checked here; requests that touch the machine are queued for the next
tick, all others are answered at once. RENEW acknowledges records. Too many damaged frames make the
link bad: renewals are ignored until a clean minute has passed, so the lease runs out. Runs after
the outputs are set and may allocate; knows no port. Serves hazard H03.
"""

import struct

from emberbed_fw import frames
from emberbed_fw import messages as ms
from emberbed_fw.backfill import Backfill
from emberbed_fw.block_requests import FOR_THE_TICK, BlockRequests
from emberbed_fw.commands import MAX_COMMANDS, command_length, prepare_feedforward
from emberbed_fw.damage_watch import DamageWatch
from emberbed_fw.portrait import NAMELESS, Portrait
from emberbed_fw.snapshot_parts import SNAPSHOT_TICKS, SnapshotParts

OUT_BYTES = 2048  # of one turn: a record and what is sent again take a third of it
PAYLOAD_AT = frames.HEADER_BYTES
LATER_FRAMES_PER_TURN = 2  # resent records and snapshots, after the newest record
OWN = -1  # sequence of a pending command that the device gave itself: nobody waits for it
NO_SESSION = 0


class Link:
    def __init__(self, machine, recorder, nonce, build_id, identity=NAMELESS, reset_cause=0):
        self._machine = machine
        self._recorder = recorder
        self._nonce = nonce
        self._portrait = Portrait(build_id, identity, reset_cause)
        self._reader = frames.FrameReader()
        self._session = NO_SESSION
        self._host_nonce = -1  # no host yet: none has this number
        self._sequence_out = 0
        self._last_request = 0
        self._last_kind = 0
        self._answer = bytearray(frames.MAX_FRAME)  # of the last request, to be given again
        self._answer_length = 0
        self._pending_kind = [0] * MAX_COMMANDS  # of the queued commands that want an answer
        self._pending_sequence = [0] * MAX_COMMANDS
        self._backfill = Backfill(recorder)
        self._snapshot = SnapshotParts()
        self._wants_snapshot = False  # a host has just come, or come back
        self._damage = DamageWatch()
        self._blocks = BlockRequests(machine)
        self._body = bytearray(frames.MAX_BODY)
        self._frame = bytearray(frames.MAX_FRAME)
        self.out = bytearray(OUT_BYTES)
        self.out_filled = 0

    def receive(self, octets, count):
        """Take `count` bytes from the wire."""
        for index in range(count):
            if self._reader.feed(octets[index]):
                self._take_frame(self._reader.body, self._reader.length)

    def after_tick(self):
        """Answer the tick's commands and send its record."""
        self._answer_commands()
        self._damage.step(self._machine.tick, self._reader.damaged)
        if self._session:
            self._send_newest()
            self._take_snapshot()

    def send_wanted_again(self):
        """Send some of what a host lacks besides the newest record; in every turn, for a host that
        lacks one acknowledges nothing, and a port that waits for it makes no ticks."""
        for _frame in range(LATER_FRAMES_PER_TURN):
            size = self._snapshot.next_into(self._body, PAYLOAD_AT)
            kind = ms.SNAPSHOT
            if size == 0:
                size = self._backfill.next_into(self._body, PAYLOAD_AT)
                kind = ms.BACKFILL_BLOCK
            if size == 0:
                return
            self._send(self._frame, self._frame_up(kind, size, self._frame))

    def flow_owed(self):
        """Return how many records the host has not acknowledged, 0 without a host."""
        return self._recorder.unacknowledged() if self._session else 0

    def keep_plan(self, block):
        """Let PLAN_READ give the plan that the device has made itself."""
        self._blocks.keep_plan(block)

    def plan_block(self):
        """Return the bytes of the plan that came last, whole or not."""
        return self._blocks.plan_block()

    def put_own(self, kind, payload):
        """Queue a command of the device itself, which nobody waits for; tell whether it fits."""
        number = self._machine.commands.count
        if not self._machine.commands.put(kind, payload, 0, len(payload)):
            return False
        self._pending_kind[number] = kind
        self._pending_sequence[number] = OWN
        return True

    def _take_frame(self, body, length):
        version, kind, size, session, sequence, seen_tick = struct.unpack_from(
            frames.HEADER, body, 0
        )
        if kind == ms.STOP:
            if size == 0:
                body[PAYLOAD_AT] = ms.STOP_BY_PERSON
            self._queue(kind, sequence, body, 1)  # whatever its size: a STOP is a STOP
            return
        if version != frames.PROTOCOL_VERSION:
            self._refuse(kind, sequence, ms.WRONG_VERSION)
        elif kind == ms.HELLO:
            self._hello(sequence, body, size)
        elif session != self._session or self._session == NO_SESSION:
            self._refuse(kind, sequence, ms.WRONG_SESSION)
        elif kind == ms.RENEW:
            self._renew(sequence, body, size)
        elif sequence == self._last_request and kind == self._last_kind:
            self._send(self._answer, self._answer_length)
        elif 1 <= (sequence - self._last_request) & 0xFFFF <= ms.SEQUENCE_WINDOW:
            self._last_request = sequence
            self._last_kind = kind
            self._answer_length = 0
            if self._machine.tick - seen_tick > ms.MAX_FRAME_AGE_TICKS:
                self._refuse(kind, sequence, ms.TOO_OLD)
            else:
                self._take_request(kind, sequence, body, size)

    def _hello(self, sequence, body, size):
        if size != 5:
            self._refuse(ms.HELLO, sequence, ms.BAD_LENGTH)
            return
        host_nonce = struct.unpack_from("<I", body, PAYLOAD_AT + 1)[0]
        if body[PAYLOAD_AT] != frames.PROTOCOL_VERSION:
            self._refuse(ms.HELLO, sequence, ms.WRONG_VERSION)
            return
        if host_nonce != self._host_nonce:
            if self._machine.guard.held_by_host():
                self._refuse(ms.HELLO, sequence, ms.BUSY)
                return
            self._number_session()
            self._host_nonce = host_nonce
            self._recorder.begin_session()
        elif (sequence - self._last_request) & 0xFFFF > ms.SEQUENCE_WINDOW:
            # the same host begins its numbers anew; or an old HELLO came out of some buffer, and
            # must not let the old requests of its session in again
            self._number_session()
        self._last_request = sequence
        self._last_kind = ms.HELLO
        self._backfill.forget()
        self._wants_snapshot = True
        said = self._portrait.pack(self._machine, self._recorder, self._session)
        self._reply(ms.HELLO, sequence, ms.DONE, said)

    def _number_session(self):
        self._nonce = (self._nonce * 1103 + 12345) % 0x3FFFFFF + 1
        self._session = self._nonce

    def _renew(self, sequence, body, size):
        if size != 4 or self._damage.is_bad():
            return
        self._recorder.release(struct.unpack_from("<I", body, PAYLOAD_AT)[0])
        self._queue(ms.RENEW, sequence, body, size)

    def _take_request(self, kind, sequence, body, size):
        if kind in (ms.PLAN_WRITE, ms.SETTINGS_WRITE):
            self._write_block(kind, sequence, body, size)
        elif kind in (ms.PLAN_READ, ms.SETTINGS_READ):
            self._read_block(kind, sequence, body, size)
        elif kind == ms.FEEDFORWARD:
            self._take_feedforward(kind, sequence, body, size)
        elif kind == ms.BACKFILL:
            self._ask_backfill(sequence, body, size)
        elif kind == ms.SELFTEST:
            from emberbed_fw.self_report import report_or_refuse  # seldom wanted

            refusal, report = report_or_refuse(self._machine, size)
            self._reply(kind, sequence, refusal, report)
        elif command_length(kind) >= 0:
            self._queue(kind, sequence, body, size)
        else:
            self._refuse(kind, sequence, ms.NOT_OFFERED)

    def _queue(self, kind, sequence, body, size):
        """Hand a tick command to the machine; its answer follows the tick."""
        if size != command_length(kind):
            self._refuse(kind, sequence, ms.BAD_LENGTH)
            return
        commands = self._machine.commands
        number = commands.count
        if not commands.put(kind, body, PAYLOAD_AT, size):
            if kind != ms.RENEW:
                self._refuse(kind, sequence, ms.BUSY)
            return
        self._pending_kind[number] = kind
        self._pending_sequence[number] = sequence

    def _write_block(self, kind, sequence, body, size):
        refusal = self._blocks.write(kind, body, size)
        if refusal == FOR_THE_TICK:
            self._queue(kind, sequence, body, size)
        elif refusal == ms.BAD_PLAN:
            self._reply(kind, sequence, refusal, bytes([self._blocks.fault]))
        else:
            self._refuse(kind, sequence, refusal)

    def _take_feedforward(self, kind, sequence, body, size):
        """One in a tick: its end is checked by what the ticks before it have taken."""
        waits = kind in self._pending_kind[: self._machine.commands.count]
        refusal = ms.BUSY if waits else prepare_feedforward(self._machine, body, PAYLOAD_AT)
        if refusal == ms.DONE:
            self._queue(kind, sequence, body, size)
        else:
            self._refuse(kind, sequence, refusal)

    def _read_block(self, kind, sequence, body, size):
        part = self._blocks.read(kind, body, size)
        if part is None:
            self._refuse(kind, sequence, ms.BAD_LENGTH)
        else:
            self._reply(kind, sequence, ms.DONE, part)

    def _ask_backfill(self, sequence, body, size):
        if size != 4:
            self._refuse(ms.BACKFILL, sequence, ms.BAD_LENGTH)
            return
        first = self._backfill.ask(struct.unpack_from("<I", body, PAYLOAD_AT)[0])
        self._reply(ms.BACKFILL, sequence, ms.DONE, struct.pack(
            ms.BACKFILL_REPLY, first, self._backfill.seconds_from(), self._backfill.fine_from()
        ))

    def _answer_commands(self):
        commands = self._machine.commands
        for number in range(commands.count):
            kind = self._pending_kind[number]
            sequence = self._pending_sequence[number]
            refusal = commands.refusals[number]
            told = b""
            if kind == ms.ARM and refusal == ms.DONE:
                told = bytes(self._machine.life.trip_counts)
                by_host = NO_SESSION if sequence == OWN else self._session
                self._portrait.note_arming(by_host, self._machine.tick)
            if kind != ms.RENEW and sequence != OWN:
                self._reply(kind, sequence, refusal, told)
        commands.clear()

    def _send_newest(self):
        tick = self._recorder.newest_tick
        length = self._recorder.length(tick)
        slot = self._recorder.slot(tick)
        for index in range(length):
            self._body[PAYLOAD_AT + index] = slot[index]
        self._send(self._frame, self._frame_up(ms.RECORD, length, self._frame))

    def _take_snapshot(self):
        """Now and then, and for whoever has just come: a state to begin a replay from."""
        machine = self._machine
        if machine.plan is None:
            return  # nothing to replay yet
        if self._wants_snapshot or machine.tick % SNAPSHOT_TICKS == 0:
            self._wants_snapshot = False
            self._snapshot.take(machine)

    def _refuse(self, kind, sequence, refusal):
        """Answer with a code and nothing else (DONE included)."""
        self._reply(kind, sequence, refusal, b"")

    def _reply(self, kind, sequence, refusal, data):
        struct.pack_into("<BHB", self._body, PAYLOAD_AT, kind, sequence, refusal)
        at = PAYLOAD_AT + 4
        for index in range(len(data)):
            self._body[at + index] = data[index]
        is_last = sequence == self._last_request and kind == self._last_kind
        target = self._answer if is_last else self._frame
        length = self._frame_up(ms.REPLY, 4 + len(data), target)
        if is_last:
            self._answer_length = length
        self._send(target, length)
        if is_last and refusal == ms.BUSY:
            self._last_request = (sequence - 1) & 0xFFFF  # the same request may be tried again

    def _frame_up(self, kind, size, target):
        """Put the header before the payload in `_body` and frame both; return the length."""
        self._sequence_out = (self._sequence_out + 1) & 0xFFFF
        struct.pack_into(
            frames.HEADER, self._body, 0, frames.PROTOCOL_VERSION, kind, size, self._session,
            self._sequence_out, self._machine.tick,
        )
        return frames.encode_frame(self._body, PAYLOAD_AT + size, target)

    def _send(self, frame, length):
        """Queue a frame for the port; without room it is dropped, and the host asks again."""
        filled = self.out_filled
        if filled + length > OUT_BYTES:
            return
        self.out[filled : filled + length] = memoryview(frame)[:length]
        self.out_filled = filled + length
