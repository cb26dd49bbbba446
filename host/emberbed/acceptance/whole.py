"""A whole report from what was done now and what still counts of before.

Steps of an earlier report are carried over, with their day, where the device, its description and
every module that they stand on are the same. A part that was begun has all its steps: those that
nobody has done stand as not done.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from emberbed.acceptance.modules import digests
from emberbed.acceptance.report import (
    FAILED,
    INJECTED,
    LAMP,
    MAINS,
    NOT_DONE,
    Report,
    StepResult,
    description_mark,
    now,
)
from emberbed.acceptance.shelf import newest
from emberbed.acceptance.standing import device_id, installed_sources, still_good
from emberbed.bench.prepare import NotReady
from emberbed.device_description import decode_settings
from emberbed.firmware_sources import digest_of, installed_digest, matches
from emberbed.link.device import Device
from emberbed_fw.messages import ENTRY_HEATS

VIRTUAL = "virtual"
NOT_YET = "not done yet"


def name_of(device: Device, settings: bytes, virtual: bool) -> str:
    """Return the name under which the device's reports are kept."""
    return VIRTUAL if virtual else device_id(device, settings)


def carried(device: Device, settings: bytes, virtual: bool) -> list[StepResult]:
    """Return the steps of the newest report that still count."""
    report = newest(name_of(device, settings, virtual))
    if report is None or report.description != description_mark(settings):
        return []
    sources = installed_sources()
    return [
        replace(step, done_on=step.done_on or report.day)
        for step in still_good(report, digests(sources), sources)
    ]


def numbers_still_good(device: Device, settings: bytes, virtual: bool) -> set[str]:
    """Return the numbers of the steps that need not be done again."""
    return {step.number for step in carried(device, settings, virtual)}


def whole_report(
    device: Device,
    settings: bytes,
    about: Mapping[str, Any],
    part: str,
    ran: Sequence[StepResult],
) -> Report:
    """Return the report of a device after steps of one part have been done."""
    virtual = bool(about["virtual"])
    done = {step.number: step for step in carried(device, settings, virtual)}
    done |= {step.number: step for step in ran}
    begun = {step.part for step in done.values()} | {part}
    listed = [step for step in every_step() if step.part in begun]
    sources = installed_sources()
    return Report(
        device=name_of(device, settings, virtual),
        firmware=digest_of(sources).hex(),
        firmware_version=device.greeting.firmware,
        description=description_mark(settings),
        channels=tuple(decode_settings(settings).fitted_names().values()),
        date=now(),
        modules=digests(sources),
        steps=tuple(done.get(step.number, step) for step in listed),
        unreached=_unreached(),
        **about,
    )


def every_step() -> Iterable[StepResult]:
    """Yield every step there is, as nobody has done it."""
    from emberbed_hil import lamp_steps, mains_steps
    from emberbed_hil.accept import all_steps

    for step in all_steps(0.0):
        yield StepResult(step.number, step.title, INJECTED, NOT_DONE, NOT_YET, checks=step.checks)
    for step in lamp_steps.STEPS:
        yield StepResult(step.number, step.title, LAMP, NOT_DONE, NOT_YET, checks=step.checks)
    for item in mains_steps.ITEMS:
        yield StepResult(item.number, item.title, MAINS, NOT_DONE, NOT_YET)


def refuse_live(device: Device, settings: bytes, part: str, virtual: bool) -> None:
    """Raise NotReady for a part that the device, or the order of trust, does not allow yet."""
    url = device.url
    if device.greeting.entry != ENTRY_HEATS:
        raise NotReady(
            [f"The device at {url} takes injected readings and drives no pins: reset it first"]
        )
    refuse_other_firmware(device)
    if virtual:
        return
    report = newest(device_id(device, settings))
    before = [INJECTED] if part == LAMP else [INJECTED, LAMP]
    for each in before:
        steps = [] if report is None else report.of_part(each)
        good = carried(device, settings, virtual)
        if not steps or len([step for step in good if step.part == each]) < len(steps):
            failed = any(step.outcome == FAILED for step in steps)
            what = "has failed" if failed else "is not complete with this firmware"
            raise NotReady(
                [f"Part '{each}' of this device's acceptance {what}: do that first, --part {each}"]
            )


def refuse_other_firmware(device: Device) -> None:
    """Raise NotReady for a device whose firmware is not the one that this program can judge."""
    told = device.greeting.build_id.hex()
    if not matches(told, installed_digest()):
        raise NotReady(
            [
                f"The device at {device.url} runs firmware {told}, and this program comes with"
                f" {installed_digest()[:16]}: run emberbed device install, then accept what runs"
            ]
        )


def _unreached() -> Mapping[str, str]:
    from emberbed_hil.trip_ways import UNREACHED

    return UNREACHED
