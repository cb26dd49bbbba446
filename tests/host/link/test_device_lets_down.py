"""Every way in which a device over a real wire can let us down."""

import os
import time

import pytest

from emberbed.link.device import Device, Refused
from emberbed.link.events import Damaged, Gap, Record, SessionLost
from emberbed.link.transport import LinkError
from emberbed.refusal_words import refusal_words
from emberbed_fw import messages, plan
from tests.host.link.connected import PLAN, collect, connect
from tests.host.link.fake_device import FakeDevice
from tests.host.link.wires import PtyWire, SocketWire
from tests.support.plans import bench_settings


def one_sentence(failure, *parts):
    text = str(failure.value)
    assert "\n" not in text
    assert "Error" not in text
    assert ". " not in text.rstrip(".")
    for part in parts:
        assert part in text, text


@pytest.mark.parametrize("fault", ["deaf", "mute"])
def test_one_lost_frame_costs_a_repeat(socket_wire, fault):
    with connect(socket_wire) as device:
        setattr(socket_wire.device, fault, 1)
        device.arm(PLAN)
    assert [kind for kind, _payload in socket_wire.device.done].count(messages.ARM) == 1
    assert [kind for kind, *_ in socket_wire.device.seen].count(messages.ARM) == 2 - (
        fault == "deaf"
    )


def test_doubled_replies_answer_one_request_each(socket_wire):
    socket_wire.device.doubles = True
    with connect(socket_wire) as device:
        device.send_plan(PLAN)
        assert device.read_settings() == bench_settings()
        assert device.poll(0.02) == []


def test_damage_on_the_wire_loses_no_record(socket_wire):
    harmed = iter([b"\x55\0", b"\7", b"", b"\0\0\3\3"] * 5)

    def turn():
        noise = next(harmed, None)
        return b"" if noise is None else noise + socket_wire.device.ticks(1)

    with connect(socket_wire) as device:
        socket_wire.turn = turn
        events = collect(device, 20)
    ticks = [event.tick for event in events if isinstance(event, Record)]
    assert ticks == list(range(101, 121))
    assert sum(event.count for event in events if isinstance(event, Damaged)) == 15
    assert not any(isinstance(event, Gap) for event in events)


def test_a_record_goes_on_after_the_cable_was_out(socket_wire):
    with connect(socket_wire) as device:
        socket_wire.turn = lambda: socket_wire.device.ticks(
            1 if socket_wire.device.tick < 110 else 0
        )
        assert collect(device, 10)[-1].tick == 110
        socket_wire.hang_up()
        with pytest.raises(LinkError) as failure:
            device.poll(1.0)
        one_sentence(failure, socket_wire.url, "cable", "connect again")
    socket_wire.device.ticks(30)  # nobody listens
    with connect(socket_wire, nonce=device.nonce, first_tick=111) as device:
        assert [event.tick for event in collect(device, 30)] == list(range(111, 141))


def test_what_came_before_the_break_is_given_first(socket_wire):
    with connect(socket_wire) as device:
        socket_wire.turn = lambda: socket_wire.device.ticks(
            1 if socket_wire.device.tick < 110 else 0
        )
        while socket_wire.device.tick < 110:
            device.acknowledge(1)
        device.acknowledge(1)
        socket_wire.hang_up()
        assert [event.tick for event in device.poll(1.0)] == list(range(101, 111))
        with pytest.raises(LinkError):
            device.poll(1.0)


def test_a_reset_in_the_middle_of_a_request_is_refused_not_resumed(socket_wire):
    with connect(socket_wire) as device:
        socket_wire.device.reset_at = messages.ARM
        with pytest.raises(Refused) as failure:
            device.arm(PLAN)
        assert failure.value.code == messages.WRONG_SESSION
        assert failure.value.request_type == messages.ARM
        assert str(failure.value) == refusal_words(messages.WRONG_SESSION)
        socket_wire.turn = lambda: socket_wire.device.ticks(1)
        assert device.poll(1.0) == [SessionLost(0)]


def test_a_bad_plan_is_refused_with_its_fault(socket_wire):
    socket_wire.device.refuse[messages.PLAN_WRITE] = bytes([messages.BAD_PLAN, plan.PLAN_KNOTS])
    with connect(socket_wire) as device:
        with pytest.raises(Refused) as failure:
            device.send_plan(PLAN)
        assert failure.value.detail == plan.PLAN_KNOTS
        assert str(failure.value) == refusal_words(messages.BAD_PLAN, plan.PLAN_KNOTS)
        device.stop()  # the refused request blocks nothing


def test_a_plan_that_reads_back_differently_is_not_sent(socket_wire):
    socket_wire.device.damage_reads = True
    with connect(socket_wire) as device, pytest.raises(LinkError) as failure:
        device.send_plan(PLAN)
    one_sentence(failure, socket_wire.url, "is not the profile that was sent", "run again")


def test_settings_of_another_length_are_named(socket_wire):
    socket_wire.device.settings = b"\1" * 50
    with connect(socket_wire) as device, pytest.raises(LinkError) as failure:
        device.read_settings()
    one_sentence(failure, socket_wire.url, "gave 50 bytes when asked for", "firmware")


def test_another_protocol_version_is_named(socket_wire):
    socket_wire.device.version = 3
    with pytest.raises(LinkError) as failure:
        connect(socket_wire)
    one_sentence(failure, socket_wire.url, "speaks version 3", "this program version 1", "install")


def test_a_refused_version_is_named(socket_wire):
    socket_wire.device.refuse[messages.HELLO] = bytes([messages.WRONG_VERSION])
    with pytest.raises(LinkError) as failure:
        connect(socket_wire)
    one_sentence(failure, socket_wire.url, "another version", "install")


def test_a_silent_device_is_named(socket_wire):
    socket_wire.device.silent = True
    with pytest.raises(LinkError) as failure:
        connect(socket_wire, timeout_s=0.2)
    one_sentence(failure, "Nothing answers", socket_wire.url, "0.2 s", "power")


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
def test_a_failed_connection_leaves_the_port_free():
    device = FakeDevice()
    device.silent = True
    failures = []  # kept, or throwing them away would close the port
    with PtyWire(device) as wire:
        for _ in range(2):
            with pytest.raises(LinkError, match="Nothing answers") as failure:
                connect(wire, timeout_s=0.05)
            failures.append(failure)


def test_a_device_still_starting_up_is_waited_for(socket_wire):
    socket_wire.device.silent = True

    def wake():
        socket_wire.device.silent = len(socket_wire.device.seen) < 7
        return b""

    socket_wire.turn = wake
    with Device.connect(socket_wire.url, 5.0, answer_s=0.01) as device:
        assert device.greeting.newest_tick == 100


def test_a_busy_device_refuses(socket_wire):
    socket_wire.device.refuse[messages.HELLO] = bytes([messages.BUSY])
    with pytest.raises(Refused) as failure:
        connect(socket_wire)
    assert failure.value.code == messages.BUSY
    assert str(failure.value) == refusal_words(messages.BUSY)


def test_something_else_at_the_port_is_named():
    # a weather logger that prints lines, and one that happens to send zeros
    for chatter in (b"$WIMDA,29.9,I,1.01,B,21.4,C\r\n", b"\x10\0\x02\0\0\xff"):
        with SocketWire(FakeDevice(), turn=lambda c=chatter: c, hears=False) as wire:
            with pytest.raises(LinkError) as failure:
                connect(wire, timeout_s=0.15)
            one_sentence(failure, wire.url, "no Emberbed device")


def test_a_device_that_speaks_but_does_not_answer_is_named():
    device = FakeDevice()
    with SocketWire(device, turn=lambda: device.ticks(1), hears=False) as wire:
        with pytest.raises(LinkError) as failure:
            connect(wire, timeout_s=0.15)
        one_sentence(failure, wire.url, "does not answer", "switch it off and on")


def test_a_device_that_falls_silent_later_is_named(socket_wire):
    with Device.connect(socket_wire.url, 5.0, answer_s=0.02) as device:
        socket_wire.device.silent = True
        with pytest.raises(LinkError) as failure:
            device.arm(PLAN)
        one_sentence(failure, socket_wire.url, "answer any more", "cable", "connect again")
        socket_wire.device.silent = False
        device.stop()


def test_an_interrupted_request_blocks_nothing(socket_wire):
    def interrupt(_events):
        raise KeyboardInterrupt

    with connect(socket_wire) as device:
        socket_wire.turn = lambda: socket_wire.device.ticks(1)
        socket_wire.device.mute = 1
        device.sink = interrupt
        with pytest.raises(KeyboardInterrupt):
            device.arm(PLAN)
        device.sink = None
        device.stop()
        device.arm(PLAN)


def test_poll_waits_no_longer_than_asked(socket_wire):
    with connect(socket_wire) as device:
        begun_s = time.monotonic()
        assert device.poll(0.05) == []
        assert 0.04 < time.monotonic() - begun_s < 5.0
        assert device.poll(0) == []


def test_a_thousand_records_a_second_pass():
    # contracts.md: --speed max moves 600 s of ticks in under 10 s; ten at a time, then a renewal
    device = FakeDevice()
    wanted = 2000

    def turn():
        if not device.session:
            return b""  # nobody there yet who could answer for ten records
        behind = device.tick - (device.renewed[-1] if device.renewed else 0)
        return device.ticks(min(10 - behind, wanted - device.tick)) if behind < 10 else b""

    with SocketWire(device, turn) as wire, connect(wire) as host:
        got = 0
        begun_s = time.process_time()  # of both ends
        while got < wanted:
            events = host.poll(5.0)
            assert events
            got += len(events)
            host.renew(events[-1].tick)
        assert got / (time.process_time() - begun_s) > 1000
