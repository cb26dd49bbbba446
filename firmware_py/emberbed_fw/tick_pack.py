"""Packs records as differences from the one before: a few bytes a tick instead of a whole record.

`encode` takes a record's bytes and leaves its entry in `octets[:length]`: one byte that says what
follows, then what differs from the entry before. What a tick read and the commands it took are
packed whole, so that the outputs can be had again by replay. A thinned entry has no ticks before it
to replay from, and so carries a few outputs too. After `restart` an entry stands by itself.
"""

from emberbed_fw import record
from emberbed_fw.messages import RENEW
from emberbed_fw.units import CHANNELS, TICK_MS, WORD_BYTES

# The bits of an entry's first byte, in the order of what follows.
HAS_ELAPSED = 1  # B elapsed_ms - 100 + 128, or 0 and H elapsed_ms; absent: 100 ms
HAS_FLAGS = 2  # H port_flags
HAS_FRESH = 4  # B fresh_channels
HAS_WORDS = 8  # B channels that changed, then a channel's halves each, see below
HAS_STATUS = 16  # B each of STATUS_FIELDS (thinned entries only)
HAS_OUTPUTS = 32  # B demand, signed difference of the energy (thinned entries, always)
HAS_SETPOINT = 128  # signed difference of the setpoint (thinned entries only)
HAS_COMMANDS = 64  # B length, the commands as in the record; or B ONE_RENEW and its age

# A channel's word changes by two halves of 16 bits: a byte holds both differences, the high half's
# in its upper four bits, in steps of the MAX31855's temperatures (0.25 and 0.0625 degC).
HIGH_SHIFT = 2
LOW_SHIFT = 4
FAR = 8  # the half did not change by -7..7 whole steps: its 16 bits follow
ELAPSED_MIDDLE = 128
ONE_RENEW = 0x80  # with the age in ticks, 0..127, of what it acknowledges: nothing else was asked
DEMAND_SHIFT = 7  # of the demand one byte is kept
MOST_ENTRY = 8 + CHANNELS * 5 + 4 + 11 + 1 + record.COMMAND_BYTES

STATUS_FIELDS = ("state", "verdict", "stage", "trip")

_ELAPSED_AT = record.offset_of("elapsed_ms")
_FLAGS_AT = record.offset_of("port_flags")
_FRESH_AT = record.offset_of("fresh_channels")
_STATUS_AT = tuple([record.offset_of(field) for field in STATUS_FIELDS])
_SETPOINT_AT = record.offset_of("setpoint_cdeg")
_ENERGY_AT = record.offset_of("energy_j")
_DEMAND_AT = record.offset_of("demand0_q15")
_NO_WORDS = bytes(CHANNELS * WORD_BYTES)


def put_signed(octets, at, number):
    """Write a whole number below 2**30 in as few bytes as it needs; return where the next goes.

    The first byte has the sign in bit 0 and six bits, each further one seven; bit 7: more follow.
    """
    rest = -number if number < 0 else number
    octet = (rest & 0x3F) << 1 | (1 if number < 0 else 0)
    rest >>= 6
    while rest:
        octets[at] = octet | 0x80
        at += 1
        octet = rest & 0x7F
        rest >>= 7
    octets[at] = octet
    return at + 1


def _half(octets, at):
    return octets[at] << 8 | octets[at + 1]


def _steps(change, shift):
    """Return a half's change in steps as four bits, FAR when they cannot hold it."""
    steps = change >> shift
    if steps << shift != change or not -FAR < steps < FAR:
        return FAR
    return steps & 15


class TickPacker:
    def __init__(self, thinned):
        self._thinned = thinned
        self._words = bytearray(_NO_WORDS)
        self._status = bytearray(len(STATUS_FIELDS))
        self.octets = bytearray(MOST_ENTRY)
        self.length = 0
        self.restart()

    def restart(self):
        """Let the next entry stand by itself."""
        self._flags = -1
        self._fresh = -1
        self._words[:] = _NO_WORDS
        self._status[0] = 255  # no state: the first status is always told
        self._setpoint = 0
        self._energy = 0

    def encode(self, packed, length):
        """Leave the entry of a record (`length` bytes of `packed`) in `octets[:self.length]`."""
        out = self.octets
        has, at = self._put_port(packed, 1)
        after_words = self._put_words(packed, at)
        if after_words != at:
            has |= HAS_WORDS
            at = after_words
        if self._thinned:
            if self._status_changed(packed):
                has |= HAS_STATUS
                for index in range(len(_STATUS_AT)):
                    out[at + index] = self._status[index]
                at += len(_STATUS_AT)
            has |= HAS_OUTPUTS
            at = self._put_demand_and_energy(packed, at)
            after_setpoint = self._put_setpoint(packed, at)
            if after_setpoint != at:
                has |= HAS_SETPOINT
                at = after_setpoint
        elif length > record.FIXED_BYTES:
            has |= HAS_COMMANDS
            at = self._put_commands(packed, length, at)
        out[0] = has
        self.length = at

    def _put_port(self, packed, at):
        """Write what the port gave besides the words; return the bits of it and the place after."""
        out = self.octets
        has = 0
        elapsed_ms = packed[_ELAPSED_AT] | packed[_ELAPSED_AT + 1] << 8
        if elapsed_ms != TICK_MS:
            has |= HAS_ELAPSED
            near = elapsed_ms - TICK_MS + ELAPSED_MIDDLE
            out[at] = near if near < 256 else 0
            at += 1
            if out[at - 1] == 0:
                out[at] = packed[_ELAPSED_AT]
                out[at + 1] = packed[_ELAPSED_AT + 1]
                at += 2
        flags = packed[_FLAGS_AT] | packed[_FLAGS_AT + 1] << 8
        if flags != self._flags:
            self._flags = flags
            has |= HAS_FLAGS
            out[at] = packed[_FLAGS_AT]
            out[at + 1] = packed[_FLAGS_AT + 1]
            at += 2
        if packed[_FRESH_AT] != self._fresh:
            self._fresh = packed[_FRESH_AT]
            has |= HAS_FRESH
            out[at] = self._fresh
            at += 1
        return has, at

    def _put_words(self, packed, at):
        """Write the words that changed; return the place after them, `at` when none did."""
        changed = 0
        mask_at = at
        at += 1
        for channel in range(CHANNELS):
            before = channel * WORD_BYTES
            now = record.WORDS_OFFSET + before
            if _same_word(self._words, before, packed, now):
                continue
            changed |= 1 << channel
            at = self._put_word(packed, now, before, at)
        self.octets[mask_at] = changed
        return at if changed else mask_at

    def _put_word(self, packed, now, before, at):
        out = self.octets
        words = self._words
        high = _steps(_half(packed, now) - _half(words, before), HIGH_SHIFT)
        low = _steps(_half(packed, now + 2) - _half(words, before + 2), LOW_SHIFT)
        out[at] = high << 4 | low
        at += 1
        for index in range(WORD_BYTES):
            words[before + index] = packed[now + index]
            if (high if index < 2 else low) == FAR:
                out[at] = packed[now + index]
                at += 1
        return at

    def _put_commands(self, packed, length, at):
        out = self.octets
        age = _renewal_age(packed, length)
        if age >= 0:
            out[at] = ONE_RENEW | age
            return at + 1
        out[at] = length - record.FIXED_BYTES
        at += 1
        for index in range(record.FIXED_BYTES, length):
            out[at] = packed[index]
            at += 1
        return at

    def _status_changed(self, packed):
        changed = False
        for index in range(len(_STATUS_AT)):
            if self._status[index] != packed[_STATUS_AT[index]]:
                self._status[index] = packed[_STATUS_AT[index]]
                changed = True
        return changed

    def _put_demand_and_energy(self, packed, at):
        """Write both; 30 bits hold any energy."""
        self.octets[at] = min(
            (packed[_DEMAND_AT] | packed[_DEMAND_AT + 1] << 8) >> DEMAND_SHIFT, 255
        )
        energy = packed[_ENERGY_AT] | packed[_ENERGY_AT + 1] << 8
        energy |= packed[_ENERGY_AT + 2] << 16 | (packed[_ENERGY_AT + 3] & 0x3F) << 24
        at = put_signed(self.octets, at + 1, energy - self._energy)
        self._energy = energy
        return at

    def _put_setpoint(self, packed, at):
        """Write a setpoint that changed; 24 bits hold any."""
        setpoint = packed[_SETPOINT_AT] | packed[_SETPOINT_AT + 1] << 8
        setpoint |= packed[_SETPOINT_AT + 2] << 16
        if packed[_SETPOINT_AT + 3] & 0x80:
            setpoint -= 1 << 24
        if setpoint == self._setpoint:
            return at
        at = put_signed(self.octets, at, setpoint - self._setpoint)
        self._setpoint = setpoint
        return at


def _renewal_age(packed, length):
    """Return how old the tick is that the record's one RENEW names, -1 for other commands."""
    at = record.FIXED_BYTES
    if length != at + 6 or packed[at] != RENEW or packed[at + 3] != packed[1]:
        return -1
    age = packed[0] - packed[at + 2]
    same = packed[at + 4] == packed[2] and packed[at + 5] == packed[3]
    return age if same and 0 <= age < ONE_RENEW else -1


def _same_word(words, before, packed, now):
    return (
        words[before] == packed[now] and words[before + 1] == packed[now + 1]
        and words[before + 2] == packed[now + 2] and words[before + 3] == packed[now + 3]
    )
