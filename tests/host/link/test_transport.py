"""Ports that cannot be opened, or break: one sentence each, with the place and the mend."""

import errno
import os
import socket
import sys

import pytest
import serial

from emberbed.link import transport
from emberbed.link.transport import LinkError, open_port


def why(url):
    with pytest.raises(LinkError) as failure:
        open_port(url)
    text = str(failure.value)
    assert "\n" not in text
    assert "Errno" not in text
    return text


@pytest.fixture
def ports(monkeypatch):
    """Decide which ports the system is said to have."""
    found = []
    monkeypatch.setattr(transport.list_ports, "comports", lambda: found)
    return found


@pytest.fixture
def refuse(monkeypatch):
    """Let pyserial fail as told, for what this machine cannot be made to do."""

    def fail_with(failure):
        def serial_for_url(*_args, **_options):
            raise failure

        monkeypatch.setattr(transport.serial, "serial_for_url", serial_for_url)

    return fail_with


class FoundPort:
    def __init__(self, device):
        self.device = device


def test_no_such_port_lists_those_that_exist(ports):
    ports += [FoundPort("COM9"), FoundPort("COM12")]
    missing = "COM99" if os.name == "nt" else "/dev/ttyNOWHERE"
    assert why(missing) == f"There is no port {missing} here: the ports found are COM12, COM9"


def test_no_port_at_all(ports):
    missing = "COM99" if os.name == "nt" else "/dev/ttyNOWHERE"
    assert "plug the device in" in why(missing)


def test_nothing_listens():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        free = listener.getsockname()[1]
    url = f"socket://127.0.0.1:{free}"
    assert why(url) == f"Nothing listens at {url}: start the device there or mend the address"


@pytest.mark.parametrize(
    "url",
    [
        "ether://box",
        "socket://127.0.0.1",
        "socket://127.0.0.1:",
        "socket://127.0.0.1:ninety",
        "socket://127.0.0.1:99999",
        "socket://127.0.0.1:5331?colour=red",
    ],
)
def test_an_address_that_is_none(url):
    text = why(url)
    assert url in text
    assert "socket://127.0.0.1:5331" in text


@pytest.mark.parametrize("port", ["", "  ", "ttyACM0\0x"])
def test_a_name_that_is_none(port, ports):
    assert "is no port: give a name such as" in why(port)


def test_an_unknown_computer(refuse):
    cause = socket.gaierror(-2, "Name or service not known")
    failure = serial.SerialException("Could not open port")
    failure.__context__ = cause
    refuse(failure)
    assert "name of the computer in socket://nowhere:1 is not known" in why("socket://nowhere:1")


def test_a_computer_that_does_not_answer(refuse):
    failure = serial.SerialException("Could not open port")
    failure.__context__ = TimeoutError("timed out")
    refuse(failure)
    assert "Nothing answers at socket://10.0.0.9:1" in why("socket://10.0.0.9:1")


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
def test_a_port_has_one_owner():
    master, slave = os.openpty()
    try:
        name = os.ttyname(slave)
        owner = open_port(name)
        try:
            assert why(name) == (
                f"Port {name} is in use: close the other program that has it open, then try again"
            )
        finally:
            owner.close()
        open_port(name).close()
    finally:
        os.close(master)
        os.close(slave)


def test_a_port_in_use_on_windows(refuse):
    # the text of pyserial's serialwin32.py: "could not open port {!r}: {!r}" of the system's error
    refuse(
        serial.SerialException(
            "could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"
        )
    )
    assert why("COM3").startswith("Port COM3 is in use")


def test_a_missing_port_on_windows(refuse, ports):
    refuse(
        serial.SerialException(
            "could not open port 'COM3': FileNotFoundError(2, 'cannot find the file', None, 2)"
        )
    )
    assert why("COM3").startswith("There is no port COM3")


def test_no_permission_names_the_group(refuse, monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    refuse(serial.SerialException(errno.EACCES, "could not open port /dev/ttyNOWHERE"))
    assert why("/dev/ttyNOWHERE") == (
        "You may not open /dev/ttyNOWHERE: "
        'run "sudo usermod -aG dialout $USER", log out and in again'
    )
    monkeypatch.setattr(transport.Path, "group", lambda _path: "uucp")
    assert "-aG uucp" in why("/dev/ttyNOWHERE")
    monkeypatch.setattr(sys, "platform", "darwin")
    assert "ask whoever looks after this computer" in why("/dev/ttyNOWHERE")


def test_a_file_is_no_port(tmp_path, ports):
    file = tmp_path / "profile.toml"
    file.write_text("name = 1")
    text = why(str(file))
    assert str(file) in text
    assert "cannot be opened as a serial port" in text or "There is no port" in text


def test_reading_takes_what_is_there_and_waits_no_longer():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = open_port(f"socket://127.0.0.1:{listener.getsockname()[1]}")
        far, _ = listener.accept()
        with far:
            assert port.read(0) == b""
            assert port.read(0.01) == b""
            far.sendall(b"\0\3\4abc")
            assert port.read(1.0) == b"\0\3\4abc"
            port.write(b"\0\3")
            assert far.recv(10) == b"\0\3"
            far.sendall(b"last")
        assert port.read(1.0) == b"last"
        with pytest.raises(LinkError, match="broke .*check the cable"):
            port.read(1.0)
        port.close()


def test_a_far_end_that_takes_nothing_is_not_waited_for_long(monkeypatch):
    monkeypatch.setattr(transport, "WRITE_S", 0.05)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = open_port(f"socket://127.0.0.1:{listener.getsockname()[1]}")
        far, _ = listener.accept()
        with far, pytest.raises(LinkError, match="has taken no bytes for 0.05 s"):
            for _ in range(1000):
                port.write(bytes(100_000))
        port.close()


def test_a_port_that_cannot_be_selected_is_polled():
    # loop:// has no handle, like a COM port on Windows
    port = open_port("loop://")
    assert port.read(0.05) == b""
    port.write(b"\0\1\2\3")
    assert port.read(1.0) == b"\0\1\2\3"
    assert port.read(0) == b""
    port.close()
