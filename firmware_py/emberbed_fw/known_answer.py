"""A whole run in small, on a bench of numbers: arming, press, both proofs, the first of the heat.

Nothing is driven: there is no port. The sum over all records is the same in every interpreter for
the same sources, so a version that was just copied to a controller proves with it that it is what
the host holds, and that this controller counts as it must.
"""

import struct
from binascii import crc32

from emberbed_fw import heap, record, settings, stock_hold
from emberbed_fw import messages as ms
from emberbed_fw.plan import Plan
from emberbed_fw.recorder import pack_record
from emberbed_fw.tick import Machine
from emberbed_fw.units import CALIBRATION_ONE_Q12, CHANNELS, NONE, TICK_MS, WORD_BYTES

TICKS = 90
PRESS_FROM, PRESS_TO = 20, 34
WATTS = 1000
HOLD_CDEG = 9000
COLD_WORD = 25 * 16 << 4  # D15..D0 of a MAX31855K: cold junction 25 degC, no fault
WARM_QUARTERS = 100  # 25 degC
ALL_SENSES = settings.HAS_CONTACTOR_SENSE | settings.HAS_HEAT_SENSE


def known_answer():
    """Return the CRC-32 over the records of the run."""
    machine = _machine()
    packed = bytearray(record.MAX_RECORD)
    total = 0
    for tick in range(TICKS):
        _sample(machine, tick)
        heap.lock()  # as on the bench: a tick that wants memory is no good version's
        try:
            machine.sample_to_drive()
        finally:
            heap.unlock()
        length = pack_record(machine, packed)
        total = crc32(memoryview(packed)[:length], total)
        machine.commands.clear()
        if tick == 0:
            _arm(machine)
    return total & 0xFFFFFFFF


def _machine():
    couple = ("bead", settings.CONVERTER_MAX31855K, 20000, 0, CALIBRATION_ONE_Q12)
    block = settings.pack_settings(ALL_SENSES, [couple], [(WATTS, 2)], 0, HOLD_CDEG)
    return Machine(settings.Settings(block))


def _arm(machine):
    block = stock_hold.build_hold(machine.settings)
    machine.prepare(Plan(block))
    _queue(machine, ms.PLAN_WRITE, struct.pack("<HH", ms.END_OF_BLOCK, len(block)) + block[-4:])
    arm = struct.pack("<BBI", ms.ATTEND_PANEL, NONE, 0)
    _queue(machine, ms.ARM, block[-4:] + arm)


def _queue(machine, kind, payload):
    machine.commands.put(kind, payload, 0, len(payload))


def _sample(machine, tick):
    """What healthy switches, a bead with a flickering last bit and a hand would show."""
    inputs = machine.inputs
    inputs.elapsed_ms = TICK_MS
    inputs.fresh_channels = (1 << CHANNELS) - 1
    inputs.port_flags = record.PORT_BUTTON if PRESS_FROM <= tick < PRESS_TO else 0
    if machine.outputs & record.OUT_CONTACTOR:
        inputs.port_flags |= record.PORT_CONTACTOR_CLOSED
        if machine.driven_zones:
            inputs.port_flags |= record.PORT_HEAT_CURRENT
    high = WARM_QUARTERS + tick // 3 % 2 << 2
    inputs.words[:WORD_BYTES] = struct.pack(">HH", high, COLD_WORD)
