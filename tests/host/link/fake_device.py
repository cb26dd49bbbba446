"""A scripted device at the far end of the wire, speaking with the firmware's own codec.

Pure: bytes in, bytes out, a tick when it is told so. It keeps the rules of the device (window of
sequence numbers, stored answer, sessions, ring) and misbehaves on demand.
"""

import struct
from zlib import crc32

from emberbed_fw import messages
from emberbed_fw.frames import (
    HEADER,
    HEADER_BYTES,
    MAX_BODY,
    MAX_FRAME,
    PROTOCOL_VERSION,
    FrameReader,
    encode_frame,
)
from emberbed_fw.record import FIXED_BYTES
from tests.support.plans import bench_settings

BUILD_ID = b"0123abcd"


def fw_encode(message_type, session, sequence, tick, payload, version=PROTOCOL_VERSION):
    """Encode one frame with the firmware's codec."""
    body = bytearray(MAX_BODY)
    out = bytearray(MAX_FRAME)
    struct.pack_into(HEADER, body, 0, version, message_type, len(payload), session, sequence, tick)
    body[HEADER_BYTES : HEADER_BYTES + len(payload)] = payload
    assert len(body) == MAX_BODY, "the payload is too long"
    return bytes(out[: encode_frame(body, HEADER_BYTES + len(payload), out)])


def fw_decode(stream):
    """Decode a stream with the firmware's codec: ([(header fields..., payload)], damaged)."""
    reader = FrameReader()
    frames = []
    for octet in stream:
        if reader.feed(octet):
            version, message_type, _length, session, sequence, tick = struct.unpack_from(
                HEADER, reader.body
            )
            payload = bytes(reader.body[HEADER_BYTES : reader.length])
            frames.append((version, message_type, session, sequence, tick, payload))
    return frames, reader.damaged


def record_of(tick):
    """Return record bytes of the right length that only this tick has."""
    filler = struct.pack("<II", tick, crc32(b"%d" % tick)) * (FIXED_BYTES // 8 + 1)
    return filler[:FIXED_BYTES]


class FakeDevice:
    def __init__(self, tick=0):
        self.tick = tick
        self.ring = {}  # tick -> record, until acknowledged
        self.session = 0
        self.sessions = 0x5EED0
        self.host_nonce = None
        self.last = None  # (type, sequence) accepted last; STOP and RENEW are numbered apart
        self.answer = b""  # to it
        self.plan = bytearray()
        self.settings = bench_settings()
        self.seen = []  # (type, sequence, session, newest tick) of every frame that came in whole
        self.done = []  # (type, payload) of what was carried out
        self.renewed = []
        self.version = PROTOCOL_VERSION
        self.silent = False
        self.deaf = 0  # so many of the next frames are lost on their way here
        self.mute = 0  # so many of the next replies are lost on their way to the host
        self.doubles = False  # each reply comes twice
        self.tells_old = 0  # so many of the next requests are TOO_OLD
        self.refuse = {}  # type -> refusal bytes
        self.lost = set()  # ticks whose live record is lost
        self.lost_again = []  # ticks whose next resent record is lost, once each time listed
        self.damage_reads = False
        self.run = (0, 0, 0, 0)  # session and tick of the arming, the plan's CRC in two halves
        self.tells_oldest = True  # BACKFILL's answer says where the resend begins
        self.trip_counts = bytes(20)  # what ARM answers: one for each row of trip_codes
        self.reset_at = None  # type on whose arrival the device resets
        self._reader = FrameReader()

    # the wire

    def feed(self, received):
        """Take bytes from the host; return the bytes of the replies."""
        out = b""
        for octet in received:
            if self._reader.feed(octet):
                out += self._frame_in()
        return out

    def ticks(self, count):
        """Run `count` ticks; return the frames of their records."""
        out = b""
        for _ in range(count):
            self.tick += 1
            self.ring[self.tick] = record_of(self.tick)
            if self.tick not in self.lost:
                out += self._frame(messages.RECORD, self.ring[self.tick])
        return out

    def reset(self):
        self.session = 0
        self.host_nonce = None
        self.last = None
        self.tick = 0
        self.ring.clear()

    def _frame(self, message_type, payload):
        return fw_encode(message_type, self.session, 0, self.tick, payload, self.version)

    def _frame_in(self):
        body = self._reader.body
        version, message_type, _, session, sequence, tick = struct.unpack_from(HEADER, body)
        payload = bytes(body[HEADER_BYTES : self._reader.length])
        if self.deaf:
            self.deaf -= 1
            return b""
        self.seen.append((message_type, sequence, session, tick))
        if self.silent:
            return b""
        if message_type == self.reset_at:
            self.reset_at = None
            self.reset()
        if version != self.version:
            return self._reply(message_type, sequence, bytes([messages.WRONG_VERSION]))
        return self._judge(message_type, sequence, session, payload)

    def _judge(self, message_type, sequence, session, payload):
        if message_type in (messages.HELLO, messages.STOP):
            return self._accept(message_type, sequence, payload)
        if session != self.session or self.last is None:
            return self._reply(message_type, sequence, bytes([messages.WRONG_SESSION]))
        if message_type == messages.RENEW:
            self._renew(struct.unpack("<I", payload)[0])
            return b""
        if (message_type, sequence) == self.last:
            return self._send(self.answer)
        if not 1 <= (sequence - self.last[1]) % 65536 <= messages.SEQUENCE_WINDOW:
            return b""
        if self.tells_old:
            self.tells_old -= 1
            self.last = (message_type, sequence)
            return self._reply(message_type, sequence, bytes([messages.TOO_OLD]))
        return self._accept(message_type, sequence, payload)

    def _accept(self, message_type, sequence, payload):
        if message_type in self.refuse:
            return self._reply(message_type, sequence, self.refuse[message_type])
        self.done.append((message_type, payload))
        if message_type != messages.STOP:
            self.last = (message_type, sequence)
            self.answer = b""
        result = self._carry_out(message_type, payload)
        after = self._resend(payload) if message_type == messages.BACKFILL else b""
        return self._reply(message_type, sequence, b"\0" + result) + after

    def _renew(self, tick):
        self.renewed.append(tick)
        for stored in [kept for kept in self.ring if kept <= tick]:
            del self.ring[stored]

    def _carry_out(self, message_type, payload):
        if message_type == messages.HELLO:
            self._open(struct.unpack("<BI", payload)[1])
            return struct.pack(
                messages.HELLO_REPLY, self.version, self.session, 1, 0, self.tick, 0, 1, 0,
                BUILD_ID, messages.ENTRY_HEATS, bytes(8), *self.run, 30000, 30000, 0, 0,
            )  # fmt: skip
        if message_type == messages.PLAN_WRITE:
            offset = struct.unpack_from("<H", payload)[0]
            if offset != messages.END_OF_BLOCK:
                self.plan[offset : offset + len(payload) - 2] = payload[2:]
        if message_type in (messages.PLAN_READ, messages.SETTINGS_READ):
            offset, count = struct.unpack("<HB", payload)
            block = self.plan if message_type == messages.PLAN_READ else self.settings
            piece = bytearray(block[offset : offset + count])
            if self.damage_reads:
                piece[0] ^= 1
            return bytes(piece)
        if message_type == messages.ARM:
            return self.trip_counts
        if message_type == messages.BACKFILL and self.tells_oldest:
            wanted = struct.unpack("<I", payload)[0]
            kept = [tick for tick in self.ring if tick >= wanted]
            oldest = min(kept, default=self.tick + 1)
            return struct.pack(messages.BACKFILL_REPLY, oldest, oldest, oldest)
        return b""

    def _open(self, host_nonce):
        """Give a new host a session of its own and no record of before; know the old one again."""
        if host_nonce != self.host_nonce:
            self.sessions += 1
            self.session = self.sessions
            self.host_nonce = host_nonce
            self.ring.clear()

    def _resend(self, payload):
        out = b""
        for tick in sorted(tick for tick in self.ring if tick >= struct.unpack("<I", payload)[0]):
            if tick in self.lost_again:
                self.lost_again.remove(tick)
            else:
                out += self._frame(messages.BACKFILL_BLOCK, b"\0" + self.ring[tick])
        return out

    def _reply(self, message_type, sequence, rest):
        answer = struct.pack("<BH", message_type, sequence) + rest
        frame = self._frame(messages.REPLY, answer)
        if (message_type, sequence) == self.last:
            self.answer = frame
        return self._send(frame)

    def _send(self, frame):
        if self.mute:
            self.mute -= 1
            return b""
        return frame * 2 if self.doubles else frame
