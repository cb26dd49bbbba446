"""What is attached: every port with what is there, and how the device that would be taken stands.

Asked are the USB ports, as `emberbed device list` does; a device that another program uses is left
alone. Nothing is armed.
"""

from collections.abc import Iterator
from contextlib import ExitStack

from emberbed.acceptance.shelf import newest
from emberbed.acceptance.standing import device_id, wanting
from emberbed.bench.prepare import NotReady, read_description
from emberbed.bench.virtual import VirtualBench, VirtualDevice, VirtualDeviceError
from emberbed.calibration import history
from emberbed.doctor.rows import Row
from emberbed.link import discovery, last_port
from emberbed.link.device import Device, Refused
from emberbed.link.transport import MAY_NOT_OPEN, LinkError, permission_mend
from emberbed.store.faults import StoreError
from emberbed.words import state_words

AUTO, VIRTUAL = "auto", "virtual"


def rows(device: str) -> Iterator[Row]:
    """Return the ports found, then all of the device that is named, or that 'auto' takes."""
    found = discovery.find()
    for one in found:
        shut_out = one.told.startswith(MAY_NOT_OPEN)
        yield Row("port", f"{one.port}: {one.told}", permission_mend(one.port) if shut_out else "")
    if device != AUTO:
        yield from _device(device)
        return
    try:
        port, _why = discovery.choose(found, last_port.recall())
    except discovery.NotOne as reason:
        yield Row("device", str(reason))
        return
    yield from _device(port)


def _device(port: str) -> Iterator[Row]:
    try:
        with ExitStack() as closing:
            url = port
            if port == VIRTUAL:
                url = closing.enter_context(VirtualDevice(VirtualBench(speed="max"))).url
            device = closing.enter_context(Device.connect(url))
            yield from _standing(device, port)
    except (LinkError, Refused, NotReady, StoreError, VirtualDeviceError) as error:
        yield Row("device", f"{port} cannot be asked", str(error))


def _standing(device: Device, port: str) -> Iterator[Row]:
    settings, description = read_description(device)
    greeting = device.greeting
    names = ", ".join(channel.name for channel in description.channels if channel.name)
    said = f"firmware {greeting.firmware}, {state_words(greeting.state)}, sensors {names}"
    yield Row("device", f"{port}: {said}")
    if port == VIRTUAL:
        return
    name = device_id(device, settings)
    report = newest(name)
    lacks = wanting(device, settings, report)
    if lacks is not None:
        what, _sign, mend = lacks.partition(": ")
        yield Row("acceptance", what, mend)
    elif report is not None:
        yield Row("acceptance", f"whole, of {report.day}")
    mine = [entry for entry in history.entries() if entry.device == name]
    if mine:
        last = mine[-1]
        yield Row("calibration", f"last on {last.when_utc[:10]}, {last.name}")
    else:
        yield Row("calibration", "none is kept of this device: emberbed sensor calibrates one")
