"""A device's calibrations: which count, what a run should tell of them, and how one is written."""

import struct
from typing import NamedTuple
from zlib import crc32

from emberbed.acceptance.standing import device_id
from emberbed.calibration.history import Entry, entries, newest
from emberbed.calibration.line import Line
from emberbed.device_description import Channel, DeviceDescription
from emberbed.link.device import Device
from emberbed.store.faults import StoreError
from emberbed.store.runs import utc_now
from emberbed_fw import settings as layout
from emberbed_fw.units import CALIBRATION_ONE_Q12

OFFSET_AT = 2  # in a channel's row: after converter and options


def is_calibrated(channel: Channel) -> bool:
    """Tell whether somebody has set this input to known temperatures."""
    return bool(channel.offset_cdeg) or channel.gain_q12 != CALIBRATION_ONE_Q12


def standing(
    device: Device, block: bytes, description: DeviceDescription
) -> dict[int, Entry | None]:
    """Return the calibration of each calibrated couple by channel; None: of unknown origin."""
    calibrated = {
        number: channel
        for number, channel in enumerate(description.channels)
        if channel.has_couple and is_calibrated(channel)
    }
    if not calibrated:
        return {}
    known, name = entries(), device_id(device, block)
    return {number: newest(known, name, number, held) for number, held in calibrated.items()}


class Said(NamedTuple):
    """A sentence for a run's record; one that `warns` is for the person before heat too."""

    sentence: str
    warns: bool


def run_words(device: Device, block: bytes, description: DeviceDescription) -> list[Said]:
    """Return what a run's record tells of the calibrations in force.

    A file that cannot be read is told and stops no run.
    """
    try:
        found = standing(device, block, description)
    except StoreError as fault:
        return [Said(f"The calibrations could not be looked up: {fault}", True)]
    names, now = description.fitted_names(), utc_now()
    said = []
    for channel, entry in found.items():
        if entry is None:
            said.append(Said(unknown_words(names[channel]), True))
            continue
        known = entry.known()
        said.append(Said(known.sentence(), False))
        if known.is_old(now):
            said.append(Said(known.old_words(), True))
    return said


def unknown_words(name: str) -> str:
    return (
        f"{name} has a calibration that is not in this computer's history, so its age is not known:"
        " calibrate it again, or bring the history over"
    )


def with_line(block: bytes, channel: int, line: Line) -> bytes:
    """Return a device's settings with this calibration in one channel."""
    body = bytearray(block[:-4])
    at = layout.HEADER_BYTES + channel * layout.CHANNEL_BYTES + OFFSET_AT
    struct.pack_into("<hH", body, at, line.offset_cdeg, line.gain_q12)
    return bytes(body) + struct.pack("<I", crc32(body))
