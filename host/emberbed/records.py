"""Decode the firmware's record bytes; the one place where the host reads them.

The layout is the firmware's own table (`emberbed_fw.record`). Temperatures stay `_cdeg` integers
here; degrees for people are made at the edge (terminal, page, CSV). Stored records of older
firmware have an older form, told by the plan stored with them; what it lacks reads 0.
"""

import struct
from collections import namedtuple

from emberbed_fw import plan
from emberbed_fw import record as layout
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, ZONES

FIELD_NAMES = tuple(name for name, _code in layout.FIELDS)
_Fixed = namedtuple("_Fixed", FIELD_NAMES)
FIRST_FORM = 1  # of records, with plans of format 1
NEWEST_FORM = plan.FORMAT_VERSION
_LATER_FIELDS = ("touch", "touch_source", "mark", "offset_cdeg", "trips_of_cause")
_FIRST_FIELDS = tuple(field for field in layout.FIELDS if field[0] not in _LATER_FIELDS)
_FIRST = struct.Struct("<" + "".join(code for _name, code in _FIRST_FIELDS))


class TickRecord(_Fixed):
    """One tick. Attributes are the names of `emberbed_fw.record.FIELDS`, units in the names."""

    __slots__ = ()

    def channel_cdeg(self, channel: int) -> int | None:
        """Return the reading of `channel` in hundredths of a degree C, or None."""
        return _known(getattr(self, f"channel{channel}_cdeg"))

    def asked_cdeg(self) -> int | None:
        """Return the setpoint in hundredths of a degree C, or None."""
        return _known(self.setpoint_cdeg)

    def channels_cdeg(self) -> list[int | None]:
        return [self.channel_cdeg(channel) for channel in range(CHANNELS)]

    def fault(self, channel: int) -> int:
        """Return the trip code of `channel`'s reading, 0 for a good or absent one."""
        half = self.faults_low if channel < 4 else self.faults_high
        return (half >> (4 * (channel % 4))) & 15

    def demands_q15(self) -> list[int]:
        return [getattr(self, f"demand{zone}_q15") for zone in range(ZONES)]


def _known(cdeg: int) -> int | None:
    return None if cdeg == NO_READING_CDEG else cdeg


def form_of(stored_plan: bytes) -> int:
    """Return the form of the records that were made with this plan."""
    return FIRST_FORM if stored_plan[:1] == bytes([FIRST_FORM]) else NEWEST_FORM


def decode_record(record: bytes, form: int = NEWEST_FORM) -> TickRecord:
    """Decode record bytes; ValueError if they are no whole record."""
    fixed_bytes = _FIRST.size if form == FIRST_FORM else layout.FIXED_BYTES
    if len(record) < fixed_bytes:
        raise ValueError(f"a record has {fixed_bytes} bytes or more, this has {len(record)}")
    commands_of(record, fixed_bytes)
    if form == FIRST_FORM:
        names = (name for name, _code in _FIRST_FIELDS)
        told = dict(zip(names, _FIRST.unpack_from(record), strict=True))
        return TickRecord(**dict.fromkeys(_LATER_FIELDS, 0), **told)
    return TickRecord._make(struct.unpack_from(layout.FIXED, record))


def commands_of(record: bytes, at: int = layout.FIXED_BYTES) -> list[tuple[int, bytes]]:
    """Return the commands of a record as (message type, payload), in order; they begin `at`."""
    commands = []
    while at < len(record):
        if at + 2 > len(record) or at + 2 + record[at + 1] > len(record):
            raise ValueError("a record's commands are cut short")
        commands.append((record[at], bytes(record[at + 2 : at + 2 + record[at + 1]])))
        at += 2 + record[at + 1]
    return commands
