"""A device over a real wire: connecting, asking, records and renewals."""

import struct
import time

import pytest

from emberbed.link.device import Refused
from emberbed.link.events import Record
from emberbed_fw import messages
from tests.host.link.connected import PLAN, collect, connect
from tests.host.link.fake_device import record_of
from tests.support.plans import bench_settings

NEW_RUN = b"\xff" + bytes(4)  # no stage to go on with, no ticks done


def until(device, last_tick):
    """Return a turn of the wire that runs one tick, until the last one."""
    return lambda: device.ticks(1 if device.tick < last_tick else 0)


def test_a_run_is_prepared_over_a_real_wire(wire):
    with connect(wire) as device:
        assert device.url == wire.url
        assert (device.greeting.protocol, device.greeting.newest_tick) == (1, 100)
        assert device.read_settings() == bench_settings()
        device.send_plan(PLAN)
        wire.device.trip_counts = bytes(range(20))
        assert device.arm(PLAN) == bytes(range(20))
        device.acknowledge(2)
        device.stop()
    assert bytes(wire.device.plan) == PLAN
    done = [kind for kind, _payload in wire.device.done]
    assert done[-3:] == [messages.ARM, messages.ACK_PROMPT, messages.STOP]
    armed = next(payload for kind, payload in wire.device.done if kind == messages.ARM)
    assert armed == struct.pack("<I", struct.unpack("<I", PLAN[-4:])[0]) + b"\1" + NEW_RUN


def test_a_refused_change_says_what_was_wrong_with_just_that(socket_wire):
    socket_wire.device.refuse[messages.STAGE_REQUEST] = bytes([messages.ABOVE_LIMIT])
    told = {}
    with connect(socket_wire) as device:
        for touch in (messages.OFFSET, messages.EXTEND):
            with pytest.raises(Refused) as failure:
                device.touch(touch, 1, messages.BY_TERMINAL)
            told[touch] = str(failure.value)
            assert (failure.value.code, failure.value.touch) == (messages.ABOVE_LIMIT, touch)
    assert "before the press" in told[messages.OFFSET]
    assert "10 min more" in told[messages.EXTEND]


def test_a_change_is_sent_as_it_was_asked_for(socket_wire):
    with connect(socket_wire) as device:
        device.touch(messages.OFFSET, -500, messages.BY_TERMINAL)
    # messages.py: B touch, h amount, B source
    assert socket_wire.device.done[-1] == (messages.STAGE_REQUEST, struct.pack("<BhB", 6, -500, 2))


def test_every_byte_value_passes_through_the_wire(wire):
    wire.device.settings = bytes(range(256)) * 2
    with connect(wire) as device:
        settings = device.read_settings()
        assert settings == wire.device.settings[: len(settings)]


def test_records_and_renewals_flow(wire):
    with connect(wire) as device:
        wire.turn = until(wire.device, 150)
        events = collect(device, 50)
        assert [event.tick for event in events] == list(range(101, 151))
        assert [event.raw for event in events] == [record_of(tick) for tick in range(101, 151)]
        device.renew(150)
        device.acknowledge(1)
        assert wire.device.renewed == [150]
        assert device.poll(0) == []


def test_records_that_come_while_a_request_waits_are_kept_in_order(socket_wire):
    with connect(socket_wire) as device:
        socket_wire.turn = lambda: socket_wire.device.ticks(1)
        device.send_plan(PLAN)
        device.read_settings()
        socket_wire.turn = lambda: b""
        device.acknowledge(1)
        newest = socket_wire.device.tick
        assert newest > 103
        ticks = [event.tick for event in collect(device, newest - 100)]
        assert ticks == list(range(101, newest + 1))


def test_a_request_after_a_pause_knows_the_newest_tick(socket_wire):
    # the device refuses a request that has seen no tick of the last ten seconds
    with connect(socket_wire) as device:
        socket_wire.turn = until(socket_wire.device, 120)
        end_s = time.monotonic() + 5
        while socket_wire.device.tick < 120 and time.monotonic() < end_s:
            time.sleep(0.01)
        time.sleep(0.02)  # the last one is on its way
        device.acknowledge(1)
        assert socket_wire.device.seen[-1][3] == 120


def test_a_sink_gets_them_at_once_and_may_renew(socket_wire):
    kept = []

    def store(events):
        kept.extend(event.tick for event in events if isinstance(event, Record))
        device.renew(kept[-1])

    with connect(socket_wire) as device:
        device.sink = store
        socket_wire.turn = lambda: socket_wire.device.ticks(1)
        device.send_plan(PLAN)
        assert len(kept) > 3
        socket_wire.turn = lambda: b""
        device.acknowledge(1)
        kept += [event.tick for event in device.poll(0)]
        assert kept == list(range(101, kept[-1] + 1))
        assert socket_wire.device.renewed
