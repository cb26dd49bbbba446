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

# Forms of before, as those devices packed them; never changed, for they lie in people's stores.
_FORM_2 = (
    ("tick", "I"), ("elapsed_ms", "H"), ("port_flags", "H"), ("fresh_channels", "B"),
    ("words", "32s"), ("state", "B"), ("verdict", "B"), ("stage", "B"), ("trip", "B"),
    ("second_trip", "B"), ("withheld", "B"), ("waits_for", "B"), ("prompt", "B"),
    ("stage_tick", "I"), ("stage_elapsed", "I"), ("setpoint_cdeg", "i"), ("faults_low", "H"),
    ("faults_high", "H"), ("energy_j", "I"), ("driven_zones", "B"), ("outputs", "B"),
    ("touch", "B"), ("touch_source", "B"), ("mark", "B"), ("offset_cdeg", "h"),
    ("trips_of_cause", "B"), *((f"demand{zone}_q15", "H") for zone in range(4)),
    *((f"channel{channel}_cdeg", "i") for channel in range(8)),
    *((f"cold{channel}_cdeg", "h") for channel in range(8)),
)  # fmt: skip
_SINCE_2 = ("touch", "touch_source", "mark", "offset_cdeg", "trips_of_cause")
_FORM_1 = tuple(field for field in _FORM_2 if field[0] not in _SINCE_2)
_FORMS = {FIRST_FORM: _FORM_1, 2: _FORM_2, NEWEST_FORM: layout.FIELDS}
_LAYOUTS = {
    form: struct.Struct("<" + "".join(code for _name, code in form_fields))
    for form, form_fields in _FORMS.items()
}


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
    """Return the form of records that were made with this plan; the newest for a strange plan."""
    form = stored_plan[0] if stored_plan else NEWEST_FORM
    return form if form in _FORMS else NEWEST_FORM


def decode_record(record: bytes, form: int = NEWEST_FORM) -> TickRecord:
    """Decode record bytes; ValueError if they are no whole record."""
    form_layout = _LAYOUTS[form]
    if len(record) < form_layout.size:
        raise ValueError(f"a record has {form_layout.size} bytes or more, this has {len(record)}")
    commands_of(record, form_layout.size)
    numbers = form_layout.unpack_from(record)
    if form == NEWEST_FORM:
        return TickRecord._make(numbers)
    told = dict(zip((name for name, _code in _FORMS[form]), numbers, strict=True))
    return TickRecord(**{**dict.fromkeys(FIELD_NAMES, 0), **told})


def commands_of(record: bytes, at: int = layout.FIXED_BYTES) -> list[tuple[int, bytes]]:
    """Return the commands of a record as (message type, payload), in order; they begin `at`."""
    commands = []
    while at < len(record):
        if at + 2 > len(record) or at + 2 + record[at + 1] > len(record):
            raise ValueError("a record's commands are cut short")
        commands.append((record[at], bytes(record[at + 2 : at + 2 + record[at + 1]])))
        at += 2 + record[at + 1]
    return commands
