"""The device description as the firmware keeps it: channels, zones, inputs that exist, ceilings.

One block of bytes, CRC-32 at its end, handed over by the device port at start-up (later: written by
the host in IDLE). Names are ASCII, padded with zeros; the firmware never uses them, it only keeps
them so that the host can name channels. Ceilings may only be below safety_limits.HARD_CEILING_CDEG.
"""

import struct
from binascii import crc32

from emberbed_fw import safety_limits
from emberbed_fw.units import CHANNELS, ZONES

FORMAT_VERSION = 1
NAME_BYTES = 16

CONVERTER_ABSENT = 0
CONVERTER_MAX31855K = 1

CONVERTER_NAMES = ("absent", "MAX31855K")

HAS_CONTACTOR_SENSE = 1
HAS_HEAT_SENSE = 2
HAS_FAN = 4
HAS_FAN_TACH = 8
HAS_CUT_OUT = 16  # an independent manual-reset thermal cut-out is declared fitted

HEADER = "<BBH"  # version, HAS_* flags, spare
CHANNEL = "<BBhHi%ds" % NAME_BYTES  # converter, spare, offset cdeg, gain Q12, ceiling cdeg, name
ZONE = "<HBB"  # watts, least dwell ticks, spare
HEADER_BYTES = struct.calcsize(HEADER)
CHANNEL_BYTES = struct.calcsize(CHANNEL)
ZONE_BYTES = struct.calcsize(ZONE)
SETTINGS_BYTES = HEADER_BYTES + CHANNELS * CHANNEL_BYTES + ZONES * ZONE_BYTES + 4
MAX_WATTS = 3600
