"""Find the devices that are attached: which ports there are, what answers at each, which to take.

Asked is every USB port: with a HELLO and nothing else, which takes no device from the program that
uses it. Other ports (built-in, Bluetooth) are named and left alone: who knows what hangs on them.
"""

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from serial.tools import list_ports

from emberbed.link.device import Device, Refused
from emberbed.link.events import Greeting
from emberbed.link.last_port import LastPort
from emberbed.link.transport import LinkError
from emberbed.words import state_words
from emberbed_fw import messages

_LOG = logging.getLogger(__name__)
ASK_S = 1.5  # what a device has to answer in


class SystemPort(Protocol):
    """A port as pyserial lists it."""

    device: str
    description: str
    vid: int | None
    serial_number: str | None


@dataclass(frozen=True)
class Found:
    """One port. `greeting` is what a device there said, None for none; `told` says it in words."""

    port: str
    description: str  # as the system has it
    greeting: Greeting | None
    told: str
    serial_number: str = ""  # of its USB device, '' where it tells none

    def was(self, last: LastPort) -> bool:
        """Tell whether this is the device that was used last, whatever its port is called now."""
        if last.serial_number:
            return self.serial_number == last.serial_number
        return self.port == last.port

    @property
    def is_device(self) -> bool:
        return self.greeting is not None


class NotOne(Exception):
    """No port could be chosen; the text is one sentence with the mend."""


def find(ports: Iterable[SystemPort] | None = None) -> list[Found]:
    """Ask at every port of this computer (or these), in the order of their names."""
    listed = list_ports.comports() if ports is None else ports
    found = [_ask(port) for port in sorted(listed, key=lambda one: one.device)]
    for one in found:
        _LOG.debug("%s: %s", one.port, one.told)
    return found


def choose(found: list[Found], last: LastPort | None = None) -> tuple[str, str]:
    """Return the one port that can be meant, and why it is chosen; NotOne otherwise.

    last: the device used last, which is meant where several are attached.
    """
    devices = [one for one in found if one.is_device]
    if len(devices) == 1:
        others = len(found) - 1
        besides = f", {others} other port{'s' if others > 1 else ''} looked at" if others else ""
        return devices[0].port, f"{devices[0].port} is taken: {devices[0].told}{besides}"
    before = [one for one in devices if last is not None and one.was(last)]
    if len(before) == 1:
        (same,) = before
        others = ", ".join(one.port for one in devices if one is not same)
        return same.port, (
            f"{same.port} is taken, as it was used last: {same.told}; attached too: {others}"
        )
    if devices:
        several = "; ".join(f"{one.port}: {one.told}" for one in devices)
        raise NotOne(
            f"{len(devices)} devices are attached ({several}): name one, such as"
            f" --device {devices[0].port}"
        )
    if not found:
        raise NotOne("No serial port was found at all: plug the device in, then try again")
    looked = "; ".join(f"{one.port}: {one.told}" for one in found)
    raise NotOne(f"No device was found ({looked}): plug it in, or name its port with --device")


def _ask(port: SystemPort) -> Found:
    description, serial_number = port.description or "", port.serial_number or ""
    if port.vid is None:
        return Found(port.device, description, None, "no USB port, not asked")
    try:
        with Device.connect(port.device, ASK_S) as device:
            greeting = device.greeting
    except Refused as refused:
        busy = refused.code == messages.BUSY
        told = "a device that another program uses" if busy else str(refused)
        return Found(port.device, description, None, told)
    except LinkError as error:
        return Found(port.device, description, None, error.what)
    told = f"a device with firmware {greeting.firmware}, {state_words(greeting.state)}"
    if greeting.entry == messages.ENTRY_INJECTED:
        told += ", on injected readings"
    return Found(port.device, description, greeting, told, serial_number)
