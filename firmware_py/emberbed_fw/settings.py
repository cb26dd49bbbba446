"""The device description as the firmware keeps it: channels, zones, inputs that exist, ceilings.

One block of bytes, CRC-32 at its end, handed over by the device port at start-up (later: written by
the host in IDLE). Names are ASCII, padded with zeros; the firmware never uses them, it only keeps
them so that the host can name channels. A board channel's ceiling may not be above
safety_limits.HARD_CEILING_CDEG; a channel with a higher one sits on an emitter, and no plan can use
it for anything else. A thermistor's channel is no couple's: its ceiling counts, no plan uses it.
"""

import struct
from binascii import crc32

from emberbed_fw import safety_limits
from emberbed_fw.units import CHANNELS, ZONES

FORMAT_VERSION = 2
NAME_BYTES = 16

CONVERTER_ABSENT = 0
CONVERTER_MAX31855K = 1
CONVERTER_MAX31856 = 2
CONVERTER_MAX6675 = 3
CONVERTER_THERMISTOR = 4  # of the SSR's heatsink, on an analogue input

CONVERTER_NAMES = ("absent", "MAX31855K", "MAX31856", "MAX6675", "thermistor")

# Options of a MAX31856: its couple in the chip's own numbers, conversions averaged (1, 2 or 4 as
# 0, 1, 2: more would lag), the mains frequency that its filter takes out.
COUPLE_TYPES = "BEJKNRST"
COUPLE_MASK = 7
AVERAGE_SHIFT = 4
MOST_AVERAGE = 2
FILTER_50_HZ = 64
# Options of a thermistor: which table (thermistor.py).
THERMISTORS = 2
MOST_THERMISTOR_CDEG = 12000  # the tables and the parts go a little further; from memory

HAS_CONTACTOR_SENSE = 1
HAS_HEAT_SENSE = 2
HAS_FAN = 4
HAS_FAN_TACH = 8
HAS_CUT_OUT = 16  # an independent manual-reset thermal cut-out is declared fitted

HEADER = "<BBHH"  # version, HAS_* flags, watts of the socket (0 = not told), cdeg of a plain hold
CHANNEL = "<BBhHi%ds" % NAME_BYTES  # converter, options, offset cdeg, gain Q12, ceiling cdeg, name
ZONE = "<HBB"  # watts, least dwell ticks, spare
HEADER_BYTES = struct.calcsize(HEADER)
CHANNEL_BYTES = struct.calcsize(CHANNEL)
ZONE_BYTES = struct.calcsize(ZONE)
SETTINGS_BYTES = HEADER_BYTES + CHANNELS * CHANNEL_BYTES + ZONES * ZONE_BYTES + 4
MAX_WATTS = 3600
MAX_HOLD_CDEG = 13000  # of a hold without a PC: boards, fluxes and solders bear it; proposal


def pack_settings(has, channels, zones, socket_watts=0, hold_cdeg=0):
    """Return the block for a device.

    has: HAS_* flags; channels: up to 8 of (name, converter, ceiling_cdeg, offset_cdeg, gain_q12)
    and, where the converter has some, its options; zones: up to 4 of (watts, least dwell ticks);
    hold_cdeg: what the device holds when it is started at its button alone, 0 = not offered.
    Missing rows are absent.
    """
    block = struct.pack(HEADER, FORMAT_VERSION, has, socket_watts, hold_cdeg)
    for number in range(CHANNELS):
        row = channels[number] if number < len(channels) else ("", CONVERTER_ABSENT, 0, 0, 0)
        name, converter, ceiling_cdeg, offset_cdeg, gain_q12 = row[:5]
        options = row[5] if len(row) > 5 else 0
        block += struct.pack(
            CHANNEL, converter, options, offset_cdeg, gain_q12, ceiling_cdeg,
            name.encode()[:NAME_BYTES]
        )
    for number in range(ZONES):
        watts, dwell_ticks = zones[number] if number < len(zones) else (0, 0)
        block += struct.pack(ZONE, watts, dwell_ticks, 0)
    return block + struct.pack("<I", crc32(block))


def is_emitter_ceiling(ceiling_cdeg):
    """Tell whether a channel with this ceiling has its couple fixed to an emitter."""
    return ceiling_cdeg > safety_limits.HARD_CEILING_CDEG


def options_fit(converter, options, ceiling_cdeg):
    """Tell whether a channel's converter is known and has these options."""
    if converter == CONVERTER_MAX31856:
        known = COUPLE_MASK | 3 << AVERAGE_SHIFT | FILTER_50_HZ
        return options & ~known == 0 and options >> AVERAGE_SHIFT & 3 <= MOST_AVERAGE
    if converter == CONVERTER_THERMISTOR:
        return options < THERMISTORS and ceiling_cdeg <= MOST_THERMISTOR_CDEG
    return converter < len(CONVERTER_NAMES) and options == 0


class Settings:
    """The opened device description: lists by channel or zone, fixed while the firmware runs."""

    def __init__(self, block):
        self.block = bytes(block)
        _version, self.has, socket_watts, self.hold_cdeg = struct.unpack_from(HEADER, block, 0)
        self.socket_watts = [socket_watts]  # a row, so that its memory is watched too
        self.converter = [0] * CHANNELS
        self.options = [0] * CHANNELS
        self.offset_cdeg = [0] * CHANNELS
        self.gain_q12 = [0] * CHANNELS
        self.ceiling_cdeg = [0] * CHANNELS
        at = HEADER_BYTES
        for channel in range(CHANNELS):
            row = struct.unpack_from(CHANNEL, block, at)
            self.converter[channel] = row[0]
            self.options[channel] = row[1]
            self.offset_cdeg[channel] = row[2]
            self.gain_q12[channel] = row[3]
            self.ceiling_cdeg[channel] = row[4]
            at += CHANNEL_BYTES
        self.watts = [0] * ZONES
        self.dwell_ticks = [0] * ZONES
        for zone in range(ZONES):
            self.watts[zone], self.dwell_ticks[zone], _spare = struct.unpack_from(ZONE, block, at)
            at += ZONE_BYTES

    def tables(self):
        """Return every row of numbers that a run lives by."""
        return [self.converter, self.options, self.ceiling_cdeg, self.offset_cdeg, self.gain_q12,
                self.watts, self.dwell_ticks, self.socket_watts]

    def channel_fitted(self, channel):
        return self.converter[channel] != CONVERTER_ABSENT

    def couple_fitted(self, channel):
        """Tell whether a thermocouple is read here, so that a plan may use the channel."""
        return self.channel_fitted(channel) and self.converter[channel] != CONVERTER_THERMISTOR

    def sits_on_emitter(self, channel):
        """Tell whether this channel's couple is fixed to an emitter, by its ceiling."""
        return is_emitter_ceiling(self.ceiling_cdeg[channel])

    def has_input(self, flag):
        """Tell whether the device has this input or output (HAS_*)."""
        return self.has & flag != 0


def settings_fit(block):
    """Tell whether a block is whole and keeps every number inside the hard limits."""
    if len(block) != SETTINGS_BYTES or block[0] != FORMAT_VERSION:
        return False
    if struct.unpack_from("<I", block, SETTINGS_BYTES - 4)[0] != crc32(memoryview(block)[:-4]):
        return False
    settings = Settings(block)
    for channel in range(CHANNELS):
        if not options_fit(settings.converter[channel], settings.options[channel],
                           settings.ceiling_cdeg[channel]):
            return False
        if not 0 <= settings.ceiling_cdeg[channel] <= safety_limits.EMITTER_CEILING_CDEG:
            return False
        # 5 % and 20 degC hold any honest calibration of a couple (IEC 60584 class 2: 2.5 degC)
        if settings.channel_fitted(channel) and not 3891 <= settings.gain_q12[channel] <= 4301:
            return False
        if not -2000 <= settings.offset_cdeg[channel] <= 2000:
            return False
    return max(settings.watts) <= MAX_WATTS and settings.hold_cdeg <= MAX_HOLD_CDEG
