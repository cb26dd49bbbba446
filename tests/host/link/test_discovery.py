"""Which ports are asked, what is said of each, and which one is taken."""

import json
import subprocess
import sys
from contextlib import ExitStack
from types import SimpleNamespace

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.cli_common import port_of
from emberbed.link import discovery, last_port
from emberbed.link.device import Device
from emberbed.link.discovery import Found, NotOne, choose, find
from tests.host.link.fake_device import FakeDevice


def port(device, vid=0x2E8A, description="a board"):
    return SimpleNamespace(
        device=device, vid=vid, pid=5, serial_number="E66", description=description
    )


@pytest.fixture(autouse=True)
def state(monkeypatch, tmp_path):
    """What is remembered lies in a folder of the test's own."""
    monkeypatch.setenv(last_port.VARIABLE, str(tmp_path / "state"))
    return tmp_path / "state" / last_port.FILE


@pytest.fixture
def devices():
    """Return a function that starts so many virtual devices and gives their ports."""
    with ExitStack() as running:

        def start(count):
            urls = []
            for _number in range(count):
                process = running.enter_context(
                    subprocess.Popen(
                        [sys.executable, "-m", "emberbed_sim.virtual_device", "--engine",
                         "cpython"],
                        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                    )
                )  # fmt: skip
                assert process.stdin and process.stdout
                running.callback(process.stdin.close)
                urls.append(json.loads(process.stdout.readline())["url"])
            return urls

        yield start


def test_a_device_is_named_with_its_firmware_and_state(devices):
    (url,) = devices(1)
    (found,) = find([port(url)])
    assert found.is_device and found.port == url
    assert found.told == "a device with firmware 0.1.0, ready, nothing loaded"
    assert choose([found]) == (url, f"{url} is taken: {found.told}")


def test_of_several_devices_none_is_guessed(devices):
    found = find([port(url) for url in devices(2)])
    assert [one.is_device for one in found] == [True, True]
    with pytest.raises(NotOne, match="2 devices are attached .* name one, such as --device socket"):
        choose(found)


def test_a_device_in_use_is_left_alone_and_said_so(devices):
    (url,) = devices(1)
    with Device.connect(url):
        (found,) = find([port(url)])
    assert not found.is_device and "another program" in found.told


def test_ports_that_are_no_usb_are_not_asked(monkeypatch):
    monkeypatch.setattr(discovery, "Device", None)  # asking would fail
    (found,) = find([port("/dev/ttyS0", vid=None)])
    assert (found.is_device, found.told) == (False, "no USB port, not asked")


def test_a_port_that_cannot_be_opened_is_told_with_the_reason():
    (found,) = find([port("/dev/ttyNOT0")])
    assert not found.is_device and "There is no port /dev/ttyNOT0 here" in found.told


def test_the_one_device_among_other_ports_is_taken_and_the_others_counted():
    other = Found("COM1", "", None, "no USB port, not asked")
    device = Found("COM7", "", FakeDevice, "a device with firmware 0.1.0, ready")  # type: ignore
    taken, why = choose([other, device, other])
    assert taken == "COM7"
    assert why == "COM7 is taken: a device with firmware 0.1.0, ready, 2 other ports looked at"


@pytest.mark.parametrize(
    ("found", "told"),
    [
        ([], "No serial port was found at all"),
        ([Found("COM1", "", None, "not asked")], r"No device was found \(COM1: not asked\)"),
    ],
)
def test_without_a_device_the_mend_is_told(found, told):
    with pytest.raises(NotOne, match=told):
        choose(found)


def test_auto_takes_the_one_device_and_says_why(devices, monkeypatch, capsys):
    (url,) = devices(1)
    monkeypatch.setattr(discovery.list_ports, "comports", lambda: [port(url)])
    assert port_of("auto") == url
    assert capsys.readouterr().err.startswith(f"note: {url} is taken: a device with firmware")
    assert port_of("COM3") == "COM3"


def told_device(port_name, serial_number=""):
    return Found(port_name, "", FakeDevice, "a device", serial_number)  # type: ignore


def test_of_several_the_one_used_last_is_taken_and_said_so(monkeypatch):
    several = [told_device("COM3", "A1"), told_device("COM7", "B2")]
    monkeypatch.setattr(discovery, "find", lambda: several)
    listed = [port("COM3"), port("COM7")]
    listed[0].serial_number, listed[1].serial_number = "A1", "B2"
    monkeypatch.setattr(discovery.list_ports, "comports", lambda: listed)
    with pytest.raises(NotReady):
        port_of("auto")
    port_of("COM7")  # was named, and is there
    port_of("COM8")  # is not there: not remembered
    assert last_port.recall() == ("COM7", "B2")
    assert port_of("auto") == "COM7"
    _taken, why = choose(several, last_port.recall())
    assert why == "COM7 is taken, as it was used last: a device; attached too: COM3"


def test_a_device_is_known_by_its_number_and_not_by_its_port():
    moved = [told_device("COM3", "B2"), told_device("COM7", "A1")]
    assert choose(moved, last_port.LastPort("COM7", "B2"))[0] == "COM3"
    with pytest.raises(NotOne):  # another device at the old port is another device
        choose([told_device("COM3", "C3"), told_device("COM7", "A1")],
               last_port.LastPort("COM7", "B2"))  # fmt: skip


@pytest.mark.parametrize("octets", [b"", b"{", b"[]", b'{"port": 1}', b"\xff\xfe" * 9000])
def test_a_damaged_memory_is_as_good_as_none(state, octets):
    state.parent.mkdir()
    state.write_bytes(octets)
    assert last_port.recall() is None


def test_a_folder_that_takes_nothing_hinders_nobody(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(last_port.VARIABLE, str(tmp_path / "file" / "below"))
    monkeypatch.setattr(discovery.list_ports, "comports", lambda: [port("COM3")])
    assert port_of("COM3") == "COM3"
    assert last_port.recall() is None


def test_auto_without_a_device_refuses_with_the_mend(monkeypatch):
    monkeypatch.setattr(discovery.list_ports, "comports", list)
    with pytest.raises(NotReady, match="No serial port was found at all"):
        port_of("auto")
