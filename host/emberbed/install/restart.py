"""Wait for a device that starts anew: hear it out, then reach it again."""

import time
from contextlib import suppress

from emberbed.link.device import Device, Refused
from emberbed.link.events import Record
from emberbed.link.transport import LinkError

QUIET_S = 1.0  # ten ticks without a record
LONGEST_S = 15.0
PAUSE_S = 0.3


def hear_out(device: Device) -> None:
    """Wait until nothing comes any more: the device restarts, or its port is gone with it."""
    end_s = time.monotonic() + LONGEST_S
    with suppress(LinkError):
        while time.monotonic() < end_s:
            events = device.poll(QUIET_S)
            if not events:
                return
            for event in events:
                if isinstance(event, Record):
                    device.renew(event.tick)  # a virtual device's clock stands without


def reach_again(device: Device) -> None:
    """Open the port and a session anew; LinkError when the device stays away."""
    end_s = time.monotonic() + LONGEST_S
    while True:
        with suppress(LinkError, Refused):
            device.reconnect(0)
            return
        if time.monotonic() > end_s:
            raise LinkError(
                f"The device at {device.url} does not come back after its restart: switch it off"
                " and on"
            )
        time.sleep(PAUSE_S)
