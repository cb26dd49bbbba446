"""The virtual device's wire against real sockets."""

import socket
import struct
import sys

import pytest

from emberbed_sim import loopback_wire
from emberbed_sim.loopback_wire import Wire


@pytest.fixture
def wire():
    opened = Wire()
    yield opened
    opened.close()


def connect(wire):
    """Return a connected client."""
    client = socket.create_connection(("127.0.0.1", wire.port), timeout=5)
    assert wire.wait(5) == b""
    assert wire.connected()
    return client


def until(wire, wanted, turns=200):
    heard = b""
    for _ in range(turns):
        heard += wire.wait(0.02)
        if heard == wanted:
            return heard
    return heard


def test_bytes_go_both_ways(wire):
    with connect(wire) as client:
        client.sendall(b"\0to the device\0")
        assert until(wire, b"\0to the device\0") == b"\0to the device\0"
        wire.send(b"\0to the host\0")
        assert client.recv(100) == b"\0to the host\0"


def test_waiting_gives_up_after_its_time(wire):
    assert wire.wait(0.01) == b""
    assert wire.wait(-1.0) == b""
    assert not wire.connected()


def test_only_this_computer_can_connect(wire):
    assert wire._listener.getsockname()[0] == "127.0.0.1"


def test_one_host_at_a_time_and_another_after_it(wire):
    with connect(wire) as first:
        with socket.create_connection(("127.0.0.1", wire.port), timeout=5) as second:
            assert wire.wait(1) == b"" and wire.connected()
            assert second.recv(100) == b"", "shown out at once"
        wire.send(b"for the first")
        assert first.recv(100) == b"for the first"
    until_gone(wire)
    with connect(wire) as third:
        wire.send(b"for the third")
        assert third.recv(100) == b"for the third"


def until_gone(wire):
    for _turn in range(200):
        if not wire.connected():
            return
        wire.wait(0.02)
    raise AssertionError("it is still connected")


def test_a_pulled_cable_cuts_off_and_lets_nobody_in_until_it_is_back(wire):
    with connect(wire) as client:
        wire.plug(False)
        assert client.recv(100) == b"" and not wire.connected()
        assert wire.wait(0.01) == b""
        wire.send(b"into the air")
        with pytest.raises(OSError, match="refused|timed out"):
            socket.create_connection(("127.0.0.1", wire.port), timeout=1)
    wire.plug(True)
    wire.plug(True)
    with connect(wire) as again:
        wire.send(b"back")
        assert again.recv(100) == b"back"


def test_what_nobody_reads_is_bounded_and_blocks_nothing(wire, monkeypatch):
    monkeypatch.setattr(loopback_wire, "MOST_UNSENT", 1000)
    with connect(wire):
        for _ in range(20_000):
            wire.send(b"x" * 999)
        assert len(wire._unsent) <= 1000


def test_a_host_that_hangs_up_while_written_to_is_dropped_and_the_wire_listens_on(wire):
    """The wait after it must not take the listener for a host: it would block for good."""
    client = connect(wire)
    linger = struct.pack("hh" if sys.platform == "win32" else "ii", 1, 0)
    client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)  # reset at close
    client.close()
    wire._unsent = b"left over"
    for _ in range(100):
        wire.wait(0.02)
        if not wire.connected():
            break
    assert not wire.connected()
    wire.send(b"nobody hears this")
    connect(wire).close()
