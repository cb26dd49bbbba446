"""The touch test: a finger on one bead, and the device's channel that it warms is named.

Ten seconds before arming show whether a bead lies where its channel's name says. Readings of the
first half second are the ground; a channel is named when it rises clearly and no other does so.
"""

import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from rich.console import Console

from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualDevice
from emberbed.device_description import DeviceDescription
from emberbed.link.device import Device
from emberbed.link.events import Record
from emberbed.records import TickRecord, decode_record
from emberbed_fw.units import TICKS_PER_S

TEST_S = 10.0
LEAST_RISE_CDEG = 100
CLEARLY = 2  # times what any other channel rises
GROUND_TICKS = TICKS_PER_S // 2
WARMEST_START_CDEG = 3300  # a finger has 33 to 35 degrees C and warms nothing that is as warm
SILENT_S = 5.0
LAID_ON_S = 0.3  # a simulated finger comes by a thread of the device's process
ASK = "Lay a finger on one sensor's bead and keep it there: which channel does it warm?"


@dataclass(frozen=True)
class Touched:
    """How far each channel rose, in cdeg; `channel` is the one that a finger warmed, or None."""

    rises_cdeg: dict[int, int]
    channel: int | None
    too_warm: bool

    def sentence(self, names: Mapping[int, str]) -> str:
        """Return what the test showed, with the mend where it showed nothing."""
        warmed = [
            names.get(channel, f"channel{channel}")
            for channel, rise in self.rises_cdeg.items()
            if rise >= LEAST_RISE_CDEG
        ]
        if self.channel is not None:
            rise = self.rises_cdeg[self.channel] / 100
            return (
                f"The finger warmed {names.get(self.channel, f'channel{self.channel}')}"
                f" (channel {self.channel}, by {rise:.1f} °C)."
            )
        if len(warmed) > 1:
            return (
                f"More than one sensor got warmer ({', '.join(warmed)}): touch one bead alone, and"
                " keep hands and breath off the others, then test again."
            )
        if self.too_warm:
            return (
                "No sensor got warmer, as the board is as warm as a finger: let it cool below"
                f" {WARMEST_START_CDEG // 100} °C, then test again."
            )
        return (
            "No sensor got warmer: touch the bead itself, or tape it down better, and keep the"
            " finger there for the whole test."
        )


def judge_touch(records: Iterable[TickRecord], channels: Sequence[int]) -> Touched:
    """Return which of `channels` a finger warmed in these records, one tick each."""
    grounds: dict[int, list[int]] = {channel: [] for channel in channels}
    highest: dict[int, int] = {}
    for number, record in enumerate(records):
        for channel in channels:
            reading = record.channel_cdeg(channel)
            if reading is None:
                continue
            if number < GROUND_TICKS:
                grounds[channel].append(reading)
            else:
                highest[channel] = max(reading, highest.get(channel, reading))
    start = {c: sum(ground) // len(ground) for c, ground in grounds.items() if ground}
    rises = {c: highest[c] - start[c] for c in channels if c in highest and c in start}
    too_warm = any(cdeg >= WARMEST_START_CDEG for cdeg in start.values())
    return Touched(rises, _clear_winner(rises), too_warm)


def _clear_winner(rises: Mapping[int, int]) -> int | None:
    ranked = sorted(rises, key=lambda channel: rises[channel], reverse=True)
    if not ranked or rises[ranked[0]] < LEAST_RISE_CDEG:
        return None
    if len(ranked) > 1 and rises[ranked[0]] < CLEARLY * max(rises[ranked[1]], 1):
        return None
    return ranked[0]


def watch_touch(device: Device, channels: Sequence[int], seconds: float = TEST_S) -> Touched:
    """Watch a connected device's readings for so many of its seconds; nothing is armed."""
    return judge_touch(resting_records(device, round(seconds * TICKS_PER_S)), channels)


def resting_records(device: Device, count: int) -> Iterator[TickRecord]:
    """Give the next records of a device on which nothing is armed; NotReady when it is silent."""
    heard_s = time.monotonic()
    while count > 0:
        for event in device.poll(0.1):
            if not isinstance(event, Record):
                continue
            heard_s = time.monotonic()
            # nothing is armed that this could answer for; but a virtual device's clock stands
            # until its records are acknowledged
            device.renew(event.tick)
            yield decode_record(event.raw)
            count -= 1
            if count == 0:
                return
        if time.monotonic() - heard_s > SILENT_S:
            raise NotReady(
                [
                    f"The device at {device.url} sends no readings: check its cable and power, then"
                    " test again"
                ]
            )


def require_touch(
    device: Device,
    description: DeviceDescription,
    virtual: VirtualDevice | None,
    scripted: bool,
    console: Console,
    seconds: float = TEST_S,
) -> None:
    """Ask for the touch and tell which channel it warmed; refuse to go on when none was."""
    names = description.fitted_names()
    console.print(ASK, markup=False, highlight=False, soft_wrap=True)
    if virtual is not None and scripted:
        virtual.finger(min(names), seconds)
        time.sleep(LAID_ON_S)  # its clock stands meanwhile, and the finger is there
    touched = watch_touch(device, list(names), seconds)
    if touched.channel is None:
        raise NotReady([touched.sentence(names)])
    console.print(touched.sentence(names), markup=False, highlight=False, soft_wrap=True)
