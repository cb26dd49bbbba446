"""Device port for acceptance: readings come over the wire, and nothing here can heat.

A boot entry of its own, left only by a reset. The board that it is given has a clock, a wire and a
watchdog, and no pins: what the firmware drives is told to the host and goes nowhere else. HELLO and
every record say that readings were injected. Beside the link's frames it takes and sends its own,
framed alike and told apart by their first byte:
  SAMPLE   H port flags, B fresh channels, B ticks that it stays fresh, H elapsed_ms (0 = the
           board's clock makes the ticks; else all of those ticks now, each of which lasted so
           long), B how it is read (READS, FAILS, HANGS), 32 words
  RESET    start the board anew
  OUTPUTS  from here, after each tick, whose number is in the header: H sequence of its SAMPLE,
           B zones, B outputs, I clock_ms when it was read, I when it was driven, H elapsed_ms,
           B 1 = the watchdog was fed, B the trip that is kept
board: read(buffer) -> count, write(octets), rest(ms), clock_ms() (30 bits), reset(), board_number()
and settings_block, read_slot, nonce, build_id, feed, keep, kept, reset_cause as in device_port.
Its flash stays as it is: descriptions and plans are kept for this start only.
"""

import struct

from emberbed_fw import frames
from emberbed_fw.device_port import TICK, WIRE
from emberbed_fw.main_loop import start
from emberbed_fw.messages import ENTRY_INJECTED
from emberbed_fw.record import PORT_INJECTED
from emberbed_fw.safety_limits import LATE_TICK_MS
from emberbed_fw.units import TICK_MS

VERSION = 0x49  # of these frames, where the link's have PROTOCOL_VERSION
SAMPLE = 1
RESET = 2
OUTPUTS = 3
READS = 0
FAILS = 1  # once
HANGS = 2  # the program stands still, its outputs as they are: only a watchdog ends that
SAMPLE_HEAD = "<HBBHB"
SAMPLE_HEAD_BYTES = struct.calcsize(SAMPLE_HEAD)
WORDS_BYTES = 32
OUTPUTS_BODY = "<HBBIIHBB"
OUTPUTS_BYTES = struct.calcsize(OUTPUTS_BODY)

GIVEN_MS = 1000  # without the next sample the board's own clock goes on: nothing stands still
LATE_MS = LATE_TICK_MS - TICK_MS
CLOCK_MASK = 0x3FFFFFFF
WIRE_BYTES = 1024
READ_BYTES = 64
AT = frames.HEADER_BYTES


class InjectPort:
    screen = None

    def __init__(self, board):
        self._board = board
        self.settings_block = board.settings_block
        self.nonce = board.nonce
        self.build_id = board.build_id
        self.kept = board.kept
        self.reset_cause = board.reset_cause
        self.screen = None
        self._slots = [board.read_slot(0), board.read_slot(1)]
        self._plan = b""
        self.received = bytearray(WIRE_BYTES)
        self.count = 0
        self._reader = frames.FrameReader()
        self._chunk = bytearray(READ_BYTES)
        self._raw = bytearray(frames.MAX_FRAME)  # what has come of a frame, as it came
        self._raw_filled = 0
        self._words = bytearray(WORDS_BYTES)
        self._flags = 0
        self._fresh = 0
        self._fresh_ticks = 0
        self._elapsed_ms = 0
        self._how = READS
        self._sequence = 0
        self._taken = -1  # sequence of the last sample that made a tick
        self._ticks_now = 0  # given, and still to be made
        self._is_tick = False
        self._ticks = 0  # as the machine counts them
        self._given = False
        self._clock_ms = self._now_ms()
        self._due_ms = (self._clock_ms + TICK_MS) & CLOCK_MASK
        self._read_ms = 0
        self._driven_ms = 0
        self._fed = 0
        self._kept = 0
        self._zones = 0
        self._outputs = 0
        self._body = bytearray(frames.MAX_BODY)
        self._frame = bytearray(frames.MAX_FRAME)
        self._frame_length = 0

    def read_slot(self, slot):
        return self._slots[slot]

    def write_slot(self, slot, octets):
        self._slots[slot] = bytes(octets)

    def read_plan(self):
        return self._plan

    def write_plan(self, octets):
        self._plan = bytes(octets)

    def identity(self):
        return ENTRY_INJECTED, self._board.board_number()

    def wait(self):
        self.count = 0
        while True:
            self._listen()
            # what came before a given tick is for that tick
            self._is_tick = not (self._given and self.count) and self._is_due()
            if self._is_tick:
                return TICK
            if self.count:
                return WIRE
            self._board.rest(TICK_MS // 10)

    def sample(self, inputs):
        while self._how == HANGS:
            pass
        if self._how == FAILS:
            self._how = READS
            raise OSError("a reading that fails, as it was asked for")
        inputs.elapsed_ms = self._elapsed_ms
        inputs.port_flags = self._flags | PORT_INJECTED
        inputs.fresh_channels = self._fresh if self._fresh_ticks > 0 else 0
        self._fresh_ticks = max(self._fresh_ticks - 1, 0)
        for index in range(WORDS_BYTES):
            inputs.words[index] = self._words[index]

    def drive(self, zones, outputs):
        self._zones = zones
        self._outputs = outputs
        self._driven_ms = self._now_ms()

    def all_off(self):
        self.drive(0, 0)

    def _now_ms(self):
        return self._board.clock_ms() & CLOCK_MASK

    def note_service(self):
        """A reset of this entry brings the usual one back, nothing else."""

    def confirm(self):
        """What runs on injected readings has not shown that it works."""

    def restart(self):
        self.all_off()
        self._board.reset()

    def feed(self):
        self._fed = 1
        self._board.feed()

    def keep(self, code):
        self._kept = code
        self._board.keep(code)

    def send(self, octets, count):
        if count:
            self._board.write(memoryview(octets)[:count])

    def turn(self, _owed):
        """Tell what this tick has driven."""
        if not self._is_tick:
            return
        struct.pack_into(
            OUTPUTS_BODY, self._body, AT, self._sequence, self._zones, self._outputs,
            self._read_ms, self._driven_ms, self._elapsed_ms, self._fed, self._kept,
        )
        struct.pack_into(
            frames.HEADER, self._body, 0, VERSION, OUTPUTS, OUTPUTS_BYTES, 0, self._sequence,
            self._ticks,
        )
        self._frame_length = frames.encode_frame(self._body, AT + OUTPUTS_BYTES, self._frame)
        self._tell()

    def _tell(self):
        self._board.write(memoryview(self._frame)[: self._frame_length])

    def _is_due(self):
        """Tell whether a tick begins now, and note when."""
        now_ms = self._now_ms()
        if self._given:
            if self._ticks_now > 0:
                self._ticks_now -= 1
                self._begin(now_ms)
                return True
            if (now_ms - self._clock_ms) & CLOCK_MASK < GIVEN_MS:
                return False
            self._given = False
            self._due_ms = now_ms
        behind_ms = (now_ms - self._due_ms) & CLOCK_MASK
        if behind_ms > CLOCK_MASK >> 1:
            return False  # not yet
        self._elapsed_ms = min((now_ms - self._clock_ms) & CLOCK_MASK, 0xFFFF)
        last_ms = now_ms if behind_ms > LATE_MS else self._due_ms  # late ticks are not made up
        self._due_ms = (last_ms + TICK_MS) & CLOCK_MASK
        self._begin(now_ms)
        return True

    def _begin(self, now_ms):
        self._clock_ms = now_ms
        self._read_ms = now_ms
        self._fed = 0
        self._ticks += 1

    def _listen(self):
        """Take what has come: samples for this port, all else for the link."""
        room = WIRE_BYTES - frames.MAX_FRAME - READ_BYTES
        while self.count <= room and self._ticks_now == 0:
            count = self._board.read(self._chunk)
            for index in range(count):
                self._take(self._chunk[index])
            if count == 0:
                return

    def _take(self, octet):
        whole = self._reader.feed(octet)
        if whole and self._reader.body[0] == VERSION:
            self._raw_filled = 0
            self._obey(self._reader.body, self._reader.length)
            return
        self._raw[self._raw_filled] = octet
        self._raw_filled += 1
        if octet == 0 or self._raw_filled == len(self._raw):
            self.received[self.count : self.count + self._raw_filled] = memoryview(self._raw)[
                : self._raw_filled
            ]
            self.count += self._raw_filled
            self._raw_filled = 0

    def _obey(self, body, length):
        kind = body[1]
        if kind == RESET:
            self.restart()
        elif kind == SAMPLE and length == AT + SAMPLE_HEAD_BYTES + WORDS_BYTES:
            self._take_sample(body, struct.unpack_from(frames.HEADER, body, 0)[4])

    def _take_sample(self, body, sequence):
        if sequence == self._taken:
            self._tell()  # its answer was lost
            return
        self._sequence = sequence
        self._taken = sequence
        self._flags, self._fresh, self._fresh_ticks, elapsed_ms, how = struct.unpack_from(
            SAMPLE_HEAD, body, AT
        )
        self._how = max(self._how, how)  # the next one may come before a tick has seen this
        for index in range(WORDS_BYTES):
            self._words[index] = body[AT + SAMPLE_HEAD_BYTES + index]
        if elapsed_ms:
            self._elapsed_ms = elapsed_ms
            self._ticks_now = self._fresh_ticks
        elif self._given:  # the board's own clock goes on from here
            self._clock_ms = self._now_ms()
            self._due_ms = (self._clock_ms + TICK_MS) & CLOCK_MASK
        self._given = elapsed_ms != 0


def serve(board):
    """Run the firmware on injected readings until the board is reset."""
    start(InjectPort(board))
