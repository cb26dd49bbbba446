"""Make a record of a tick of which only the measured values are known, and perhaps a few outputs.

So it is where the device kept one reading a second, and where its outputs could not be had again by
replay. Temperatures are the firmware's own reading of the recorded words; what is not known stays
as it was in the record before, and nothing that a person did or the heater got is made up.
"""

import struct
from dataclasses import asdict

from emberbed.link.packed import PackedTick
from emberbed.records import TickRecord, decode_record
from emberbed_fw import record as layout
from emberbed_fw.readings import Readings
from emberbed_fw.settings import Settings
from emberbed_fw.units import CHANNELS, NONE

_UNKNOWN = {
    "withheld": 0, "waits_for": 0, "prompt": NONE, "driven_zones": 0, "outputs": 0, "touch": 0,
    "touch_source": 0, "mark": 0,
}  # fmt: skip


class MeasuredRecords:
    """Makes them one after the other; `settings` is the device's description as bytes."""

    def __init__(self, settings: bytes) -> None:
        self._readings = Readings(Settings(settings))

    def record_of(self, measured: PackedTick, before: bytes | None) -> bytes:
        """Return the record of a tick; `before` is the newest record that is known."""
        fields = {} if before is None else decode_record(before)._asdict()
        fields = dict.fromkeys(TickRecord._fields, 0) | fields | _UNKNOWN
        fields |= self._read(measured)
        if measured.outputs is not None:
            fields |= asdict(measured.outputs)
        return struct.pack(layout.FIXED, *(fields[name] for name in TickRecord._fields))

    def _read(self, measured: PackedTick) -> dict[str, int | bytes]:
        bus_error = measured.port_flags & layout.PORT_BUS_ERROR
        self._readings.update(measured.words, measured.fresh_channels, bus_error)
        fault = self._readings.fault
        read: dict[str, int | bytes] = {
            name: getattr(measured, name) for name, _code in layout.INPUT_FIELDS
        }
        read["faults_low"] = sum(fault[n] << 4 * n for n in range(4))
        read["faults_high"] = sum(fault[n + 4] << 4 * n for n in range(4))
        for channel in range(CHANNELS):
            read[f"channel{channel}_cdeg"] = self._readings.cdeg[channel]
            read[f"cold{channel}_cdeg"] = self._readings.cold_cdeg[channel]
        return read
