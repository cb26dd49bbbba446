"""A machine on a table: fed inputs instead of a heater, a host and a hand on the button.

`Bench` runs the firmware tick by tick. Temperatures stand where a test puts them, the two senses
follow the outputs as healthy switches do, the host renews the PC link; each can be made to lie.
`word` builds converter words apart from the firmware, with the plant's converter.
"""

import struct

from emberbed.records import TickRecord, decode_record
from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_fw.commands import prepare_feedforward
from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.plan import Plan
from emberbed_fw.plan_check import find_fault
from emberbed_fw.recorder import pack_record
from emberbed_fw.settings import Settings
from emberbed_fw.tick import Machine
from emberbed_fw.units import CHANNELS, NONE, TICK_MS
from emberbed_sim.plant.converter import convert
from tests.support.plans import bench_settings, build_plan, cool, hold, ramp, wait

FOLLOWS, NEVER, ALWAYS = "follows", "never", "always"  # how a sense behaves
COLD_JUNCTION_C = 25.0
SHORT_PLAN_PROMPT = 7
LAST_BIT_C, LIVE_TICKS = 0.25, 400  # a converter whose last bit never moves is stuck
OPEN_WORD = 0x00011901  # MAX31855K datasheet, page 10: couple open, cold junction 25 degC


def word(hot_c, cold_c=COLD_JUNCTION_C):
    """Return the 32-bit word that a healthy converter gives."""
    return convert(hot_c, cold_c)


def short_plan(**header):
    """Up to 60 degC, hold it, ask, go on to 80 degC, cool: a run of a few hundred ticks."""
    stages = [
        ramp(2500, 6000, 100, band_cdeg=200), hold(6000, 50, band_cdeg=200),
        wait(6000, prompt=SHORT_PLAN_PROMPT), ramp(6000, 8000, 100), cool(),
    ]  # fmt: skip
    return build_plan(stages, **header)


def arm_payload(plan, attendance=messages.ATTEND_HOST, stage=NONE, done_ticks=0):
    """Return the payload that arms this plan; with a `stage`, goes on there after a trip."""
    return plan[-4:] + struct.pack("<BBI", attendance, stage, done_ticks)


def ack(prompt, source=messages.BY_TERMINAL):
    """Return the payload that answers a prompt."""
    return bytes([prompt, source])


class Bench:
    def __init__(self, plan=None, settings=None):
        self.settings = settings or bench_settings()
        self.plan = plan or short_plan()
        self.machine = Machine(Settings(self.settings))
        self.board_c = [25.0, 25.0]  # what the couples say, by channel
        self.raw = {}  # channel -> word that replaces it
        self.fresh_channels = 0xFF
        self.bus_error = False
        self.more_flags = 0  # of the port, beside those that follow
        self.elapsed_ms = TICK_MS
        self.button = False
        self.contactor = FOLLOWS
        self.current = FOLLOWS
        self.renews = True
        self.packed = b""  # record of the newest tick
        self.tape = []  # every record since the start
        self._sent = []

    # requests, taken by the next tick

    def send(self, kind, payload=b""):
        """Queue a request as the link does once it has checked it."""
        self._sent.append((kind, payload))

    def load(self, plan=None):
        self.plan = plan or self.plan
        assert find_fault(self.plan, self.machine.settings) == 0
        opened = Plan(self.plan)
        self.machine.prepare(opened)
        head = struct.pack("<HH", messages.END_OF_BLOCK, len(self.plan))
        self.send(messages.PLAN_WRITE, head + self.crc())

    def sum_anew(self):
        """Take the plan, as a test has changed it, for the one that was stored."""
        plan = self.machine.plan
        limits = [plan.limit_cdeg, plan.air_limit_cdeg, self.machine.guard.ceiling_cdeg]
        tables = plan.tables() + self.machine.settings.tables()
        self.machine.guard.memory = MemoryWatch(tables, limits)

    def arm(self, attendance=messages.ATTEND_HOST, stage=NONE, done_ticks=0):
        """Arm; with a `stage`, go on there after a mended trip."""
        self.send(messages.ARM, arm_payload(self.plan, attendance, stage, done_ticks))

    def crc(self):
        return self.plan[-4:]

    def stop(self):
        self.send(messages.STOP, bytes([messages.STOP_BY_PERSON]))

    def acknowledge(self, prompt, source=messages.BY_TERMINAL):
        self.send(messages.ACK_PROMPT, bytes([prompt, source]))

    def ask_touch(self, kind, amount=0, source=messages.BY_TERMINAL):
        """Ask for a change in the next tick."""
        self.send(messages.STAGE_REQUEST, struct.pack("<BhB", kind, amount, source))

    def touch(self, kind, amount=0, source=messages.BY_TERMINAL):
        """Ask for a change and take the tick that does it; return its refusal code."""
        self.ask_touch(kind, amount, source)
        self.tick()
        return self.refusals[-1]

    # time

    def tick(self, count=1):
        """Run `count` ticks; return the state after the last."""
        for _ in range(count):
            self._one_tick()
        return self.state

    def until(self, state, most=3000):
        """Run until `state` is entered; return the ticks it took."""
        for taken in range(1, most + 1):
            self._one_tick()
            if self.state == state:
                return taken
        raise AssertionError(
            f"{rs.STATE_NAMES[state]} not reached in {most} ticks,"
            f" still in {rs.STATE_NAMES[self.state]} with trip {self.machine.guard.trip}"
        )

    def until_stage(self, stage, most=3000):
        """Run until this stage runs; return the ticks it took."""
        for taken in range(most):
            if self.machine.stage() == stage:
                return taken
            self.tick()
        raise AssertionError(f"stage {stage} not reached, still in {self.machine.stage()}")

    def _one_tick(self):
        machine = self.machine
        if self.renews and machine.tick:
            self._put(messages.RENEW, struct.pack("<I", machine.tick))
        for kind, payload in self._sent:
            self._put(kind, payload)
        self._sent = []
        self.sample(machine.inputs)
        machine.sample_to_drive()
        out = bytearray(record.MAX_RECORD)
        self.packed = bytes(out[: pack_record(machine, out)])
        self.tape.append(self.packed)
        self.refusals = list(machine.commands.refusals[: machine.commands.count])
        machine.commands.clear()

    def sample(self, inputs):
        """Fill the inputs of the next tick, as a device port does."""
        inputs.elapsed_ms = self.elapsed_ms
        inputs.fresh_channels = self.fresh_channels
        inputs.words[:] = self._words()
        inputs.port_flags = self._port_flags()

    def _put(self, kind, payload):
        if kind == messages.FEEDFORWARD:
            prepare_feedforward(self.machine, payload, 0)
        assert self.machine.commands.put(kind, payload, 0, len(payload))

    def _words(self):
        live_c = LAST_BIT_C if self.machine.tick % LIVE_TICKS == LIVE_TICKS - 1 else 0.0
        words = [self.raw.get(c, word(hot_c - live_c)) for c, hot_c in enumerate(self.board_c)]
        return struct.pack(">8I", *words, *[0] * (CHANNELS - len(words)))

    def _port_flags(self):
        machine = self.machine
        closed = machine.outputs & record.OUT_CONTACTOR != 0
        flags = record.PORT_BUTTON if self.button else 0
        if _sense(self.contactor, closed):
            flags |= record.PORT_CONTACTOR_CLOSED
        if _sense(self.current, closed and machine.driven_zones != 0):
            flags |= record.PORT_HEAT_CURRENT
        return flags | self.more_flags | (record.PORT_BUS_ERROR if self.bus_error else 0)

    # ways through a run

    def to_armed(self, attendance=messages.ATTEND_HOST):
        """Load and arm; ends in COLD_PROOF, waiting for the press."""
        self.load()
        self.arm(attendance)
        self.tick(15)
        assert self.state == rs.COLD_PROOF
        return self

    def press(self):
        """Hold the button until it has counted, then let go."""
        self.button = True
        self.tick(10)
        self.button = False
        return self

    def to_run(self):
        """Arm, press, pass both proofs; ends in the first stage's first tick."""
        self.to_armed().press()
        assert self.state == rs.HOT_PROOF
        self.until(rs.RUN)
        return self

    def to_wait(self):
        """Go through the short plan's first stages to its prompt, board at 60 degC."""
        self.to_run()
        self.board_c = [60.0, 60.0]
        self.until(rs.WAIT)
        return self

    def to_second_ramp(self):
        """Answer the short plan's prompt."""
        self.to_wait().tick()
        self.acknowledge(SHORT_PLAN_PROMPT)
        self.until(rs.RUN, 5)
        return self

    # what it says

    @property
    def state(self):
        return self.machine.life.state

    @property
    def trip(self):
        return self.machine.guard.trip

    @property
    def record(self) -> TickRecord:
        return decode_record(self.packed)

    @property
    def heats(self):
        """Tell whether any zone was driven in the newest tick."""
        return self.machine.driven_zones != 0

    @property
    def contactor_driven(self):
        return self.machine.outputs & record.OUT_CONTACTOR != 0


def _sense(behaviour, truth):
    return truth if behaviour == FOLLOWS else behaviour == ALWAYS
