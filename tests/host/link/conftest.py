"""Fixtures of the link's tests."""

from types import SimpleNamespace

import pytest
from serial.urlhandler import protocol_socket


@pytest.fixture(autouse=True)
def quick_close(monkeypatch):
    """pyserial sleeps 0.3 s after closing a socket for the sake of quick reconnects; not here."""
    monkeypatch.setattr(protocol_socket, "time", SimpleNamespace(sleep=lambda _seconds: None))
