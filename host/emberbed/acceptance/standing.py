"""How a device stands: which report is about it, what of it still counts, what a run should say.

The device's own number names it; where a board tells none, the USB serial number or its description
does.
"""

import time
from contextlib import suppress

from emberbed.acceptance.modules import changed, stands_on
from emberbed.acceptance.report import GOOD, PARTS, Report, StepResult, description_mark
from emberbed.acceptance.shelf import folder_of, newest
from emberbed.firmware_sources import Sources, firmware_folder, matches, read_sources
from emberbed.link.device import Device
from emberbed.link.replug import identity_of

DAY_S = 24 * 3600
WARNED = "warned"  # a file whose age tells when a person was last told


def device_id(device: Device, settings: bytes) -> str:
    """Return what names this device among others."""
    if device.greeting.board_number:
        return device.greeting.board_number.hex()
    identity = identity_of(device.url)
    if identity is not None:
        return identity.serial_number
    return f"unnumbered-{description_mark(settings)}"


def still_good(report: Report, modules: dict[str, str], sources: Sources) -> list[StepResult]:
    """Return the good steps of a report whose modules, and what they stand on, are unchanged."""
    differs = changed(report.modules, modules)
    return [
        step
        for step in report.steps
        if step.outcome in GOOD and not (differs & stands_on(sources, step.modules))
        and all(name in sources or name.endswith("/") for name in step.modules)
    ]  # fmt: skip


def warnings(device: Device, settings: bytes) -> list[str]:
    """Return what a run on this device should say, at most one sentence, and once a day."""
    name = device_id(device, settings)
    sentence = wanting(device, settings, newest(name))
    if sentence is None or _was_told_today(name):
        return []
    return [sentence]


def wanting(device: Device, settings: bytes, report: Report | None) -> str | None:
    """Return what this device's acceptance lacks, in one sentence; None for nothing."""
    how = f"emberbed device accept {device.url}"
    if report is None:
        return (
            "this device has never been accepted, so nothing shows that it trips as it should:"
            f" {how}"
        )
    if not matches(device.greeting.build_id.hex(), report.firmware):
        return (
            f"this device was accepted on {report.day} with other firmware: {how} --changed repeats"
            " what the update touches, in about 5 min"
        )
    if description_mark(settings) != report.description:
        return f"this device's description has changed since it was accepted on {report.day}: {how}"
    if report.failed:
        return f"this device failed its acceptance on {report.day}: mend it, then {how}"
    missing = [part for part in PARTS if not report.has_passed(part)]
    if missing:
        return f"the acceptance of this device is not complete ({', '.join(missing)}): {how}"
    return None


def _was_told_today(name: str) -> bool:
    """Tell whether a person was told within a day, and take note that it happens now."""
    note = folder_of(name) / WARNED
    with suppress(OSError):
        if 0 <= time.time() - note.stat().st_mtime < DAY_S:
            return True
    with suppress(OSError):  # a warning too many is no harm
        note.parent.mkdir(parents=True, exist_ok=True)
        note.touch()
    return False


def installed_sources() -> dict[str, bytes]:
    """Return the firmware's sources as they are installed here."""
    return read_sources(firmware_folder())
