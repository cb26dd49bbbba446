"""A device port on a table, and a whole device on it: what main_loop runs, one turn at a time."""

import struct

from emberbed.link.frames import Frame, FrameSplitter, encode
from emberbed.records import decode_record
from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_fw.device_port import END, TICK
from emberbed_fw.link import Link
from emberbed_fw.main_loop import one_turn
from emberbed_fw.panel import Panel
from emberbed_fw.recorder import Recorder
from emberbed_fw.settings import Settings
from emberbed_fw.tick import Machine
from emberbed_fw.units import TICK_MS
from tests.support.bench import LAST_BIT_C, arm_payload, word
from tests.support.plans import bench_settings
from tests.support.wire import BUILD_ID, HOST_NONCE, end_of_plan


class TablePort:
    """Follows a script of TICK, WIRE and END; the switches' senses are healthy."""

    screen = None

    def __init__(self, script, settings=None):
        self.script = list(script)
        self.settings = bench_settings() if settings is None else settings
        self.received = bytearray(4096)
        self.count = 0
        self.break_at = {}  # turn -> exception raised by `sample`
        self.turns = 0
        self.drives = []
        self.offs = 0
        self.owed = []
        self.sent = b""
        self.wire = {}  # turn -> bytes from the host
        self.board_c = [25.0, 25.0]
        self.button = False
        self.slots = [b"", b""]
        self.plan = b""
        self.fed = 0
        self.keeps = []
        self.kept_before = 0
        self.cause = 0

    def read_slot(self, slot):
        return self.slots[slot]

    def write_slot(self, slot, octets):
        self.slots[slot] = octets

    def read_plan(self):
        return self.plan

    def write_plan(self, octets):
        self.plan = bytes(octets)

    def feed(self):
        self.fed += 1

    def keep(self, code):
        self.keeps.append(code)

    def kept(self):
        return self.kept_before

    def reset_cause(self):
        return self.cause

    def settings_block(self):
        return self.settings

    def nonce(self):
        return 77

    def build_id(self):
        return BUILD_ID

    def identity(self):
        return messages.ENTRY_HEATS, bytes(messages.BOARD_NUMBER_BYTES)

    def wait(self):
        what = self.script[self.turns] if self.turns < len(self.script) else END
        self.turns += 1
        octets = self.wire.get(self.turns, b"")
        self.count = len(octets)
        self.received[: self.count] = octets
        return what

    def sample(self, inputs):
        if self.turns in self.break_at:
            raise self.break_at[self.turns]
        inputs.elapsed_ms = TICK_MS
        inputs.fresh_channels = 0b11
        live_c = LAST_BIT_C * (self.turns // 20 % 2)
        words = [word(board_c + live_c).to_bytes(4, "big") for board_c in self.board_c]
        inputs.words[:] = b"".join(words) + bytes(24)
        zones, outputs = self.drives[-1] if self.drives else (0, 0)
        closed = outputs & record.OUT_CONTACTOR
        inputs.port_flags = record.PORT_CONTACTOR_CLOSED if closed else 0
        if closed and zones:
            inputs.port_flags |= record.PORT_HEAT_CURRENT
        if self.button:
            inputs.port_flags |= record.PORT_BUTTON

    def drive(self, zones, outputs):
        self.drives.append((zones, outputs))

    def all_off(self):
        self.offs += 1
        self.drives.append((0, 0))

    def send(self, octets, count):
        self.sent += bytes(octets[:count])

    def turn(self, owed):
        self.owed.append(owed)

    def records(self):
        frames = FrameSplitter().feed(self.sent)
        return [
            decode_record(frame.payload)
            for frame in frames
            if frame.message_type == messages.RECORD
        ]


class Device:
    """A whole device that nobody but its button and, if a test says so, a host speaks to."""

    def __init__(self, **settings):
        self.port = TablePort([], bench_settings(**settings))
        self.machine = Machine(Settings(self.port.settings))
        self.recorder = Recorder()
        self.link = Link(self.machine, self.recorder, self.port.nonce(), BUILD_ID)
        self.panel = Panel(self.machine, self.link, self.port)
        self.hosted = False
        self.renews = True
        self._session = 0
        self._sequence = 0

    def tick(self, count=1):
        for _ in range(count):
            port = self.port
            port.script.append(TICK)
            if self.hosted and self.renews:
                renewal = struct.pack("<I", self.machine.tick)
                self.send(messages.RENEW, renewal, sequence=0)
            one_turn(self.machine, self.recorder, self.link, self.panel, port)
        return self.state

    def until(self, state, most=4000):
        for taken in range(most):
            if self.state == state:
                return taken
            self.tick()
        raise AssertionError(f"{rs.STATE_NAMES[state]} not reached from {self.state}")

    def press(self):
        self.port.button = True
        self.tick(10)
        self.port.button = False
        self.tick()
        return self.state

    def tap(self, then=12):
        self.port.button = True
        self.tick(2)
        self.port.button = False
        self.tick(then)

    def warm(self, board_c):
        self.port.board_c = [board_c, board_c]

    # a host

    def send(self, kind, payload, sequence=None):
        """Put a request on the wire for the next turn."""
        if sequence is None:
            self._sequence += 1
            sequence = self._sequence
        frame = encode(Frame(kind, self._session, sequence, self.machine.tick, payload, 1))
        turn = self.port.turns + 1
        self.port.wire[turn] = self.port.wire.get(turn, b"") + frame

    def connect(self):
        self.send(messages.HELLO, struct.pack("<BI", 1, HOST_NONCE))
        self.tick()
        for frame in FrameSplitter().feed(self.port.sent):
            if frame.message_type == messages.REPLY and frame.payload[0] == messages.HELLO:
                self._session = struct.unpack_from("<I", frame.payload, 5)[0]
        self.hosted = True

    def write_plan(self, plan):
        for at in range(0, len(plan), messages.BLOCK_CHUNK):
            part = struct.pack("<H", at) + plan[at : at + messages.BLOCK_CHUNK]
            self.send(messages.PLAN_WRITE, part)
            self.tick()
        self.send(messages.PLAN_WRITE, end_of_plan(plan))
        self.tick(2)

    def arm(self, plan):
        self.send(messages.ARM, arm_payload(plan))
        self.tick(2)

    # what it says

    @property
    def state(self):
        return self.machine.life.state

    @property
    def heats(self):
        return self.port.drives[-1][0] != 0

    @property
    def record(self):
        slot = self.recorder.slot(self.machine.tick)
        return decode_record(bytes(slot[: self.recorder.length(self.machine.tick)]))
