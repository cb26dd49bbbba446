"""The self-test of a device at rest, asked for over the link and judged here.

The device tells what its converters, cold junctions and senses say and what its own sums come to
(messages.SELFTEST_REPLY); nothing is armed and nothing heats. Every doubt is one sentence: the
place, what is wrong, the mend.
"""

import struct
from dataclasses import dataclass

from emberbed.device_description import DeviceDescription
from emberbed.link.device import Device
from emberbed.link.transport import LinkError
from emberbed.words import trip_words
from emberbed_fw import messages, record
from emberbed_fw.self_sums import self_sums
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import CHANNELS

# A bench that rests: common practice, no source.
COLDEST_CDEG, WARMEST_COLD_CDEG = -1000, 5500  # of a converter in a workshop, or in a warm box
MOST_APART_CDEG = 1000  # of a couple from its own converter, when nothing is warm
LEAST_FREE_BYTES = 8192  # for what a run takes besides: its plan is checked before the press

_HEAD = struct.Struct(messages.SELFTEST_REPLY)
_CHANNEL = struct.Struct(messages.SELFTEST_CHANNEL)


@dataclass(frozen=True)
class ChannelTest:
    """What one fitted channel said; `reading_cdeg` counts only where `fault` is NO_TRIP."""

    number: int
    name: str
    fault: int
    cold_cdeg: int
    reading_cdeg: int


@dataclass(frozen=True)
class SelfTest:
    """What a device said of itself. `free_bytes` 0: its interpreter does not tell."""

    channels: list[ChannelTest]
    port_flags: int
    outputs: int
    sums: tuple[int, int]
    memory_faults: int
    free_bytes: int

    def doubts(self) -> list[str]:
        """Return a sentence for all that is not as it must be."""
        found = [doubt for channel in self.channels for doubt in _channel_doubts(channel)]
        if not self.channels:
            found.append("No channel is fitted: write the device's settings with its sensors in.")
        return found + self._sense_doubts() + self._memory_doubts()

    def notes(self) -> list[str]:
        """Return what a person may want to know and nothing is wrong with."""
        return [
            f"{each.name} (channel {each.number}) reads {each.reading_cdeg / 100:.1f} °C, its"
            f" converter {each.cold_cdeg / 100:.1f} °C: warm, unless the plug of another sensor is"
            " in its place."
            for each in self.channels
            if each.fault == NO_TRIP and abs(each.reading_cdeg - each.cold_cdeg) > MOST_APART_CDEG
        ]

    def _sense_doubts(self) -> list[str]:
        found = []
        commanded = self.outputs & record.OUT_CONTACTOR
        if self.port_flags & record.PORT_CONTACTOR_CLOSED and not commanded:
            found.append(
                "The second switch is closed although nothing asks for it: pull the heater's mains"
                " plug, then mend the contactor or the wire of its sense contact."
            )
        if self.port_flags & record.PORT_HEAT_CURRENT:
            found.append(
                "Heater current flows although nothing heats: pull the mains plug now, then replace"
                " the heater's switch or mend the current sense."
            )
        if self.port_flags & record.PORT_BUTTON:
            found.append("The button is held or stuck: let go of it, or mend its wire.")
        if self.port_flags & record.PORT_BUS_ERROR:
            found.append("The converters' bus fails: check its cable and the converters' supply.")
        return found

    def _memory_doubts(self) -> list[str]:
        found = []
        if self.sums != self_sums():
            found.append(
                "The device counts otherwise than this PC: install the firmware again, and if that"
                " repeats itself, replace the controller."
            )
        if self.memory_faults:
            found.append(
                "The device's settings have changed in its memory: switch it off and on, and do not"
                " heat with it if that repeats itself."
            )
        if 0 < self.free_bytes < LEAST_FREE_BYTES:
            found.append(
                f"The device has {self.free_bytes} bytes of memory left: restart it, or take a"
                " controller with more memory."
            )
        return found


def _channel_doubts(channel: ChannelTest) -> list[str]:
    place = f"{channel.name} (channel {channel.number})"
    if channel.fault != NO_TRIP:
        said = trip_words(channel.fault, place)
        return [f"{said.happened} {said.mend}"]
    if not COLDEST_CDEG <= channel.cold_cdeg <= WARMEST_COLD_CDEG:
        return [
            f"The converter of {place} says that it has {channel.cold_cdeg / 100:.1f} °C itself:"
            " move it away from the heat, or replace it."
        ]
    return []


def self_test(device: Device, description: DeviceDescription) -> SelfTest:
    """Ask a connected device for its self-test."""
    data = device.ask(messages.SELFTEST).data
    if len(data) != _HEAD.size + CHANNELS * _CHANNEL.size:
        raise LinkError(
            f"The device at {device.url} gave a self-test of another form: install the firmware of"
            " this emberbed"
        )
    flags, outputs, couples, control, memory_faults, free_bytes = _HEAD.unpack_from(data)
    rows = list(_CHANNEL.iter_unpack(data[_HEAD.size :]))
    channels = [
        ChannelTest(number, name, *rows[number])
        for number, name in description.fitted_names().items()
    ]
    return SelfTest(channels, flags, outputs, (couples, control), memory_faults, free_bytes)
