"""Find a USB device again that was plugged in anew: the system may give its port another name."""

from typing import NamedTuple

from serial.tools import list_ports


class Identity(NamedTuple):
    """What a USB device says of itself, whatever its port is called."""

    vid: int
    pid: int
    serial_number: str


def identity_of(port: str) -> Identity | None:
    """Return who is at this port; None where nobody can be told from others."""
    for listed in list_ports.comports():
        if listed.device == port and listed.vid is not None and listed.serial_number:
            return Identity(listed.vid, listed.pid, listed.serial_number)
    return None


def port_now(port: str, identity: Identity | None) -> str:
    """Return the port that the device has now; the old one while it cannot be found elsewhere."""
    if identity is None:
        return port
    listed = list_ports.comports()
    if any(one.device == port for one in listed):
        return port
    same = [one.device for one in listed if (one.vid, one.pid, one.serial_number) == identity]
    return same[0] if same else port
