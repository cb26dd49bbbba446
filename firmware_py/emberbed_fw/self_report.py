"""The self-test of a device at rest, as the answer to SELFTEST: what it reads, what it counts.

Converters, cold junctions and senses as the last tick saw them; sums over the arithmetic, the
settings and the limits. Switches nothing, heats nothing. Allocates: between ticks only.
"""

import struct
from binascii import crc32

from emberbed_fw import heap
from emberbed_fw import messages as ms
from emberbed_fw.run_states import HEATING_STATES
from emberbed_fw.self_sums import self_sums
from emberbed_fw.units import CHANNELS


def report_or_refuse(machine, size):
    """Return (refusal, bytes of ms.SELFTEST_REPLY and its channels) for a request of this size."""
    if size != 0:
        return ms.BAD_LENGTH, b""
    if machine.life.state in HEATING_STATES:
        return ms.WRONG_STATE, b""
    couples, control = self_sums()
    report = struct.pack(
        ms.SELFTEST_REPLY, machine.inputs.port_flags, machine.outputs, couples, control,
        _memory_faults(machine), heap.free_bytes(),
    )
    readings = machine.readings
    for channel in range(CHANNELS):
        report += struct.pack(ms.SELFTEST_CHANNEL, readings.fault[channel],
                              readings.cold_cdeg[channel], readings.cdeg[channel])
    return ms.DONE, report


def _memory_faults(machine):
    """Return ms.SELF_* bits: what has changed in memory since it was written."""
    block = machine.settings.block
    faults = 0
    if struct.unpack_from("<I", block, len(block) - 4)[0] != crc32(memoryview(block)[:-4]):
        faults |= ms.SELF_SETTINGS_CHANGED
    if machine.guard.memory is not None and machine.guard.memory.changed:
        faults |= ms.SELF_LIMITS_CHANGED
    return faults
