"""The virtual device as the host meets it: a process, a port, a control channel."""

import sys
import time

import pytest

from emberbed.bench.virtual import VirtualBench, VirtualDevice, VirtualDeviceError
from emberbed.device_description import decode_settings
from emberbed.link.device import Device
from emberbed.link.events import Record
from emberbed.records import decode_record
from emberbed_fw import record
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim import virtual_device
from emberbed_sim.engine import Answer


def follow(device, seconds, most=1_000_000):
    """Renew for every record that comes within `seconds` of wall time; return up to `most`."""
    records = []
    end_s = time.monotonic() + seconds
    while (left_s := end_s - time.monotonic()) > 0 and len(records) < most:
        events = [event for event in device.poll(left_s) if isinstance(event, Record)]
        records += [decode_record(event.raw) for event in events]
        if events:
            device.renew(records[-1].tick)
    return records


def test_speed_1_keeps_wall_time():
    seconds = 5.0
    with (
        VirtualDevice(VirtualBench(speed="1", engine="cpython")) as virtual,
        Device.connect(virtual.url) as device,
    ):
        records = follow(device, seconds)
    ticks = records[-1].tick - records[0].tick + 1
    # never ahead of the clock; how far behind it is, a busy machine decides
    assert 0.5 * seconds <= ticks / TICKS_PER_S <= seconds + 0.2
    assert {one.elapsed_ms for one in records} == {100}


def test_the_clock_starts_when_the_first_host_speaks():
    """However long that takes, a run and its faults begin at the same time of the bench."""
    with (
        VirtualDevice(VirtualBench(speed="max", engine="cpython")) as virtual,
        Device.connect(virtual.url) as device,
    ):
        assert device.greeting.newest_tick == 0


def test_at_any_speed_the_clock_stops_at_ten_records_that_nobody_acknowledged():
    with (
        VirtualDevice(VirtualBench(speed="max", engine="cpython")) as virtual,
        Device.connect(virtual.url) as device,
    ):
        records = []
        while len(records) < virtual_device.MOST_OWED:
            records += device.poll(10)
        records += device.poll(0.3)
    # one more than allowed is what stops it; the tick that answers HELLO may have been that one
    assert virtual_device.MOST_OWED <= len(records) <= virtual_device.MOST_OWED + 1


def test_the_button_is_held_in_simulated_time():
    with (
        VirtualDevice(VirtualBench(speed="max", engine="cpython")) as virtual,
        Device.connect(virtual.url) as device,
    ):
        virtual.hold_button(1.5)
        virtual.tap_button()
        records = follow(device, 20, most=300)
    down = [one.tick for one in records if one.port_flags & record.PORT_BUTTON]
    assert down == list(range(down[0], down[0] + 15))


def test_the_end_of_its_input_is_the_end_of_the_device():
    virtual = VirtualDevice(VirtualBench(engine="cpython"))
    virtual.close()
    assert virtual._process.returncode == 0


@pytest.mark.parametrize(
    ("bench", "says"),
    [
        (VirtualBench(faults=("tc_melted@3s",)), "'tc_melted' is not known"),
        (VirtualBench(faults=("tc_open#7",)), "lacks the time when it begins"),
        (VirtualBench(faults=("tc_open@1s#7",)), "the last sensor of this bench is on channel 1"),
        (VirtualBench(faults=("-x",)), "Fault '-x' cannot be read"),
        (VirtualBench(mass_g=-1.0), "mass"),
        (VirtualBench(engine="abacus"), "did not start"),
    ],
)
def test_what_it_cannot_be_is_refused_in_one_sentence(bench, says):
    with pytest.raises(VirtualDeviceError, match=says) as refused:
        VirtualDevice(bench)
    assert "\n" not in str(refused.value)


class _Bench(VirtualBench):
    """A virtual bench with sensors of its own."""

    SENSORS = ("near:board_centre", "rim:board_edge", "bank:emitter", "chip:chip_top")

    def arguments(self):
        return [*super().arguments(), *(f"--sensor={sensor}" for sensor in self.SENSORS)]


def test_sensors_and_hands_reach_the_bench():
    with (
        VirtualDevice(_Bench(speed="max", engine="cpython")) as virtual,
        Device.connect(virtual.url) as device,
    ):
        names = decode_settings(device.read_settings()).fitted_names()
        assert list(names.values()) == ["near", "rim", "bank", "chip"]
        virtual.tell("air on")
        virtual.tell("finger 1 5")
        records = follow(device, 20, most=600)
    chip_c, rim_c = ([one.channel_cdeg(channel) for one in records] for channel in (3, 1))
    assert max(chip_c) > 10000  # hot air on the chip of a board that nobody heats
    assert 2800 < max(rim_c) < 3300  # skin of a hand
    assert max(rim_c) > rim_c[-1] + 300  # and away again


def test_a_sensor_in_no_place_is_refused():
    class Nowhere(_Bench):
        SENSORS = ("chip:roof",)

    with pytest.raises(VirtualDeviceError, match="'chip:roof' cannot be read; write NAME:PLACE"):
        VirtualDevice(Nowhere(engine="cpython"))


class _Wire:
    """Plays host and wire: connected at once, silent."""

    def __init__(self):
        self.sent = b""

    def connected(self):
        return True

    def plug(self, plugged):
        assert plugged

    def wait(self, _seconds):
        return b"host"

    def send(self, octets):
        self.sent += octets


class _Engine:
    """Plays the firmware: owes as many records as it is told to."""

    def __init__(self, owed):
        self.owed = owed
        self.turns = []

    def tick(self, elapsed_ms, _flags, _fresh, _words, wire):
        self.turns.append(("tick", elapsed_ms, wire))
        return Answer(0, 0, self.owed, b"record")

    def wire_only(self, wire):
        self.turns.append(("wire", 0, wire))
        return Answer(0, 0, 0, b"")


class _Control:
    """Plays the control channel: ends after some turns."""

    def __init__(self, engine, turns):
        self._engine, self._turns = engine, turns

    @property
    def ended(self):
        return len(self._engine.turns) >= self._turns

    def obey(self, _bench, _now_s):
        return 0


def serve(owed, turns, silences=()):
    from emberbed_sim.plant.heater import SimulatedHeater
    from emberbed_sim.plant.parameters import BenchParameters

    engine = _Engine(owed)
    heater = SimulatedHeater(BenchParameters(), 1)
    wire, control = _Wire(), _Control(engine, turns)
    virtual_device.VirtualDevice(heater, engine, wire, control, None, list(silences)).serve()
    assert engine.turns[0] == ("wire", 0, b"host")  # what the first host said starts the clock
    return engine.turns[1:]


def test_a_host_that_owes_nothing_gets_tick_after_tick():
    assert serve(owed=virtual_device.MOST_OWED, turns=6) == [("tick", 100, b"host")] * 5


def test_a_host_that_owes_too_much_is_only_listened_to():
    turns = serve(owed=virtual_device.MOST_OWED + 1, turns=5)
    assert [kind for kind, _, _ in turns] == ["tick", "wire", "tick", "wire"]


def test_a_silent_host_frees_the_clock_and_is_not_heard():
    from emberbed_sim.faults import parse_fault

    silence = parse_fault("host_silent@0s")
    turns = serve(owed=virtual_device.MOST_OWED + 1, turns=5, silences=[silence])
    assert turns == [("tick", 100, b"")] * 4


def test_started_by_hand_it_ends_quietly_on_ctrl_c(monkeypatch, capsys):
    def interrupted(_asked):
        raise KeyboardInterrupt

    monkeypatch.setattr(sys, "argv", ["virtual_device"])
    monkeypatch.setattr(virtual_device, "_serve", interrupted)
    assert virtual_device.main() == 0
    assert capsys.readouterr().out == ""
