"""Fixtures of the link's tests."""

import os
from types import SimpleNamespace

import pytest
from serial.urlhandler import protocol_socket

from tests.host.link.connected import OLD_THREAD
from tests.host.link.fake_device import FakeDevice
from tests.host.link.played_session import Bench
from tests.host.link.wires import PtyWire, Rfc2217Wire, SocketWire


@pytest.fixture(autouse=True)
def quick_close(monkeypatch):
    """pyserial sleeps 0.3 s after closing a socket for the sake of quick reconnects; not here."""
    monkeypatch.setattr(protocol_socket, "time", SimpleNamespace(sleep=lambda _seconds: None))


@pytest.fixture
def bench():
    return Bench(tick=500).connect()


@pytest.fixture(params=[SocketWire, PtyWire, pytest.param(Rfc2217Wire, marks=OLD_THREAD)])
def wire(request):
    if request.param is PtyWire and not hasattr(os, "openpty"):
        pytest.skip("this system has no pseudo-terminals")
    with request.param(FakeDevice(tick=100)) as opened:
        yield opened


@pytest.fixture
def socket_wire():
    with SocketWire(FakeDevice(tick=100)) as opened:
        yield opened
