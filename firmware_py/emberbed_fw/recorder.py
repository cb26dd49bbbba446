"""The memory: packs each tick into record bytes and keeps them until the host has stored them.

A ring of RING_SLOTS records. `pack` writes the newest; `release` frees all up to an acknowledged
tick. When the ring is full the oldest unacknowledged record is overwritten and counted in `lost`.
"""

import struct

from emberbed_fw import record
from emberbed_fw.units import CHANNELS

RING_SLOTS = 64


class Recorder:
    def __init__(self):
        self._slots = [bytearray(record.MAX_RECORD) for _slot in range(RING_SLOTS)]
        self._lengths = [0] * RING_SLOTS
        self.oldest_tick = 1  # first tick still kept
        self.newest_tick = 0
        self.lost = 0

    def begin_session(self):
        """Forget everything before: a new host starts at the next tick."""
        self.oldest_tick = self.newest_tick + 1
        self.lost = 0

    def unacknowledged(self):
        return self.newest_tick + 1 - self.oldest_tick

    def release(self, tick):
        """Free every record up to and including `tick`."""
        if self.oldest_tick <= tick <= self.newest_tick:
            self.oldest_tick = tick + 1

    def slot(self, tick):
        """Return the buffer of a kept tick; its length is `length(tick)`."""
        return self._slots[tick % RING_SLOTS]

    def length(self, tick):
        return self._lengths[tick % RING_SLOTS]

    def pack(self, machine):
        """Write the machine's tick into the ring."""
        tick = machine.tick
        if self.unacknowledged() == RING_SLOTS:
            self.oldest_tick += 1
            self.lost += 1
        self.newest_tick = tick
        slot = self._slots[tick % RING_SLOTS]
        self._lengths[tick % RING_SLOTS] = pack_record(machine, slot)


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
        life.waits_for, machine.prompt(), machine.stage_tick(), machine.stage_elapsed(),
        machine.setpoint_cdeg(),
        _fault_nibbles(readings.fault, 0), _fault_nibbles(readings.fault, 4),
        machine.energy_j, machine.driven_zones, machine.outputs,
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
