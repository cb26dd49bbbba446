"""The device description as the host reads it from a device: channels, zones, inputs.

The layout is the firmware's own (`emberbed_fw.settings`).
"""

import struct
from dataclasses import dataclass
from zlib import crc32

from emberbed.plain_text import printable
from emberbed_fw import settings as layout
from emberbed_fw.units import CHANNELS, ZONES

_NO_COUPLE = (
    layout.CONVERTER_NAMES[layout.CONVERTER_ABSENT],
    layout.CONVERTER_NAMES[layout.CONVERTER_THERMISTOR],
)


@dataclass(frozen=True)
class Channel:
    """One thermocouple input; `name` is '' where nothing is fitted."""

    name: str
    converter: str
    ceiling_cdeg: int
    offset_cdeg: int
    gain_q12: int
    options: int = 0  # of its converter, as emberbed_fw.settings numbers them

    @property
    def has_couple(self) -> bool:
        """Tell whether a thermocouple is read here, so that a profile may name it."""
        return self.converter not in _NO_COUPLE


@dataclass(frozen=True)
class Zone:
    """One heater zone; `watts` 0 where nothing is fitted."""

    watts: int
    dwell_ticks: int


@dataclass(frozen=True)
class DeviceDescription:
    channels: list[Channel]  # always 8
    zones: list[Zone]  # always 4
    has_contactor_sense: bool
    has_heat_sense: bool
    has_fan: bool
    has_cut_out: bool
    socket_watts: int = 0  # what the heater's socket gives, 0 = not told

    @property
    def zone_watts(self) -> list[int]:
        """Return the watts of the zones that are fitted."""
        return [zone.watts for zone in self.zones if zone.watts]

    @property
    def heater_watts(self) -> int:
        """Return what all zones take together at full power."""
        return sum(self.zone_watts)

    def channel_names(self) -> list[str]:
        """Return the names that a profile may use, all eight, '' for what reads no couple."""
        return [channel.name if channel.has_couple else "" for channel in self.channels]

    def fitted_names(self) -> dict[int, str]:
        """Return the fitted channels by number, each with a name of its own for people."""
        names: dict[int, str] = {}
        for number, channel in enumerate(self.channels):
            if channel.converter != layout.CONVERTER_NAMES[layout.CONVERTER_ABSENT]:
                name = channel.name or f"channel{number}"
                names[number] = f"{name}_{number}" if name in names.values() else name
        return names

    def ceilings_cdeg(self) -> list[int]:
        return [channel.ceiling_cdeg for channel in self.channels]


def decode_settings(block: bytes) -> DeviceDescription:
    """Decode a device's settings block; ValueError when it is not whole."""
    if len(block) != layout.SETTINGS_BYTES or block[0] != layout.FORMAT_VERSION:
        raise ValueError("the device's description has another format: update host or firmware")
    if struct.unpack_from("<I", block, len(block) - 4)[0] != crc32(block[:-4]):
        raise ValueError("the device's description is damaged: read it again")
    has = block[1]
    return DeviceDescription(
        [_channel(block, number) for number in range(CHANNELS)],
        [_zone(block, number) for number in range(ZONES)],
        bool(has & layout.HAS_CONTACTOR_SENSE),
        bool(has & layout.HAS_HEAT_SENSE),
        bool(has & layout.HAS_FAN),
        bool(has & layout.HAS_CUT_OUT),
        struct.unpack_from(layout.HEADER, block)[2],
    )


def _channel(block: bytes, number: int) -> Channel:
    at = layout.HEADER_BYTES + number * layout.CHANNEL_BYTES
    converter, options, offset, gain, ceiling, name = struct.unpack_from(layout.CHANNEL, block, at)
    text = printable(name.rstrip(b"\0").decode("ascii", "replace"))
    kind = layout.CONVERTER_NAMES[min(converter, len(layout.CONVERTER_NAMES) - 1)]
    return Channel(text if converter else "", kind, ceiling, offset, gain, options)


def _zone(block: bytes, number: int) -> Zone:
    at = layout.HEADER_BYTES + CHANNELS * layout.CHANNEL_BYTES + number * layout.ZONE_BYTES
    watts, dwell_ticks, _ = struct.unpack_from(layout.ZONE, block, at)
    return Zone(watts, dwell_ticks)
