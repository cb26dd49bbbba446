"""The memory: packs each tick into record bytes and keeps them for a host that was away.

The newest RING_SLOTS records are kept whole, for frames that were lost. Besides, three rings of
packed blocks (block_ring) hold what a longer absence needs: every tick for at least 5 minutes, one
a second for at least 15, one in 30 s for at least 24 hours; fewer couples need less. All
are fixed at start-up and go on whatever a host acknowledges; what it has acknowledged only says how
many records it is owed.
"""

import gc
import struct

from emberbed_fw import record
from emberbed_fw.block_ring import BLOCK_BYTES, BlockRing
from emberbed_fw.settings import CONVERTER_MAX6675, CONVERTER_MAX31855K
from emberbed_fw.units import CHANNELS

RING_SLOTS = 24
FINE_BLOCKS = 104  # of every tick: 3000 in about 6 bytes each, for four couples that flicker
SECOND_BLOCKS = 58  # of one tick in SECOND_TICKS: 900 in about 12 bytes
RUN_BLOCKS = 162  # of one tick in RUN_TICKS: 2880 in about 12 bytes
MOST_COUPLES = 4  # that these are enough for; a finer converter counts twice
FINE_BLOCKS_A_COUPLE = 15
SECOND_BLOCKS_A_COUPLE = 6
SECOND_TICKS = 10
RUN_TICKS = 300
LEAST_RUN_BLOCKS = 8  # of a run through the night, on a controller with little memory
RESERVED_BYTES = 64 * 1024  # for the link, a plan, and what a run takes besides
MOST_OWED = 1000  # more is told as this
RING_BYTES = RING_SLOTS * record.MAX_RECORD + (FINE_BLOCKS + SECOND_BLOCKS) * BLOCK_BYTES
RUN_BYTES = RUN_BLOCKS * BLOCK_BYTES
MOST_RING_BYTES = 40 * 1024


def run_blocks_for(free_bytes):
    """Return how many blocks of the longest memory a heap has room for; 0 bytes: nobody knows."""
    if free_bytes == 0:
        return RUN_BLOCKS
    room = (free_bytes - RING_BYTES - RESERVED_BYTES) // BLOCK_BYTES
    return min(max(room, LEAST_RUN_BLOCKS), RUN_BLOCKS)


def couples_of(settings):
    """Return for how many couples a device with this description needs blocks."""
    couples = 0
    for channel in range(CHANNELS):
        kind = settings.converter[channel]
        if settings.channel_fitted(channel):
            couples += 1 if kind in (CONVERTER_MAX31855K, CONVERTER_MAX6675) else 2
    return min(max(couples, 1), MOST_COUPLES)


class Recorder:
    def __init__(self, run_blocks=RUN_BLOCKS, couples=MOST_COUPLES):
        gc.collect()  # the device's largest pieces, placed before anything lies in their way
        self._slots = [bytearray(record.MAX_RECORD) for _slot in range(RING_SLOTS)]
        self._lengths = [0] * RING_SLOTS
        fewer = MOST_COUPLES - couples
        fine_blocks = FINE_BLOCKS - FINE_BLOCKS_A_COUPLE * fewer
        second_blocks = SECOND_BLOCKS - SECOND_BLOCKS_A_COUPLE * fewer
        self.fine = BlockRing(fine_blocks, 1)
        self.second = BlockRing(second_blocks, SECOND_TICKS)
        self.run = BlockRing(run_blocks, RUN_TICKS)
        self.ring_bytes = (
            RING_SLOTS * record.MAX_RECORD + (fine_blocks + second_blocks) * BLOCK_BYTES
        )
        self.run_bytes = run_blocks * BLOCK_BYTES
        self.newest_tick = 0
        self._acknowledged = 0

    def begin_session(self):
        """Owe a new host nothing of what was before it; it may ask for that."""
        self._acknowledged = self.newest_tick

    def unacknowledged(self):
        return min(self.newest_tick - self._acknowledged, MOST_OWED)

    def release(self, tick):
        """Take note that every record up to and including `tick` is stored."""
        if self._acknowledged <= tick <= self.newest_tick:
            self._acknowledged = tick

    def oldest_whole(self):
        """Return the first tick whose record is kept whole."""
        return max(1, self.newest_tick - RING_SLOTS + 1)

    def slot(self, tick):
        """Return the buffer of a tick kept whole; its length is `length(tick)`."""
        return self._slots[tick % RING_SLOTS]

    def length(self, tick):
        return self._lengths[tick % RING_SLOTS]

    def pack(self, machine):
        """Write the machine's tick into every ring that keeps it."""
        tick = machine.tick
        self.newest_tick = tick
        slot = self._slots[tick % RING_SLOTS]
        length = pack_record(machine, slot)
        self._lengths[tick % RING_SLOTS] = length
        self.fine.take(tick, slot, length)
        self.second.take(tick, slot, length)
        self.run.take(tick, slot, length)


def _fault_nibbles(fault, first):
    return fault[first] | fault[first + 1] << 4 | fault[first + 2] << 8 | fault[first + 3] << 12


def pack_record(machine, out):
    """Pack one tick into `out` (record.MAX_RECORD bytes); return the length used."""
    inputs = machine.inputs
    life = machine.life
    guard = machine.guard
    readings = machine.readings
    touches = machine.touches
    demand = machine.demand_q15
    cdeg = readings.cdeg
    cold = readings.cold_cdeg
    struct.pack_into(
        record.FIXED, out, 0,
        machine.tick, inputs.elapsed_ms, inputs.port_flags, inputs.fresh_channels, inputs.words,
        life.state, life.verdict, machine.stage(), guard.trip, guard.second_trip, guard.withheld,
        guard.warnings, life.waits_for, machine.prompt(), machine.stage_tick(),
        machine.stage_elapsed(), machine.setpoint_cdeg(),
        _fault_nibbles(readings.fault, 0), _fault_nibbles(readings.fault, 4),
        machine.energy_j, guard.model.emitter_mk, guard.model.most_emitter_mk,
        machine.driven_zones, machine.outputs,
        touches.touch, touches.source, touches.mark, machine.offset_cdeg(),
        life.trips_of_cause(machine),
        demand[0], demand[1], demand[2], demand[3],
        cdeg[0], cdeg[1], cdeg[2], cdeg[3], cdeg[4], cdeg[5], cdeg[6], cdeg[7],
        cold[0], cold[1], cold[2], cold[3], cold[4], cold[5], cold[6], cold[7],
    )
    commands = machine.commands
    at = record.FIXED_BYTES
    for index in range(commands.filled):
        out[at + index] = commands.octets[index]
    return at + commands.filled


assert CHANNELS == 8, "pack_record names eight channels"
assert RING_BYTES <= MOST_RING_BYTES, "the fine memory has outgrown its place"
