"""Faults of device and link at the virtual device, over the real wire and the real interpreter."""

import time

import pytest

from emberbed.bench.virtual import VirtualBench, VirtualDevice, VirtualDeviceError
from emberbed.link.device import Device
from emberbed.link.events import Record
from emberbed.records import commands_of, decode_record
from emberbed_fw import messages as ms
from emberbed_fw import record
from emberbed_fw import run_states as rs
from emberbed_sim import virtual_device
from emberbed_sim.faults import CATALOGUE
from tests.sim.test_virtual_device import follow


def bench_with(*faults: str) -> VirtualBench:
    return VirtualBench(speed="max", engine="cpython", faults=faults)


def followed(*faults: str, most: int = 200):
    """Return the records of the first ticks of an idle bench with these faults."""
    with VirtualDevice(bench_with(*faults)) as virtual, Device.connect(virtual.url) as device:
        return follow(device, 20, most)


def test_late_ticks_are_told_by_the_device():
    late = [one.elapsed_ms for one in followed("late_ticks@5s:2s#250")]
    assert set(late) == {100, 350}
    assert 5 <= late.count(350) <= 7


def test_flags_of_the_device_are_up_for_their_time():
    records = followed("heap_low@5s:2s", "button_stuck@10s")
    low = [one.tick for one in records if one.port_flags & record.PORT_HEAP_LOW]
    assert low == list(range(51, 71))
    down = [one.tick for one in records if one.port_flags & record.PORT_BUTTON]
    assert down[0] == 101
    assert down == list(range(101, records[-1].tick + 1))


def test_faults_of_the_heater_reach_the_device():
    records = followed("bead_half_off@0s#30,1", "tc_to_supply@5s#1", "bus_dead@10s#2")
    assert records[60].channel_cdeg(1) is None
    assert records[60].channel_cdeg(0) is not None
    assert any(one.port_flags & record.PORT_BUS_ERROR for one in records[101:])


@pytest.mark.parametrize("fault", ["device_resets@5s", "device_hangs@5s#2000"])
def test_a_reset_device_greets_a_host_anew(fault):
    with VirtualDevice(bench_with(fault)) as virtual:
        with Device.connect(virtual.url) as device:
            before = follow(device, 20, most=45) + follow(device, 1)
            assert 45 <= before[-1].tick <= 50  # and no more: it knows this host no longer
        with Device.connect(virtual.url) as device:
            assert device.greeting.state == rs.IDLE
            after = follow(device, 20, most=30)
    # nobody known: 50 times real time at most, whatever the speed
    assert after[0].tick < 50 * 10 * 10
    assert [one.tick for one in after] == sorted(one.tick for one in after)
    assert {one.state for one in after} == {rs.IDLE}


def test_noise_costs_frames_and_not_the_link():
    with (
        VirtualDevice(bench_with("link_noise@3s:60s#20")) as virtual,
        Device.connect(virtual.url) as device,
    ):
        ticks, end_s = [], time.monotonic() + 30
        while time.monotonic() < end_s and (not ticks or ticks[-1] < 300):
            for event in device.poll(0.2):
                if isinstance(event, Record):
                    ticks.append(decode_record(event.raw).tick)
            if ticks:
                device.renew(ticks[-1])
    assert ticks[-1] >= 300  # the clock has gone on
    assert ticks[:29] == list(range(ticks[0], ticks[0] + 29))


def test_a_repeated_or_late_host_frees_the_clock():
    for fault in ("frames_repeated@3s", "frames_late@3s#15"):
        with VirtualDevice(bench_with(fault)) as virtual, Device.connect(virtual.url) as device:
            records = follow(device, 20, most=100)
        assert records[-1].tick >= 95


def test_renewals_of_a_late_host_are_as_old_as_its_row_says():
    ages, newest, end_s = [], 0, time.monotonic() + 20
    with (
        VirtualDevice(bench_with("frames_late@3s#15")) as virtual,
        Device.connect(virtual.url) as device,
    ):
        while newest < 150 and time.monotonic() < end_s:
            for event in device.poll(0.2):
                if isinstance(event, Record):
                    newest = decode_record(event.raw).tick
                    device.renew(newest)
                    named = [body for kind, body in commands_of(event.raw) if kind == ms.RENEW]
                    ages += [(newest, newest - int.from_bytes(body, "little")) for body in named]
    assert newest >= 150
    assert max(age for tick, age in ages if tick <= 30) <= virtual_device.MOST_OWED + 1
    late = [age for tick, age in ages if tick > 50]
    assert late and min(late) >= 15


def test_a_flood_delays_no_tick():
    records = followed("link_flood@3s#2000")
    assert [one.tick for one in records] == list(range(1, len(records) + 1))


@pytest.mark.parametrize("name", [kind.name for kind in CATALOGUE if kind.only == "closed loop"])
def test_what_only_the_closed_loop_can_do_is_refused(name):
    with pytest.raises(VirtualDeviceError, match=f"{name} cannot be done in the virtual device"):
        VirtualDevice(bench_with(f"{name}@1s"))
