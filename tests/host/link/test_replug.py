"""A device that was plugged in anew is found under its new name, and no other is taken for it."""

from types import SimpleNamespace

import pytest

from emberbed.link import replug
from emberbed.link.replug import identity_of, port_now


def usb(device, serial_number="E6605838", vid=0x2E8A, pid=5):
    return SimpleNamespace(device=device, vid=vid, pid=pid, serial_number=serial_number)


@pytest.fixture
def ports(monkeypatch):
    """Return the list of ports that the system has."""
    there = []
    monkeypatch.setattr(replug.list_ports, "comports", lambda: there)
    return there


def test_it_is_found_under_its_new_name(ports):
    ports[:] = [usb("/dev/ttyACM0"), usb("/dev/ttyACM1", "other")]
    identity = identity_of("/dev/ttyACM0")
    ports[:] = [usb("/dev/ttyACM1", "other"), usb("/dev/ttyACM2")]
    assert port_now("/dev/ttyACM0", identity) == "/dev/ttyACM2"


def test_its_old_name_is_kept_while_it_is_there_or_gone(ports):
    ports[:] = [usb("/dev/ttyACM0")]
    identity = identity_of("/dev/ttyACM0")
    assert port_now("/dev/ttyACM0", identity) == "/dev/ttyACM0"
    ports.clear()
    assert port_now("/dev/ttyACM0", identity) == "/dev/ttyACM0"


@pytest.mark.parametrize("other", [usb("B", "other"), usb("B", vid=1), usb("B", pid=1)])
def test_another_device_is_not_taken_for_it(ports, other):
    ports[:] = [usb("A")]
    identity = identity_of("A")
    ports[:] = [other]
    assert port_now("A", identity) == "A"


@pytest.mark.parametrize("port", [usb("A", None), usb("A", vid=None)])
def test_one_that_cannot_be_told_from_others_keeps_its_name(ports, port):
    ports[:] = [port]
    assert identity_of("A") is None and identity_of("socket://127.0.0.1:1") is None
    ports[:] = [usb("B", None)]
    assert port_now("A", None) == "A"
