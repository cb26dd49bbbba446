"""Options and devices that cannot be: exit 2, one sentence, no heat."""

import os
import socket

import pytest

from emberbed.link.transport import open_port
from emberbed_fw.frames import PROTOCOL_VERSION
from emberbed_sim.faults import CATALOGUE
from tests.host.cli.refusals import PRESSED, RUN, refused
from tests.host.link.fake_device import FakeDevice
from tests.host.link.wires import PtyWire, SocketWire
from tests.support.processes import need_posix

# the device


@pytest.mark.parametrize(
    ("port", "sentence"),
    [
        ("/dev/ttyNOWHERE", "There is no port /dev/ttyNOWHERE here: "),
        ("COM99", "There is no port COM99 here: "),
        ("socket://nonsense", "socket://nonsense is no address of a port: give a name such as"),
        ("teapot://127.0.0.1", "teapot://127.0.0.1 is no address of a port"),
    ],
)
def test_no_such_port(emberbed, port, sentence):
    if port == "/dev/ttyNOWHERE":
        need_posix("it has ports of other names")
    assert refused(emberbed(*RUN, "--device", port)).startswith(sentence)
    assert refused(emberbed("device", "info", "--device", port)).startswith(sentence)


def test_nothing_listens_there(emberbed):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        url = f"socket://127.0.0.1:{taken.getsockname()[1]}"
    sentence = f"Nothing listens at {url}: start the device there or mend the address"
    assert refused(emberbed(*RUN, "--device", url)) == sentence


def test_a_port_in_use(emberbed):
    need_posix("a second open of a pty is how a busy port is played")
    with PtyWire(FakeDevice()) as wire:
        first = open_port(wire.url)
        try:
            sentence = refused(emberbed(*RUN, "--device", wire.url))
        finally:
            first.close()
    assert sentence == (
        f"Port {wire.url} is in use: close the other program that has it open, then try again"
    )


def test_a_silent_device(emberbed, impatient):
    with SocketWire(FakeDevice(), hears=False) as wire:
        sentence = refused(emberbed(*RUN, "--device", wire.url))
    assert sentence.startswith(f"Nothing answers at {wire.url} within")
    assert "power" in sentence


def test_a_device_of_another_kind(emberbed, impatient):
    with SocketWire(FakeDevice(), turn=lambda: b"OK\r\n\0", hears=False) as wire:
        sentence = refused(emberbed(*RUN, "--device", wire.url))
    assert sentence == f"What speaks at {wire.url} is no Emberbed device: choose another port"


def test_another_version_of_the_protocol(emberbed, impatient):
    device = FakeDevice()
    device.version = PROTOCOL_VERSION + 1
    with SocketWire(device) as wire:
        sentence = refused(emberbed(*RUN, "--device", wire.url))
    assert f"version {PROTOCOL_VERSION}" in sentence
    assert "install the firmware that belongs to this program" in sentence
    assert device.done == []


def test_a_device_whose_description_is_damaged(emberbed, impatient):
    device = FakeDevice()
    device.settings = bytes(len(device.settings))
    with SocketWire(device) as wire:
        for words in (RUN, ("device", "info")):
            sentence = refused(emberbed(*words, "--device", wire.url))
            assert wire.url in sentence and "description" in sentence


def test_a_device_that_refuses_to_arm(emberbed, impatient):
    from emberbed_fw import messages

    device = FakeDevice()
    device.refuse[messages.ARM] = bytes([messages.WRONG_STATE])
    device.settings = _bench_description()
    with SocketWire(device) as wire:
        said = emberbed(*RUN, "--device", wire.url)
    # a device that nobody has accepted is warned of first, and the job that the run is in is named
    assert said.exit_code == 2 and "never been accepted" in said.out and "Job 1" in said.out
    assert said.err.startswith("The device cannot do that in its present state")
    assert said.err.count("\n") == 1
    assert emberbed("runs", "show").out.count("Refused: the device did not start the run") == 1


def _bench_description():
    from emberbed_sim.bench_device import bench_settings
    from emberbed_sim.plant.parameters import BenchParameters

    return bench_settings(BenchParameters())


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--press"], "--press only works on the virtual device: the one at COM7 has its own"),
        (["--fault", "tc_open@1s"], "--fault only works on the virtual device"),
        (["--press", "--speed", "max"], "--press and --speed only work on the virtual device"),
        (["--seed", "3", "--engine", "cpython"], "--seed and --engine only work on the virtual"),
    ],
)
def test_what_only_a_virtual_device_takes(emberbed, words, sentence):
    assert refused(emberbed(*RUN, "--device", "COM7", *words)).startswith(sentence)


# the virtual device


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        ("boom@1s", "Fault 'boom' is not known; write name@time, such as tc_open@120s; "),
        ("tc_opn@1s", "Fault 'tc_opn' is not known; write name@time, such as tc_open@120s; "),
        ("fan_stock_on@1s", "Fault 'fan_stock_on' is not known; write name@time, such as fan_"),
        ("tc_open#7", "Fault 'tc_open#7' lacks the time when it begins; write name@time"),
        ("tc_open", "Fault 'tc_open' lacks the time when it begins; write name@time, such as"),
        ("tc_open@1s#7", "Fault tc_open names channel 7, but the last sensor of this bench"),
        ("tc_open@soon", "Fault 'tc_open@soon' has the time 'soon'"),
        ("--help", "Fault '--help' cannot be read"),
    ],
)
def test_no_such_fault(emberbed, fault, sentence):
    assert refused(emberbed(*PRESSED, f"--fault={fault}")).startswith(sentence)
    assert refused(emberbed("rehearse", "label-printer", f"--fault={fault}")).startswith(sentence)


@pytest.mark.parametrize("speed", ["0", "-1", "nan", "inf", "1e9", "0.01"])
def test_no_such_speed(emberbed, speed):
    said = emberbed(*RUN, "--press", "--speed", speed)
    assert refused(said) == f"--speed {speed} is out of range: use 0.1 to 1000, or max"


@pytest.mark.parametrize("speed", ["fast", "", "1x"])
def test_a_speed_that_is_no_number(emberbed, speed):
    said = emberbed(*RUN, "--press", "--speed", speed)
    assert refused(said) == f"--speed {speed} is not a number: use 0.1 to 1000, or max"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--speed", "fast"), "--speed fast is not a number"),
        (("--engine", "abacus"), "--engine abacus is not known"),
        (("--fault", "boom@1s"), "Fault 'boom' is not known"),
        (("--page", os.path.join("nowhere", "page.html")), "The run's page cannot be written"),
    ],
)
def test_options_are_judged_before_the_missing_keyboard(emberbed, words, sentence):
    assert refused(emberbed(*RUN, *words)).startswith(sentence)


@pytest.mark.parametrize("command", ["run", "rehearse", "page"])
def test_a_fault_list_names_every_fault_of_the_simulation(emberbed, command):
    """Without a profile: who asks for the list wants nothing else."""
    said = emberbed(command, "--fault", "list")
    listed = said.out.splitlines()
    assert said.exit_code == 0
    assert [kind.name for kind in CATALOGUE if kind.name not in listed] == []


def test_the_help_of_a_run_fits_a_few_screens(emberbed):
    said = emberbed("run", "--help").out
    assert "'list' names all" in " ".join(said.replace("│", " ").split())
    assert len(said.splitlines()) < 100


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (("run",), "beside the store"),
        (("runs", "page"), "beside the store"),
        (("runs", "list"), "your data folder"),
        (("runs", "export"), "run-N.csv here"),
    ],
)
def test_help_tells_where_things_go(emberbed, words, place):
    """In square brackets it would be markup, and vanish."""
    assert place in " ".join(emberbed(*words, "--help").out.replace("│", " ").split())


def test_no_such_engine(emberbed):
    sentence = refused(emberbed(*PRESSED, "--engine", "abacus"))
    assert sentence == "--engine abacus is not known: use auto, micropython or cpython"


@pytest.mark.parametrize("seed", ["-1", str(2**31), "9" * 30, "x"])
def test_no_such_seed(emberbed, seed):
    for words in (PRESSED, ("rehearse", "label-printer")):
        said = emberbed(*words, "--seed", seed)
        assert said.exit_code == 2
        assert "--seed" in said.err


def test_nobody_could_press(emberbed):
    sentence = refused(emberbed(*RUN))
    assert sentence.startswith("Nobody could hold the virtual device's button")
    assert "--press" in sentence
